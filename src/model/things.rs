//! What a model stores: physical things, and what the design says of them.

use super::roster::Roster;
use crate::contents::Names;
use crate::diagnostic::Diagnostic;
use crate::image::Image;
use crate::part::family::Estimate;
use crate::part::library::Found;
use crate::part::{Family, Library, Part, PinIndex};
use crate::quantity::{Capacitance, Current, Frequency, Length, Power, Resistance, Voltage};
use crate::text::Span;
use indexmap::IndexMap;
use rustc_hash::FxBuildHasher;
use slotmap::{SecondaryMap, SlotMap};
use std::sync::Arc;

slotmap::new_key_type! {
    /// A board in place.
    pub struct BoardId;
    pub struct ChipId;
    pub struct DiscreteId;
    /// A connector of a board in place.
    pub struct ConnectorId;
    /// A copper segment.
    pub struct SegmentId;
    /// A bridge between two segments.
    pub struct BridgeId;
    pub struct CableId;
    /// A bench supply.
    pub struct SupplyId;
}

/// Things that no other one of their kind shares the name with, in order of writing.
pub(super) type Named<K> = IndexMap<Arc<str>, K, FxBuildHasher>;

/// A design as it can be edited.
#[derive(Clone, Debug, Default)]
pub struct Model {
    /// The name of the board or assembly.
    pub name: Arc<str>,
    /// True when it is an assembly.
    pub assembly: bool,
    /// The names by which values are read.
    pub(crate) names: Arc<Names>,
    pub(crate) boards: SlotMap<BoardId, Board>,
    pub(crate) chips: SlotMap<ChipId, Chip>,
    pub(crate) discretes: SlotMap<DiscreteId, Discrete>,
    pub(crate) connectors: SlotMap<ConnectorId, Connector>,
    pub(crate) segments: SlotMap<SegmentId, Segment>,
    pub(crate) bridges: SlotMap<BridgeId, [SegmentId; 2]>,
    pub(crate) cables: SlotMap<CableId, Cable>,
    pub(crate) supplies: SlotMap<SupplyId, Supply>,
    pub(crate) board_names: Named<BoardId>,
    pub(crate) cable_names: Named<CableId>,
    pub(crate) supply_names: Named<SupplyId>,
    /// The voltage that the bench gives to a rail of a board that stands alone, where it is not the declared one.
    pub(crate) bench: SecondaryMap<SegmentId, Voltage>,
    /// Rails that nothing feeds, whatever leads to them.
    pub(crate) unfed: SecondaryMap<SegmentId, ()>,
    /// Findings of checks that are meant to be.
    pub(crate) waivers: Vec<Waiver>,
    /// What is said of timing paths.
    pub(crate) paths: Vec<TimingPath>,
    /// Pins of all things together; rails, and chips at a capacitor, count as pins, because they take as much room.
    pub(super) pins: usize,
}

/// A board in place.
#[derive(Clone, Debug)]
pub struct Board {
    /// Its path: `A`; empty for a board that stands alone.
    pub path: Arc<str>,
    /// The name of its design.
    pub design: Arc<str>,
    /// What it is, in words.
    pub title: Arc<str>,
    /// The mean length of copper from one pin of a segment to the next, when its design tells it.
    pub trace: Option<Length>,
    /// Where it was put in place, or where the design begins.
    pub span: Span,
    pub(crate) chips: Roster<ChipId>,
    pub(crate) discretes: Roster<DiscreteId>,
    pub(crate) connectors: Roster<ConnectorId>,
    pub(crate) segments: Roster<SegmentId>,
}

/// What a pin is connected to.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Joint {
    /// Nothing.
    #[default]
    Free,
    /// Copper.
    Segment(SegmentId),
    /// Nothing, on purpose.
    Open,
}

impl Joint {
    /// The copper that it is connected to.
    pub fn segment(self) -> Option<SegmentId> {
        match self {
            Joint::Segment(segment) => Some(segment),
            _ => None,
        }
    }
}

/// A pin of anything.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Terminal {
    Chip(ChipId, PinIndex),
    /// Of a discrete, by its index.
    Discrete(DiscreteId, usize),
    /// Of a connector, by its index.
    Contact(ConnectorId, usize),
}

/// Copper of one board.
#[derive(Clone, Debug)]
pub struct Segment {
    pub board: BoardId,
    /// Its name there.
    pub name: Arc<str>,
    /// The voltage that the board declares for it, and where.
    pub rail: Option<(Voltage, Span)>,
    /// The pins on it: components in order of writing, then in order of their numbers. What is connected later comes
    /// last.
    pub pins: Vec<Terminal>,
    /// Where it was first written.
    pub span: Span,
}

/// A number, and what the library has for it.
#[derive(Clone, Debug)]
pub struct Device {
    /// The number as it is written: `74HC574`.
    pub number: String,
    /// Its model.
    pub part: Arc<Part>,
    /// The row of [`Part::sheets`] that it takes; `None` for a part without sheets.
    pub sheet: Option<usize>,
    /// The logic family, when the number names one: `HC`.
    pub family: Option<String>,
    /// The electrical sheet of that family, when the library has one.
    pub electrical: Option<Arc<Family>>,
    /// When the design allows an estimate, how the sheet's figures become those of the family.
    pub estimate: Option<Estimate>,
}

impl Device {
    /// What a library has found for a number.
    pub fn new(number: &str, found: Found, estimate: Option<Estimate>, library: &Library) -> Arc<Device> {
        Arc::new(Device {
            number: number.to_owned(),
            electrical: library.electrical(&found),
            part: found.part,
            sheet: found.sheet,
            family: found.family,
            estimate,
        })
    }
}

#[derive(Clone, Debug)]
pub struct Chip {
    /// The board that it stands on.
    pub board: BoardId,
    /// Its reference designator: `U1`.
    pub reference: Arc<str>,
    pub device: Arc<Device>,
    /// The frequency written beside an oscillator can.
    pub frequency: Option<Frequency>,
    /// What its memory holds from the beginning.
    pub contents: Option<InitialContents>,
    /// One joint for each pin of the part.
    pub pins: Vec<Joint>,
    pub span: Span,
}

/// The first address of contents that a chip takes, and the last one where that is said.
pub(super) type Window = (u64, Option<u64>);

/// What a memory holds from the beginning.
#[derive(Clone, Debug)]
pub struct InitialContents {
    /// The contents or the program.
    pub name: String,
    /// Which byte of each word it takes.
    pub lane: u32,
    /// The address of the contents that is the chip's address 0, and the last one that it takes, where that is said.
    pub window: Window,
    /// Where it is written.
    pub span: Span,
    /// Its bytes, at its own addresses.
    pub image: Arc<Image>,
    /// The labels of programs in it, at the chip's addresses.
    pub labels: Arc<[(u64, String)]>,
    /// What is wrong with the control words of the contents.
    pub audit: Arc<[Diagnostic]>,
}

/// A part without logic.
#[derive(Clone, Debug)]
pub struct Discrete {
    /// The board that it stands on.
    pub board: BoardId,
    /// Its reference designator.
    pub reference: Arc<str>,
    pub kind: DiscreteKind,
    /// The chips whose supply a capacitor stands at.
    pub decouples: Vec<ChipId>,
    /// The power that a resistor, or each one of a network, is rated for, when the design gives it.
    pub rating: Option<Power>,
    /// One joint for each pin, pin 1 first.
    pub pins: Vec<Joint>,
    pub span: Span,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub enum DiscreteKind {
    /// Two pins.
    Resistor(Resistance),
    /// Resistors in one package: with pin 1 common to all (true), or in pairs 1-2, 3-4, ...
    Network(Resistance, bool),
    /// Two pins.
    Capacitor(Capacitance),
    /// Anode, cathode; the resistor in series that was written with it.
    Led(String, Option<Resistance>),
    /// Two pins, joined while it is pressed.
    Button,
    /// Two pins, joined while it is closed.
    Switch,
    /// Common, up, down.
    Changeover,
    /// One pin.
    TestPoint,
}

impl DiscreteKind {
    /// The word of the language.
    pub fn word(&self) -> &'static str {
        match self {
            DiscreteKind::Resistor(_) => "resistor",
            DiscreteKind::Network(..) => "network",
            DiscreteKind::Capacitor(_) => "capacitor",
            DiscreteKind::Led(..) => "led",
            DiscreteKind::Button => "button",
            DiscreteKind::Switch => "switch",
            DiscreteKind::Changeover => "changeover",
            DiscreteKind::TestPoint => "testpoint",
        }
    }
}

/// A connector of a board in place.
#[derive(Clone, Debug)]
pub struct Connector {
    pub board: BoardId,
    /// Its name on the board.
    pub name: Arc<str>,
    /// `header-2x5`.
    pub kind: Arc<str>,
    /// Its contacts, pin 1 first, as many as its kind has.
    pub contacts: Vec<Contact>,
    pub span: Span,
}

/// One pin of a connector.
#[derive(Clone, Debug)]
pub struct Contact {
    /// Its label; `None` when the design does not speak of it.
    pub label: Option<Arc<str>>,
    /// A remark for the wiring list.
    pub remark: Option<Arc<str>>,
    /// The copper behind it.
    pub joint: Joint,
    /// Where it was written; the connector's place when it was not.
    pub span: Span,
}

/// A pin of a connector: the connector, and the index of the pin.
pub type End = (ConnectorId, usize);

#[derive(Clone, Debug)]
pub struct Cable {
    /// `W1`.
    pub name: Arc<str>,
    /// `ribbon`, `jumper`.
    pub kind: Arc<str>,
    pub length: Length,
    /// Its conductors: each joins two or more contacts.
    pub conductors: Vec<Vec<End>>,
    pub span: Span,
}

/// A bench supply.
#[derive(Clone, Debug)]
pub struct Supply {
    /// `PS1`.
    pub name: Arc<str>,
    pub voltage: Voltage,
    /// The current that it can give.
    pub current: Current,
    pub poles: Vec<Pole>,
    pub span: Span,
}

/// A pole of a supply, and the contacts that it is connected to.
#[derive(Clone, Debug)]
pub struct Pole {
    /// True for plus.
    pub plus: bool,
    pub contacts: Vec<End>,
    pub span: Span,
}

/// A finding of a check that is meant to be.
#[derive(Clone, Debug)]
pub(crate) struct Waiver {
    pub(crate) rule: String,
    /// The path of the place that its finding names.
    pub(crate) place: String,
    /// Why it is meant to be.
    pub(crate) reason: String,
    /// The board that says so; `None` for an assembly.
    pub(crate) board: Option<BoardId>,
    pub(crate) span: Span,
}

/// What is said of a timing path.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum PathKind {
    /// It is not used.
    False,
    /// It leads through a synchroniser.
    Synchroniser,
}

/// A timing path of which the design says something, by names of pins, chips and nets.
#[derive(Clone, Debug)]
pub(crate) struct TimingPath {
    pub(crate) kind: PathKind,
    /// The path of the board that says so; empty for an assembly or a board that stands alone.
    pub(crate) board: Arc<str>,
    pub(crate) from: (Vec<String>, Span),
    pub(crate) to: (Vec<String>, Span),
    pub(crate) reason: String,
    pub(crate) span: Span,
}

/// The path of a thing on a board; a board that stands alone has no path of its own.
pub(crate) fn within(board: &str, name: &str) -> String {
    if board.is_empty() { name.to_owned() } else { [board, ".", name].concat() }
}
