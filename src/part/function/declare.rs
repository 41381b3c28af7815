//! The names of a part: pins, states, timers, memories and nodes, each with its place.

use super::build::Support;
use super::compile::{Compiler, Fallible};
use super::memory::MemoryShape;
use super::resolve::{Names, Place, stem};
use super::{Function, RcOscillator, Timer};
use crate::diagnostic::Diagnostic;
use crate::language::ast::{Memory, PartStatement, Template, TimingPins};
use crate::language::expand::Scope;
use crate::text::Span;

/// The most bits of one word.
const MOST_BITS: usize = 64;

impl Compiler<'_> {
    /// Gives every name of a part its place in the words of its function.
    pub(super) fn declare(&mut self, body: &[PartStatement], scope: &mut Scope) {
        self.walk(body, scope, &mut |compiler, statement, scope| match statement {
            PartStatement::Package(package) => {
                for pin in &package.pins {
                    compiler.group(&pin.name, scope)?;
                }
                Ok(())
            }
            PartStatement::State(templates) => templates.iter().try_for_each(|template| {
                for name in scope.vector(template)? {
                    compiler.declare_state(name, template.span)?;
                }
                compiler.group(template, scope)
            }),
            PartStatement::Oscillator(template, Some(pins)) => compiler.declare_rc_oscillator(template, pins, scope),
            PartStatement::Oscillator(template, None) => {
                let name = scope.name(template)?;
                compiler.function.oscillator = Some(compiler.function.states.len());
                compiler.declare_state(name, template.span)
            }
            PartStatement::Timer(templates, pins) => {
                templates.iter().try_for_each(|template| compiler.declare_timers(template, pins.as_ref(), scope))
            }
            PartStatement::Memory(memory) => compiler.declare_memory(memory, scope),
            PartStatement::Node(template, _) => {
                for name in scope.vector(template)? {
                    compiler.fresh(&name, template.span)?;
                    let bit = compiler.function.nodes.len();
                    compiler.names.add_readable(&name, Place::Node(bit));
                    compiler.function.nodes.push(name);
                }
                compiler.group(template, scope)
            }
            _ => Ok(()),
        });
        let (inputs, outputs) = (self.function.inputs.len(), self.function.outputs.len());
        let (states, nodes) = (self.function.states.len(), self.function.nodes.len());
        for (count, what) in [(inputs, "inputs"), (outputs, "outputs"), (states, "stored bits"), (nodes, "nodes")] {
            if count > MOST_BITS {
                let message = format!("a part with {count} {what} cannot be modelled; {MOST_BITS} is the most");
                self.problems.push(Diagnostic::error("too-large", message).help("split it into several parts"));
                self.function = Function::default();
                self.names = Names::default();
                self.output_support.clear();
                self.off_support.clear();
            }
        }
        self.state_causes = vec![Support::default(); self.function.states.len()];
        self.state_data = self.state_causes.clone();
        self.node_support = vec![Support::default(); self.function.nodes.len()];
    }

    /// An input that an oscillator of the part drives, timed by a resistor and a capacitor.
    fn declare_rc_oscillator(&mut self, template: &Template, pins: &TimingPins, scope: &Scope) -> Fallible<()> {
        let pins = self.timing_pins(pins, 1, scope)?;
        let bits = self.names.read(template, scope)?;
        let (&[Place::Input(input)], false) = (bits.places.as_slice(), bits.inverted) else {
            return Err(Diagnostic::error("oscillator", "an input swings, by its exact name")
                .at(template.span, "this is not one input")
                .help("write `oscillator OSC at R C` with pins of the package"));
        };
        self.function.rc_oscillator = Some(RcOscillator { input, pins: pins[0] });
        Ok(())
    }

    fn declare_timers(&mut self, template: &Template, pins: Option<&TimingPins>, scope: &Scope) -> Fallible<()> {
        let names = scope.vector(template)?;
        let pins = pins.map(|pins| self.timing_pins(pins, names.len(), scope)).transpose()?;
        for (at, name) in names.into_iter().enumerate() {
            let state = self.function.states.len();
            self.declare_state(name, template.span)?;
            let pins = pins.as_ref().map(|pins| pins[at]);
            self.function.timers.push(Timer { state, pins });
        }
        self.group(template, scope)
    }

    fn declare_memory(&mut self, memory: &Memory, scope: &Scope) -> Fallible<()> {
        let name = scope.name(&memory.name)?;
        self.fresh(&name, memory.span)?;
        self.names.memories.push(name.clone());
        self.function.memories.push(MemoryShape {
            name,
            words: memory.words.max(1).next_power_of_two(),
            width: memory.width,
            blank: memory.blank,
        });
        Ok(())
    }

    fn fresh(&self, name: &str, span: Span) -> Fallible<()> {
        if self.names.is_known(name) || self.names.memories.iter().any(|memory| memory == name) {
            return Err(Diagnostic::error("name-twice", format!("`{name}` has been declared before"))
                .at(span, "declared again here")
                .help("choose another name"));
        }
        Ok(())
    }

    fn declare_state(&mut self, name: String, span: Span) -> Fallible<()> {
        self.fresh(&name, span)?;
        let place = Place::State(self.function.states.len());
        self.names.add_readable(&name, place);
        self.names.add_writable(&name, place);
        self.function.states.push(name);
        Ok(())
    }

    fn group(&mut self, template: &Template, scope: &Scope) -> Fallible<()> {
        if let Some(stem) = stem(template) {
            let members = scope.names(template)?;
            self.names.add_group(stem, &members);
        }
        Ok(())
    }

    /// A pair of pins for each of so many timers.
    fn timing_pins(&self, pins: &TimingPins, count: usize, scope: &Scope) -> Fallible<Vec<[usize; 2]>> {
        let one = |template: &Template| -> Fallible<Vec<usize>> {
            let names = scope.names(template)?;
            let found: Option<Vec<usize>> =
                names.iter().map(|name| self.pins.iter().position(|pin| pin.name == *name)).collect();
            match found {
                Some(found) if found.len() == count => Ok(found),
                Some(found) => {
                    let message = format!("{count} to be timed, but {} pins", found.len());
                    Err(Diagnostic::error("timing", message)
                        .at(template.span, "these pins")
                        .help("name a pin for each"))
                }
                None => Err(Diagnostic::error("unknown-name", "no such pin in the package")
                    .at(template.span, "not known here")
                    .help("write a pin of the package by its exact name")),
            }
        };
        let (resistors, capacitors) = (one(&pins.resistor)?, one(&pins.capacitor)?);
        let pairs = resistors.into_iter().zip(capacitors);
        Ok(pairs.map(|(resistor, capacitor)| [resistor, capacitor]).collect())
    }
}
