//! Levels of nets packed in words, and who depends on them.

use crate::logic::Word;

/// No row.
pub(super) const NONE: u32 = u32::MAX;

/// Nothing is due.
pub(super) const NEVER: i64 = i64::MAX;

/// The signal of the rails: low in bit 0, high in bit 1.
pub(super) const RAILS: u32 = 0;

/// The sets of nodes, for 64 places in a line of cache.
#[derive(Clone, Copy, Debug, Default)]
#[repr(align(64))]
pub(super) struct Sets(pub(super) [u64; 6]);

/// Nodes that have to look.
pub(super) const DIRTY: usize = 0;

/// Storage whose data has moved.
pub(super) const ARMED: usize = 1;

/// Plain registers whose clock has come.
pub(super) const TICKED: usize = 2;

/// Storage of which a control has moved in any other way.
pub(super) const TOUCHED: usize = 3;

/// Registers whose clears and presets are known to rest.
pub(super) const PLAIN: usize = 4;

/// Storage that follows its data now.
pub(super) const OPEN: usize = 5;

/// The levels of up to 64 nets, or the stored bits of a unit. What is needed whenever it moves comes first, in a line of
/// cache.
#[derive(Clone, Copy, Debug, Default)]
#[repr(C, align(64))]
pub(super) struct Signal {
    pub(super) now: Word,
    pub(super) wave: u64,
    pub(super) moment: u64,
    /// Bits that moved in that moment.
    pub(super) moved: u64,
    /// Pieces that look their outputs up by its bits.
    pub(super) taps: (u32, u32),
    pub(super) listeners: (u32, u32),
    /// Where those of them begin that hear only of what is unknown.
    pub(super) blurs: u32,
    /// True when somebody outside looks at one of its nets.
    pub(super) noted: bool,
    /// Before the wave in which it moved last.
    pub(super) was: Word,
    /// Before the moment in which it moved last.
    pub(super) origin: Word,
    /// Bits that clock, clear, enable or write something.
    pub(super) controls: u64,
    /// Bits that may have had a pulse in the wave `glitch_wave`.
    pub(super) glitches: u64,
    pub(super) glitch_wave: u64,
}

impl Signal {
    /// Takes new levels; tells which bits that control something move for the second time in a moment.
    #[inline(always)]
    pub(super) fn follow(&mut self, word: Word, moved: u64, (wave, moment): (u64, u64)) -> u64 {
        let old = std::mem::replace(&mut self.now, word);
        let mut twice = 0;
        if self.moment == moment {
            if self.wave != wave {
                twice = moved & self.moved & self.controls;
                (self.wave, self.was) = (wave, old);
            }
            self.moved |= moved;
        } else {
            (self.moment, self.origin, self.moved) = (moment, old, moved);
            (self.wave, self.was) = (wave, old);
        }
        twice
    }
}

/// Which movements a listener waits for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Hears {
    Any = 0,
    Rise = 1,
    Fall = 2,
    /// From or to unknown.
    Blur = 3,
}

/// Bits of a set that are set when some bits of a signal move.
#[derive(Clone, Copy, Debug)]
pub(super) struct Listener {
    pub(super) bits: u64,
    pub(super) mask: u64,
    pub(super) word: u32,
    pub(super) set: u8,
    pub(super) hears: Hears,
}

/// Bits of one signal on their way into what a row knows.
#[derive(Clone, Copy, Debug)]
pub(super) struct Tap {
    /// In their places there.
    pub(super) mask: u64,
    /// The row, which is a place in the sets.
    pub(super) place: u32,
    pub(super) turn: u32,
    /// The word of that place, and its bit there.
    pub(super) word: u32,
    pub(super) bit: u64,
}

/// Bits of one signal on their way into a gathered word.
#[derive(Clone, Copy, Debug)]
pub(super) struct Segment {
    pub(super) signal: u32,
    pub(super) turn: u32,
    pub(super) mask: u64,
}
