//! Weak levels, and how they run through resistors.

use super::super::Level;
use super::{Drive, End, Network};

/// What pulls a node: nothing, something down, something up, or both.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Pulls(u8);

impl Pulls {
    pub(super) const NONE: Pulls = Pulls(0);
    pub(super) const BOTH: Pulls = Pulls(3);

    /// What a level is behind a resistor.
    pub(super) fn of(level: Level) -> Pulls {
        match level.weak() {
            Level::Z => Pulls(0),
            Level::L => Pulls(1),
            Level::H => Pulls(2),
            _ => Pulls(3),
        }
    }

    /// The kinds of which there is at least one.
    pub(super) fn counted(counts: [u32; 2]) -> Pulls {
        Pulls(u8::from(counts[0] > 0) | u8::from(counts[1] > 0) << 1)
    }

    pub(super) fn level(self) -> Level {
        [Level::Z, Level::L, Level::H, Level::W][usize::from(self.0)]
    }

    pub(super) fn and(self, other: Pulls) -> Pulls {
        Pulls(self.0 & other.0)
    }

    pub(super) fn or(self, other: Pulls) -> Pulls {
        Pulls(self.0 | other.0)
    }

    pub(super) fn but(self, other: Pulls) -> Pulls {
        Pulls(self.0 & !other.0)
    }

    pub(super) fn is_none(self) -> bool {
        self == Pulls::NONE
    }

    /// One of the two kinds.
    fn one(kind: usize) -> Pulls {
        Pulls(1 << kind)
    }

    fn has(self, kind: usize) -> bool {
        self.0 >> kind & 1 == 1
    }

    /// One for each kind that is there, low and high.
    fn counts(self) -> [u32; 2] {
        [0, 1].map(|kind| u32::from(self.0 >> kind & 1))
    }
}

impl Drive {
    /// What is no longer given for sure when this drive takes the place of another one.
    fn lost(self, was: Drive) -> Pulls {
        if self.is_strong && !was.is_strong {
            return Pulls::BOTH.but(self.pulls);
        }
        was.pulls.but(self.pulls)
    }

    /// What may be given that was not, when this drive takes the place of another one.
    fn gained(self, was: Drive) -> Pulls {
        if was.is_strong && !self.is_strong {
            return Pulls::BOTH;
        }
        self.pulls.but(was.pulls)
    }
}

impl Network {
    /// What comes to an end through its resistor.
    fn passes(&self, end: End) -> Pulls {
        let from = self.supernode_at(end.other());
        if from == self.supernode_at(end) {
            return Pulls::NONE;
        }
        let from = &self.supernodes[from as usize];
        if from.drive.is_strong {
            return from.drive.pulls;
        }
        let back = self.links[end.link as usize].brings[usize::from(1 - end.side)].counts();
        let others = [0, 1].map(|kind| from.pulled[kind] - back[kind]);
        from.drive.pulls.or(Pulls::counted(others))
    }

    /// Lets a resistor bring something else to an end.
    fn bring(&mut self, end: End, pulls: Pulls) {
        let from = self.supernode_at(end.other()) as usize;
        let to = self.supernode_at(end) as usize;
        let link = &mut self.links[end.link as usize];
        let node = link.nodes[usize::from(end.side)];
        let side = usize::from(end.side);
        let was = std::mem::replace(&mut link.brings[side], pulls);
        for kind in (0..2).filter(|&kind| pulls.but(was).has(kind)) {
            self.brought += 1;
            link.since[side][kind] = self.brought;
        }
        let (was, now) = (was.counts(), pulls.counts());
        let change = |count: &mut [u32; 2]| {
            for kind in [0, 1] {
                count[kind] = count[kind] + now[kind] - was[kind];
            }
        };
        change(&mut self.supernodes[from].pulls);
        change(&mut self.supernodes[to].pulled);
        change(&mut self.nodes[node as usize].pulled);
        self.update(node);
        self.look_at(end);
    }

    /// A supernode takes what its nodes have by themselves now, and what it passes follows. `lost` and `gained` are what
    /// other supernodes may no longer pull it, and may pull it that did not.
    pub(super) fn follow_own(&mut self, number: u32, lost: Pulls, gained: Pulls) {
        let supernode = &mut self.supernodes[number as usize];
        let now = Drive::of(supernode.own.level());
        let was = std::mem::replace(&mut supernode.drive, now);
        self.suspect(number, now.lost(was).or(lost));
        self.withdraw();
        if !now.gained(was).or(gained).is_none() {
            self.doubt(number, None);
        }
    }

    /// Remembers that a supernode may have no reason any more for some of the pulls that it gives.
    fn suspect(&mut self, number: u32, lost: Pulls) {
        let supernode = &mut self.supernodes[number as usize];
        let lost = lost.and(Pulls::counted(supernode.pulls)).but(supernode.drive.pulls);
        if !lost.is_none() {
            if supernode.suspected.is_none() {
                self.suspects.push_back(number);
            }
            supernode.suspected = supernode.suspected.or(lost);
        }
    }

    /// Withdraws the pulls that have no reason any more, on and on along the resistors.
    pub(super) fn withdraw(&mut self) {
        while let Some(number) = self.suspects.pop_front() {
            let suspected = &mut self.supernodes[number as usize].suspected;
            let lost = std::mem::replace(suspected, Pulls::NONE);
            for kind in (0..2).filter(|&kind| lost.has(kind)) {
                self.withdraw_kind(number, kind);
            }
        }
    }

    /// Withdraws the pulls of a kind that a supernode, not driven so by itself, gives, but for those that another
    /// resistor was a reason for before they were given.
    fn withdraw_kind(&mut self, number: u32, kind: usize) {
        // The two earliest reasons: to each resistor goes one that is not its own.
        let mut reasons = [(u64::MAX, u32::MAX); 2];
        let supernode = &self.supernodes[number as usize];
        if !supernode.drive.is_strong && supernode.pulled[kind] > 0 {
            let nodes = supernode.nodes.iter();
            for end in nodes.flat_map(|&node| &self.nodes[node as usize].resistors) {
                let (link, side) = (&self.links[end.link as usize], usize::from(end.side));
                let reason = (link.since[side][kind], end.link);
                if !link.brings[side].has(kind) || reason >= reasons[1] {
                    continue;
                }
                reasons[1] = reason.max(reasons[0]);
                reasons[0] = reason.min(reasons[0]);
            }
        }
        for at in 0..self.supernodes[number as usize].nodes.len() {
            let node = self.supernodes[number as usize].nodes[at] as usize;
            for at in 0..self.nodes[node].resistors.len() {
                let end = self.nodes[node].resistors[at].other();
                let (reason, _) = reasons[usize::from(reasons[0].1 == end.link)];
                let since = self.links[end.link as usize].since[usize::from(end.side)][kind];
                if reason >= since {
                    self.withdraw_at(end, Pulls::one(kind));
                }
            }
        }
    }

    /// Withdraws what a resistor brings to an end; what follows from it is suspected.
    pub(super) fn withdraw_at(&mut self, end: End, lost: Pulls) {
        let brings = self.links[end.link as usize].brings[usize::from(end.side)];
        let lost = lost.and(brings);
        if lost.is_none() {
            return;
        }
        self.bring(end, brings.but(lost));
        self.unsure.push(end);
        self.suspect(self.supernode_at(end), lost);
    }

    /// Remembers that a supernode may give more to its resistors, but for one, than it does.
    fn doubt(&mut self, number: u32, but: Option<u32>) {
        for at in 0..self.supernodes[number as usize].nodes.len() {
            self.doubt_node(self.supernodes[number as usize].nodes[at], but);
        }
    }

    /// The same for the resistors of one of its nodes.
    pub(super) fn doubt_node(&mut self, node: u32, but: Option<u32>) {
        let ends = self.nodes[node as usize].resistors.iter();
        let ends = ends.filter(|end| Some(end.link) != but);
        self.unsure.extend(ends.map(|end| end.other()));
    }

    /// Brings what resistors may bring, until nothing more follows.
    pub(super) fn restore(&mut self) {
        while let Some(end) = self.unsure.pop() {
            let brings = self.links[end.link as usize].brings[usize::from(end.side)];
            let gained = self.passes(end).but(brings);
            if gained.is_none() {
                continue;
            }
            self.bring(end, brings.or(gained));
            let number = self.supernode_at(end);
            let supernode = &self.supernodes[number as usize];
            // The first pull of a kind goes to all other resistors, the second to that of the first; more are nothing new.
            let new = (0..2).any(|kind| gained.counts()[kind] > 0 && supernode.pulled[kind] <= 2);
            if new && !supernode.drive.is_strong && !gained.but(supernode.drive.pulls).is_none() {
                self.doubt(number, Some(end.link));
            }
        }
    }
}
