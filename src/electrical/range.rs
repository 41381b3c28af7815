//! Values that are not known exactly.

/// From the least to the most: volts or amperes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range {
    /// The least.
    pub least: f64,
    /// The most.
    pub most: f64,
}

impl Range {
    pub(super) fn of(value: f64) -> Range {
        Range { least: value, most: value }
    }

    pub(super) fn take(&mut self, value: f64) {
        self.least = self.least.min(value);
        self.most = self.most.max(value);
    }
}
