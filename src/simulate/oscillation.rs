//! Circuits that never come to rest: which outputs go round.

use super::instance::OSCILLATION_THRESHOLD;
use super::machine::Machine;
use super::number::row;
use crate::circuit::NetKey;
use crate::key::Key;
use crate::run::Oscillation;

impl Machine<'_> {
    /// Finds the loop among the outputs that have moved for so long; `last` is the one that moved last.
    pub(super) fn oscillation(&self, last: Option<u32>, without_delay: bool) -> Oscillation {
        let oscillating = |driver: &u32| self.drivers[*driver as usize].depth > OSCILLATION_THRESHOLD;
        let mut done = vec![false; self.drivers.len()];
        let mut around: Vec<u32> = last.into_iter().collect();
        for start in (0..row(self.drivers.len())).filter(oscillating) {
            // Down every path once; a path that comes back to where it has been is the loop.
            let mut path: Vec<(u32, Vec<u32>)> = vec![(start, self.followers(start))];
            while let Some((driver, rest)) = path.last_mut() {
                let Some(next) = rest.pop() else {
                    done[*driver as usize] = true;
                    path.pop();
                    continue;
                };
                if let Some(at) = path.iter().position(|(other, _)| *other == next) {
                    around = path[at..].iter().map(|(driver, _)| *driver).collect();
                    return self.oscillation_report(&around, without_delay);
                }
                if oscillating(&next) && !done[next as usize] {
                    path.push((next, self.followers(next)));
                }
            }
        }
        self.oscillation_report(&around, without_delay)
    }

    fn oscillation_report(&self, around: &[u32], without_delay: bool) -> Oscillation {
        Oscillation {
            time: self.time,
            without_delay,
            around: around.iter().map(|&driver| self.owner_path(driver)).collect(),
        }
    }

    /// The outputs that an output can move, through chips and links.
    fn followers(&self, driver: u32) -> Vec<u32> {
        let net = self.connections[driver as usize].net as usize;
        let Some(state) = self.nets.get(net) else {
            return Vec::new();
        };
        let mut followers = self.links.drivers_beyond(NetKey::from_index(net));
        let rows = state.loads.0 as usize..(state.loads.0 + state.loads.1) as usize;
        for load in &self.net_loads[rows] {
            let (instance, input) = (load.instance() as usize, load.bit());
            for (bit, arc) in self.function(instance).arcs.iter().enumerate() {
                if arc >> input & 1 == 1 {
                    followers.push(self.instances[instance].first_driver + row(bit));
                }
            }
        }
        followers
    }
}
