//! An instruction that is done.

use super::memory::Memory;
use super::reading::Decoded;
use super::set::{Behaviour, PROGRAM_COUNTER};
use super::steps::{Step, Target, Value};
use crate::contents::formula::{binary, unary};

impl Behaviour {
    /// Lets an instruction change registers, which are in the order of [`Behaviour::registers`], and memory. What depends on
    /// something unknown is unknown. The program counter has moved behind the instruction before its first step.
    ///
    /// # Errors
    /// A sentence for a person: a write to an unknown address, a number that is too large.
    pub fn execute(
        &self,
        decoded: &Decoded,
        registers: &mut [Option<u64>],
        memory: &mut dyn Memory,
    ) -> Result<(), String> {
        let Some(Some(steps)) = self.effects.get(decoded.form) else {
            return Err("it is not said what this instruction does".to_owned());
        };
        let mut places: Vec<Option<i64>> = registers.iter().map(|value| value.map(|value| value as i64)).collect();
        if let Some(counter) = self.register(PROGRAM_COUNTER) {
            places[counter] = places[counter].map(|at| self.cut(counter, at + decoded.length as i64));
        }
        places.extend(decoded.fields.iter().map(|&field| Some(field)));
        let mut run = Run { behaviour: self, places, memory };
        for step in steps {
            run.step(step)?;
        }
        for (register, value) in registers.iter_mut().zip(&run.places) {
            *register = value.map(|value| value as u64);
        }
        Ok(())
    }

    /// The low bits of a value, as many as a register has.
    fn cut(&self, register: usize, value: i64) -> i64 {
        value & ((1 << self.registers[register].bits) - 1)
    }
}

struct Run<'a> {
    behaviour: &'a Behaviour,
    places: Vec<Option<i64>>,
    memory: &'a mut dyn Memory,
}

impl Run<'_> {
    fn step(&mut self, step: &Step) -> Result<(), String> {
        let value = self.value(&step.value)?;
        match &step.target {
            Target::Place(place) => self.put(*place, value),
            Target::Register(place, kind) => {
                let register = self.register(*place, *kind)?;
                self.put(register, value);
            }
            Target::Memory(address) => {
                let address = self.address(address)?;
                let address = address.ok_or("it writes to an address that depends on something unknown")?;
                self.memory.write(address, value.map(|value| (value & 0xFF) as u8));
            }
        }
        Ok(())
    }

    fn put(&mut self, place: usize, value: Option<i64>) {
        if place >= self.places.len() {
            self.places.resize(place + 1, None);
        }
        let is_register = place < self.behaviour.registers.len();
        self.places[place] = value.map(|value| if is_register { self.behaviour.cut(place, value) } else { value });
    }

    fn register(&self, place: usize, kind: usize) -> Result<usize, String> {
        let number = self.places[place].and_then(|number| self.behaviour.kinds[kind].get(&number));
        number.and_then(|(_, register)| *register).ok_or_else(|| "it names a register that there is not".to_owned())
    }

    fn address(&mut self, address: &Value) -> Result<Option<u64>, String> {
        let address = self.value(address)?;
        let number = |at: i64| u64::try_from(at).map_err(|_| format!("{at} is no address"));
        address.map(number).transpose()
    }

    /// `None` for what depends on something unknown.
    fn value(&mut self, value: &Value) -> Result<Option<i64>, String> {
        Ok(match value {
            Value::Number(number) => Some(*number),
            Value::Place(place) => self.places.get(*place).copied().flatten(),
            Value::Register(place, kind) => self.places[self.register(*place, *kind)?],
            Value::Memory(address) => {
                let address = self.address(address)?;
                address.and_then(|address| self.memory.read(address)).map(i64::from)
            }
            Value::Unary(operator, inner, span) => match self.value(inner)? {
                Some(inner) => Some(unary(*operator, inner, *span).map_err(|problem| problem.message)?),
                None => None,
            },
            Value::Binary(both, operator, span) => match (self.value(&both[0])?, self.value(&both[1])?) {
                (Some(left), Some(right)) => {
                    Some(binary(left, *operator, right, *span).map_err(|problem| problem.message)?)
                }
                _ => None,
            },
            Value::When(three) => {
                let [one, condition, other] = &**three;
                match self.value(condition)? {
                    Some(0) => self.value(other)?,
                    Some(_) => self.value(one)?,
                    None => {
                        self.value(one)?.filter(|&same| matches!(self.value(other), Ok(Some(other)) if other == same))
                    }
                }
            }
        })
    }
}
