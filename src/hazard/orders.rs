//! Pulses of a gate whose inputs move in one step, in any order.
//!
//! Its output is free of pulses when it goes from its old level to its new one without coming back, whichever order that is
//! (E. B. Eichelberger, "Hazard detection in combinational and sequential switching circuits", 1965).

/// The outputs that may give a pulse while a piece goes from one row of its table to another, by trying all orders;
/// `unsure` inputs may have had a pulse themselves.
pub(crate) fn pulses_by_orders(
    mut row: impl FnMut(u64) -> u32,
    (old, new): (u64, u64),
    unsure: u64,
    guarded: u64,
) -> u64 {
    let mut row = |index: u64| u64::from(row(index));
    let moved = new ^ old;
    let free = moved | unsure;
    let base = new & !free;
    let (from, to) = (row(base | old & free), row(base | new & free));
    let guarded = guarded | guarded << 16;
    let goes = (from ^ to) & guarded != 0;
    let mut pulses = 0;
    let mut subset = free;
    loop {
        let here = row(base | subset);
        // A level that is neither the old nor the new one.
        pulses |= !(from ^ to) & (here ^ from);
        let progress = (subset ^ old) & moved;
        let mut rest = if goes { free } else { 0 };
        while rest != 0 {
            let line = rest.trailing_zeros();
            rest &= rest - 1;
            let further = (subset ^ 1 << line) & free;
            let progress_then = (further ^ old) & moved;
            // From the new level back to the old one, though nothing went back; an unsure line goes both ways.
            if progress & !progress_then == 0 {
                let there = row(base | further);
                pulses |= (from ^ to) & !(here ^ to) & !(there ^ from);
            }
        }
        if subset == 0 {
            break;
        }
        subset = (subset - 1) & free;
    }
    (pulses | pulses >> 16) & 0xFFFF
}
