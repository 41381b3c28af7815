//! Voltages at rest: a few nodes, joined by resistors and by branches whose current is made of straight pieces.
//!
//! All branches let more current through at more voltage, so there is exactly one answer, at the bottom of a bowl.
//! Newton's method finds it: the pieces that count at the present voltages make a linear network, whose solution is
//! the direction to go; the step ends where the slope along the way turns.

use crate::quantity::si::{Amperes, Ohms, Siemens, Volts, Watts};

/// More rounds than this find nothing better.
const MOST_ROUNDS: usize = 200;
/// A current that is none.
const NOTHING: Amperes = Amperes(1e-12);
/// Every node leaks so much to ground.
const LEAK: Siemens = Siemens(1e-12);

/// An end of a branch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Node {
    /// Held at a voltage.
    Fixed(Volts),
    /// One of the unknown ones.
    Free(usize),
}

/// The current through a branch over the voltage across it: straight pieces, both rising. Beyond its ends go on as
/// the first and the last piece.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve {
    points: Vec<(Volts, Amperes)>,
}

impl Curve {
    /// From points of voltage and current. They are put in order; what would fall is made level.
    pub fn new(mut points: Vec<(Volts, Amperes)>) -> Curve {
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        points.dedup_by(|b, a| b.0 - a.0 < Volts(1e-9));
        for at in 1..points.len() {
            points[at].1 = points[at].1.max(points[at - 1].1);
        }
        Curve { points }
    }

    /// Of a resistance.
    pub fn resistor(ohms: Ohms) -> Curve {
        Curve::new(vec![(Volts::ZERO, Amperes::ZERO), (Volts(1.0), Volts(1.0) / ohms.max(Ohms(1e-6)))])
    }

    /// The same branch so many times, side by side.
    pub fn times(mut self, count: usize) -> Curve {
        for (_, amps) in &mut self.points {
            *amps = *amps * count as f64;
        }
        self
    }

    /// Current and conductance at a voltage.
    pub fn at(&self, volts: Volts) -> (Amperes, Siemens) {
        match self.points.as_slice() {
            [] => (Amperes::ZERO, Siemens::ZERO),
            [only] => (only.1, Siemens::ZERO),
            points => {
                let above = points.partition_point(|point| point.0 <= volts);
                let first = above.clamp(1, points.len() - 1) - 1;
                let (a, b) = (points[first], points[first + 1]);
                let slope = (b.1 - a.1) / (b.0 - a.0);
                (a.1 + slope * (volts - a.0), slope)
            }
        }
    }
}

/// A branch from one node to another.
#[derive(Clone, Debug, PartialEq)]
pub struct Branch {
    /// Where the current enters.
    pub from: Node,
    /// Where it leaves.
    pub to: Node,
    /// How much it is, over the voltage of `from` above `to`.
    pub curve: Curve,
}

impl Branch {
    /// The current through the branch when the free nodes have these voltages.
    pub fn current(&self, volts: &[Volts]) -> Amperes {
        self.curve.at(level(self.from, volts) - level(self.to, volts)).0
    }
}

fn level(node: Node, volts: &[Volts]) -> Volts {
    match node {
        Node::Fixed(level) => level,
        Node::Free(at) => volts[at],
    }
}

/// The voltages of `nodes` free nodes; `None` when no answer was found.
pub fn solve(nodes: usize, branches: &[Branch]) -> Option<Vec<Volts>> {
    let fixed = branches.iter().flat_map(|branch| [branch.from, branch.to]);
    let highest = fixed.fold(Volts::ZERO, |most, node| match node {
        Node::Fixed(level) => most.max(level),
        Node::Free(_) => most,
    });
    let mut volts = vec![highest / 2.0; nodes];
    let (mut excess, mut there) = (vec![Amperes::ZERO; nodes], vec![Volts::ZERO; nodes]);
    for _ in 0..MOST_ROUNDS {
        balance(branches, &volts, &mut excess);
        if excess.iter().all(|amps| amps.abs() < NOTHING) {
            return Some(volts);
        }
        let right = excess.iter().map(|amps| -amps.0).collect();
        let way: Vec<Volts> = gauss(slopes(branches, &volts), right)?.into_iter().map(Volts).collect();
        // The slope of the bowl along the way, which rises with every step.
        let mut slope = |share: f64| {
            for ((there, at), by) in there.iter_mut().zip(&volts).zip(&way) {
                *there = *at + *by * share;
            }
            balance(branches, &there, &mut excess);
            excess.iter().zip(&way).map(|(amps, by)| *amps * *by).sum::<Watts>()
        };
        let mut share = 1.0;
        if slope(1.0) > Watts::ZERO {
            let (mut low, mut high) = (0.0, 1.0);
            for _ in 0..60 {
                share = (low + high) / 2.0;
                if slope(share) > Watts::ZERO {
                    high = share;
                } else {
                    low = share;
                }
            }
        }
        let mut moved = Volts::ZERO;
        for (at, by) in volts.iter_mut().zip(&way) {
            *at += *by * share;
            moved = moved.max((*by * share).abs());
        }
        if moved < Volts(1e-10) {
            return Some(volts);
        }
    }
    None
}

/// For each node the sum of the currents that leave it.
fn balance(branches: &[Branch], volts: &[Volts], excess: &mut [Amperes]) {
    for (excess, volts) in excess.iter_mut().zip(volts) {
        *excess = LEAK * *volts;
    }
    for branch in branches {
        let amps = branch.current(volts);
        for (node, sign) in [(branch.from, 1.0), (branch.to, -1.0)] {
            if let Node::Free(row) = node {
                excess[row] += amps * sign;
            }
        }
    }
}

/// How the current that leaves each node changes with each voltage, in siemens.
fn slopes(branches: &[Branch], volts: &[Volts]) -> Vec<Vec<f64>> {
    let mut slopes = vec![vec![0.0; volts.len()]; volts.len()];
    for (at, row) in slopes.iter_mut().enumerate() {
        row[at] = LEAK.0;
    }
    for branch in branches {
        let across = level(branch.from, volts) - level(branch.to, volts);
        let (_, slope) = branch.curve.at(across);
        for (node, sign) in [(branch.from, 1.0), (branch.to, -1.0)] {
            let Node::Free(row) = node else { continue };
            for (other, direction) in [(branch.from, 1.0), (branch.to, -1.0)] {
                if let Node::Free(column) = other {
                    slopes[row][column] += sign * direction * slope.0;
                }
            }
        }
    }
    slopes
}

/// Gauss's elimination, the largest pivot first.
fn gauss(mut rows: Vec<Vec<f64>>, mut right: Vec<f64>) -> Option<Vec<f64>> {
    let count = right.len();
    for at in 0..count {
        let pivot = (at..count).max_by(|&a, &b| rows[a][at].abs().total_cmp(&rows[b][at].abs()))?;
        if rows[pivot][at] == 0.0 {
            return None;
        }
        rows.swap(at, pivot);
        right.swap(at, pivot);
        for below in at + 1..count {
            let share = rows[below][at] / rows[at][at];
            if share != 0.0 {
                let (above, rest) = rows.split_at_mut(below);
                for (to, from) in rest[0][at..].iter_mut().zip(&above[at][at..]) {
                    *to -= share * from;
                }
                right[below] -= share * right[at];
            }
        }
    }
    for at in (0..count).rev() {
        let known: f64 = (at + 1..count).map(|column| rows[at][column] * right[column]).sum();
        right[at] = (right[at] - known) / rows[at][at];
    }
    Some(right)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn branch(from: Node, to: Node, points: &[(f64, f64)]) -> Branch {
        let points = points.iter().map(|&(volts, amps)| (Volts(volts), Amperes(amps)));
        Branch { from, to, curve: Curve::new(points.collect()) }
    }

    fn resistor(from: Node, to: Node, ohms: f64) -> Branch {
        Branch { from, to, curve: Curve::resistor(Ohms(ohms)) }
    }

    #[test]
    fn a_divider_divides() {
        // Ohm's law: 5 V over 1 kohm and 4 kohm.
        let free = Node::Free(0);
        let branches = [resistor(Node::Fixed(Volts(5.0)), free, 1e3), resistor(free, Node::Fixed(Volts(0.0)), 4e3)];
        let volts = solve(1, &branches).expect("an answer");
        assert!((volts[0].0 - 4.0).abs() < 1e-6);
        assert!((branches[0].current(&volts).0 - 1e-3).abs() < 1e-9);
    }

    #[test]
    fn branches_side_by_side_let_their_sum_through() {
        // Kirchhoff's law of currents: three resistors of 3 kohm are one of 1 kohm.
        let three = Curve::resistor(Ohms(3e3)).times(3);
        for volts in [-1.0, 0.5, 2.0] {
            let (amps, slope) = three.at(Volts(volts));
            assert!((amps.0 - volts / 1e3).abs() < 1e-12);
            assert!((slope.0 - 1e-3).abs() < 1e-12);
        }
    }

    #[test]
    fn a_diode_takes_its_forward_voltage() {
        // A diode of 2 V and 10 ohm behind 290 ohm at 5 V: 3 V over 300 ohm is 10 mA (Ohm's law).
        let diode = [(-1.0, 0.0), (2.0, 0.0), (3.0, 0.1)];
        let free = Node::Free(0);
        let branches = [resistor(Node::Fixed(Volts(5.0)), free, 290.0), branch(free, Node::Fixed(Volts(0.0)), &diode)];
        let volts = solve(1, &branches).expect("an answer");
        assert!((branches[1].current(&volts).0 - 10e-3).abs() < 1e-9);
        // Turned round it takes nothing.
        let turned = [resistor(Node::Fixed(Volts(5.0)), free, 290.0), branch(Node::Fixed(Volts(0.0)), free, &diode)];
        let volts = solve(1, &turned).expect("an answer");
        assert!((volts[0].0 - 5.0).abs() < 1e-6);
    }

    #[test]
    fn many_kinks_on_the_way_do_not_matter() {
        // 100 diodes in series, 20 mV each, fed with 5 V through 1 kohm: 3 V over 1 kohm (Kirchhoff).
        let count = 100;
        let mut branches = vec![resistor(Node::Fixed(Volts(5.0)), Node::Free(0), 1e3)];
        for at in 0..count {
            let next = if at + 1 == count { Node::Fixed(Volts(0.0)) } else { Node::Free(at + 1) };
            branches.push(branch(Node::Free(at), next, &[(-1.0, 0.0), (0.02, 0.0), (0.021, 1.0)]));
        }
        let volts = solve(count, &branches).expect("an answer");
        assert!((branches[0].current(&volts).0 - 3e-3).abs() < 1e-5);
    }
}
