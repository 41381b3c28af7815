//! Running the points on all cores, with the rows in order whatever their number.

use super::plan::Plan;
use super::result::{Row, Sweep};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc;

/// Runs all points of the plan's slice that are not among the rows that are known already. `each` is told of every new
/// row, in order of the points; when it returns a sentence the sweep ends there.
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
    let points: Vec<usize> = (plan.header().slice_points())
        .filter(|point| !done.contains(point))
        .collect();
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(cores.max(1))
        .build()
        .map_err(|error| format!("the work cannot be shared out: {error}"))?;
    // Threads take one point after the other, so that rows come nearly in order and few wait for their turn.
    let next = AtomicUsize::new(0);
    let stop = AtomicBool::new(false);
    let (sender, receiver) = mpsc::channel::<(usize, Row)>();
    let mut rows: Vec<Row> = Vec::with_capacity(points.len());
    let mut refused = None;
    pool.in_place_scope(|scope| {
        for _ in 0..pool.current_num_threads() {
            let (sender, points, next, stop) = (sender.clone(), &points, &next, &stop);
            scope.spawn(move |_| {
                while !stop.load(Ordering::Relaxed) {
                    let turn = next.fetch_add(1, Ordering::Relaxed);
                    let Some(&point) = points.get(turn) else {
                        return;
                    };
                    if sender.send((turn, plan.run(point))).is_err() {
                        return;
                    }
                }
            });
        }
        drop(sender);
        let mut waiting: BTreeMap<usize, Row> = BTreeMap::new();
        for (turn, row) in receiver {
            waiting.insert(turn, row);
            while let Some(row) = waiting.remove(&rows.len()) {
                if refused.is_none() {
                    refused = each(&row).err();
                    stop.store(refused.is_some(), Ordering::Relaxed);
                }
                rows.push(row);
            }
        }
    });
    if let Some(sentence) = refused {
        return Err(sentence);
    }
    rows.extend(known);
    rows.sort_by_key(|row| row.point);
    Ok(Sweep {
        header: plan.header().clone(),
        rows,
    })
}
