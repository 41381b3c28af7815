//! The netlist of `dunlin` (designs/dunlin) as straight-line code: at each edge of the oscillator every chip is computed
//! once, in the order of levels, whether anything moved in front of it or not. Two-valued, buses as small integers. It
//! is what a generator would make of the netlist; who wants more speed writes the machine itself (`dunlin.rs`).

use coldboard::circuit::Circuit;

/// 32 KiB.
const SIZE: usize = 0x8000;

/// All nets, and what the chips store besides them.
#[derive(Default)]
pub(crate) struct Levels {
    // ---- from outside
    /// CLOCK.reset_rc: low while the button is pressed.
    pub(crate) reset_rc: bool,
    input: u8,
    // ---- CLOCK
    swing: bool,
    not_swing: bool,
    off: bool,
    not_off: bool,
    press: bool,
    press1: bool,
    press2: bool,
    not_press3: bool,
    awake: bool,
    running: bool,
    walking: bool,
    beat: bool,
    late: bool,
    rest: bool,
    third: bool,
    walk: bool,
    moving: bool,
    onward: bool,
    once: bool,
    kick: bool,
    go: bool,
    ready: bool,
    next: bool,
    run_lamp: bool,
    not_halt_lamp: bool,
    off_lamp: bool,
    pub(crate) begun: u8,
    pub(crate) clk: bool,
    strobe: bool,
    not_reset: bool,
    reset: bool,
    not_clear: bool,
    clk_lamp: bool,
    // ---- CONTROL
    pub(crate) ir: u8,
    pub(crate) step: u8,
    decoded: [u8; 3],
    shown: [u8; 3],
    from: u16,
    pub(crate) to: u16,
    take_t: bool,
    take_mh: bool,
    // ---- ADDRESS
    pc: [u8; 4],
    carry: [bool; 4],
    pub(crate) m: [u8; 2],
    address: u16,
    // ---- MEMORY
    write: bool,
    not_pulse: bool,
    not_speak: bool,
    e: u8,
    lit: u16,
    // ---- AX, YS
    pub(crate) a: u8,
    pub(crate) x: u8,
    pub(crate) y: u8,
    pub(crate) s: u8,
    // ---- ALU
    pub(crate) t: u8,
    f: u8,
    not_carry_in: bool,
    not_half: bool,
    not_carry: bool,
    top: bool,
    r: u8,
    r_held: u8,
    next_c: bool,
    pub(crate) c: bool,
    not_zero: bool,
    zero: bool,
    pub(crate) z: bool,
    pub(crate) n: bool,
    // ---- PORT
    pub(crate) out: u8,
    pub(crate) told: bool,
    shown_bus: u8,
    pub(crate) d: u8,
    // ---- memories
    rom: Vec<u8>,
    pub(crate) ram: Vec<u8>,
    decode: [Vec<u8>; 3],
}

/// A 181: its outputs, and /CN+4.
#[inline(always)]
fn alu(a: u8, b: u8, select: u8, logic: bool, not_carry: bool) -> (u8, bool) {
    let s = |bit: u32| 0u8.wrapping_sub(select >> bit & 1);
    let u = (a | b & s(0) | !b & s(1)) & 15;
    let v = (a & !b & s(2) | a & b & s(3)) & 15;
    let sum = u + v + u8::from(!not_carry);
    let f = if logic { !(u ^ v) & 15 } else { sum & 15 };
    (f, sum & 16 == 0)
}

/// A 157.
#[inline(always)]
fn select(second: bool, a: u8, b: u8) -> u8 {
    if second { b } else { a }
}

/// One half of a 153.
#[inline(always)]
fn pick(first: bool, second: bool, inputs: [bool; 4]) -> bool {
    inputs[usize::from(first) | usize::from(second) << 1]
}

/// A 541 or a 574 on a bus that resistors pull low.
#[inline(always)]
fn show(off: bool, byte: u8) -> u8 {
    if off { 0 } else { byte }
}

/// A 163: what it counts to.
#[inline(always)]
fn count(q: u8, load: bool, data: u8, enable: bool) -> u8 {
    if load { data & 15 } else { (q + u8::from(enable)) & 15 }
}

/// An output of a 154, which are low when they are named.
#[inline(always)]
fn line(outputs: u16, at: u32) -> bool {
    outputs >> at & 1 == 1
}

impl Levels {
    /// The machine at rest with its button pressed, the ROMs of the design and zeros in its RAM.
    pub(crate) fn new(circuit: &Circuit, input: u8) -> Levels {
        let rom = |path: &str| super::by_hand::rom(circuit, path);
        let mut levels = Levels {
            input,
            told: true,
            rom: rom("MEMORY.U1"),
            ram: vec![0; SIZE],
            decode: ["CONTROL.U4", "CONTROL.U5", "CONTROL.U6"].map(rom),
            ..Levels::default()
        };
        levels.edge();
        levels.edge();
        levels
    }

    /// The oscillator goes up or down, and everything follows.
    #[inline(never)]
    pub(crate) fn edge(&mut self) {
        let (swing, clk) = (self.swing, self.clk);
        self.swing = !swing;
        self.reset_lines();
        self.clock_storage(!swing, swing);
        self.clock_lines();
        self.storage(self.clk && !clk);
        self.control();
        self.addresses();
        self.bus();
        self.arithmetic();
        self.stepping();
        if !self.not_pulse {
            self.ram[usize::from(self.address & 0x7FFF)] = self.e;
        }
    }

    /// CLOCK.U1
    fn reset_lines(&mut self) {
        self.off = !self.reset_rc;
        self.not_off = !self.off;
        self.press = false;
        self.not_swing = !self.swing;
    }

    /// CLOCK.U2 to U4
    fn clock_storage(&mut self, rises: bool, falls: bool) {
        if !self.not_off {
            (self.press1, self.press2, self.not_press3) = (false, false, true);
            (self.awake, self.running, self.walking) = (false, false, false);
            (self.beat, self.late) = (false, false);
            return;
        }
        if rises {
            self.not_press3 = !self.press2;
            (self.press1, self.press2, self.awake) = (self.press, self.press1, true);
            (self.running, self.walking) = (true, false);
            self.beat = self.next;
        }
        if falls {
            self.late = self.beat;
        }
    }

    /// CLOCK.U1, U6, U9
    fn clock_lines(&mut self) {
        self.rest = !self.beat;
        self.third = self.late && self.rest;
        self.clk = self.beat;
        self.strobe = self.third;
        self.clk_lamp = self.beat;
    }

    /// All that is clocked by clk, and what resets it.
    fn storage(&mut self, rises: bool) {
        let d = self.d;
        let begun = self.begun;
        // CLOCK.U5, U9
        if rises {
            self.begun = (begun << 1 | 1) & 7;
        }
        if !self.not_off {
            self.begun = 0;
        }
        // What clears registers at this clock goes on until behind it.
        let clears = !self.not_reset;
        self.not_reset = self.begun & 2 != 0;
        self.reset = self.begun & 2 == 0;
        let clears = clears || self.reset;
        // CONTROL.U1, U2
        if rises && !line(self.to, 1) {
            self.ir = d;
        }
        if clears {
            self.ir = 0;
        }
        // ADDRESS.U1 to U4
        let load = !line(self.to, 6);
        let data = [d & 15, d >> 4, self.m[1] & 15, self.m[1] >> 4];
        let onward = self.shown[2] & 1 != 0;
        if rises {
            for (at, data) in data.into_iter().enumerate() {
                let enable = onward && (at == 0 || self.carry[at - 1]);
                let next = count(self.pc[at], load, data, enable);
                self.pc[at] = if self.not_clear { next } else { 0 };
            }
        }
        self.not_clear = self.begun & 4 != 0;
        // ADDRESS.U5, U6
        if rises && !line(self.to, 5) {
            self.m[0] = d;
        }
        if rises && !self.take_mh {
            self.m[1] = d;
        }
        // AX.U1, U3, YS.U1, U3
        if rises && !line(self.to, 7) {
            self.a = d;
        }
        if rises && !line(self.to, 8) {
            self.x = d;
        }
        if rises && !line(self.to, 9) {
            self.y = d;
        }
        if rises && !line(self.to, 10) {
            self.s = d;
        }
        // ALU.U1, U6, U9, U11
        if rises && !self.take_t {
            self.t = d;
        }
        if rises {
            self.r_held = self.r;
            self.c = self.next_c;
        }
        if clears {
            self.c = false;
        }
        if rises && self.shown[2] & 8 == 0 {
            (self.z, self.n) = (self.zero, d & 0x80 != 0);
        }
        if clears {
            (self.z, self.n) = (false, false);
        }
        // PORT.U2 to U4
        if rises && !line(self.to, 12) {
            self.out = d;
        }
        if clears {
            self.out = 0;
        }
        if rises {
            self.told = line(self.to, 12);
        }
        if clears {
            self.told = true;
        }
        // CONTROL.U3, U7 to U9
        if rises {
            let last = self.decoded[2] & 0x10 == 0;
            self.step = count(self.step, last, 0, true);
            self.shown = self.decoded;
        }
        if clears {
            self.step = 0;
        }
    }

    /// CONTROL.U4 to U6, U10 to U12
    fn control(&mut self) {
        let flags = usize::from(self.c) | usize::from(self.z) << 1 | usize::from(self.n) << 2;
        let at = usize::from(self.ir) | usize::from(self.step) << 8 | flags << 12;
        self.decoded = [0, 1, 2].map(|lane: usize| self.decode[lane][at & (SIZE - 1)]);
        self.from = !(1 << (self.shown[0] & 15));
        self.to = !(1 << (self.shown[0] >> 4));
        self.take_t = line(self.to, 2) && line(self.to, 3);
        self.take_mh = line(self.to, 2) && line(self.to, 4);
    }

    /// ADDRESS.U1 to U4, U7 to U10, MEMORY.U6, U7
    fn addresses(&mut self) {
        let mut carry = true;
        for at in 0..4 {
            carry &= self.pc[at] == 15;
            self.carry[at] = carry;
        }
        let by_m = self.shown[2] & 2 != 0;
        let m = [self.m[0] & 15, self.m[0] >> 4, self.m[1] & 15, self.m[1] >> 4];
        let mut address = 0;
        for (at, (&pc, m)) in self.pc.iter().zip(m).enumerate() {
            address |= u16::from(select(by_m, pc, m)) << (4 * at);
        }
        self.address = address;
        self.lit = self.address;
    }

    /// MEMORY.U1 to U5, ADDRESS.U11, U12, AX.U2, U4, YS.U2, U4, ALU.U6, PORT.U1, U5
    fn bus(&mut self) {
        let not_write = line(self.to, 11);
        let a15 = self.address & 0x8000 != 0;
        self.write = !not_write;
        self.not_pulse = !(self.write && self.strobe);
        self.not_speak = !(not_write && a15);
        let at = usize::from(self.address & 0x7FFF);
        let from = |at: u32| line(self.from, at);
        let memories = show(a15 || self.write, self.rom[at]) | show(self.not_speak, self.ram[at]);
        let pc = [self.pc[0] | self.pc[1] << 4, self.pc[2] | self.pc[3] << 4];
        let others = show(from(0), self.r_held)
            | show(from(2), self.a)
            | show(from(3), self.x)
            | show(from(4), self.y)
            | show(from(5), self.s)
            | show(from(6), pc[0])
            | show(from(7), pc[1])
            | show(from(8), self.input);
        self.d = others | show(from(1), memories);
        self.e = memories | show(not_write || self.clk, self.d);
        self.shown_bus = self.d;
    }

    /// ALU.U2 to U5, U7, U8, U10, U12
    fn arithmetic(&mut self) {
        let (d, t) = (self.d, self.t);
        let bit = |bit: u32| self.shown[1] >> bit & 1 == 1;
        let (logic, shift, take_c) = (bit(4), bit(7), self.shown[2] & 4 != 0);
        let (low, high) = (bit(5), bit(6));
        self.not_carry_in = pick(low, high, [true, false, !self.c, true]);
        self.top = pick(low, high, [false, true, self.c, d & 0x80 != 0]);
        let s = self.shown[1] & 15;
        let (f, not_half) = alu(d & 15, t & 15, s, logic, self.not_carry_in);
        self.not_half = not_half;
        let (g, not_carry) = alu(d >> 4, t >> 4, s, logic, not_half);
        self.not_carry = not_carry;
        self.f = f | g << 4;
        let shifted = d >> 1 | u8::from(self.top) << 7;
        let r = [select(shift, self.f & 15, shifted & 15), select(shift, self.f >> 4, shifted >> 4)];
        self.r = r[0] | r[1] << 4;
        let carry = !self.not_carry;
        self.next_c = pick(shift, take_c, [self.c, self.c, carry, d & 1 != 0]);
        self.not_zero = d != 0;
        self.zero = !self.not_zero;
    }

    /// CLOCK.U6 to U8
    fn stepping(&mut self) {
        let (not_fetch, not_halt) = (line(self.to, 1), line(self.to, 13));
        self.walk = self.walking && not_fetch;
        self.moving = self.running || self.walk;
        self.onward = self.moving && not_halt;
        self.once = self.press2 && self.not_press3;
        self.kick = self.once || self.begun & 4 == 0;
        self.go = self.kick || self.onward;
        self.ready = self.go && self.awake;
        self.next = self.ready && !self.beat;
        self.run_lamp = self.running;
        self.not_halt_lamp = not_halt;
        self.off_lamp = self.off;
    }

    /// The program counter.
    pub(crate) fn pc(&self) -> u16 {
        let digits = self.pc.iter().rev();
        digits.fold(0, |pc, &digit| pc << 4 | u16::from(digit))
    }

    /// True when HLT holds the clock.
    pub(crate) fn halts(&self) -> bool {
        !line(self.to, 13) && !self.beat && self.begun & 4 != 0
    }
}
