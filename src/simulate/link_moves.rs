//! Links follow what their nets are.

use super::driver::NEVER;
use super::links::passed;
use super::machine::Machine;
use super::number::row;
use crate::circuit::NetKey;
use crate::delay::rc_delay::RcDelay;
use crate::key::Key;
use crate::logic::Level;
impl Machine<'_> {
    /// Lets every link on a net follow its drivers. `moved` is the one that has moved; none for contacts, and at
    /// power-up.
    pub(super) fn follow_links(&mut self, net: NetKey, moved: Option<u32>) {
        // Capacitors may take another charge, which is a driver like others.
        let mut charges = false;
        for at in 0..self.links.to_rails[net].len() {
            let link = self.links.links[self.links.to_rails[net][at] as usize];
            let (near, far) =
                if link.ends[0].net == net { (link.ends[0], link.ends[1]) } else { (link.ends[1], link.ends[0]) };
            let (Some(own), Some(rail)) = (near.driver, far.rail) else {
                continue;
            };
            if let Some(rc_delay) = link.rc_delay {
                charges = true;
                self.follow_capacitor(net, own, passed(rail, link.weak), rc_delay);
            } else {
                let level = if link.closed { passed(rail, link.weak) } else { Level::Z };
                self.schedule(own, level, self.time);
            }
        }
        let Some(node) = self.links.node_of[net] else {
            return;
        };
        if !std::mem::replace(&mut self.links.is_known, true) {
            for node in 0..self.links.nets.len() {
                self.read_own(row(node));
            }
        } else if charges || !moved.is_some_and(|driver| self.links.is_inner(driver)) {
            self.read_own(node);
        }
        while let Some((driver, level)) = self.links.next_change() {
            self.schedule(driver, level, self.time);
        }
    }

    /// Lets the network know what drives a net beside the links in it.
    fn read_own(&mut self, node: u32) {
        let state = self.nets[self.links.nets[node as usize].index()];
        let rows = state.drivers.0 as usize..(state.drivers.0 + state.drivers.1) as usize;
        let drivers = self.net_drivers[rows].iter();
        let own = drivers
            .filter(|&&driver| !self.links.is_inner(driver))
            .fold(Level::Z, |level, &driver| level.resolve(self.drivers[driver as usize].now));
        self.links.network.set_own(node, own);
    }

    /// A pull against a capacitor: at once what stronger drivers make of it, slowly when they have gone high-impedance.
    fn follow_capacitor(&mut self, net: NetKey, own: u32, target: Level, rc_delay: RcDelay) {
        let state = self.nets[net.index()];
        let rows = state.drivers.0 as usize..(state.drivers.0 + state.drivers.1) as usize;
        let others = self.net_drivers[rows].iter().filter(|&&driver| driver != own);
        let others = others.fold(Level::Z, |level, &driver| level.resolve(self.drivers[driver as usize].now));
        match others {
            Level::Z if self.drivers[own as usize].due == NEVER => {
                self.schedule(own, target, self.time + rc_delay.to(target));
            }
            // Its charge is that of the stronger level, which shows once that goes high-impedance.
            Level::Zero | Level::One => self.charge(own, others.weak()),
            Level::U | Level::X | Level::Dash => self.charge(own, Level::W),
            _ => {}
        }
    }

    /// Gives a pull the level of its capacitor, which does not show while a stronger driver has the net.
    fn charge(&mut self, own: u32, level: Level) {
        let driver = &mut self.drivers[own as usize];
        let was = std::mem::replace(&mut driver.now, level);
        driver.due = NEVER;
        let counts = self.nets[self.connections[own as usize].net as usize].counts;
        self.driver_counts[counts as usize].change(was, level);
    }
}
