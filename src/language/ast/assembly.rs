//! Assemblies: boards in place, cables and supplies.

use super::{Acceptance, Each, Path, Template, Way, Word};
use crate::quantity::{Current, Length, Voltage};
use crate::text::{Span, Spanned};

/// Boards joined by cables.
#[derive(Clone, Debug)]
pub struct Assembly {
    /// Its name.
    pub name: Word,
    /// In words.
    pub title: String,
    /// The body.
    pub body: Vec<AssemblyStatement>,
}

/// A statement of an assembly.
#[derive(Clone, Debug)]
pub enum AssemblyStatement {
    /// Boards put in place.
    Placement(Vec<Template>, Word),
    /// A cable.
    Cable(Cable),
    /// A bench supply.
    Supply(Supply),
    /// Repetition.
    Each(Each<AssemblyStatement>),
    /// A path of signals that is not used.
    Unused(Way),
    /// Two flip-flops, of which the second takes from the first what comes at any time.
    Synchroniser(Way),
    /// A remark.
    Note(Spanned<String>),
    /// A finding that is meant to be.
    Accept(Acceptance),
}

/// A cable.
#[derive(Clone, Debug)]
pub struct Cable {
    /// `W1`.
    pub name: Template,
    /// `ribbon`, `jumper`.
    pub kind: Word,
    /// Number of conductors, when given.
    pub ways: Option<u32>,
    /// Its length.
    pub length: Length,
    /// True when the far connector is turned round: pin 1 meets the last pin.
    pub reversed: bool,
    /// What it joins.
    pub joins: Joins,
    /// The head's place.
    pub span: Span,
}

/// What a cable joins.
#[derive(Clone, Debug)]
pub enum Joins {
    /// Whole connectors, pin n to pin n.
    Connectors(Vec<Path>),
    /// Single wires.
    Wires(Vec<CableLine>),
}

/// A line inside a cable.
#[derive(Clone, Debug)]
pub enum CableLine {
    /// From a pin to one or several others.
    Wire(Path, Vec<Path>),
    /// Repetition.
    Each(Each<CableLine>),
}

/// A bench supply.
#[derive(Clone, Debug)]
pub struct Supply {
    /// `PS1`.
    pub name: Template,
    /// Its voltage.
    pub voltage: Voltage,
    /// The current that it can give.
    pub current: Current,
    /// Where plus (true) and minus are connected.
    pub poles: Vec<PoleLine>,
    /// The head's place.
    pub span: Span,
}

/// A line inside a supply.
#[derive(Clone, Debug)]
pub enum PoleLine {
    /// Plus (true) or minus, and the pins that it is connected to.
    Pole(bool, Vec<Path>),
    /// Repetition.
    Each(Each<PoleLine>),
}
