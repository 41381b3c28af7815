//! Stimuli that take time, alone or several that begin together.
//!
//! Each is a row of phases: what is done, and how long it stands. The phases of several are done as they come due.

use super::waiting::{Outcome, Until};
use super::{Observer, Runner};
use crate::circuit::NetKey;
use crate::logic::Level;
use crate::quantity::Time;
use crate::text::Span;
use crate::trial::prepare::{Step, Wait};

/// What a contact that bounces does at either end of a press: whether it is where it comes to rest, and for how many
/// hundredths of the time.
const BOUNCES: [(bool, i64); 4] = [(true, 20), (false, 15), (true, 25), (false, 40)];

/// A stimulus under way.
struct Branch<'s> {
    step: &'s Step,
    /// The phase that comes next.
    phase: u64,
    due: Due,
    /// For pulses: the level between them.
    idle: Level,
}

/// When the next phase comes.
#[derive(Clone, Copy)]
enum Due {
    At(Time),
    /// When so many clocks have been counted, and the net of the clock is low.
    Clocks(u64),
    Never,
}

impl Runner<'_> {
    /// Does stimuli that begin now, until the last of them has ended.
    pub(super) fn together(&mut self, steps: &[&Step], span: Span, observer: &mut dyn Observer) {
        let now = self.machine.now();
        let begin = |step| Branch { step, phase: 0, due: Due::At(now), idle: self.idle_of(step) };
        let mut branches: Vec<Branch<'_>> = steps.iter().copied().map(begin).collect();
        loop {
            for branch in &mut branches {
                while self.is_due(branch.due) {
                    branch.due = self.phase(branch);
                }
            }
            let Some(wait) = self.until_due(&branches) else {
                return;
            };
            match self.go(&wait, Until::Nothing, observer) {
                Outcome::Over | Outcome::Met => {}
                Outcome::Ended => return,
                Outcome::Still => return self.stands_still(span),
            }
        }
    }

    /// How long it is to the next phase of any; nothing when all have ended.
    fn until_due(&self, branches: &[Branch<'_>]) -> Option<Wait> {
        let times = branches.iter().filter_map(|branch| match branch.due {
            Due::At(time) => Some(time - self.machine.now()),
            _ => None,
        });
        let counted = self.clock.as_ref().map_or(0, |clock| clock.rises);
        let clocks = branches.iter().filter_map(|branch| match branch.due {
            Due::Clocks(goal) => Some(goal.saturating_sub(counted)),
            _ => None,
        });
        match (times.min(), clocks.min()) {
            (None, None) => None,
            (Some(time), None) => Some(Wait::Time(time)),
            (None, Some(clocks)) => Some(Wait::Clocks(clocks)),
            (Some(time), Some(clocks)) => Some(Wait::First(time, clocks)),
        }
    }

    fn is_due(&self, due: Due) -> bool {
        match due {
            Due::At(time) => time <= self.machine.now(),
            Due::Clocks(goal) => self.clock.as_ref().is_some_and(|clock| clock.rises >= goal && !clock.level.is_high()),
            Due::Never => false,
        }
    }

    /// Does what a phase says, and tells when the next one comes.
    fn phase(&mut self, branch: &mut Branch<'_>) -> Due {
        let phase = branch.phase;
        branch.phase += 1;
        match (branch.step, phase) {
            (Step::Drive(signal, value, wait), 0) => {
                self.set(signal, *value);
                self.after(wait)
            }
            (Step::Run(wait), 0) => self.after(wait),
            (Step::Press(contact, wait, bounce), _) => {
                let bounces = if bounce.is_some() { BOUNCES.len() as u64 } else { 0 };
                let (rest, at) = if phase <= bounces { (1, phase) } else { (0, phase - bounces - 1) };
                if let (Some(bounce), Some((rests, share))) = (bounce, BOUNCES.get(at as usize)) {
                    self.machine.contact(*contact, if *rests { rest } else { 1 - rest });
                    let share = Time::from_ps((bounce.ps() / 100 * share).max(1));
                    return self.after(&Wait::Time(share));
                }
                self.machine.contact(*contact, rest);
                if rest == 1 { self.after(wait) } else { Due::Never }
            }
            (Step::Pulse(net, times, every), _) => {
                let active = phase % 2 == 1;
                let level = if active == (branch.idle == Level::One) { Level::Zero } else { Level::One };
                self.set_net(*net, level);
                if phase >= times.saturating_mul(2) {
                    return Due::Never;
                }
                self.after(&Wait::Time(Time::from_ps((every.ps() / 2).max(1))))
            }
            (Step::Set(signal, value), 0) => {
                self.set(signal, *value);
                Due::Never
            }
            (Step::Drive(signal, ..) | Step::Release(signal), _) => {
                self.release(signal);
                Due::Never
            }
            (Step::Contacts(contacts), 0) => {
                contacts.iter().for_each(|&(contact, position)| self.machine.contact(contact, position));
                Due::Never
            }
            _ => Due::Never,
        }
    }

    fn after(&self, wait: &Wait) -> Due {
        let counted = self.clock.as_ref().map_or(0, |clock| clock.rises);
        match wait {
            Wait::Time(time) | Wait::First(time, _) => Due::At(self.machine.now() + *time),
            Wait::Clocks(clocks) => Due::Clocks(counted.saturating_add(*clocks)),
        }
    }

    /// The level that pulses begin and end with: that which the trial drives, or which is there; of a net without a level,
    /// high where its name says that it is active low.
    fn idle_of(&self, step: &Step) -> Level {
        let Step::Pulse(net, ..) = step else {
            return Level::Zero;
        };
        let net: NetKey = *net;
        let driven = self.driven.get(&net).map(|(_, level)| *level);
        let level = driven.unwrap_or_else(|| self.machine.level(net));
        let path = &self.circuit.nets[net].path;
        let active_low = path.rsplit('.').next().is_some_and(|name| name.starts_with('/'));
        let high = if level.is_known() { level.is_high() } else { active_low };
        if high { Level::One } else { Level::Zero }
    }
}
