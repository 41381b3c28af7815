//! The syntax tree: what was written, with the place of every piece, before any name means anything.
//!
//! Names are kept as [`Template`]s: text with bracketed indices in it. [`super::expand`] turns a template into the
//! flat names that it stands for.

use crate::quantity::{Length, Quantity, Temperature, Voltage};
use crate::text::{Span, Spanned};

/// One source text.
#[derive(Clone, Debug, Default)]
pub struct File {
    /// Its items in order of writing.
    pub items: Vec<Item>,
}

/// A thing that a file declares at its top.
#[derive(Clone, Debug)]
pub enum Item {
    /// `use "other file"`.
    Use(Spanned<String>),
    /// A chip model.
    Part(Part),
    /// The electrical sheet of a logic family.
    Family(Family),
    /// A printed circuit board.
    Board(Board),
    /// Boards joined by cables.
    Assembly(Assembly),
    /// Stimulus and expectations.
    Trial(Trial),
}

/// A whole word with its place.
pub type Word = Spanned<String>;

// ---- names ----------------------------------------------------------------------------------------------------

/// A name with indices: `Q[1..8]`, `/OE`, `[1..4]Y`, `phi`.
#[derive(Clone, Debug)]
pub struct Template {
    /// Text and brackets in order of writing.
    pub pieces: Vec<Piece>,
    /// Its place.
    pub span: Span,
}

/// A piece of a template.
#[derive(Clone, Debug)]
pub enum Piece {
    /// Plain characters.
    Text(String),
    /// One pair of brackets.
    Indices(Vec<Range>),
}

/// `3`, `0..7`, `i+1`, `A..D`.
#[derive(Clone, Debug)]
pub struct Range {
    /// First index.
    pub from: Index,
    /// Last index, inclusive; the range runs down when it is smaller.
    pub to: Option<Index>,
}

/// Index arithmetic.
#[derive(Clone, Debug)]
pub struct Index {
    /// The operation or leaf.
    pub kind: IndexKind,
    /// Its place.
    pub span: Span,
}

/// The forms of index arithmetic.
#[derive(Clone, Debug)]
pub enum IndexKind {
    /// A plain number.
    Number(i64),
    /// A loop variable, or a single capital letter that stands for itself.
    Name(String),
    /// Two operands.
    Binary(Box<Index>, IndexOperator, Box<Index>),
}

/// Operators between indices.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum IndexOperator {
    /// Sum.
    Add,
    /// Difference.
    Subtract,
    /// Product.
    Multiply,
    /// Quotient, rounded down.
    Divide,
    /// Remainder, never negative.
    Remainder,
}

/// `A.U1.Q3`: steps from the outermost board inwards.
#[derive(Clone, Debug)]
pub struct Path {
    /// The steps; a pin or connector pin number is text as well.
    pub steps: Vec<Template>,
    /// The whole place.
    pub span: Span,
}

/// `each i in 0..7 { ... }`.
#[derive(Clone, Debug)]
pub struct Each<T> {
    /// The loop variable.
    pub variable: Word,
    /// The values that it takes.
    pub ranges: Vec<Range>,
    /// What is repeated.
    pub body: Vec<T>,
    /// The place of the head.
    pub span: Span,
}

// ---- parts ----------------------------------------------------------------------------------------------------

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
    /// A state bit that swings by itself, at the frequency that the board gives.
    Oscillator(Template),
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

/// A line inside `on` and `while`.
#[derive(Clone, Debug)]
pub enum Store {
    /// `q = D`.
    Assign(Assign),
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
    /// A word of a memory.
    MemoryWord(Template, Expression),
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
    pub load: Option<crate::quantity::Capacitance>,
    /// The rows.
    pub rows: Vec<SheetRow>,
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
}

// ---- families -------------------------------------------------------------------------------------------------

/// The electrical sheet of a logic family.
#[derive(Clone, Debug)]
pub struct Family {
    /// `HC`.
    pub name: Word,
    /// In words.
    pub title: String,
    /// Publisher, document and date.
    pub sources: Vec<Spanned<String>>,
    /// What the numbers of each row are.
    pub columns: Vec<Column>,
    /// The supply range.
    pub supply: Option<(Voltage, Voltage)>,
    /// How its delays compare with those of other families.
    pub estimates: Vec<Estimate>,
    /// Rows by supply voltage.
    pub blocks: Vec<LevelBlock>,
    /// Remarks.
    pub notes: Vec<Spanned<String>>,
}

/// `estimate from HC 40..70 %`: how long the delays of a family are, compared with those of another one.
#[derive(Clone, Debug)]
pub struct Estimate {
    /// The family whose sheets stand in.
    pub base: Word,
    /// Least share, in thousandths of a percent.
    pub least: i64,
    /// Most share, in thousandths of a percent.
    pub most: i64,
    /// Where the shares come from.
    pub source: Option<Spanned<String>>,
}

/// `at 4.5 V { ... }` of a family.
#[derive(Clone, Debug)]
pub struct LevelBlock {
    /// Supply voltage.
    pub voltage: Voltage,
    /// The rows.
    pub rows: Vec<LevelRow>,
}

/// One electrical figure.
#[derive(Clone, Debug)]
pub struct LevelRow {
    /// `input-high`, `output-low`, ...
    pub name: Spanned<LevelName>,
    /// The current at which an output level holds.
    pub at: Option<Quantity>,
    /// One figure a column.
    pub figures: Vec<Option<Quantity>>,
    /// A source of its own, where it differs from the sheet's.
    pub source: Option<Spanned<String>>,
}

/// The electrical figures of a family.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum LevelName {
    /// Least voltage that counts as high.
    InputHigh,
    /// Most voltage that counts as low.
    InputLow,
    /// High output voltage.
    OutputHigh,
    /// Low output voltage.
    OutputLow,
    /// High voltage of a bus output.
    BusOutputHigh,
    /// Low voltage of a bus output.
    BusOutputLow,
    /// Current into an input at high.
    InputCurrentHigh,
    /// Current out of an input at low.
    InputCurrentLow,
    /// Leakage of an output that is off.
    OffCurrent,
    /// Quiescent supply current of a package.
    SupplyCurrent,
    /// Capacitance of an input.
    InputCapacitance,
    /// How much longer a delay is for so much more load at the output.
    LoadDelay,
    /// The same for the stronger outputs of bus drivers.
    BusLoadDelay,
}

// ---- boards ---------------------------------------------------------------------------------------------------

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
    /// Chips whose supply pins a capacitor stands at.
    pub decouples: Vec<Refs>,
    /// How its pins are wired.
    pub connections: Vec<Wiring>,
    /// The head's place.
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

// ---- assemblies -----------------------------------------------------------------------------------------------

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
    pub length: crate::quantity::Length,
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
    Wires(Vec<(Path, Path)>),
}

/// A bench supply.
#[derive(Clone, Debug)]
pub struct Supply {
    /// `PS1`.
    pub name: Template,
    /// Its voltage.
    pub voltage: Voltage,
    /// The current that it can give.
    pub current: crate::quantity::Current,
    /// Where plus (true) and minus are connected.
    pub poles: Vec<(bool, Path)>,
    /// The head's place.
    pub span: Span,
}

// ---- trials ---------------------------------------------------------------------------------------------------

/// One procedure: stimulus and expectations, in order.
#[derive(Clone, Debug)]
pub struct Trial {
    /// Its name.
    pub name: Word,
    /// The board or assembly that it runs on.
    pub on: Word,
    /// In words.
    pub title: String,
    /// The steps.
    pub body: Vec<Spanned<TrialStatement>>,
}

/// A step of a trial.
#[derive(Clone, Debug)]
pub enum TrialStatement {
    /// What storage holds at power-up.
    PowerUp(PowerUp),
    /// Which delays the parts take, unless the command line says otherwise.
    Corner(Corner),
    /// The temperature of all parts.
    Temperature(Spanned<Quantity>),
    /// A free-running stimulus.
    Clock {
        /// The net.
        path: Path,
        /// Its rate.
        frequency: Spanned<Quantity>,
        /// Share of the period at high, in thousandths of a percent.
        duty: Option<Spanned<Quantity>>,
    },
    /// The net whose rising edges count as clocks.
    CountClocks(Path),
    /// An image into a memory.
    Load {
        /// The chip.
        path: Path,
        /// The image file.
        file: Spanned<String>,
        /// Added to every address of the image.
        offset: i64,
    },
    /// Drive, wait, let go.
    Hold(Path, SignalValue, Duration),
    /// Drive from now on.
    Set(Path, SignalValue),
    /// Let go of what `set` drives.
    Release(Path),
    /// Push a button, wait, let go.
    Press {
        /// The button.
        path: Path,
        /// How long it stays down.
        duration: Duration,
        /// How long its contact bounces at either end.
        bounce: Option<Spanned<Quantity>>,
    },
    /// Close a switch.
    Close(Path),
    /// Open a switch.
    Open(Path),
    /// Move a changeover switch; true for up.
    Flip(Path, bool),
    /// Single pulses by hand.
    Step {
        /// The net.
        path: Path,
        /// How many.
        times: u64,
        /// From one to the next.
        every: Option<Spanned<Quantity>>,
    },
    /// Let time pass.
    RunFor(Duration),
    /// Let time pass until something is true; a failure when it does not come.
    RunUntil(Condition, Duration),
    /// Something is true now.
    Expect(Condition),
    /// Something becomes true within a window.
    ExpectWithin(Condition, Duration),
    /// Something stays true throughout a window.
    ExpectFor(Condition, Duration),
    /// Something is at no time true from here on.
    ExpectNever(Condition),
    /// The values at each edge of a strobe from here on.
    ExpectOn {
        /// Which edge.
        edge: Edge,
        /// Of which net.
        strobe: Path,
        /// What is looked at.
        signal: Path,
        /// The values in order.
        values: Vec<Spanned<i64>>,
        /// True when more may follow.
        more: bool,
    },
    /// A table of values.
    Show(ShowWhen, Vec<Field>),
    /// A remark for the report.
    Note(String),
}

/// What storage holds at power-up.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum PowerUp {
    /// Unknown until something defines it.
    Unknown,
    /// All zeros.
    Zero,
    /// All ones.
    One,
    /// From a seed.
    Random(u64),
}

/// Which of its possible delays each part takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Corner {
    /// The shortest.
    Fastest,
    /// Typical.
    Typical,
    /// The guaranteed limits.
    Slowest,
    /// Every arc of every part its own, from a seed.
    Random(u64),
}

/// A stretch of time.
#[derive(Clone, Debug)]
pub enum Duration {
    /// In seconds and their parts.
    Time(Spanned<Quantity>),
    /// In clocks.
    Clocks(u64),
}

/// A level or number that a trial drives.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SignalValue {
    /// Low.
    Low,
    /// High.
    High,
    /// A number over all bits.
    Number(i64),
}

/// Something that is true or not.
#[derive(Clone, Debug)]
pub struct Condition {
    /// Its form.
    pub kind: ConditionKind,
    /// Its place.
    pub span: Span,
}

/// The forms of a condition.
#[derive(Clone, Debug)]
pub enum ConditionKind {
    /// `x is high`.
    Is(Path, Status),
    /// `x = 5` (true), `x != 5`.
    Equals(Path, i64, bool),
    /// Not.
    Not(Box<Condition>),
    /// All of them.
    And(Vec<Condition>),
    /// One of them.
    Or(Vec<Condition>),
}

/// What a signal can be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Status {
    /// Every bit high.
    High,
    /// Every bit low.
    Low,
    /// Some bit neither high nor low.
    Unknown,
    /// Every bit high or low.
    Known,
    /// Every bit undriven.
    Off,
}

/// When a line of a `show` table is printed.
#[derive(Clone, Debug)]
pub enum ShowWhen {
    /// At each counted clock.
    EachClock,
    /// At an edge of a net.
    On(Edge, Path),
    /// At regular times.
    Every(Spanned<Quantity>),
    /// Once.
    Now,
}

/// One column of a `show` table.
#[derive(Clone, Debug)]
pub struct Field {
    /// What is shown.
    pub path: Path,
    /// How.
    pub radix: Radix,
}

/// How a number is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Radix {
    /// Base 16.
    Hex,
    /// Base 2.
    Binary,
    /// Base 10.
    Decimal,
    /// Base 10, two's complement.
    Signed,
}
