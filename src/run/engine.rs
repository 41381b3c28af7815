//! The trait of all engines.

use super::{Counters, Findings, LoadFault, Oscillation, Refusal, Sink, Step};
use crate::circuit::{ChipKey, Circuit, DiscreteKey, NetKey};
use crate::image::Image;
use crate::language::ast::{Corner, PowerUp};
use crate::logic::{Level, Word};
use crate::part::function::{ChipState, Drive, SampledInputs};
use crate::quantity::{Temperature, Time};

/// How a circuit is to run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settings {
    /// Which delays the parts take. Without delays: for the start of oscillators, for pulls against capacitors, and for
    /// clock skew.
    pub corner: Corner,
    /// The temperature of the parts; a bench, 0 to 70 C, when none is given.
    pub temperature: Option<Temperature>,
    /// What storage holds at power-up.
    pub power_up: PowerUp,
    /// True to keep the cause of every event from the beginning; only the engine with delays can.
    pub history: bool,
    /// False to evaluate everything by the full functions of the parts, without tables, two-state programs or memos: slow,
    /// with the same results.
    pub fast_paths: bool,
}

impl Settings {
    /// Typical parts on a bench, with unknown storage at power-up.
    pub const TYPICAL: Settings = Settings {
        corner: Corner::Typical,
        temperature: None,
        power_up: PowerUp::Unknown,
        history: false,
        fast_paths: true,
    };
}

impl Default for Settings {
    fn default() -> Settings {
        Settings::TYPICAL
    }
}

/// Why [`Engine::advance`] came back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Pause {
    /// The time that was asked for is reached.
    Reached,
    /// A net that was marked to stop at has changed.
    Changed,
    /// Much has happened: whoever waits may look how far the run is. Only where [`Engine::pause_to_look`] asked for it.
    Looked,
    /// A loop never settles.
    Oscillation(Oscillation),
    /// What comes next depends on delays, which this engine does not have.
    Refused(Refusal),
}

/// All that decides what comes next, but for stimuli, with times from now on: two that are equal are followed by the same.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Snapshot {
    pub(crate) levels: Vec<Level>,
    /// Transitions to come: the level, and after how long.
    pub(crate) coming: Vec<(Level, Time)>,
    pub(crate) cells: Vec<(Word, SampledInputs, ChipState, Drive)>,
}

/// A circuit that runs.
///
/// Time begins to pass with the first [`Engine::advance`]: power comes, and what was set before is there from the
/// beginning. Nets that [`Engine::set`] and [`Engine::clock`] drive are named when an engine is made, or attached.
pub trait Engine {
    fn circuit(&self) -> &Circuit;
    /// The present time.
    fn now(&self) -> Time;
    /// True once time has begun to pass, be it only the first time step.
    fn has_begun(&self) -> bool;
    /// The present level of a net.
    fn level(&self, net: NetKey) -> Level;
    /// The level that a net had just before the present time, when [`Engine::keep_before`] asked for it; else its level.
    fn level_before(&self, net: NetKey) -> Level;
    /// What a chip stores; `None` when it is not fed.
    fn stored(&self, chip: ChipKey) -> Option<ChipState>;
    /// A word of the memory of a chip; `None` where it has none, or is not fed.
    fn stored_word(&self, chip: ChipKey, address: u64) -> Option<Word>;
    /// The levels of several nets as a word, the most significant first.
    fn word(&self, nets: &[NetKey]) -> Word {
        nets.iter().fold(Word::default(), |word, &net| {
            let bit = Word::from_level(self.level(net));
            Word { value: word.value << 1 | bit.value, unknown: word.unknown << 1 | bit.unknown }
        })
    }

    /// Runs until a time, or until there is a reason to pause. All that happens at one time is done before it comes back.
    fn advance(&mut self, until: Time, sink: &mut dyn Sink) -> Pause;
    /// When something comes next; `None` when nothing will without a stimulus.
    fn next_event(&mut self) -> Option<Time>;
    /// After how long everything that oscillates has the phase that it has now; `None` when that is not known, zero
    /// when nothing oscillates.
    fn period(&self) -> Option<Time>;
    /// All that decides what comes next.
    fn snapshot(&self) -> Snapshot;

    /// Drives a net from now on.
    fn set(&mut self, net: NetKey, level: Level);
    /// Drives a net no more.
    fn release(&mut self, net: NetKey) {
        self.set(net, Level::Z);
    }
    /// Drives a net with a clock from now on: low first, then high and low for these times.
    fn clock(&mut self, net: NetKey, low: Time, high: Time);
    /// Makes a net one that can be driven; false when this engine cannot do so while it runs.
    fn force(&mut self, net: NetKey) -> bool;
    /// Opens or closes a contact: `position` 0 is open, 1 closed (or up), 2 down.
    fn contact(&mut self, discrete: DiscreteKey, position: u8);
    /// Puts an image into the memory of a chip; `offset` is added to its addresses.
    ///
    /// # Errors
    /// When it does not fit; nothing is changed then.
    fn load(&mut self, chip: ChipKey, image: &Image, offset: i64) -> Result<(), LoadFault>;
    /// Takes away what the memory of a chip held from the beginning.
    fn unload(&mut self, chip: ChipKey);

    /// Reports each change of a net to the sink of [`Engine::advance`].
    fn watch(&mut self, net: NetKey, on: bool);
    /// Pauses when a net changes.
    fn stop_at(&mut self, net: NetKey, on: bool);
    /// Keeps the level that a net had before its last change, for [`Engine::level_before`].
    fn keep_before(&mut self, net: NetKey);
    /// Pauses now and then, see [`Pause::Looked`].
    fn pause_to_look(&mut self, on: bool);

    /// How much work the run was until now.
    fn counters(&self) -> Counters;
    /// What was found until now.
    fn findings(&self) -> Findings;
    /// The chain of causes of a net's level at a time, the newest first; empty when this engine does not know them.
    fn why(&mut self, net: NetKey, time: Time) -> Vec<Step>;
}

/// Swings that come together less often than this are not waited for.
const LONGEST_PERIOD: Time = Time::from_ms(10);

/// The least common multiple of periods, zero of none; `None` when it is too long to wait for.
pub(crate) fn common_period(periods: impl IntoIterator<Item = Time>) -> Option<Time> {
    let mut common: Option<i64> = None;
    for period in periods.into_iter().map(Time::ps) {
        let multiple = match common {
            Some(other) => other.checked_mul(period / divisor(other, period))?,
            None => period,
        };
        if multiple > LONGEST_PERIOD.ps() {
            return None;
        }
        common = Some(multiple);
    }
    Some(common.map_or(Time::ZERO, Time::from_ps))
}

/// The greatest common divisor.
fn divisor(a: i64, b: i64) -> i64 {
    if b == 0 { a.max(1) } else { divisor(b, a % b) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clocks_come_together_at_the_least_common_multiple() {
        assert_eq!(common_period([]), Some(Time::ZERO));
        assert_eq!(common_period([6, 10].map(Time::from_ps)), Some(Time::from_ps(30)));
        // 10 ms is as long as is waited for.
        assert_eq!(common_period([9_999_999_967, 9_999_999_929].map(Time::from_ps)), None);
    }
}
