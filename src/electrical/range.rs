//! Values that are not known exactly.

use crate::quantity::si::SheetUnit;

/// From the least to the most.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range<U> {
    pub least: U,
    pub most: U,
}

impl<U: SheetUnit> Range<U> {
    pub(super) fn of(value: U) -> Range<U> {
        Range { least: value, most: value }
    }

    pub(super) fn take(&mut self, value: U) {
        self.least = U::from_number(self.least.number().min(value.number()));
        self.most = U::from_number(self.most.number().max(value.number()));
    }
}
