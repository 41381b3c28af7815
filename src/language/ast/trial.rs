//! Trials: stimulus and expectations.

use super::{Edge, Machine, Named, Path, Word};
use crate::quantity::Quantity;
use crate::text::{Span, Spanned};

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
    /// Instructions at random into a memory.
    LoadRandom {
        /// The chip.
        path: Path,
        /// The instruction set.
        instructions: Word,
        /// Another seed, other instructions.
        seed: u64,
        /// Mnemonics that are left out.
        without: Vec<Word>,
    },
    /// Drive, wait, release.
    Drive(Path, SignalValue, Duration),
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
        values: Vec<TrialValue>,
        /// True when more may follow.
        more: bool,
    },
    /// A table of values.
    Show(ShowWhen, Vec<Field>),
    /// Where the registers and the memory of an instruction set are.
    Machine(Box<Machine>),
    /// Every instruction from here on does what the set says.
    Agree(Word),
    /// Clocks by routine from here on.
    Profile(Word),
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
#[derive(Clone, Debug)]
pub enum SignalValue {
    /// Low.
    Low,
    /// High.
    High,
    /// A number over all bits.
    Number(i64),
    /// The name of one.
    Named(Named),
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
    Equals(Path, TrialValue, bool),
    /// Not.
    Not(Box<Condition>),
    /// All of them.
    And(Vec<Condition>),
    /// One of them.
    Or(Vec<Condition>),
}

/// What a signal is compared with.
#[derive(Clone, Debug)]
pub enum TrialValue {
    /// A number.
    Number(Spanned<i64>),
    /// A name of a value.
    Named(Named),
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
    /// After each instruction of the machine.
    EachInstruction,
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
    pub view: View,
}

/// How a value is shown.
#[derive(Clone, Debug)]
pub enum View {
    /// As a number.
    Radix(Radix),
    /// As characters, a byte each.
    Characters,
    /// By the names of a list, or the instructions of a set.
    Names(Word),
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
