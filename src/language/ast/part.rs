//! Parts: packages, functions, tables and data sheets.

use super::{Each, LevelRow, Template, Word};
use crate::quantity::{Capacitance, Quantity, Temperature, Voltage};
use crate::text::{Span, Spanned};

/// A chip model.
#[derive(Clone, Debug)]
pub struct Part {
    /// Its number without family: `574`, `62256`.
    pub name: Word,
    /// What it is, in words.
    pub title: String,
    /// The body.
    pub body: Vec<PartStatement>,
}

/// A statement of a part.
#[derive(Clone, Debug)]
pub enum PartStatement {
    /// The package and its pins.
    Package(Package),
    /// Stored bits.
    State(Vec<Template>),
    /// A memory array.
    Memory(Memory),
    /// A state bit that swings by itself, at the frequency that the board gives; or an input that swings by itself
    /// when a resistor and a capacitor stand at two pins.
    Oscillator(Template, Option<TimingPins>),
    /// Stored bits that fall back to 0 by themselves, perhaps after a time that a resistor and a capacitor give.
    Timer(Vec<Template>, Option<TimingPins>),
    /// Stored bits that the chip sets to 0 when power comes.
    PowerUpZero(Vec<Template>),
    /// A named inner signal.
    Node(Template, Expression),
    /// Edge-triggered storage.
    On(OnBlock),
    /// Level-sensitive storage.
    While(WhileBlock),
    /// A use that the maker forbids or the model does not cover.
    Forbid(Expression, Spanned<String>),
    /// What an output is.
    Assign(Assign),
    /// The published function table.
    Table(Table),
    /// One family or grade.
    Sheet(Sheet),
    /// Repetition.
    Each(Each<PartStatement>),
    /// A remark for the reader of the part's page.
    Note(Spanned<String>),
}

/// A package with its pins.
#[derive(Clone, Debug)]
pub struct Package {
    /// `DIP20`.
    pub name: Word,
    /// Its pins in order of writing.
    pub pins: Vec<PackagePin>,
}

/// One line of a package.
#[derive(Clone, Debug)]
pub struct PackagePin {
    /// Pin numbers in order.
    pub numbers: PinNumbers,
    /// Their names.
    pub name: Template,
    /// What they are.
    pub kind: PinKind,
    /// True for an input with hysteresis.
    pub schmitt: bool,
}

/// `2..9`, `3, 4, 7, 8`.
#[derive(Clone, Debug)]
pub struct PinNumbers {
    /// The numbers as they were listed, ranges laid out.
    pub numbers: Vec<u32>,
    /// Their place.
    pub span: Span,
}

/// What a pin is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum PinKind {
    /// An input.
    In,
    /// A push-pull output.
    Out,
    /// An output that can be switched off.
    ThreeState,
    /// An output that only pulls low (also open collector).
    OpenDrain,
    /// Input and three-state output.
    InOut,
    /// Where a resistor or a capacitor stands that gives a time.
    Timing,
    /// Positive supply.
    Power,
    /// Ground.
    Ground,
    /// Not connected inside.
    None,
}

/// A memory array: `memory cells 32768 x 8 blank 0xFF`.
#[derive(Clone, Debug)]
pub struct Memory {
    /// Its name in expressions.
    pub name: Template,
    /// Number of words.
    pub words: u64,
    /// Bits a word.
    pub width: u32,
    /// What a word holds before it is loaded or written; unknown when not given.
    pub blank: Option<u64>,
    /// The whole line.
    pub span: Span,
}

/// `on rise CLK { ... }`.
#[derive(Clone, Debug)]
pub struct OnBlock {
    /// Which edge.
    pub edge: Edge,
    /// The pin or node.
    pub trigger: Template,
    /// What is stored.
    pub body: Vec<Store>,
}

/// `while CLR { ... }`.
#[derive(Clone, Debug)]
pub struct WhileBlock {
    /// While this is true,
    pub condition: Expression,
    /// this is stored.
    pub body: Vec<Store>,
}

/// `at REXT CEXT`: where the parts stand that give a time.
#[derive(Clone, Debug)]
pub struct TimingPins {
    /// The pin of the resistor.
    pub resistor: Template,
    /// The pin of the capacitor.
    pub capacitor: Template,
}

/// `when A = 5 { ... }` inside `on` and `while`.
#[derive(Clone, Debug)]
pub struct WhenBlock {
    /// Only if this is true,
    pub condition: Expression,
    /// this is stored.
    pub body: Vec<Store>,
}

/// A line inside `on` and `while`.
#[derive(Clone, Debug)]
pub enum Store {
    /// `q = D`.
    Assign(Assign),
    /// `start busy`.
    Start(Vec<Template>),
    /// What is stored only under a condition.
    When(WhenBlock),
    /// Repetition.
    Each(Each<Store>),
}

/// An edge of a signal.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Edge {
    /// Low to high.
    Rise,
    /// High to low.
    Fall,
}

/// `target = value`.
#[derive(Clone, Debug)]
pub struct Assign {
    /// What is set.
    pub target: Target,
    /// To what.
    pub value: Expression,
}

/// The left side of an assignment.
#[derive(Clone, Debug)]
pub enum Target {
    /// One name, or several, the most significant first.
    Names(Vec<Template>),
    /// A word of a memory, or the stretch of so many words that it lies in.
    MemoryWord(Template, Expression, Option<Spanned<u64>>),
}

/// A formula over pins, states and nodes.
#[derive(Clone, Debug)]
pub struct Expression {
    /// The operation or leaf.
    pub kind: ExpressionKind,
    /// Its place.
    pub span: Span,
}

/// The forms of a formula. A vector's most significant bit is the one with the highest index.
#[derive(Clone, Debug)]
pub enum ExpressionKind {
    /// A constant, as wide as its place needs.
    Number(u64),
    /// The output lets go.
    Off,
    /// A level that the sheet leaves open.
    Unknown,
    /// A pin, state or node.
    Name(Template),
    /// `(a, b)`: joined, the most significant first. One element is a plain pair of parentheses.
    Group(Vec<Expression>),
    /// One operand.
    Unary(UnaryOperator, Box<Expression>),
    /// Two operands.
    Binary(Box<Expression>, BinaryOperator, Box<Expression>),
    /// `a when c else b`.
    When {
        /// The value if the condition holds.
        yes: Box<Expression>,
        /// The condition, one bit.
        condition: Box<Expression>,
        /// The value otherwise.
        no: Box<Expression>,
    },
}

/// Operators on one operand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum UnaryOperator {
    /// Every bit inverted.
    Not,
    /// One-of-n: bit k of the result is 1 when the operand is k.
    Decode,
    /// 1 when every bit is 1.
    All,
    /// 1 when some bit is 1.
    Any,
    /// 1 when an odd number of bits is 1.
    Odd,
}

/// Operators on two operands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BinaryOperator {
    /// Bitwise and.
    And,
    /// Bitwise or.
    Or,
    /// Bitwise exclusive or.
    Xor,
    /// Sum, at the width of its target.
    Add,
    /// Difference, at the width of its target.
    Subtract,
    /// 1 when equal.
    Equal,
    /// 1 when different.
    Differs,
    /// Unsigned less.
    Less,
    /// Unsigned greater.
    Greater,
    /// `vector at address`: one bit of a vector, or one word of a memory.
    At,
}

/// A published function table.
#[derive(Clone, Debug)]
pub struct Table {
    /// Lines of cells; the first is the heading.
    pub lines: Vec<TableLine>,
    /// The whole block.
    pub span: Span,
}

/// One line of a table: the cells before and behind the bar.
#[derive(Clone, Debug)]
pub struct TableLine {
    /// Inputs.
    pub inputs: Vec<Word>,
    /// Outputs.
    pub outputs: Vec<Word>,
    /// The line's place.
    pub span: Span,
}

/// One family's (or speed grade's) data sheet.
#[derive(Clone, Debug)]
pub struct Sheet {
    /// `HC`, or a grade such as `70`.
    pub name: Word,
    /// True when it was written as `grade`.
    pub grade: bool,
    /// Publisher, document and date, one or several.
    pub sources: Vec<Spanned<String>>,
    /// What the numbers of each row are.
    pub columns: Vec<Column>,
    /// The rows, by supply voltage and load.
    pub blocks: Vec<AtBlock>,
    /// Remarks.
    pub notes: Vec<Spanned<String>>,
}

/// What one number of each row is.
#[derive(Clone, Debug)]
pub struct Column {
    /// Least, typical or guaranteed.
    pub kind: ColumnKind,
    /// Coldest and hottest temperature that it holds for.
    pub temperature: (Temperature, Temperature),
    /// Its place.
    pub span: Span,
}

/// Kinds of columns.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum ColumnKind {
    /// The shortest delay that the maker guarantees.
    Min,
    /// Typical.
    Typ,
    /// The guaranteed limit: the longest delay, or the least setup, hold, width or rate that the part needs.
    Limit,
}

/// `at 4.5 V 50 pF { ... }`.
#[derive(Clone, Debug)]
pub struct AtBlock {
    /// Supply voltage.
    pub voltage: Voltage,
    /// Load capacitance, where the figures depend on it.
    pub load: Option<Capacitance>,
    /// The rows.
    pub rows: Vec<SheetRow>,
    /// Electrical figures that take the place of the family's.
    pub levels: Vec<LevelRow>,
    /// The place of the head.
    pub span: Span,
}

/// One row of a sheet.
#[derive(Clone, Debug)]
pub struct SheetRow {
    /// What it says.
    pub kind: RowKind,
    /// One figure a column; `None` where the sheet gives none.
    pub figures: Vec<Option<Quantity>>,
    /// A source of its own, where it differs from the sheet's.
    pub source: Option<Spanned<String>>,
    /// The whole row.
    pub span: Span,
}

/// What a row says.
#[derive(Clone, Debug)]
pub enum RowKind {
    /// Propagation delay; the edge is the output's.
    Delay(Vec<Template>, Vec<Template>, Option<Edge>),
    /// Enable time; the level is the one that the output takes.
    Enable(Vec<Template>, Vec<Template>, Option<bool>),
    /// Disable time; the level is the one that the output leaves.
    Disable(Vec<Template>, Vec<Template>, Option<bool>),
    /// How long an output stays good after an input moved; then it is unknown until its delay has passed.
    OutputHold(Vec<Template>, Vec<Template>),
    /// Data before a reference edge.
    Setup(Vec<Template>, Template, Edge),
    /// Data after a reference edge.
    Hold(Vec<Template>, Template, Edge),
    /// An asynchronous input inactive before a reference edge.
    Recovery(Vec<Template>, Template, Edge),
    /// A chip select active before a reference edge.
    Select(Vec<Template>, Template, Edge),
    /// Least pulse width; true for high pulses.
    Width(Vec<Template>, bool),
    /// Highest rate.
    Rate(Vec<Template>),
    /// Must not move while a node is true.
    Stable(Vec<Template>, Template),
    /// Switching threshold of a Schmitt input.
    Threshold(Vec<Template>, Edge),
    /// Time from power to the first swing of an oscillator.
    StartUp(Template),
    /// Power dissipation capacitance.
    PowerCapacitance(Share),
    /// What each of these inputs adds to the supply current at a TTL high level.
    ExtraSupplyCurrent(Vec<Template>),
    /// How long a timer runs, or the period of an oscillator that runs from a resistor and a capacitor.
    Duration(Vec<Template>, DurationTerms),
}

/// What stands between the names and the figures of a `duration` row.
#[derive(Clone, Debug, Default)]
pub struct DurationTerms {
    /// The values of resistors or capacitors that it holds for, each from the least to the most, if there is one.
    pub ranges: Vec<Spanned<(Quantity, Option<Quantity>)>>,
    /// A resistance that is added to the resistor.
    pub plus: Option<Spanned<Quantity>>,
}

/// What one power dissipation capacitance stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Share {
    /// A gate or an inverter.
    Gate,
    /// A buffer.
    Buffer,
    /// A channel of a transceiver.
    Transceiver,
    /// A flip-flop.
    FlipFlop,
    /// A multiplexer.
    Multiplexer,
    /// The whole chip.
    Package,
}
