//! scratch
use coldboard::{
    circuit::*,
    diagnostic::Look,
    key::Key,
    language,
    language::ast::{Corner, PowerUp},
    part::Library,
    quantity::Time,
    simulate::*,
};
struct S<'a>(&'a Circuit);
impl Sink for S<'_> {
    fn change(&mut self, t: Time, n: NetKey, l: coldboard::logic::Level) {
        println!("{t:>12}  {} {}", self.0.nets[n].path, l.to_char());
    }
}
fn main() {
    let text = std::fs::read_to_string(std::env::args().nth(1).unwrap()).unwrap();
    let mut lib = Library::built_in();
    let k = lib.add_source("t", text.clone());
    let (f, e) = language::parse(k, &text);
    let tl = coldboard::diagnostic::terminal::Terminal {
        colour: false,
        width: 110,
    };
    println!("{}", tl.render(lib.sources(), &e));
    let t0 = std::time::Instant::now();
    let (c, e) = elaborate(None, &[f], &lib);
    println!("{}", tl.render(lib.sources(), &e));
    let c = c.unwrap();
    println!(
        "elaborated {:?} nets {} chips {}",
        t0.elapsed(),
        c.nets.len(),
        c.chips.len()
    );
    for (k, n) in c.nets.iter() {
        println!(
            "{k:?} {} rail {:?} pins {}",
            n.path,
            n.rail.map(|r| r.fed),
            n.chip_pins.len()
        );
    }
    let clk = c.net("clk");
    let rst = c.net("/reset");
    let stim: Vec<_> = clk.into_iter().chain(rst).collect();
    for corner in [Corner::Fastest, Corner::Typical, Corner::Slowest] {
        println!("== {corner:?}");
        let mut m = Machine::new(
            &c,
            Settings {
                corner,
                power_up: PowerUp::Unknown,
                history: false,
            },
            &stim,
        );
        for n in c.nets.keys() {
            m.watch(n, true);
        }
        if let Some(r) = rst {
            m.set(r, coldboard::logic::Level::Zero);
        }
        if let Some(k) = clk {
            m.clock(k, Time::from_ns(500), Time::from_ns(500));
        }
        let mut s = S(&c);
        println!("{:?}", m.advance(Time::from_ns(1600), &mut s));
        if let Some(r) = rst {
            m.set(r, coldboard::logic::Level::One);
        }
        println!("{:?}", m.advance(Time::from_ns(6000), &mut s));
        println!("{:?} {:?}", m.counters(), m.rules());
        for v in m.violations() {
            println!("{}", v.sentence(&c));
        }
        for v in m.contentions() {
            println!("{v:?}");
        }
        for v in m.floating() {
            println!("{v:?}");
        }
    }
    let _ = Key::index(c.nets.keys().next().unwrap());
}
