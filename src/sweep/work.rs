//! Running the points on all cores, with the rows in order whatever their number.

use super::plan::Plan;
use super::result::{Row, Sweep};
use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc;

/// Runs all points of the plan's slice that are not among the rows that are known already. `each` is told of every new
/// row, in order of the points; when it returns a sentence the sweep ends there. A sweep that is interrupted has fewer rows
/// than points.
///
/// # Errors
/// The sentence of `each`, or that no threads can be had.
pub fn work(
    plan: &Plan<'_>,
    cores: usize,
    known: Vec<Row>,
    each: &mut dyn FnMut(&Row) -> Result<(), String>,
) -> Result<Sweep, String> {
    let done: BTreeSet<usize> = known.iter().map(|row| row.point).collect();
    let points: Vec<usize> = (plan.header().slice_points()).filter(|point| !done.contains(point)).collect();
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(cores.max(1))
        .build()
        .map_err(|error| format!("the work cannot be shared out: {error}"))?;
    let turns = turns(&points, pool.current_num_threads(), |point| plan.weight(point));
    let next = AtomicUsize::new(0);
    let stop = AtomicBool::new(false);
    let (sender, receiver) = mpsc::channel::<(usize, Row)>();
    let mut rows: Vec<Row> = Vec::with_capacity(points.len());
    let mut refused = None;
    pool.in_place_scope(|scope| {
        for _ in 0..pool.current_num_threads() {
            let (sender, next, stop) = (sender.clone(), &next, &stop);
            let (points, turns) = (&points, &turns);
            scope.spawn(move |_| {
                while !stop.load(Ordering::Relaxed) {
                    let Some(&turn) = turns.get(next.fetch_add(1, Ordering::Relaxed)) else {
                        return;
                    };
                    let Some(row) = plan.run(points[turn]) else {
                        return;
                    };
                    if sender.send((turn, row)).is_err() {
                        return;
                    }
                }
            });
        }
        drop(sender);
        let mut take = |row: Row| {
            if refused.is_none() {
                refused = each(&row).err();
                stop.store(refused.is_some(), Ordering::Relaxed);
            }
            rows.push(row);
            rows.len()
        };
        let (mut waiting, mut next): (BTreeMap<usize, Row>, usize) = (BTreeMap::new(), 0);
        for (turn, row) in receiver {
            waiting.insert(turn, row);
            while let Some(row) = waiting.remove(&next) {
                next = take(row);
            }
        }
        // Where the sweep was interrupted, some wait for one that does not come.
        waiting.into_values().for_each(|row| {
            take(row);
        });
    });
    if let Some(sentence) = refused {
        return Err(sentence);
    }
    rows.extend(known);
    rows.sort_by_key(|row| row.point);
    Ok(Sweep { header: plan.header().clone(), rows })
}

/// So many points for each core are begun the heaviest first.
const LAST: usize = 12;

/// The order in which threads take points, as places in the list: one after the other, so that rows come nearly in order
/// and few wait for their turn; but of the last ones the heaviest first, so that no core is left alone with a long run.
fn turns<W: Ord>(points: &[usize], cores: usize, weight: impl Fn(usize) -> W) -> Vec<usize> {
    let mut turns: Vec<usize> = (0..points.len()).collect();
    let last = points.len().saturating_sub(LAST.saturating_mul(cores));
    turns[last..].sort_by_key(|&turn| Reverse(weight(points[turn])));
    turns
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_point_has_a_turn_and_the_last_ones_by_weight() {
        let points: Vec<usize> = (100..140).collect();
        let order = turns(&points, 2, |point| point % 5);
        // 12 for each of two cores: the first 16 stay in order.
        assert_eq!(order[..16], (0..16).collect::<Vec<_>>());
        let weights: Vec<usize> = order[16..].iter().map(|&turn| points[turn] % 5).collect();
        assert!(weights.is_sorted_by(|a, b| a >= b), "{weights:?}");
        let mut all = order;
        all.sort_unstable();
        assert_eq!(all, (0..40).collect::<Vec<_>>());
        assert_eq!(turns(&points[..3], usize::MAX, |point| point), [2, 1, 0]);
    }
}
