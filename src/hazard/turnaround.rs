//! A line of a bus that one driver releases as another takes it: in between it may float, or both may drive it.

/// What drivers and pulls make of one line.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Pulls {
    pub(crate) one: bool,
    pub(crate) zero: bool,
    pub(crate) blur: bool,
}

impl Pulls {
    pub(crate) fn with(self, other: Pulls) -> Pulls {
        Pulls { one: self.one | other.one, zero: self.zero | other.zero, blur: self.blur | other.blur }
    }

    /// The level, when it is known; `weak` pulls where nobody drives.
    fn level(self, weak: Pulls) -> Option<bool> {
        match (self.one, self.zero, self.blur) {
            (true, false, false) => Some(true),
            (false, true, false) => Some(false),
            (false, false, false) => (weak.one != weak.zero).then_some(weak.one),
            _ => None,
        }
    }
}

/// True when a line may give a pulse while some drivers go from one drive to another, in any order; `rest` stay.
pub(crate) fn may_pulse(moved: &[[Pulls; 2]], rest: Pulls, weak: Pulls) -> bool {
    let level = |done: usize| {
        let drivers = moved.iter().enumerate();
        let all = drivers.fold(rest, |all, (at, drive)| all.with(drive[done >> at & 1]));
        all.level(weak)
    };
    let every = (1 << moved.len()) - 1;
    let (Some(from), Some(to)) = (level(0), level(every)) else {
        // What is unknown before or behind is passed on as that.
        return false;
    };
    (0..=every).any(|done| match level(done) {
        None => true,
        // Back again, though it had been there.
        Some(here) if from != to && here == to => {
            (0..moved.len()).filter(|at| done >> at & 1 == 0).any(|at| level(done | 1 << at) == Some(from))
        }
        Some(here) => here != from && here != to,
    })
}
