//! What a trial reads from voltages and currents.

use super::Binder;
use crate::circuit::{DiscreteKey, DiscreteKind, Signal};
use crate::diagnostic::Diagnostic;
use crate::electrical::Meter;
use crate::language::ast::{Path, Radix};
use crate::quantity::{Quantity, Voltage};
use crate::text::Spanned;
use crate::trial::reading::Reading;
use std::sync::Arc;

impl Binder<'_> {
    /// The LEDs of a path, the most significant first; `None` when it names no discretes.
    pub(super) fn leds(&mut self, path: &Path) -> Option<Vec<DiscreteKey>> {
        let names = self.scope.paths(path).ok()?;
        let keys: Option<Vec<DiscreteKey>> = names.iter().map(|name| self.circuit.discrete(name)).collect();
        let mut keys = keys?;
        let is_led = |key: &DiscreteKey| matches!(self.circuit.discretes[*key].kind, DiscreteKind::Led(..));
        if !keys.iter().all(is_led) {
            return None;
        }
        if let (Some(first), Some(last)) = (names.first(), names.last())
            && crate::language::expand::natural_order(first, last) == std::cmp::Ordering::Less
        {
            keys.reverse();
        }
        Some(keys)
    }

    /// True for a path that names LEDs, and no signal.
    pub(super) fn is_leds(&mut self, path: &Path) -> bool {
        self.circuit.signal_at(path, &self.scope).is_err() && self.leds(path).is_some()
    }

    /// LEDs that are read as lit or dark, with the nets that decide.
    pub(super) fn lit(&mut self, path: &Path, radix: Radix) -> Option<(Signal, Reading)> {
        let Some(keys) = self.leds(path) else {
            let name = self.sources.slice(path.span);
            self.problems.push(
                Diagnostic::error("no-led", format!("`{name}` is no LED"))
                    .at(path.span, "only an LED is lit or dark")
                    .help("name one LED or a row of them, as in `A.D[0..7]`"),
            );
            return None;
        };
        let mut meters = Vec::new();
        for led in keys {
            let circuit = self.circuit;
            let meter = self.led_meters.entry(led).or_insert_with(|| Meter::of_led(circuit, led).map(Arc::new));
            let Some(meter) = meter else {
                self.not_known(path, format!("the current of {} is not known", circuit.discretes[led].path));
                return None;
            };
            meters.push(meter.clone());
        }
        Some(self.read(path, Reading::Lit(meters, radix)))
    }

    /// The voltage of a net.
    pub(super) fn volts(&mut self, path: &Path) -> Option<(Signal, Reading)> {
        let net = self.net(path)?;
        let circuit = self.circuit;
        let meter = self.net_meters.entry(net).or_insert_with(|| Meter::of_net(circuit, net).map(Arc::new));
        let Some(meter) = meter.clone() else {
            self.not_known(path, format!("the voltage of {} is not known", circuit.nets[net].path));
            return None;
        };
        Some(self.read(path, Reading::Volts(meter)))
    }

    /// The current of an LED.
    pub(super) fn current(&mut self, path: &Path) -> Option<(Signal, Reading)> {
        let (signal, reading) = self.lit(path, Radix::Hex)?;
        match reading {
            Reading::Lit(mut meters, _) if meters.len() == 1 => Some((signal, Reading::Current(meters.remove(0)))),
            _ => {
                self.problems.push(
                    Diagnostic::error("width", "each LED has a current of its own")
                        .at(path.span, "several LEDs")
                        .help("name one of them"),
                );
                None
            }
        }
    }

    /// The two ends of a range of voltages.
    pub(super) fn voltages(&mut self, ends: [&Spanned<Quantity>; 2]) -> Option<(Voltage, Voltage)> {
        let mut found = Vec::new();
        for end in ends {
            match end.node.as_voltage() {
                Some(voltage) => found.push(voltage),
                None => self.problems.push(
                    Diagnostic::error("unit", "a voltage is wanted here")
                        .at(end.span, "")
                        .help("write it with its unit: `4.75 V`"),
                ),
            }
        }
        let &[least, most] = found.as_slice() else {
            return None;
        };
        if least > most {
            self.problems.push(
                Diagnostic::error("range", "this range runs down")
                    .at(ends[0].span.to(ends[1].span), "the first voltage is the larger one")
                    .help("write the smaller voltage first"),
            );
            return None;
        }
        Some((least, most))
    }

    fn not_known(&mut self, path: &Path, message: String) {
        self.problems.push(
            Diagnostic::error("not-known", message)
                .at(path.span, "it cannot be computed")
                .help("a pin of it is open, a rail is not fed, no sheet tells what holds it, or a contact joins it to another net"),
        );
    }

    fn read(&self, path: &Path, reading: Reading) -> (Signal, Reading) {
        let meters = match &reading {
            Reading::Lit(meters, _) => meters.as_slice(),
            Reading::Volts(meter) | Reading::Current(meter) => std::slice::from_ref(meter),
        };
        let mut nets: Vec<_> = meters.iter().flat_map(|meter| meter.nets()).collect();
        nets.sort_unstable();
        nets.dedup();
        (Signal { path: self.sources.slice(path.span).to_owned(), nets }, reading)
    }
}
