//! Circuits that never come to rest: which outputs go round.

use super::cell::LIVELY;
use super::machine::Machine;
use crate::circuit::NetKey;
use crate::key::Key;
use crate::quantity::Time;
use crate::run::Oscillation;

impl Machine<'_> {
    /// Finds the loop among the outputs that have moved for so long; `last` is the one that moved last.
    pub(super) fn oscillation(&self, last: Option<u32>, without_delay: bool) -> Oscillation {
        let lively = |out: &u32| self.outs[*out as usize].chain > LIVELY;
        let mut done = vec![false; self.outs.len()];
        let mut around: Vec<u32> = last.into_iter().collect();
        for start in (0..self.outs.len() as u32).filter(lively) {
            // Down every way once; a way that comes back to where it has been is the loop.
            let mut way: Vec<(u32, Vec<u32>)> = vec![(start, self.followers(start))];
            while let Some((out, rest)) = way.last_mut() {
                let Some(next) = rest.pop() else {
                    done[*out as usize] = true;
                    way.pop();
                    continue;
                };
                if let Some(at) = way.iter().position(|(other, _)| *other == next) {
                    around = way[at..].iter().map(|(out, _)| *out).collect();
                    return self.told_oscillation(&around, without_delay);
                }
                if lively(&next) && !done[next as usize] {
                    way.push((next, self.followers(next)));
                }
            }
        }
        self.told_oscillation(&around, without_delay)
    }

    fn told_oscillation(&self, around: &[u32], without_delay: bool) -> Oscillation {
        Oscillation {
            time: Time::from_ps(self.time),
            without_delay,
            around: around.iter().map(|&out| self.owner_path(out)).collect(),
        }
    }

    /// The outputs that an output can move, through chips and links.
    fn followers(&self, out: u32) -> Vec<u32> {
        let net = self.places[out as usize].net as usize;
        let Some(state) = self.nets.get(net) else {
            return Vec::new();
        };
        let mut followers = self.links.outs_behind(NetKey::from_index(net));
        let rows = state.listeners.0 as usize..(state.listeners.0 + state.listeners.1) as usize;
        for listener in &self.net_listeners[rows] {
            let (cell, input) = (listener.cell() as usize, listener.bit());
            for (bit, arc) in self.function(cell).arcs.iter().enumerate() {
                if arc >> input & 1 == 1 {
                    followers.push(self.cells[cell].first_out + bit as u32);
                }
            }
        }
        followers
    }
}
