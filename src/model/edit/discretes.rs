//! Edits of discretes.

use super::refusal::{Edited, gone, refuse};
use crate::model::things::{BoardId, Discrete, DiscreteId, DiscreteKind, Joint, Model};
use crate::quantity::{Capacitance, Resistance};

impl Model {
    /// Puts a discrete on a board, behind all others; nothing is connected to it. Only networks choose how many pins
    /// they have.
    ///
    /// # Errors
    /// When the board is gone or has a component of that reference designator, a value is not above zero, or the kind
    /// has another number of pins.
    pub fn add_discrete(
        &mut self,
        board: BoardId,
        reference: &str,
        kind: DiscreteKind,
        pins: usize,
    ) -> Edited<DiscreteId> {
        self.check_new(board, reference, pins)?;
        check_value(&kind)?;
        let fits = match &kind {
            DiscreteKind::Network(_, true) => pins >= 2,
            DiscreteKind::Network(_, false) => pins >= 2 && pins.is_multiple_of(2),
            DiscreteKind::Changeover => pins == 3,
            DiscreteKind::TestPoint => pins == 1,
            _ => pins == 2,
        };
        if !fits {
            let message = format!("a {} does not have {pins} pins", kind.word());
            return Err(refuse(message, "take as many as its package has"));
        }
        let span = self.boards[board].span;
        Ok(self.insert_discrete(Discrete {
            board,
            reference: reference.into(),
            kind,
            decouples: Vec::new(),
            rating: None,
            pins: vec![Joint::Free; pins],
            span,
        }))
    }

    /// Takes a discrete out.
    ///
    /// # Errors
    /// When it is gone.
    pub fn remove_discrete(&mut self, discrete: DiscreteId) -> Edited {
        let removed = self.take_discrete(discrete);
        removed.map(drop).ok_or_else(|| gone("discrete"))
    }

    /// Gives a discrete another value: one of the same kind.
    ///
    /// # Errors
    /// When it is gone or of another kind, or the value is not above zero.
    pub fn set_value(&mut self, id: DiscreteId, value: DiscreteKind) -> Edited {
        let discrete = self.discretes.get_mut(id).ok_or_else(|| gone("discrete"))?;
        let same = match (&discrete.kind, &value) {
            (DiscreteKind::Network(_, one), DiscreteKind::Network(_, other)) => one == other,
            (one, other) => one.word() == other.word(),
        };
        if !same {
            let (old, new) = (discrete.kind.word(), value.word());
            let message = format!("{} is a {old} and becomes no {new}", discrete.reference);
            return Err(refuse(message, "take it out, and put another one on the board"));
        }
        check_value(&value)?;
        discrete.kind = value;
        Ok(())
    }
}

/// Refuses values that are not above zero.
fn check_value(kind: &DiscreteKind) -> Edited {
    let positive = match kind {
        DiscreteKind::Resistor(value) | DiscreteKind::Network(value, _) | DiscreteKind::Led(_, Some(value)) => {
            *value > Resistance::ZERO
        }
        DiscreteKind::Capacitor(value) => *value > Capacitance::ZERO,
        _ => true,
    };
    if positive {
        return Ok(());
    }
    let message = format!("the value of a {} must be more than zero", kind.word());
    Err(refuse(message, "write it as in `10 kohm`, `100 nF`"))
}
