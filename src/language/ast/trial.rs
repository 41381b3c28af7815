//! Trials: stimulus and expectations.

use super::{Each, Edge, Index, Machine, Named, Path, Word};
use crate::quantity::Quantity;
use crate::text::{Span, Spanned};
use std::sync::Arc;

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
    /// The procedures of the design, which its steps may do.
    pub procedures: Arc<[Procedure]>,
}

/// Steps with a name, for trials to do.
#[derive(Clone, Debug)]
pub struct Procedure {
    /// Its name.
    pub name: Word,
    /// The names of the numbers that it is given.
    pub parameters: Vec<Word>,
    /// In words.
    pub title: String,
    /// The steps.
    pub body: Vec<Spanned<TrialStatement>>,
}

/// A step of a trial.
#[derive(Clone, Debug)]
pub enum TrialStatement {
    /// The same steps for each value of a variable.
    Each(Each<Spanned<TrialStatement>>),
    /// The same steps several times.
    Repeat {
        /// How often.
        times: Index,
        /// The steps.
        body: Vec<Spanned<TrialStatement>>,
    },
    /// Stimuli that begin together.
    Together(Vec<Spanned<TrialStatement>>),
    /// The steps of a procedure.
    Do {
        /// Its name.
        name: Word,
        /// The values of its parameters.
        arguments: Vec<Index>,
    },
    /// A file of stimuli and expected values.
    Vectors {
        /// The file.
        file: Spanned<String>,
        /// How long each row stands; a clock when no time is given.
        every: Option<Spanned<Quantity>>,
    },
    /// Writes a file of vectors.
    Record {
        /// The file.
        file: Spanned<String>,
        /// When its rows are taken.
        when: ShowWhen,
        /// The signals.
        signals: Vec<Path>,
    },
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
    /// Close switches or buttons.
    Close(Vec<Path>),
    /// Open switches or buttons.
    Open(Vec<Path>),
    /// Move a changeover switch; true for up.
    Flip(Path, bool),
    /// Single pulses by hand.
    Step {
        /// The net.
        path: Path,
        /// How many.
        times: Index,
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

/// Calls back with each step, also with those in repetitions.
pub fn each_step<'s>(body: &'s [Spanned<TrialStatement>], tell: &mut dyn FnMut(&'s TrialStatement)) {
    for step in body {
        tell(&step.node);
        match &step.node {
            TrialStatement::Each(each) => each_step(&each.body, tell),
            TrialStatement::Repeat { body, .. } | TrialStatement::Together(body) => each_step(body, tell),
            _ => {}
        }
    }
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
    Clocks(Index),
}

/// A level or number that a trial drives.
#[derive(Clone, Debug)]
pub enum SignalValue {
    /// Low.
    Low,
    /// High.
    High,
    /// A number over all bits.
    Number(TrialValue),
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
    /// `x between 4.75 V and 5.25 V`.
    Between(Path, Spanned<Quantity>, Spanned<Quantity>),
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
    /// A name of a value, or a variable.
    Named(Named),
    /// Arithmetic of numbers, variables and names of single values.
    Formula(Index),
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
    /// Every LED lit.
    Lit,
    /// Every LED dark.
    Dark,
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
    /// As the voltage of a net.
    Volts,
    /// As the current of an LED.
    Current,
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
