//! Memories that are written and read at random, with the command sequences of those that write by themselves among it.

use super::both::{Both, Look, Outcome};
use super::parts::circuit;
use super::plain::Shelf;
use crate::timing::arrivals::Numbers;
use coldboard::circuit::{Circuit, NetKey};
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::part::Library;

/// Number, address bits, and the picoseconds that a write takes at most.
const MEMORIES: [(&str, usize, i64); 5] = [
    ("28C16-15", 11, 11_000_000_000),
    ("28C64-15", 13, 11_000_000_000),
    ("28C256-15", 15, 11_000_000_000),
    ("39SF010A-70", 17, 26_000_000_000),
    ("62256-70", 15, 0),
];

/// Commands begin with these (Atmel 0006F, Microchip DS20005022C), and mostly go on with the rest.
const COMMAND: [(u64, u64); 2] = [(0x5555, 0xAA), (0x2AAA, 0x55)];
const CODES: [u64; 6] = [0xA0, 0x80, 0x30, 0x10, 0x20, 0x90];

struct Bench<'c> {
    both: Both<'c>,
    address: Vec<NetKey>,
    data: Vec<NetKey>,
    controls: [NetKey; 3],
    time: i64,
    changes: usize,
}

impl Bench<'_> {
    /// Lets time pass; false when a limit was violated.
    fn wait(&mut self, picoseconds: i64) -> Result<bool, String> {
        self.time += picoseconds;
        match self.both.advance(self.time)? {
            Outcome::Same(more) => self.changes += more,
            Outcome::Over(_) => return Ok(false),
        }
        Ok(true)
    }

    fn drive(&mut self, nets: &[NetKey], number: u64) {
        for (bit, &net) in nets.iter().enumerate() {
            self.both.set(net, if number >> bit & 1 == 1 { '1' } else { '0' });
        }
    }

    /// /CE, /OE and /WE.
    fn control(&mut self, levels: [char; 3]) {
        for (net, level) in self.controls.into_iter().zip(levels) {
            self.both.set(net, level);
        }
    }

    fn write(&mut self, address: u64, data: u64) -> Result<bool, String> {
        let (address_nets, data_nets) = (self.address.clone(), self.data.clone());
        self.control(['0', '1', '1']);
        self.drive(&address_nets, address);
        self.drive(&data_nets, data);
        let mut good = self.wait(200_000)?;
        self.control(['0', '1', '0']);
        good &= self.wait(300_000)?;
        self.control(['0', '1', '1']);
        good &= self.wait(200_000)?;
        for net in data_nets {
            self.both.set(net, 'Z');
        }
        Ok(good & self.wait(100_000)?)
    }

    fn read(&mut self, address: u64, unknown: Option<usize>) -> Result<bool, String> {
        let nets = self.address.clone();
        self.drive(&nets, address);
        if let Some(bit) = unknown {
            self.both.set(nets[bit % nets.len()], 'X');
        }
        let mut good = self.wait(300_000)?;
        self.control(['0', '0', '1']);
        good &= self.wait(400_000)?;
        self.control(['0', '1', '1']);
        if unknown.is_some() {
            self.drive(&nets, address);
        }
        Ok(good & self.wait(300_000)?)
    }
}

fn work(circuit: &Circuit, (bits, busy): (usize, i64), seed: u64, shelf: &mut Shelf) -> Result<usize, String> {
    let net = |path: String| circuit.net(&path).expect("a net");
    let address: Vec<NetKey> = (0..bits).map(|bit| net(format!("a{bit}"))).collect();
    let data: Vec<NetKey> = (0..8).map(|bit| net(format!("d{bit}"))).collect();
    let controls = ["ce", "oe", "we"].map(|name| net(name.to_owned()));
    let stimuli = [&address[..], &data, &controls].concat();
    let corner = [Corner::Typical, Corner::Slowest, Corner::Fastest][seed as usize % 3];
    let settings = (corner, PowerUp::Unknown);
    let mut dice = Numbers(seed << 30 | 77);
    let mut bench = Bench {
        both: Both::new(circuit, settings, &stimuli, Look::Changes, shelf),
        address: address.clone(),
        data,
        controls,
        time: 0,
        changes: 0,
    };
    bench.control(['1', '1', '1']);
    bench.drive(&address, 0);
    let mut good = bench.wait(1_000_000)?;
    let cells = [0, 1, 2, 0x40, 0x5555, 0x2AAA];
    for _ in 0..25 {
        if !good {
            break;
        }
        let cell = cells[dice.below(6) as usize];
        match dice.below(6) {
            0 => good = bench.read(cell, None)?,
            1 => good = bench.read(cell, Some(dice.below(17) as usize))?,
            2 => good = bench.write(cell, dice.below(256))?,
            3 if busy > 0 => {
                // A whole command, or one that breaks off.
                for (at, word) in COMMAND.into_iter().take(1 + dice.below(4) as usize) {
                    good &= bench.write(at, word)?;
                }
                good &= bench.write(0x5555, CODES[dice.below(6) as usize])?;
                if dice.below(3) > 0 {
                    good &= bench.write(cell, dice.below(256))?;
                }
            }
            4 if busy > 0 => good = bench.wait(200_000_000)?,
            5 if busy > 0 => good = bench.wait(busy)?,
            _ => good = bench.read(cell, None)?,
        }
    }
    Ok(bench.changes)
}

#[test]
fn memories_that_are_written_and_read_are_the_same() {
    let mut shelf = Shelf::default();
    for (number, bits, busy) in MEMORIES {
        let text = format!(
            "board b {{ rail VCC 5 V  rail GND  feed U1 from VCC GND
             U1 {number} {{ A[0..{}] = a[0..{}]  DQ[0..7] = d[0..7]  /CE = ce  /OE = oe  /WE = we }} }}",
            bits - 1,
            bits - 1
        );
        let circuit = circuit(&mut Library::built_in(), &text);
        let mut changes = 0;
        for seed in 0..6 {
            let found = work(&circuit, (bits, busy), seed, &mut shelf);
            changes += found.unwrap_or_else(|why| panic!("{number}, seed {seed}: {why}"));
        }
        assert!(changes > 500, "{number}: {changes} changes");
    }
}
