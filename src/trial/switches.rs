//! How contacts stand during a trial, and what that leaves without a supply.

use super::prepare::{Contacts, Prepared};
use crate::circuit::{Circuit, DeadRail, DiscreteKey, DiscreteKind, dead_rails, without_rails};
use std::borrow::Cow;

/// A circuit as it is fed in a trial.
pub(super) struct Fed<'c> {
    /// It.
    pub(super) circuit: Cow<'c, Circuit>,
    /// Rails that contacts leave without a supply from the beginning to the end.
    pub(super) dead: Vec<DeadRail>,
    /// Rails that contacts which are worked may leave without a supply for a time; they count as fed.
    pub(super) doubtful: Vec<DeadRail>,
}

impl<'c> Fed<'c> {
    /// In a trial; `hands` when somebody may work any contact at any time.
    pub(super) fn new(prepared: &Prepared, circuit: &'c Circuit, hands: bool) -> Fed<'c> {
        if hands {
            return Fed {
                circuit: Cow::Borrowed(circuit),
                dead: Vec::new(),
                doubtful: dead_rails(circuit, &|_, _| false),
            };
        }
        let contacts = &prepared.contacts;
        let dead = contacts.dead(circuit);
        let circuit = if dead.is_empty() { Cow::Borrowed(circuit) } else { Cow::Owned(without_rails(circuit, &dead)) };
        Fed { dead, doubtful: contacts.doubtful(&circuit), circuit }
    }
}

impl Contacts {
    /// The position of a contact that stays as it is for the whole trial.
    fn stands(&self, circuit: &Circuit, contact: DiscreteKey) -> Option<u8> {
        let rest = match circuit.discretes[contact].kind {
            DiscreteKind::Changeover => 1,
            _ => 0,
        };
        let first = self.first.get(&contact).copied();
        (!self.worked.contains(&contact)).then(|| first.unwrap_or(rest))
    }

    /// Rails that no position of the contacts that are worked feeds.
    fn dead(&self, circuit: &Circuit) -> Vec<DeadRail> {
        dead_rails(circuit, &|contact, position| self.stands(circuit, contact).is_none_or(|stands| stands == position))
    }

    /// Rails that contacts which are worked may leave without a supply for a time.
    fn doubtful(&self, circuit: &Circuit) -> Vec<DeadRail> {
        dead_rails(circuit, &|contact, position| self.stands(circuit, contact) == Some(position))
    }
}
