//! What a trial runs on: the engine with delays, or the one without.

use super::Observer;
use crate::circuit::{ChipKey, DiscreteKey, NetKey};
use crate::image::Image;
use crate::logic::Level;
use crate::quantity::Time;
use crate::simulate::chain::Step;
use crate::simulate::{
    Contention, Counters, Decision, Floating, Forbidden, LoadFault, Machine, Outlook, Pause, Sink,
    Violation,
};
use crate::trial::report::{Filled, Finding};
use crate::untimed;

pub(super) enum Bench<'c> {
    Timed(Box<Machine<'c>>),
    Untimed(Box<untimed::Machine<'c>>),
}

/// Why time has stopped.
pub(super) enum Stop {
    Reached,
    Changed,
    /// Much has happened: it may be looked how far the run is.
    Looked,
    /// The run cannot go on.
    Ended(Finding),
}

use Bench::{Timed, Untimed};

impl Bench<'_> {
    pub(super) fn is_untimed(&self) -> bool {
        matches!(self, Untimed(_))
    }

    pub(super) fn now(&self) -> Time {
        match self {
            Timed(machine) => machine.now(),
            Untimed(machine) => machine.now(),
        }
    }

    pub(super) fn has_begun(&self) -> bool {
        match self {
            Timed(machine) => machine.has_begun(),
            Untimed(machine) => machine.has_begun(),
        }
    }

    pub(super) fn level(&self, net: NetKey) -> Level {
        match self {
            Timed(machine) => machine.level(net),
            Untimed(machine) => machine.level(net),
        }
    }

    pub(super) fn level_before(&self, net: NetKey) -> Level {
        match self {
            Timed(machine) => machine.level_before(net),
            Untimed(machine) => machine.level_before(net),
        }
    }

    pub(super) fn counters(&self) -> Counters {
        match self {
            Timed(machine) => machine.counters(),
            Untimed(machine) => {
                let (events, evaluations) = machine.counters();
                Counters {
                    events,
                    evaluations,
                    swallowed: 0,
                }
            }
        }
    }

    pub(super) fn advance(&mut self, until: Time, sink: &mut impl Sink) -> Stop {
        match self {
            Timed(machine) => match machine.advance(until, sink) {
                Pause::Reached => Stop::Reached,
                Pause::Changed => Stop::Changed,
                Pause::Looked => Stop::Looked,
                Pause::Runaway(runaway) => Stop::Ended(Finding {
                    kind: "oscillation",
                    place: runaway.around.first().cloned().unwrap_or_default(),
                    text: runaway.sentence(),
                    count: 1,
                    first: Some(runaway.time),
                }),
            },
            Untimed(machine) => {
                let pause = machine.advance(until);
                for (time, net, level) in machine.take_changes() {
                    sink.change(time, net, level);
                }
                match pause {
                    untimed::Pause::Reached => Stop::Reached,
                    untimed::Pause::Changed => Stop::Changed,
                    untimed::Pause::Looked => Stop::Looked,
                    untimed::Pause::Refused(refusal) => Stop::Ended(Finding {
                        kind: "needs delays",
                        place: refusal.place,
                        text: format!("{}; run it with delays", refusal.sentence),
                        count: 1,
                        first: Some(refusal.time),
                    }),
                }
            }
        }
    }

    /// An observer hears of a clock; the engine without delays has none.
    pub(super) fn told(&mut self, observer: &mut dyn Observer, clocks: u64) -> bool {
        match self {
            Timed(machine) => observer.clock(machine, clocks),
            Untimed(_) => true,
        }
    }

    // ---- hands --------------------------------------------------------------------------------------------------

    /// True when nothing is due any more, whatever time passes.
    pub(super) fn is_over(&mut self) -> bool {
        match self {
            Timed(machine) => machine.next_event().is_none(),
            Untimed(_) => false,
        }
    }

    /// After how long everything that swings by itself is where it was, where that is known; and all that decides what
    /// comes next, to be held against what is there then.
    pub(super) fn round(&self) -> Option<(Time, Outlook)> {
        match self {
            Timed(machine) => Some((machine.round()?, machine.outlook())),
            Untimed(_) => None,
        }
    }

    /// True when the same comes next as came once.
    pub(super) fn is_as(&self, before: &Outlook) -> bool {
        match self {
            Timed(machine) => machine.outlook() == *before,
            Untimed(_) => false,
        }
    }

    /// Requirements that first stages of synchronisers did not meet.
    pub(super) fn undecided(&self) -> Vec<Violation> {
        match self {
            Timed(machine) => machine.undecided(),
            Untimed(_) => Vec::new(),
        }
    }

    /// What synchronisers took by chance.
    pub(super) fn decisions(&self) -> Vec<Decision> {
        match self {
            Timed(machine) => machine.decisions(),
            Untimed(_) => Vec::new(),
        }
    }

    pub(super) fn set(&mut self, net: NetKey, level: Level) {
        match self {
            Timed(machine) => machine.set(net, level),
            Untimed(machine) => machine.set(net, level),
        }
    }

    pub(super) fn release(&mut self, net: NetKey) {
        self.set(net, Level::Z);
    }

    pub(super) fn clock(&mut self, net: NetKey, low: Time, high: Time) {
        match self {
            Timed(machine) => machine.clock(net, low, high),
            Untimed(machine) => machine.clock(net, low, high),
        }
    }

    pub(super) fn contact(&mut self, discrete: DiscreteKey, position: u8) {
        match self {
            Timed(machine) => machine.contact(discrete, position),
            Untimed(machine) => machine.contact(discrete, position),
        }
    }

    pub(super) fn unload(&mut self, chip: ChipKey) {
        match self {
            Timed(machine) => machine.unload(chip),
            Untimed(machine) => machine.unload(chip),
        }
    }

    pub(super) fn load(
        &mut self,
        chip: ChipKey,
        image: &Image,
        offset: i64,
    ) -> Result<(), LoadFault> {
        match self {
            Timed(machine) => machine.load(chip, image, offset),
            Untimed(machine) => {
                let row = &machine.circuit().chips[chip];
                if !row.fed {
                    return Err(LoadFault::NotFed);
                }
                LoadFault::check(&row.part, image, offset)?;
                machine.load(chip, image, offset);
                Ok(())
            }
        }
    }

    // ---- what is watched ----------------------------------------------------------------------------------------

    pub(super) fn watch(&mut self, net: NetKey, on: bool) {
        match self {
            Timed(machine) => machine.watch(net, on),
            Untimed(machine) => machine.watch(net, on),
        }
    }

    /// Lets [`Bench::advance`] come back now and then, so that a person may be told how far it is.
    pub(super) fn pause_to_look(&mut self) {
        match self {
            Timed(machine) => machine.pause_to_look(true),
            Untimed(machine) => machine.pause_to_look(true),
        }
    }

    pub(super) fn stop_at(&mut self, net: NetKey, on: bool) {
        match self {
            Timed(machine) => machine.stop_at(net, on),
            Untimed(machine) => machine.stop_at(net, on),
        }
    }

    pub(super) fn keep_before(&mut self, net: NetKey) {
        match self {
            Timed(machine) => machine.keep_before(net),
            Untimed(machine) => machine.keep_before(net),
        }
    }

    // ---- what was found -----------------------------------------------------------------------------------------

    pub(super) fn why(&mut self, net: NetKey, time: Time) -> Vec<Step> {
        match self {
            Timed(machine) => machine.why(net, time),
            Untimed(_) => Vec::new(),
        }
    }

    pub(super) fn rules(&self) -> Vec<Filled> {
        let Timed(machine) = self else {
            return Vec::new();
        };
        let rules = machine.rules().iter();
        rules
            .map(|(rule, parts)| Filled {
                rule: rule.sentence(),
                parts: parts.iter().cloned().collect(),
            })
            .collect()
    }

    pub(super) fn violations(&self) -> Vec<Violation> {
        match self {
            Timed(machine) => machine.violations(),
            Untimed(_) => Vec::new(),
        }
    }

    pub(super) fn swallowed(&self) -> Vec<(String, u64)> {
        match self {
            Timed(machine) => machine.swallowed(),
            Untimed(_) => Vec::new(),
        }
    }

    pub(super) fn forbidden(&self) -> Vec<Forbidden> {
        match self {
            Timed(machine) => machine.forbidden(),
            Untimed(machine) => {
                let found = machine.forbidden().into_iter();
                let found = found.map(|use_| Forbidden {
                    chip: use_.chip,
                    text: use_.text,
                    count: use_.count,
                    first: use_.first,
                });
                found.collect()
            }
        }
    }

    pub(super) fn contentions(&self) -> Vec<Contention> {
        match self {
            Timed(machine) => machine.contentions(),
            Untimed(machine) => {
                let fights = machine.fights().into_iter();
                let fights = fights.map(|fight| Contention {
                    net: fight.net,
                    low: fight.low,
                    high: fight.high,
                    count: fight.count,
                    first: fight.first,
                    longest: fight.longest,
                    total: fight.total,
                    // Once everything has settled there is no handing over.
                    lasting: true,
                });
                fights.collect()
            }
        }
    }

    pub(super) fn floating(&self) -> Vec<Floating> {
        match self {
            Timed(machine) => machine.floating(),
            Untimed(machine) => {
                let floats = machine.floating().into_iter();
                let floats = floats.map(|float| Floating {
                    net: float.net,
                    listener: float.listener,
                    last_driver: None,
                    count: float.count,
                    first: float.first,
                    longest: float.longest,
                    lasting: float.lasting,
                });
                floats.collect()
            }
        }
    }
}
