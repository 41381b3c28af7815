//! Boards: rails, connectors, components and their wiring.

use super::{Each, Path, PinNumbers, Template, Word};
use crate::quantity::{Length, Quantity, Voltage};
use crate::text::{Span, Spanned};

/// A printed circuit board.
#[derive(Clone, Debug)]
pub struct Board {
    /// Its name.
    pub name: Word,
    /// What it is, in words.
    pub title: String,
    /// The body.
    pub body: Vec<BoardStatement>,
}

/// `U3.Q1 to U9.D "reason"`: what is said of a way from one place to another.
#[derive(Clone, Debug)]
pub struct Way {
    /// Pins, chips or nets that it comes from.
    pub from: Path,
    /// Pins, chips or nets that it leads to.
    pub to: Path,
    /// Why that is so.
    pub reason: String,
    /// The whole statement.
    pub span: Span,
}

/// A statement of a board.
#[derive(Clone, Debug)]
pub enum BoardStatement {
    /// A supply net.
    Rail(Rail),
    /// The mean length of copper from one pin of a net to the next.
    Trace(Length),
    /// Which chips are powered, and from where.
    Feed(Feed),
    /// A connector with labelled pins.
    Connector(Connector),
    /// A chip, resistor, LED, ...
    Component(Component),
    /// Repetition.
    Each(Each<BoardStatement>),
    /// A path of signals that is not used.
    Unused(Way),
    /// Two flip-flops, of which the second takes from the first what comes at any time.
    Synchroniser(Way),
    /// A remark.
    Note(Spanned<String>),
    /// A finding that is meant to be.
    Accept(Acceptance),
}

/// `accept memory-unreachable at U1 "four tunes are enough"`.
#[derive(Clone, Debug)]
pub struct Acceptance {
    /// The rule.
    pub rule: Word,
    /// The place that its finding names.
    pub place: Path,
    /// Why it is meant to be.
    pub reason: Spanned<String>,
}

/// `rail VCC 5 V`.
#[derive(Clone, Debug)]
pub struct Rail {
    /// The net.
    pub name: Template,
    /// Its voltage; 0 V when not given.
    pub voltage: Voltage,
}

/// `feed U1..U3 from VCC GND`.
#[derive(Clone, Debug)]
pub struct Feed {
    /// The chips.
    pub refs: Vec<Refs>,
    /// The rail for their power pins.
    pub power: Template,
    /// The rail for their ground pins.
    pub ground: Template,
}

/// `U1..U3`, `D[0..7]`, `U4`.
#[derive(Clone, Debug)]
pub struct Refs {
    /// First.
    pub from: Template,
    /// Last, for a range over the trailing number.
    pub to: Option<Template>,
}

/// A connector.
#[derive(Clone, Debug)]
pub struct Connector {
    /// `BUS`.
    pub name: Template,
    /// `header-2x5`, `terminal-1x2`.
    pub kind: Word,
    /// Its labelled pins.
    pub pins: Vec<ConnectorPin>,
}

/// One line of a connector.
#[derive(Clone, Debug)]
pub struct ConnectorPin {
    /// Pin numbers.
    pub numbers: PinNumbers,
    /// Labels; `None` for a pin that is left open on purpose.
    pub label: Option<Template>,
    /// The nets behind them; the labels' own names when not given.
    pub nets: Option<Nets>,
    /// A remark for the wiring list.
    pub remark: Option<Spanned<String>>,
}

/// A part, or a row of alike two-pin parts.
#[derive(Clone, Debug)]
pub struct Component {
    /// Reference designators.
    pub refs: Refs,
    /// `74HC574`, `resistor`, `led`, ...
    pub kind: Word,
    /// `10 kohm`, `red`, `bussed`.
    pub values: Vec<Spanned<Value>>,
    /// What a memory holds from the beginning.
    pub holds: Option<Box<Holding>>,
    /// Chips whose supply pins a capacitor stands at.
    pub decouples: Vec<Refs>,
    /// How its pins are wired.
    pub connections: Vec<Wiring>,
    /// The head's place.
    pub span: Span,
}

/// `holds control lane 1 from 0x8000 to 0xFFFF`.
#[derive(Clone, Debug)]
pub struct Holding {
    /// The contents or the program.
    pub name: Word,
    /// Which byte of each word.
    pub lane: Option<Spanned<u32>>,
    /// The address of the contents that is the chip's address 0, and the last one that it takes.
    pub window: Option<(Spanned<i64>, Option<Spanned<i64>>)>,
    /// The whole place.
    pub span: Span,
}

/// A value of a component.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    /// With its unit.
    Quantity(Quantity),
    /// Of an LED.
    Colour(String),
    /// Resistor network with one common pin (true), or of separate resistors.
    Bussed(bool),
    /// Number of pins.
    Pins(u32),
    /// A chip without a sheet may take an estimate of its family.
    Estimated,
}

/// A line inside a component.
#[derive(Clone, Debug)]
pub enum Wiring {
    /// `D[1..8] = m[0..7]`.
    Connection(Connection),
    /// Repetition.
    Each(Each<Wiring>),
}

/// Pins and their nets.
#[derive(Clone, Debug)]
pub struct Connection {
    /// By number or by name.
    pub pins: PinChoice,
    /// The nets: one for each pin in order, or one for all.
    pub nets: Nets,
    /// The whole line.
    pub span: Span,
}

/// Pins by number or by name.
#[derive(Clone, Debug)]
pub enum PinChoice {
    /// `1`, `2..9`.
    Numbers(PinNumbers),
    /// `D[1..8]`.
    Names(Template),
}

/// Nets on the right side.
#[derive(Clone, Debug)]
pub enum Nets {
    /// `open`: left unconnected on purpose.
    Open(Span),
    /// One or several templates, in order.
    Named(Vec<Template>),
}
