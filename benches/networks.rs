//! Networks of resistors and contacts: how the time grows with a ladder of resistors, a chain of switches and resistors
//! that taps drive, in both engines.

mod common;

use coldboard::circuit::{Circuit, DiscreteKind, NetKey};
use coldboard::language::ast::{Corner, PowerUp};
use coldboard::logic::Level;
use coldboard::quantity::Time;
use coldboard::run::{NullSink, Settings};
use coldboard::simulate::Machine;
use coldboard::untimed;
use criterion::measurement::WallTime;
use criterion::{BenchmarkGroup, BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use std::hint::black_box;

/// Stages of a network.
const STAGES: [usize; 4] = [250, 500, 1000, 2000];

/// A board of so many stages between `n0` and the last, which a gate is an input on.
fn board(stages: usize, stage: &str) -> String {
    format!(
        "board network {{
    rail VCC 5 V
    rail GND
    feed U1 from VCC GND
    each i in 0..{last} {{ {stage} }}
    U1 74HC04 {{ 1A = n{stages}  1Y = out  [2..6]A = GND }}
}}
",
        last = stages - 1,
    )
}

/// The three kinds: what stands for each stage, and whether its taps are driven as well.
const KINDS: [(&str, &str, bool); 3] = [
    (
        "ladder",
        "R[i] resistor 1 kohm { 1 = n[i]  2 = n[i+1] }
         P[i] resistor 100 kohm { 1 = n[i+1]  2 = GND }",
        false,
    ),
    ("switches", "SW[i] switch { 1 = n[i]  2 = n[i+1] }", false),
    (
        "taps",
        "R[i] resistor 1 kohm { 1 = n[i]  2 = n[i+1] }
         P[i] resistor 2 kohm { 1 = n[i+1]  2 = t[i] }",
        true,
    ),
];

fn settings() -> Settings {
    Settings { corner: Corner::Typical, temperature: None, power_up: PowerUp::Unknown, ..Settings::TYPICAL }
}

fn net(circuit: &Circuit, path: &str) -> NetKey {
    circuit.net(path).unwrap_or_else(|| panic!("no net {path}"))
}

/// The nets that are driven: one end, and the taps.
fn stimuli(circuit: &Circuit, stages: usize, taps: bool) -> Vec<NetKey> {
    let taps = (0..stages).filter(|_| taps);
    let taps = taps.map(|at| net(circuit, &format!("t{at}")));
    std::iter::once(net(circuit, "n0")).chain(taps).collect()
}

/// From power-up: all switches close, all that is driven goes low, then high, all at once.
fn with_delays(circuit: &Circuit, stimuli: &[NetKey]) -> Level {
    let mut machine = Machine::new(circuit, settings(), stimuli);
    for (key, discrete) in circuit.discretes.iter() {
        if matches!(discrete.kind, DiscreteKind::Switch) {
            machine.contact(key, 1);
        }
    }
    for level in [Level::Zero, Level::One] {
        for &net in stimuli {
            machine.set(net, level);
        }
        machine.advance(machine.now() + Time::from_us(1), &mut NullSink);
    }
    machine.level(net(circuit, "out"))
}

/// The same without delays.
fn without_delays(circuit: &Circuit, stimuli: &[NetKey]) -> Level {
    let settings = coldboard::run::Settings {
        corner: Corner::Typical,
        temperature: None,
        power_up: PowerUp::Unknown,
        ..coldboard::run::Settings::TYPICAL
    };
    let machine = untimed::Machine::new(circuit, settings, stimuli);
    let mut machine = machine.unwrap_or_else(|problems| panic!("{problems:?}"));
    for (key, discrete) in circuit.discretes.iter() {
        if matches!(discrete.kind, DiscreteKind::Switch) {
            machine.contact(key, 1);
        }
    }
    for level in [Level::Zero, Level::One] {
        for &net in stimuli {
            machine.set(net, level);
        }
        machine.advance(machine.now() + Time::from_us(1));
    }
    machine.level(net(circuit, "out"))
}

fn grow(group: &mut BenchmarkGroup<'_, WallTime>, (name, stage, taps): (&str, &str, bool)) {
    for stages in STAGES {
        let circuit = common::elaborated(&board(stages, stage));
        let stimuli = stimuli(&circuit, stages, taps);
        let both = [with_delays(&circuit, &stimuli), without_delays(&circuit, &stimuli)];
        assert_eq!(both[0], both[1], "{name} of {stages}");
        group.throughput(Throughput::Elements(stages as u64));
        group.bench_function(BenchmarkId::new(format!("{name}, delays"), stages), |it| {
            it.iter(|| black_box(with_delays(&circuit, &stimuli)));
        });
        group.bench_function(BenchmarkId::new(format!("{name}, untimed"), stages), |it| {
            it.iter(|| black_box(without_delays(&circuit, &stimuli)));
        });
    }
}

fn networks(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("networks");
    group.sample_size(10);
    for kind in KINDS {
        grow(&mut group, kind);
    }
    group.finish();
}

criterion_group!(benches, networks);
criterion_main!(benches);
