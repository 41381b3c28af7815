//! How fast the parts of an analysis are.

/// How fast the parts of a circuit are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Parts {
    /// All take the shortest delays of their sheets.
    Fastest,
    /// All take the typical delays.
    Typical,
    /// All take the longest delays.
    Slowest,
    /// Each anywhere between its shortest and its longest.
    Mixed,
}

impl Parts {
    pub const ALL: [Parts; 4] = [Parts::Fastest, Parts::Typical, Parts::Slowest, Parts::Mixed];

    /// The word for a report and for the command line.
    pub fn word(self) -> &'static str {
        match self {
            Parts::Fastest => "fastest",
            Parts::Typical => "typical",
            Parts::Slowest => "slowest",
            Parts::Mixed => "mixed",
        }
    }
}
