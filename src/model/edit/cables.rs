//! Edits of cables and their conductors.

use super::refusal::{Edited, gone, refuse};
use crate::diagnostic::count;
use crate::model::things::{Cable, CableId, ConnectorId, End, Model};
use crate::quantity::Length;

impl Model {
    /// Adds a cable without conductors, behind all others.
    ///
    /// # Errors
    /// When the design is no assembly, the name is none or is taken, or the cable is shorter than nothing.
    pub fn add_cable(&mut self, name: &str, kind: &str, length: Length) -> Edited<CableId> {
        self.check_name(name)?;
        let problem = if !self.assembly {
            "a board that stands alone has no cables".to_owned()
        } else if self.cable_names.contains_key(name) {
            format!("{name} is there already")
        } else if length < Length::ZERO {
            format!("{name} is shorter than nothing")
        } else {
            let Some((_, first)) = self.boards().next() else {
                return Err(gone("board"));
            };
            let span = first.span;
            return Ok(self.insert_cable(Cable {
                name: name.into(),
                kind: kind.into(),
                length,
                conductors: Vec::new(),
                span,
            }));
        };
        Err(refuse(problem, "take another name or length"))
    }

    /// Takes a cable away.
    ///
    /// # Errors
    /// When it is gone.
    pub fn remove_cable(&mut self, cable: CableId) -> Edited {
        let cable = self.cables.remove(cable).ok_or_else(|| gone("cable"))?;
        self.cable_names.shift_remove(&cable.name);
        Ok(())
    }

    /// Adds a conductor to a cable, behind all others.
    ///
    /// # Errors
    /// When the cable or a contact is gone, there are fewer than two ends, or two are the same.
    pub fn add_conductor(&mut self, cable: CableId, ends: Vec<End>) -> Edited {
        for (at, end) in ends.iter().enumerate() {
            let connector = self.connectors.get(end.0).ok_or_else(|| gone("connector"))?;
            if end.1 >= connector.contacts.len() {
                let (path, pins) = (self.path(connector.board, &connector.name), end.1 + 1);
                let message = format!("{path} has no pin {pins}");
                return Err(refuse(message, "name a contact that it has"));
            }
            if ends[..at].contains(end) {
                let message = format!("a conductor ends at {} twice", self.contact_path(*end));
                return Err(refuse(message, "name each contact once"));
            }
        }
        if ends.len() < 2 {
            let message = format!("a conductor joins contacts, and not {}", ends.len());
            return Err(refuse(message, "name two contacts"));
        }
        let cable = self.cables.get_mut(cable).ok_or_else(|| gone("cable"))?;
        cable.conductors.push(ends);
        Ok(())
    }

    /// Takes a conductor out of a cable, by its index. Those behind it move up.
    ///
    /// # Errors
    /// When the cable or the conductor is gone.
    pub fn remove_conductor(&mut self, cable: CableId, conductor: usize) -> Edited {
        self.conductor(cable, conductor)?;
        self.cables[cable].conductors.remove(conductor);
        Ok(())
    }

    /// Swaps two conductors at a connector where both end.
    ///
    /// # Errors
    /// When the cable or a conductor is gone, they are the same, or one does not end there.
    pub fn swap_conductors(&mut self, cable: CableId, conductors: [usize; 2], at: ConnectorId) -> Edited {
        let [one, other] = conductors;
        if one == other {
            let message = format!("conductor {one} would be swapped with itself");
            return Err(refuse(message, "name two conductors"));
        }
        let (a, b) = (self.end(cable, one, at)?, self.end(cable, other, at)?);
        let rows = &mut self.cables[cable].conductors;
        let (first, second) = (rows[one][a], rows[other][b]);
        (rows[one][a], rows[other][b]) = (second, first);
        Ok(())
    }

    /// The ends of a conductor.
    fn conductor(&self, cable: CableId, conductor: usize) -> Edited<&[End]> {
        let cable = self.cables.get(cable).ok_or_else(|| gone("cable"))?;
        let ends = cable.conductors.get(conductor).ok_or_else(|| {
            let conductors = count(cable.conductors.len(), "conductor");
            let message = format!("{} has {conductors}, and none of index {conductor}", cable.name);
            refuse(message, "count its conductors from 0")
        })?;
        Ok(ends)
    }

    /// Which end of a conductor is at a connector.
    fn end(&self, cable: CableId, conductor: usize, at: ConnectorId) -> Edited<usize> {
        let connector = self.connectors.get(at).ok_or_else(|| gone("connector"))?;
        let mut ends = self.conductor(cable, conductor)?.iter();
        ends.position(|end| end.0 == at).ok_or_else(|| {
            let (name, path) = (&self.cables[cable].name, self.path(connector.board, &connector.name));
            let message = format!("conductor {conductor} of {name} does not end at {path}");
            refuse(message, "name a connector where both end")
        })
    }
}
