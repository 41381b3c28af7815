//! The engine of a textbook, for rings of slices: one heap of events, parts in boxes, one value a pin, lists of numbers.
//!
//! It runs a ring with the very delays that the project's engine takes, so that both come to the same levels; but it
//! knows no strengths, checks nothing, and cannot say why.

use coldboard::circuit::{Circuit, NetKey};
use coldboard::delay::{ChipDelays, Delays, Transition};
use coldboard::key::Key;
use coldboard::language::ast::Corner;
use coldboard::quantity::Voltage;
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// What a pin has.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Value {
    Unknown,
    Low,
    High,
}

use Value::{High, Low, Unknown};

/// What a part does: from its input pins to what its output pins want to be.
trait Part {
    fn evaluate(&mut self, pins: &[Value], wanted: &mut Vec<Value>);
}

/// A 74273: inputs /CLR, CLK, D1 to D8; outputs Q1 to Q8.
struct Register {
    clock: Value,
    stored: [Value; 8],
}

impl Part for Register {
    fn evaluate(&mut self, pins: &[Value], wanted: &mut Vec<Value>) {
        let was = std::mem::replace(&mut self.clock, pins[1]);
        if was == Low && pins[1] == High {
            self.stored.copy_from_slice(&pins[2..10]);
        } else if was != pins[1] && pins[1] != Low && was != High {
            self.stored = [Unknown; 8];
        }
        match pins[0] {
            Low => self.stored = [Low; 8],
            High => {}
            Unknown => self.stored = [Unknown; 8],
        }
        wanted.extend(self.stored);
    }
}

/// A 74283: inputs A1 to A4, B1 to B4, C0; outputs C4, S1 to S4.
struct Adder;

impl Part for Adder {
    fn evaluate(&mut self, pins: &[Value], wanted: &mut Vec<Value>) {
        let mut carry = pins[8];
        wanted.push(Unknown);
        for bit in 0..4 {
            let terms = [pins[bit], pins[4 + bit], carry];
            let count = |value| terms.iter().filter(|&&term| term == value).count();
            let (high, unknown) = (count(High), count(Unknown));
            wanted.push(match (unknown, high % 2) {
                (0, 0) => Low,
                (0, _) => High,
                _ => Unknown,
            });
            carry = match (high, high + unknown) {
                (2.., _) => High,
                (_, ..2) => Low,
                _ => Unknown,
            };
        }
        wanted[0] = carry;
    }
}

/// A 74541 whose outputs are always on: inputs /OE1, /OE2, A1 to A8; outputs Y1 to Y8.
struct Buffer;

impl Part for Buffer {
    fn evaluate(&mut self, pins: &[Value], wanted: &mut Vec<Value>) {
        wanted.extend(&pins[2..10]);
    }
}

/// A part in its place.
struct Placed {
    part: Box<dyn Part>,
    pins: Vec<Value>,
    outputs: Vec<Output>,
    /// Rise and fall, at `input * outputs + output`.
    delays: Vec<[i64; 2]>,
    changed: Vec<usize>,
}

/// An output of a part.
struct Output {
    net: Option<usize>,
    now: Value,
    /// What is due, with the number of its event.
    due: Option<(Value, u64)>,
}

/// What happens: an output takes a value, or a stimulus does.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Event {
    time: i64,
    number: u64,
    what: What,
}

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum What {
    Output(usize, usize),
    Stimulus(usize, Value),
}

/// A ring in motion.
pub(crate) struct Textbook {
    parts: Vec<Placed>,
    /// The part and pin of each listener of each net.
    listeners: Vec<Vec<(usize, usize)>>,
    levels: Vec<Value>,
    heap: BinaryHeap<Reverse<Event>>,
    number: u64,
    time: i64,
    /// The net that swings, and half its period.
    clock: Option<(usize, i64)>,
    pub(crate) events: u64,
}

impl Textbook {
    pub(crate) fn new(circuit: &Circuit, corner: Corner) -> Textbook {
        let all = ChipDelays::new(circuit, corner, None);
        let mut book = Textbook {
            parts: Vec::new(),
            listeners: vec![Vec::new(); circuit.nets.len()],
            levels: vec![Unknown; circuit.nets.len()],
            heap: BinaryHeap::new(),
            number: 0,
            time: 0,
            clock: None,
            events: 0,
        };
        for (key, chip) in circuit.chips.iter() {
            let function = &chip.part.function;
            let part: Box<dyn Part> = match chip.part.name.as_str() {
                "273" => Box::new(Register { clock: Unknown, stored: [Unknown; 8] }),
                "283" => Box::new(Adder),
                "541" => Box::new(Buffer),
                other => panic!("a ring has no {other}"),
            };
            let at = book.parts.len();
            for (bit, &pin) in function.inputs.iter().enumerate() {
                let net = chip.nets[pin].expect("every input of a ring has a net");
                book.listeners[net.index()].push((at, bit));
            }
            let outputs = function.outputs.iter().map(|&pin| Output {
                net: chip.nets[pin].map(Key::index),
                now: Unknown,
                due: None,
            });
            let delays: &[Delays] = match &all.own {
                Some(own) => &own[key],
                None => &all.table(key).delays,
            };
            let both =
                |delays: &Delays| [Transition::Rise, Transition::Fall].map(|how| i64::from(delays.of[how as usize]));
            book.parts.push(Placed {
                part,
                pins: vec![Unknown; function.inputs.len()],
                outputs: outputs.collect(),
                delays: delays.iter().map(both).collect(),
                changed: Vec::new(),
            });
        }
        for (key, net) in circuit.nets.iter() {
            if let Some(voltage) = net.rail.as_ref().and_then(|rail| rail.fed) {
                let low = voltage == Voltage::default();
                book.set(key, if low { Low } else { High });
            }
        }
        book
    }

    /// Drives a net from now on.
    pub(crate) fn set(&mut self, net: NetKey, value: Value) {
        self.push(self.time, What::Stimulus(net.index(), value));
    }

    /// Lets a net swing from now on, low first.
    pub(crate) fn clock(&mut self, net: NetKey, half: i64) {
        self.clock = Some((net.index(), half));
        self.set(net, Low);
    }

    /// The value of a net.
    pub(crate) fn level(&self, net: NetKey) -> Value {
        self.levels[net.index()]
    }

    fn push(&mut self, time: i64, what: What) -> u64 {
        self.number += 1;
        let number = self.number;
        self.heap.push(Reverse(Event { time, number, what }));
        number
    }

    /// Runs until a time; all that happens in that moment is done.
    pub(crate) fn advance(&mut self, until: i64) {
        let mut moved = Vec::new();
        while let Some(Reverse(next)) = self.heap.peek()
            && next.time <= until
        {
            self.time = next.time;
            while let Some(Reverse(event)) = self.heap.peek().copied()
                && event.time == self.time
            {
                self.heap.pop();
                self.happen(event, &mut moved);
            }
            for part in std::mem::take(&mut moved) {
                self.evaluate(part);
            }
        }
        self.time = until;
    }

    fn happen(&mut self, event: Event, moved: &mut Vec<usize>) {
        let (net, value) = match event.what {
            What::Stimulus(net, value) => {
                if let Some((clock, half)) = self.clock
                    && clock == net
                {
                    let next = if value == High { Low } else { High };
                    self.push(self.time + half, What::Stimulus(net, next));
                }
                (Some(net), value)
            }
            What::Output(part, output) => {
                let output = &mut self.parts[part].outputs[output];
                let Some((value, number)) = output.due else {
                    return;
                };
                if number != event.number {
                    return;
                }
                (output.now, output.due) = (value, None);
                (output.net, value)
            }
        };
        self.events += 1;
        let Some(net) = net else {
            return;
        };
        self.levels[net] = value;
        for &(part, pin) in &self.listeners[net] {
            let placed = &mut self.parts[part];
            placed.pins[pin] = value;
            placed.changed.push(pin);
            if !moved.contains(&part) {
                moved.push(part);
            }
        }
    }

    fn evaluate(&mut self, at: usize) {
        let mut wanted = Vec::new();
        let placed = &mut self.parts[at];
        let changed = std::mem::take(&mut placed.changed);
        placed.part.evaluate(&placed.pins, &mut wanted);
        for (bit, value) in wanted.into_iter().enumerate() {
            let placed = &mut self.parts[at];
            let width = placed.outputs.len();
            let output = &mut placed.outputs[bit];
            let coming = output.due.map_or(output.now, |(value, _)| value);
            if value == coming {
                continue;
            }
            if value == output.now {
                output.due = None;
                continue;
            }
            let of = |pin: &usize| {
                let [rise, fall] = placed.delays[pin * width + bit];
                match value {
                    High => rise,
                    Low => fall,
                    Unknown => rise.min(fall),
                }
            };
            let delay = changed.iter().map(of).max().unwrap_or(0);
            let number = self.push(self.time + delay, What::Output(at, bit));
            self.parts[at].outputs[bit].due = Some((value, number));
        }
    }
}
