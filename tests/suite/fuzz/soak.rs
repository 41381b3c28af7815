//! Trying inputs: some, the same ones every time; or as many as wanted on all cores.

use super::corpus::{Seed, seeds};
use super::recipe::Recipes;
use super::{TARGETS, Target, mutate, root};
use std::any::Any;
use std::collections::BTreeMap;
use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, mpsc};
use std::thread;
use std::time::{Duration, Instant};

/// The stack of the program's first thread.
const STACK: usize = 8 << 20;

/// An input that takes longer of its core is a defect in a soak.
const LONGEST: Duration = Duration::from_secs(5);

/// An input that takes longer never ends; other tests may keep the machine busy.
const NEVER: Duration = Duration::from_secs(120);

/// A process that is larger is a defect in a soak: kilobytes.
const LARGEST: u64 = 3 << 20;

/// The seed of `cargo test`.
const QUICK: u64 = 1;

/// Where inputs go that are defects.
fn folder(target: &Target) -> PathBuf {
    let folder = root().join("target/fuzz").join(target.name);
    fs::create_dir_all(&folder).expect("target/fuzz");
    folder
}

/// Keeps an input, and tells where.
fn keep(target: &Target, input: &[u8]) -> PathBuf {
    let hash = input
        .iter()
        .fold(0xCBF2_9CE4_8422_2325_u64, |hash, &byte| (hash ^ u64::from(byte)).wrapping_mul(0x100_0000_01B3));
    let path = folder(target).join(format!("{hash:016x}"));
    fs::write(&path, input).expect("written");
    path
}

fn message(panic: &(dyn Any + Send)) -> String {
    let text = panic.downcast_ref::<String>().cloned();
    let text = text.or_else(|| panic.downcast_ref::<&str>().map(|&text| text.to_owned()));
    text.unwrap_or_else(|| "a panic without a text".to_owned())
}

/// What is wrong with an input, if anything is.
fn defect(one: fn(&[u8]), input: &[u8]) -> Option<String> {
    let run = AssertUnwindSafe(|| one(input));
    catch_unwind(run).err().map(|panic| message(&*panic))
}

/// Tries the corpus and some mutations, and tells the inputs that are defects.
pub(crate) fn quick(target: &'static Target) {
    let (own, shipped) = seeds(target);
    assert!(own.len() >= 15, "{} has a small corpus", target.name);
    watched(target, move |begin| {
        let mut found = Vec::new();
        for seed in &own {
            begin(&seed.bytes);
            let wrong = defect(target.one, &seed.bytes);
            let wrong = wrong.or_else(|| match seed.was_found() {
                true => None,
                false => defect(target.accepted, &seed.bytes),
            });
            found.extend(wrong.map(|wrong| format!("{}: {wrong}", seed.name)));
        }
        let all: Vec<Seed> = own.into_iter().chain(shipped).collect();
        for number in 0..target.quick {
            let recipes = Recipes::of(QUICK, target.name, number);
            let input = mutate::bake(&all, &recipes.current());
            begin(&input);
            if let Some(wrong) = defect(target.one, &input) {
                let short = shortened(target, &all, recipes);
                found.push(format!("{}: {wrong}", keep(target, &short).display()));
            }
        }
        found
    });
}

/// Tries some inputs, each under a name.
pub(crate) fn each(target: &'static Target, inputs: Vec<(&'static str, String)>) {
    watched(target, move |begin| {
        let mut found = Vec::new();
        for (name, input) in inputs {
            begin(input.as_bytes());
            let wrong = defect(target.one, input.as_bytes());
            found.extend(wrong.map(|wrong| format!("{name}: {wrong}")));
        }
        found
    });
}

/// Does work that says which input it begins with, and what it has found; panics when it found something, or when an
/// input does not end.
fn watched(target: &'static Target, work: impl FnOnce(&dyn Fn(&[u8])) -> Vec<String> + Send + 'static) {
    let (sender, receiver) = mpsc::channel::<Vec<u8>>();
    let begin = move |input: &[u8]| sender.send(input.to_vec()).expect("somebody watches");
    let thread = thread::Builder::new().stack_size(STACK);
    let thread = thread.spawn(move || work(&begin)).expect("a thread");
    let mut input = Vec::new();
    loop {
        match receiver.recv_timeout(NEVER) {
            Ok(next) => input = next,
            Err(mpsc::RecvTimeoutError::Disconnected) => break,
            Err(mpsc::RecvTimeoutError::Timeout) => {
                panic!("{} does not end", keep(target, &input).display())
            }
        }
    }
    let found = thread.join().expect("the thread ends");
    assert!(found.is_empty(), "\n{}", found.join("\n\n"));
}

/// The input of the shortest recipe that is still a defect.
fn shortened(target: &Target, seeds: &[Seed], recipes: Recipes) -> Vec<u8> {
    let short = recipes.shortest(&mut |recipe| defect(target.one, &mutate::bake(seeds, recipe)).is_some());
    mutate::bake(seeds, &short)
}

/// What a core is at.
#[derive(Default)]
struct Now {
    input: Vec<u8>,
    since: Option<Instant>,
    told: bool,
}

/// One target in a soak.
struct Soak<'a> {
    target: &'static Target,
    seeds: &'a [Seed],
    seed: u64,
    count: u64,
    next: AtomicU64,
    cores: Vec<Mutex<Now>>,
    /// Defects by their first line, with the number of inputs.
    found: Mutex<BTreeMap<String, u64>>,
    longest: Mutex<Duration>,
}

fn variable(name: &str) -> Option<u64> {
    let text = std::env::var(name).ok()?;
    Some(text.parse().unwrap_or_else(|_| panic!("{name}={text} is no number")))
}

/// Tries COLDBOARD_SOAK inputs in all, from the seed COLDBOARD_SOAK_SEED on COLDBOARD_SOAK_CORES cores; of the target
/// COLDBOARD_SOAK_ONLY when it is named. Defects go to `target/fuzz/TARGET/`; what a core is at stands there as well, so
/// that an input that ends the process is not lost.
pub(crate) fn all() {
    let total = variable("COLDBOARD_SOAK").unwrap_or(10_000);
    let seed = variable("COLDBOARD_SOAK_SEED").unwrap_or(2);
    let cores = variable("COLDBOARD_SOAK_CORES").map(|cores| cores as usize);
    let cores = cores.unwrap_or_else(|| thread::available_parallelism().map_or(1, usize::from));
    let only = std::env::var("COLDBOARD_SOAK_ONLY").ok();
    // A thousand backtraces would only be in the way.
    std::panic::set_hook(Box::new(|_| {}));
    let mut good = true;
    for target in &TARGETS {
        let share = match &only {
            None => target.share,
            Some(only) if only == target.name => 1000,
            Some(_) => continue,
        };
        let (own, shipped) = seeds(target);
        let seeds: Vec<Seed> = own.into_iter().chain(shipped).collect();
        let soak = Soak {
            target,
            seeds: &seeds,
            seed,
            count: total * share / 1000,
            next: AtomicU64::new(0),
            cores: (0..cores).map(|_| Mutex::default()).collect(),
            found: Mutex::default(),
            longest: Mutex::default(),
        };
        good &= soak.run();
    }
    drop(std::panic::take_hook());
    assert!(good, "there are defects: their inputs stand in target/fuzz");
}

impl Soak<'_> {
    #[expect(clippy::print_stdout, reason = "a soak tells its figures")]
    fn run(&self) -> bool {
        // What is read once for all inputs.
        (self.target.one)(b"");
        let start = Instant::now();
        thread::scope(|scope| {
            let workers: Vec<_> = (0..self.cores.len())
                .map(|core| {
                    let thread = thread::Builder::new().stack_size(STACK);
                    thread.spawn_scoped(scope, move || self.work(core)).expect("a thread")
                })
                .collect();
            while workers.iter().any(|worker| !worker.is_finished()) {
                thread::sleep(Duration::from_millis(100));
                self.watch();
            }
        });
        let found = self.found.lock().expect("no panic in a lock");
        println!(
            "{}: {} inputs in {:.0} s, the longest {:.2} s, {} defects",
            self.target.name,
            self.count,
            start.elapsed().as_secs_f64(),
            self.longest.lock().expect("no panic in a lock").as_secs_f64(),
            found.len()
        );
        for (what, inputs) in found.iter() {
            println!("  {inputs} inputs: {what}");
        }
        found.is_empty()
    }

    fn work(&self, core: usize) {
        let now_file = folder(self.target).join(format!("now{core}"));
        loop {
            let number = self.next.fetch_add(1, Ordering::Relaxed);
            if number >= self.count {
                // Nothing is at work any more.
                let _ = fs::remove_file(&now_file);
                return;
            }
            let recipes = Recipes::of(self.seed, self.target.name, number);
            let input = mutate::bake(self.seeds, &recipes.current());
            fs::write(&now_file, &input).expect("written");
            let start = Instant::now();
            *self.cores[core].lock().expect("no panic in a lock") =
                Now { input: input.clone(), since: Some(start), told: false };
            let before = worked();
            let wrong = defect(self.target.one, &input);
            let took = worked().zip(before).map(|(now, before)| now - before);
            let took = took.unwrap_or_else(|| start.elapsed());
            let slow = || (took > LONGEST).then(|| "takes too long".to_owned());
            let wrong = wrong.or_else(slow);
            self.cores[core].lock().expect("no panic in a lock").since = None;
            let mut longest = self.longest.lock().expect("no panic in a lock");
            *longest = took.max(*longest);
            drop(longest);
            if let Some(wrong) = wrong
                && self.tell(&wrong)
            {
                self.keep(&wrong, &shortened(self.target, self.seeds, recipes));
            }
        }
    }

    /// Counts a defect; true when it is a new one.
    fn tell(&self, wrong: &str) -> bool {
        // Figures and quoted texts differ from input to input.
        let first = wrong.lines().next().unwrap_or_default();
        let first = first.split('`').next().unwrap_or_default();
        let first = first.replace(|c: char| c.is_ascii_digit(), "");
        let first: String = first.chars().take(160).collect();
        let mut found = self.found.lock().expect("no panic in a lock");
        let inputs = found.entry(first).or_default();
        *inputs += 1;
        *inputs == 1
    }

    #[expect(clippy::print_stdout, reason = "a soak tells its defects as they come")]
    fn keep(&self, wrong: &str, input: &[u8]) {
        println!("{}: {wrong}", keep(self.target, input).display());
    }

    /// Looks for inputs that take too long, and for a process that has grown too large.
    fn watch(&self) {
        let large = resident() > LARGEST;
        for core in &self.cores {
            let mut now = core.lock().expect("no panic in a lock");
            let took = now.since.map_or(Duration::ZERO, |since| since.elapsed());
            if large && !now.told && now.since.is_some() {
                now.told = true;
                let wrong = "too much memory while it ran";
                self.tell(wrong);
                self.keep(wrong, &now.input);
            }
            if took > NEVER {
                self.keep("does not end", &now.input);
                std::process::abort();
            }
        }
    }
}

/// How long this thread has had a core, where the system tells it: other work on the machine does not count.
fn worked() -> Option<Duration> {
    let text = fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    let nanoseconds = text.split_whitespace().next()?.parse().ok()?;
    Some(Duration::from_nanos(nanoseconds))
}

/// The memory of this process in kilobytes, where the system tells it.
fn resident() -> u64 {
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"));
    let figure = line.and_then(|line| line.split_whitespace().next()?.parse().ok());
    figure.unwrap_or(0)
}
