//! The queue of coming events: a wheel of short slots, and a heap for what lies beyond it.
//!
//! A slot is sorted once, when it begins. Events of one time come out by rising number, so that the order of a run
//! does not depend on the order of scheduling. A cancelled event stays in the queue; whoever takes it out tells it
//! from a live one by the due time that its output keeps.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// Picoseconds of a slot as a power of two: about a nanosecond, so that few events share a slot.
const SLOT_BITS: u32 = 10;
/// Slots of the wheel: 262 ns, longer than nearly every delay of these families.
const SLOTS: usize = 256;
const WORDS: usize = SLOTS / 64;

/// When, and which output.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Event {
    pub(super) time: i64,
    pub(super) out: u32,
}

/// Coming events in order of time.
#[derive(Clone, Debug)]
pub(super) struct Queue {
    slots: Vec<Vec<Event>>,
    occupied: [u64; WORDS],
    /// Number of the slot that is being emptied.
    slot: i64,
    /// Its events, sorted, and the next one to take.
    current: Vec<Event>,
    next: usize,
    far: BinaryHeap<Reverse<Event>>,
}

impl Queue {
    pub(super) fn new() -> Queue {
        Queue {
            slots: vec![Vec::new(); SLOTS],
            occupied: [0; WORDS],
            slot: 0,
            current: Vec::new(),
            next: 0,
            far: BinaryHeap::new(),
        }
    }

    /// Adds an event, at the present time or later.
    #[inline]
    pub(super) fn push(&mut self, event: Event) {
        let slot = event.time >> SLOT_BITS;
        let ahead = slot - self.slot;
        if ahead <= 0 {
            let at = self.next + self.current[self.next..].partition_point(|other| *other <= event);
            self.current.insert(at, event);
        } else if ahead < SLOTS as i64 {
            self.put(slot, event);
        } else {
            self.far.push(Reverse(event));
        }
    }

    #[inline]
    fn put(&mut self, slot: i64, event: Event) {
        let index = slot as usize % SLOTS;
        self.slots[index].push(event);
        self.occupied[index / 64] |= 1 << (index % 64);
    }

    /// The time of the next event.
    #[inline]
    pub(super) fn peek(&mut self) -> Option<i64> {
        if self.next == self.current.len() && !self.turn() {
            return None;
        }
        Some(self.current[self.next].time)
    }

    /// Takes the next event if it is at this time.
    #[inline]
    pub(super) fn pop_at(&mut self, time: i64) -> Option<u32> {
        let event = self
            .current
            .get(self.next)
            .filter(|event| event.time == time)?;
        self.next += 1;
        Some(event.out)
    }

    /// Turns the wheel to the next slot that holds events.
    fn turn(&mut self) -> bool {
        self.current.clear();
        self.next = 0;
        let near = self.next_occupied();
        let far = self
            .far
            .peek()
            .map(|Reverse(event)| event.time >> SLOT_BITS);
        let Some(slot) = near.into_iter().chain(far).min() else {
            return false;
        };
        self.slot = slot;
        while let Some(&Reverse(event)) = self.far.peek() {
            let at = event.time >> SLOT_BITS;
            if at >= slot + SLOTS as i64 {
                break;
            }
            self.far.pop();
            self.put(at, event);
        }
        let index = slot as usize % SLOTS;
        self.occupied[index / 64] &= !(1 << (index % 64));
        std::mem::swap(&mut self.current, &mut self.slots[index]);
        self.current.sort_unstable();
        true
    }

    /// The number of the first occupied slot behind the present one.
    fn next_occupied(&self) -> Option<i64> {
        let start = (self.slot + 1) as usize % SLOTS;
        for step in 0..=WORDS {
            let word = (start / 64 + step) % WORDS;
            let mut bits = self.occupied[word];
            if step == 0 {
                bits &= u64::MAX << (start % 64);
            } else if step == WORDS {
                bits &= !(u64::MAX << (start % 64));
            }
            if bits != 0 {
                let index = word * 64 + bits.trailing_zeros() as usize;
                let ahead = (index + SLOTS - start) % SLOTS;
                return Some(self.slot + 1 + ahead as i64);
            }
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn drain(queue: &mut Queue) -> Vec<Event> {
        let mut taken = Vec::new();
        while let Some(time) = queue.peek() {
            while let Some(out) = queue.pop_at(time) {
                taken.push(Event { time, out });
            }
        }
        taken
    }

    proptest! {
        /// Events pushed in any order, some of them while others are taken, come out by time and number.
        #[test]
        fn events_come_in_order(
            first in prop::collection::vec((0i64..2_000_000, 0u32..9), 1..60),
            later in prop::collection::vec((0i64..600_000, 0u32..9), 0..60),
        ) {
            let mut queue = Queue::new();
            let mut model: Vec<Event> = first.iter().map(|&(time, out)| Event { time, out }).collect();
            model.iter().for_each(|&event| queue.push(event));
            let mut later = later.into_iter();
            let mut taken = Vec::new();
            while let Some(time) = queue.peek() {
                while let Some(out) = queue.pop_at(time) {
                    taken.push(Event { time, out });
                    if let Some((delay, out)) = later.next() {
                        let event = Event { time: time + delay, out };
                        queue.push(event);
                        model.push(event);
                    }
                }
            }
            model.sort();
            taken.sort_by_key(|event| event.time);
            prop_assert!(taken.windows(2).all(|pair| pair[0].time <= pair[1].time));
            taken.sort();
            prop_assert_eq!(taken, model);
        }
    }

    #[test]
    fn far_events_wait_beyond_the_wheel() {
        let mut queue = Queue::new();
        let times = [5_000_000_000_i64, 1, 262_144, 262_143, 300, 5_000_000_001];
        for (out, &time) in times.iter().enumerate() {
            queue.push(Event {
                time,
                out: out as u32,
            });
        }
        let order: Vec<i64> = drain(&mut queue).iter().map(|event| event.time).collect();
        assert_eq!(
            order,
            [1, 300, 262_143, 262_144, 5_000_000_000, 5_000_000_001]
        );
    }
}
