//! What a trial does to contacts, in the order that it does it.

use super::{Step, When};
use crate::circuit::DiscreteKey;
use std::collections::{BTreeMap, BTreeSet};

/// Contacts of a trial.
#[derive(Clone, Debug, Default)]
pub(in crate::trial) struct Contacts {
    /// Positions that were set before time passes: 0 is open, 1 closed (or up), 2 down.
    pub(in crate::trial) first: BTreeMap<DiscreteKey, u8>,
    /// Those that are worked later.
    pub(in crate::trial) worked: BTreeSet<DiscreteKey>,
    /// True once time has passed.
    begun: bool,
}

impl Contacts {
    /// Takes one more step in.
    pub(super) fn note(&mut self, step: &Step) {
        match step {
            Step::Contacts(contacts) if !self.begun => self.first.extend(contacts.iter().copied()),
            Step::Contacts(contacts) => self.worked.extend(contacts.iter().map(|(contact, _)| *contact)),
            Step::Press(contact, ..) => {
                self.worked.insert(*contact);
                self.begun = true;
            }
            Step::Together(steps) => {
                steps.iter().for_each(|step| self.note(step));
                self.begun = true;
            }
            Step::Clock(..)
            | Step::Load(..)
            | Step::Set(..)
            | Step::Release(_)
            | Step::Never(_)
            | Step::Sequence { .. }
            | Step::Show(When::Clock | When::On(..) | When::Every(_), _)
            | Step::Record(..)
            | Step::Remark(_) => {}
            _ => self.begun = true,
        }
    }
}
