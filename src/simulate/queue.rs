//! The queue of coming events: a wheel of short slots, and a heap for what lies beyond it.
//!
//! A slot is sorted once, when it begins. Events of one time come out by rising number, so that the order of a run
//! does not depend on the order of scheduling. A cancelled event stays in the queue; whoever takes it out tells it
//! from a live one by the due time that its output keeps.

use crate::quantity::Time;
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// Picoseconds of a slot as a power of two: about two nanoseconds, shorter than nearly every delay.
const SLOT_BITS: u32 = 11;
/// Slots of the wheel: 262 ns, longer than nearly every delay of these families.
const SLOTS: usize = u128::BITS as usize;
/// The bits of a slot's number that tell its place in the wheel.
const LAST_SLOT: i64 = 127;
/// So many events are looked at together before they come.
pub(super) const PREFETCH: usize = 16;
/// A slot of more events than this is dealt out before it is sorted, to so many actions.
const BUCKET_SORT_FROM: usize = 128;
const BUCKET_BITS: u32 = 8;
/// The bits of a time that tell where in its slot it lies.
const WITHIN: u64 = (1 << SLOT_BITS) - 1;

/// When, and which output.
type Event = (Time, u32);

/// An event of a slot in one number, so that it is sorted at once: the time within the slot above the output.
type Packed = u64;

/// Coming events in order of time.
#[derive(Clone, Debug)]
pub(super) struct Queue {
    slots: Vec<Vec<Packed>>,
    /// A bit for each slot that holds events.
    occupied: u128,
    /// Number of the slot that is being emptied.
    slot: i64,
    /// Its events, sorted, and the next one to take.
    current: Vec<Packed>,
    next: usize,
    /// Room to sort in.
    sorted: Vec<Packed>,
    /// The first of them that nobody has looked at ahead.
    prefetched: usize,
    /// Events of the slot that came when it was sorted already.
    late: BinaryHeap<Reverse<Packed>>,
    far: BinaryHeap<Reverse<Event>>,
}

impl Queue {
    pub(super) fn new() -> Queue {
        Queue {
            slots: vec![Vec::new(); SLOTS],
            occupied: 0,
            slot: 0,
            current: Vec::new(),
            sorted: Vec::new(),
            next: 0,
            prefetched: 0,
            late: BinaryHeap::new(),
            far: BinaryHeap::new(),
        }
    }

    /// Adds the event of an output, at the present time or later.
    #[inline]
    pub(super) fn push(&mut self, time: Time, driver: u32) {
        let slot = time.ps() >> SLOT_BITS;
        let ahead = slot.wrapping_sub(self.slot);
        if (1..SLOTS as i64).contains(&ahead) {
            self.put(slot, pack(time, driver));
        } else if ahead <= 0 {
            if ahead < 0 {
                self.rewind(slot);
            }
            self.late.push(Reverse(pack(time, driver)));
        } else {
            self.far.push(Reverse((time, driver)));
        }
    }

    #[inline]
    fn put(&mut self, slot: i64, event: Packed) {
        let index = slot_index(slot);
        self.slots[index].push(event);
        self.occupied |= 1 << index;
    }

    /// The next event of the slot.
    #[inline]
    fn first(&self) -> Option<Packed> {
        let sorted = self.current.get(self.next).copied();
        if self.late.is_empty() {
            return sorted;
        }
        let late = self.late.peek().map(|&Reverse(event)| event);
        late.into_iter().chain(sorted).min()
    }

    /// The time of the next event.
    #[inline]
    pub(super) fn peek(&mut self) -> Option<Time> {
        let event = match self.first() {
            Some(event) => event,
            None => self.turn().then(|| self.current.get(self.next).copied())??,
        };
        let within = event >> u32::BITS;
        Some(Time::from_ps(self.slot << SLOT_BITS | within as i64))
    }

    /// Takes the next event if it is at this time, which [`Queue::peek`] has told.
    #[inline]
    pub(super) fn pop_at(&mut self, time: Time) -> Option<u32> {
        let event = self.first()?;
        if event >> u32::BITS != time.ps() as u64 & WITHIN {
            return None;
        }
        if self.late.is_empty() || self.current.get(self.next) == Some(&event) {
            self.next += 1;
        } else {
            self.late.pop();
        }
        Some(driver_of(event))
    }

    /// The next stretch of a long slot, when it begins: its first place and the one behind its last.
    #[inline]
    pub(super) fn upcoming(&mut self) -> Option<(usize, usize)> {
        if self.next < self.prefetched || self.current.len() < self.next + PREFETCH {
            return None;
        }
        self.prefetched = self.next + PREFETCH;
        Some((self.next, self.prefetched))
    }

    /// The outputs of the events in a stretch.
    pub(super) fn drivers(&self, first: usize, last: usize) -> impl Iterator<Item = u32> + '_ {
        self.current[first..last].iter().map(|&event| driver_of(event))
    }

    /// Bytes that the events take.
    pub(super) fn memory(&self) -> usize {
        let slots: usize = self.slots.iter().map(Vec::capacity).sum();
        (slots + self.current.capacity() + self.sorted.capacity()) * size_of::<Packed>()
            + self.far.capacity() * size_of::<Reverse<Event>>()
    }

    /// Turns the wheel to the next slot that holds events.
    fn turn(&mut self) -> bool {
        self.current.clear();
        (self.next, self.prefetched) = (0, 0);
        let near = self.next_occupied().unwrap_or(i64::MAX);
        let far = self.far.peek().map_or(i64::MAX, |Reverse((time, _))| time.ps() >> SLOT_BITS);
        let slot = near.min(far);
        if slot == i64::MAX {
            return false;
        }
        self.slot = slot;
        if far < slot + SLOTS as i64 {
            self.refill_wheel();
        }
        let index = slot_index(slot);
        self.occupied &= !(1 << index);
        std::mem::swap(&mut self.current, &mut self.slots[index]);
        if self.current.len() > BUCKET_SORT_FROM {
            self.bucket_sort();
        } else if self.current.len() > 1 {
            self.current.sort_unstable();
        }
        true
    }

    /// Sorts a long slot: its events are dealt out by time first, so that few are left to be compared.
    fn bucket_sort(&mut self) {
        let bucket = |event: Packed| (event >> u32::BITS) as usize >> (SLOT_BITS - BUCKET_BITS);
        let mut connections = [0; 1 << BUCKET_BITS];
        for &event in &self.current {
            connections[bucket(event)] += 1;
        }
        let mut first = 0;
        for place in &mut connections {
            first += std::mem::replace(place, first);
        }
        self.sorted.resize(self.current.len(), 0);
        for &event in &self.current {
            let place = &mut connections[bucket(event)];
            self.sorted[*place] = event;
            *place += 1;
        }
        std::mem::swap(&mut self.current, &mut self.sorted);
        let mut start = 0;
        for end in connections {
            self.current[start..end].sort_unstable();
            start = end;
        }
    }

    /// Takes into the wheel what was beyond it.
    fn refill_wheel(&mut self) {
        while let Some(&Reverse((time, driver))) = self.far.peek() {
            let at = time.ps() >> SLOT_BITS;
            if at >= self.slot + SLOTS as i64 {
                break;
            }
            self.far.pop();
            self.put(at, pack(time, driver));
        }
    }

    /// Turns the wheel back: somebody looked ahead to a far event, and now a nearer one comes.
    #[cold]
    fn rewind(&mut self, slot: i64) {
        let mut far = |slot: i64, event: Packed| {
            let time = Time::from_ps(slot << SLOT_BITS | (event >> u32::BITS) as i64);
            self.far.push(Reverse((time, driver_of(event))));
        };
        let late = self.late.drain().map(|Reverse(event)| event);
        for event in self.current.drain(self.next..).chain(late) {
            far(self.slot, event);
        }
        for ahead in 1..SLOTS as i64 {
            let later = self.slot + ahead;
            for event in self.slots[slot_index(later)].drain(..) {
                far(later, event);
            }
        }
        self.occupied = 0;
        self.current.clear();
        (self.next, self.prefetched) = (0, 0);
        self.slot = slot;
    }

    /// The number of the first occupied slot behind the present one.
    #[inline]
    fn next_occupied(&self) -> Option<i64> {
        let next = self.slot + 1;
        let ahead = self.occupied.rotate_right((next & LAST_SLOT) as u32);
        (ahead != 0).then(|| next + i64::from(ahead.trailing_zeros()))
    }
}

/// The place of a slot in the wheel.
#[inline]
fn slot_index(slot: i64) -> usize {
    (slot & LAST_SLOT) as usize
}

/// The driver of an event: the low half of its number.
#[inline]
fn driver_of(event: Packed) -> u32 {
    (event & 0xFFFF_FFFF) as u32
}

#[inline]
fn pack(time: Time, driver: u32) -> Packed {
    (time.ps() as u64 & WITHIN) << u32::BITS | u64::from(driver)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn drain(queue: &mut Queue) -> Vec<Event> {
        let mut taken = Vec::new();
        while let Some(time) = queue.peek() {
            while let Some(driver) = queue.pop_at(time) {
                taken.push((time, driver));
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
            let ps = Time::from_ps;
            let mut model: Vec<Event> = first.into_iter().map(|(time, driver)| (ps(time), driver)).collect();
            model.iter().for_each(|&(time, driver)| queue.push(time, driver));
            let mut later = later.into_iter();
            let mut taken = Vec::new();
            while let Some(time) = queue.peek() {
                while let Some(driver) = queue.pop_at(time) {
                    taken.push((time, driver));
                    if let Some((delay, driver)) = later.next() {
                        queue.push(time + ps(delay), driver);
                        model.push((time + ps(delay), driver));
                    }
                }
            }
            model.sort();
            prop_assert!(taken.windows(2).all(|pair| pair[0].0 <= pair[1].0));
            taken.sort();
            prop_assert_eq!(taken, model);
        }
    }

    /// A slot of many events comes out by time and number too.
    #[test]
    fn a_long_slot_comes_in_order() {
        let mut queue = Queue::new();
        let time = |at: u32| Time::from_ps_u32(at.wrapping_mul(2_654_435_761) >> 21);
        let mut events: Vec<Event> = (0..1000).map(|driver| (Time::from_ps(500_000) + time(driver), driver)).collect();
        events.iter().for_each(|&(time, driver)| queue.push(time, driver));
        events.sort_unstable();
        assert_eq!(drain(&mut queue), events);
    }

    /// A look at the next event binds nobody: an earlier one may still come.
    #[test]
    fn an_earlier_event_comes_first_after_a_look_ahead() {
        let mut queue = Queue::new();
        let ps = Time::from_ps;
        for (time, driver) in [(900_000, 1), (900_001, 2), (1_100_000, 3), (9_000_000, 4)] {
            queue.push(ps(time), driver);
        }
        assert_eq!(queue.peek(), Some(ps(900_000)));
        assert_eq!(queue.pop_at(ps(900_000)), Some(1));
        assert_eq!(queue.peek(), Some(ps(900_001)));
        queue.push(ps(5_000), 5);
        queue.push(ps(900_000), 6);
        let expected = [(5_000, 5), (900_000, 6), (900_001, 2), (1_100_000, 3), (9_000_000, 4)];
        assert_eq!(drain(&mut queue), expected.map(|(time, driver)| (ps(time), driver)));
    }

    #[test]
    fn far_events_wait_beyond_the_wheel() {
        let mut queue = Queue::new();
        let times = [5_000_000_000_i64, 1, 262_144, 262_143, 300, 5_000_000_001];
        for (driver, &time) in times.iter().enumerate() {
            queue.push(Time::from_ps(time), crate::simulate::number::row(driver));
        }
        let order: Vec<i64> = drain(&mut queue).iter().map(|event| event.0.ps()).collect();
        assert_eq!(order, [1, 300, 262_143, 262_144, 5_000_000_000, 5_000_000_001]);
    }
}
