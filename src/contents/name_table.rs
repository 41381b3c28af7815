//! A list of names by which values are read.

/// Values from one to another, both included.
pub type Ranges = Vec<(u64, u64)>;

/// A list of names, or an instruction set, by which values are read.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct NameTable {
    /// What it is called.
    pub name: String,
    /// Each name once, with the values that it stands for, in order of writing.
    pub entries: Vec<(String, Ranges)>,
}

impl NameTable {
    /// Adds values to a name.
    pub(super) fn add(&mut self, name: &str, first: u64, last: u64) {
        match self.entries.iter_mut().find(|(other, _)| other == name) {
            Some((_, ranges)) if ranges.contains(&(first, last)) => {}
            Some((_, ranges)) => ranges.push((first, last)),
            None => self.entries.push((name.to_owned(), vec![(first, last)])),
        }
    }

    /// The names of a value, `/` between several; nothing when it has none.
    pub fn word(&self, value: u64) -> Option<String> {
        let names = self.entries.iter().filter(|(_, ranges)| holds(ranges, value));
        let names: Vec<&str> = names.map(|(name, _)| name.as_str()).collect();
        (!names.is_empty()).then(|| names.join("/"))
    }

    pub(super) fn get(&self, name: &str) -> Option<&Ranges> {
        let found = self.entries.iter().find(|(other, _)| other == name);
        found.map(|(_, ranges)| ranges)
    }
}

/// True when a value is among the ranges.
pub fn holds(ranges: &Ranges, value: u64) -> bool {
    ranges.iter().any(|&(first, last)| first <= value && value <= last)
}
