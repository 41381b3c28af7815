//! The computer `dunlin`: what its programs tell, how fast it goes, and the netlist beside a model of its instruction
//! table, on programs by chance.

mod model;
mod programs;
mod text;

use coldboard::check::check;
use coldboard::circuit::{Circuit, NetKey, Signal};
use coldboard::cli::files::Disk;
use coldboard::diagnostic::Severity;
use coldboard::image::Image;
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Level;
use coldboard::part::Library;
use coldboard::project::Project;
use coldboard::quantity::Time;
use coldboard::run::Engine;
use coldboard::run::{NullSink, Pause, Settings};
use coldboard::simulate::Machine;
use model::Model;
use rand_chacha::ChaCha8Rng;
use rand_core::{Rng, SeedableRng};
use rayon::prelude::*;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Programs by chance, when `DUNLIN_PROGRAMS` does not ask for more, and the most instructions that are followed in each.
const PROGRAMS: u64 = 1000;
const INSTRUCTIONS: usize = 200;

/// Every instruction but HLT.
fn instructions() -> Vec<u8> {
    let mut codes = vec![0x00];
    codes.extend(0x02..=0x06);
    codes.extend(0x08..=0x0D);
    codes.extend(0x10..=0x1E);
    codes.extend(0x20..=0x22);
    codes.extend(0x24..=0x29);
    codes.extend(0x30..=0x32);
    codes.extend(0x38..=0x3D);
    codes.extend(0x40..=0x43);
    codes.extend([0x45, 0x46, 0x47, 0x48, 0x49, 0x4D, 0x50, 0x51, 0x55, 0x58, 0x5C]);
    codes.extend((0x80..=0xBF).filter(|code| code & 7 < 6));
    codes
}

fn designs() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("designs/dunlin")
}

fn project() -> Project {
    let project = Project::open(&Disk, &designs().join("dunlin.board"), Library::built_in());
    assert_eq!(project.diagnostics(), []);
    project
}

fn circuit(project: &mut Project) -> Arc<Circuit> {
    let (circuit, problems) = project.circuit(Some("dunlin"));
    assert_eq!(problems, []);
    circuit.expect("dunlin")
}

/// The netlist in motion, with the nets that tell what an instruction has done.
struct Bench<'c> {
    machine: Machine<'c>,
    clock: NetKey,
    fetch: NetKey,
    halt: NetKey,
    registers: [Signal; 9],
    memory: coldboard::circuit::ChipKey,
    clocks: u32,
}

impl<'c> Bench<'c> {
    fn new(circuit: &'c Circuit, corner: Corner, memory: &[u8], input: u8) -> Bench<'c> {
        let net = |path: &str| circuit.net(path).unwrap_or_else(|| panic!("no net {path}"));
        let chip = |path: &str| circuit.chip(path).unwrap_or_else(|| panic!("no chip {path}"));
        let signal = |path: &str| circuit.signal(path).unwrap_or_else(|error| panic!("{error}"));
        let inputs = signal("PORT.in");
        let reset = net("CLOCK.reset_rc");
        let mut stimuli = inputs.nets.clone();
        stimuli.push(reset);
        let settings = Settings { corner, temperature: None, power_up: PowerUp::Unknown, ..Settings::TYPICAL };
        let mut machine = Machine::new(circuit, settings, &stimuli);
        let image = |bytes: &[u8]| {
            let mut image = Image::new();
            for (address, &byte) in (0u64..).zip(bytes) {
                image.insert(address, byte);
            }
            image
        };
        let (rom, ram) = memory.split_at(0x8000);
        machine.load(chip("MEMORY.U1"), &image(rom), 0).expect("it fits");
        for (at, &net) in inputs.nets.iter().rev().enumerate() {
            let high = input >> at & 1 == 1;
            machine.set(net, if high { Level::One } else { Level::Zero });
        }
        // The can takes 10 ms at most to start; no need to wait for the capacitor behind it.
        machine.set(reset, Level::Zero);
        machine.advance(Time::from_us(10_500), &mut NullSink);
        // A RAM keeps nothing through a power-up.
        machine.load(chip("MEMORY.U2"), &image(ram), 0).expect("it fits");
        machine.set(reset, Level::One);
        let clock = net("CLOCK.clk");
        machine.stop_at(clock, true);
        let mut bench = Bench {
            machine,
            clock,
            fetch: net("CONTROL./to_ir"),
            halt: net("CONTROL./to_halt"),
            registers: ["AX.p", "AX.q", "YS.p", "YS.q", "ADDRESS.pc", "ALU.c", "ALU.z", "ALU.n", "PORT.out"]
                .map(signal),
            memory: chip("MEMORY.U2"),
            clocks: 0,
        };
        // The third clock clears the program counter for the last time.
        let cleared = net("CLOCK./clear");
        while !bench.machine.level(cleared).is_high() {
            assert!(bench.clock(), "the reset never ends");
        }
        bench
    }

    /// On to just behind the next rise of the clock, before anything has followed it; false when it stands still.
    fn clock(&mut self) -> bool {
        let limit = self.machine.now() + Time::from_us(20);
        loop {
            match self.machine.advance(limit, &mut NullSink) {
                Pause::Changed if self.machine.level(self.clock).is_high() => {
                    self.clocks += 1;
                    return true;
                }
                Pause::Changed | Pause::Looked => {}
                Pause::Reached => return false,
                ended => panic!("{ended:?}"),
            }
        }
    }

    /// On to the clock that fetches an instruction; false when the machine has stopped at HLT.
    fn instruction(&mut self) -> bool {
        while self.clock() {
            if self.machine.level(self.fetch).is_low() {
                return true;
            }
            assert!(self.clocks < 100, "no instruction is so long");
        }
        assert!(self.machine.level(self.halt).is_low(), "the clock stands still");
        false
    }

    /// A, X, Y, S, PC, C, Z, N, the output; `None` where a bit is unknown.
    fn registers(&self) -> [Option<u64>; 9] {
        self.registers.each_ref().map(|signal| {
            let word = self.machine.word(&signal.nets);
            (word.unknown == 0).then_some(word.value)
        })
    }

    fn ram(&self, address: u16) -> Option<u8> {
        let held = self.machine.stored(self.memory).expect("it is fed");
        let word = held.memories[0].get(u64::from(address & 0x7FFF));
        (word.unknown == 0).then_some(word.value as u8)
    }
}

/// What a model and the netlist can be compared by.
fn registers(model: &Model) -> [Option<u64>; 9] {
    [
        u64::from(model.a),
        u64::from(model.x),
        u64::from(model.y),
        u64::from(model.s),
        u64::from(model.pc),
        u64::from(model.c),
        u64::from(model.z),
        u64::from(model.n),
        u64::from(model.output.unwrap_or(0)),
    ]
    .map(Some)
}

/// Follows a program for some instructions in both; tells how many there were.
fn side_by_side(circuit: &Circuit, corner: Corner, memory: Vec<u8>, input: u8, what: &str) -> usize {
    let mut bench = Bench::new(circuit, corner, &memory, input);
    let mut model = Model::new(memory, input);
    // Nothing is known of A, X, Y and S before the first four instructions.
    let prologue = 4;
    assert!(bench.machine.level(bench.fetch).is_low());
    bench.clocks = 0;
    let mut passed = 0;
    for number in 0..INSTRUCTIONS {
        let at = model.pc;
        let code = model.memory[usize::from(at)];
        let done = model.step();
        let here = format!("{what}, {corner:?}: instruction {number}, {code:02X} at {at:04X}");
        let goes_on = bench.instruction();
        assert_eq!(goes_on, done.is_some(), "{here}: goes on");
        let Some(done) = done else {
            break;
        };
        passed += 1;
        assert_eq!(bench.clocks, done.clocks, "{here}: clocks");
        bench.clocks = 0;
        if number + 1 >= prologue {
            assert_eq!(bench.registers(), registers(&model), "{here}: A X Y S PC C Z N out");
        }
        if let Some(wrote) = done.wrote {
            let byte = model.memory[usize::from(wrote)];
            assert_eq!(
                bench.ram(wrote),
                Some(byte),
                "{here}: RAM at {wrote:04X}; {:?}",
                bench.machine.violations().iter().map(|v| v.sentence(circuit)).collect::<Vec<_>>()
            );
        }
    }
    for address in 0x8000..=0xFFFF {
        let byte = model.memory[usize::from(address)];
        assert_eq!(bench.ram(address), Some(byte), "{what}: RAM at {address:04X} at the end");
    }
    assert_eq!(bench.machine.violations().len(), 0, "{what}");
    passed
}

#[test]
fn nothing_is_electrically_wrong_with_it() {
    let circuit = circuit(&mut project());
    let wrong: Vec<String> = check(&circuit)
        .into_iter()
        .filter(|finding| finding.diagnostic.severity != Severity::Note)
        .map(|finding| format!("{} {}", finding.rule, finding.place))
        .collect();
    assert_eq!(wrong, [] as [&str; 0]);
}

#[test]
fn the_netlist_does_what_the_instruction_table_says() {
    let mut project = project();
    let circuit = circuit(&mut project);
    let codes = instructions();
    let asked = std::env::var("DUNLIN_PROGRAMS").ok();
    let programs = asked.and_then(|count| count.parse().ok()).unwrap_or(PROGRAMS);
    let passed: usize = (0..programs)
        .into_par_iter()
        .map(|seed| {
            let mut chance = ChaCha8Rng::seed_from_u64(seed);
            // Instructions everywhere, so that every jump leads to one. What a program writes can be none.
            let mut memory: Vec<u8> = (0..0x10000).map(|_| codes[chance.next_u32() as usize % codes.len()]).collect();
            // LDA, LDX, LDY with bytes by chance; S from X.
            for (at, code) in [(0, 0x40), (2, 0x50), (4, 0x48), (6, 0x0D)] {
                memory[at] = code;
            }
            let corner = match seed % 5 {
                0 => Corner::Typical,
                1 => Corner::Slowest,
                2 => Corner::Fastest,
                _ => Corner::Random(seed),
            };
            let input = chance.next_u32() as u8;
            side_by_side(&circuit, corner, memory, input, &format!("program {seed}"))
        })
        .sum();
    // The programs end early only where one meets HLT.
    assert!(passed >= 2000, "{passed} instructions");
}
