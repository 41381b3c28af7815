//! The computer `dunlin` written out by hand: its netlist (designs/dunlin) chip by chip in the order of levels, two-valued
//! and without delays. It is what a person would write who wanted nothing but speed, for this one machine.

use coldboard::circuit::Circuit;

/// 32 KiB.
const SIZE: usize = 0x8000;

/// All that the chips store, and the bus.
pub(crate) struct Dunlin {
    // CLOCK.U2 to U5
    press: [bool; 3],
    awake: bool,
    running: bool,
    walking: bool,
    beat: bool,
    late: bool,
    begun: [bool; 3],
    // CONTROL.U1 to U3, U7 to U9
    pub(crate) ir: u8,
    pub(crate) step: u8,
    pub(crate) from: u8,
    pub(crate) to: u8,
    select: u8,
    logic: bool,
    carry: u8,
    shift: bool,
    onward: bool,
    by_m: bool,
    take_c: bool,
    not_take_zn: bool,
    // ADDRESS.U1 to U6
    pub(crate) pc: u16,
    pub(crate) m: [u8; 2],
    // AX, YS: U1, U3
    pub(crate) a: u8,
    pub(crate) x: u8,
    pub(crate) y: u8,
    pub(crate) s: u8,
    // ALU.U1, U6, U9, U11
    pub(crate) t: u8,
    pub(crate) r: u8,
    pub(crate) c: bool,
    pub(crate) z: bool,
    pub(crate) n: bool,
    // PORT.U2 to U4
    pub(crate) out: u8,
    pub(crate) told: bool,
    /// The bus, as it was settled behind the last clock.
    pub(crate) d: u8,
    address: u16,
    /// What the switches say.
    input: u8,
    rom: Vec<u8>,
    pub(crate) ram: Vec<u8>,
    decode: [Vec<u8>; 3],
    pub(crate) clocks: u64,
}

/// A 181: the result and the carry out of it, high when there is one.
#[inline(always)]
fn alu(a: u8, b: u8, select: u8, logic: bool, carry: bool) -> (u8, bool) {
    let bit = |bit: u8| 0u8.wrapping_sub(select >> bit & 1);
    let u = (a | b & bit(0) | !b & bit(1)) & 15;
    let v = (a & !b & bit(2) | a & b & bit(3)) & 15;
    let sum = u + v + u8::from(carry);
    let result = if logic { !(u ^ v) & 15 } else { sum & 15 };
    (result, sum & 16 != 0)
}

/// A 157, or one nibble of four.
#[inline(always)]
fn choose(second: bool, one: u16, other: u16) -> u16 {
    if second { other } else { one }
}

/// A 163: the count, and its ripple carry.
#[inline(always)]
fn count(q: u16, clear: bool, load: Option<u16>, enp: bool, ent: bool) -> u16 {
    if clear {
        return 0;
    }
    match load {
        Some(data) => data & 15,
        None => (q + u16::from(enp && ent)) & 15,
    }
}

/// What a ROM of the design holds.
pub(crate) fn rom(circuit: &Circuit, path: &str) -> Vec<u8> {
    let chip = circuit.chip(path).expect("a ROM");
    let holds = circuit.chips[chip].initial_contents.as_ref().expect("contents");
    let mut bytes = vec![0xFF; SIZE];
    for (start, segment) in holds.image.segments() {
        let start = start as usize;
        bytes[start..start + segment.len()].copy_from_slice(segment);
    }
    bytes
}

impl Dunlin {
    /// The machine in reset, with the ROMs of the design and zeros in its RAM.
    pub(crate) fn new(circuit: &Circuit, input: u8) -> Dunlin {
        let rom = |path: &str| rom(circuit, path);
        let mut machine = Dunlin {
            press: [false; 3],
            awake: false,
            running: false,
            walking: false,
            beat: false,
            late: false,
            begun: [false; 3],
            ir: 0,
            step: 0,
            from: 0,
            to: 0,
            select: 0,
            logic: false,
            carry: 0,
            shift: false,
            onward: false,
            by_m: false,
            take_c: false,
            not_take_zn: false,
            pc: 0,
            m: [0; 2],
            a: 0,
            x: 0,
            y: 0,
            s: 0,
            t: 0,
            r: 0,
            c: false,
            z: false,
            n: false,
            out: 0,
            told: true,
            d: 0,
            address: 0,
            input,
            rom: rom("MEMORY.U1"),
            ram: vec![0; SIZE],
            decode: ["CONTROL.U4", "CONTROL.U5", "CONTROL.U6"].map(rom),
            clocks: 0,
        };
        machine.settle();
        machine
    }

    /// The address, the memories and the bus follow the registers.
    #[inline(always)]
    fn settle(&mut self) {
        // ADDRESS.U7 to U10
        let m = u16::from_le_bytes(self.m);
        self.address = choose(self.by_m, self.pc, m);
        // MEMORY.U5, U1, U2
        let write = self.to == 11;
        let at = usize::from(self.address & 0x7FFF);
        let high = self.address & 0x8000 != 0;
        let e = if write {
            0
        } else if high {
            self.ram[at]
        } else {
            self.rom[at]
        };
        // CONTROL.U10 and the buffers behind it
        self.d = match self.from {
            0 => self.r,
            1 => e,
            2 => self.a,
            3 => self.x,
            4 => self.y,
            5 => self.s,
            6 => self.pc as u8,
            7 => (self.pc >> 8) as u8,
            8 => self.input,
            _ => 0,
        };
    }

    /// The rise of the oscillator; true when the clock rises with it.
    #[inline(always)]
    fn swing_up(&mut self) -> bool {
        // CLOCK.U6 to U8: HLT and the fetch ask for the clock to stop.
        let (halt, fetch) = (self.to == 13, self.to == 1);
        let walk = self.walking && !fetch;
        let moving = self.running || walk;
        let once = self.press[1] && !self.press[2];
        let kick = once || !self.begun[2];
        let go = kick || moving && !halt;
        let next = go && self.awake && !self.beat;
        self.press = [false, self.press[0], self.press[1]];
        self.awake = true;
        self.running = true;
        self.walking = false;
        let was = std::mem::replace(&mut self.beat, next);
        if was && !next && self.late && self.to == 11 {
            // The strobe begins with the low half of the clock: the bus goes into the RAM.
            self.ram[usize::from(self.address & 0x7FFF)] = self.d;
        }
        !was && next
    }

    /// The fall of the oscillator.
    #[inline(always)]
    fn swing_down(&mut self) {
        self.late = self.beat;
    }

    /// Everything that the clock moves.
    #[inline(always)]
    fn clock(&mut self) {
        self.clocks += 1;
        let (d, to) = (self.d, self.to);
        // ALU.U7
        let (carry_in, top) = match self.carry {
            0 => (false, false),
            1 => (true, true),
            2 => (self.c, self.c),
            _ => (false, d & 0x80 != 0),
        };
        // ALU.U2, U3: nibble by nibble
        let (low, half) = alu(d & 15, self.t & 15, self.select, self.logic, carry_in);
        let (high, carry) = alu(d >> 4, self.t >> 4, self.select, self.logic, half);
        // ALU.U4, U5
        let shifted = d >> 1 | u8::from(top) << 7;
        let r = if self.shift { shifted } else { high << 4 | low };
        // ALU.U8, U10, U12
        let c = match (self.take_c, self.shift) {
            (false, _) => self.c,
            (true, false) => carry,
            (true, true) => d & 1 != 0,
        };
        let zero = d == 0;
        // CONTROL.U4 to U6
        let flags = usize::from(self.c) | usize::from(self.z) << 1 | usize::from(self.n) << 2;
        let at = usize::from(self.ir) | usize::from(self.step) << 8 | flags << 12;
        let [first, second, third] = [0, 1, 2].map(|lane| self.decode[lane][at]);
        // CLOCK.U5 and what it clears
        let [begun1, begun2, begun3] = self.begun;
        self.begun = [true, begun1, begun2];
        // ADDRESS.U1 to U4
        let clear = !begun3;
        let target = u16::from(self.m[1]) << 8 | u16::from(d);
        let mut pc = 0;
        let mut ent = true;
        for place in [0, 4, 8, 12] {
            let q = self.pc >> place & 15;
            let load = (to == 6).then_some(target >> place);
            pc |= count(q, clear, load, self.onward, ent) << place;
            ent &= q == 15;
        }
        self.pc = pc;
        // The registers on the bus
        if to == 1 {
            self.ir = d;
        }
        if to == 2 || to == 3 {
            self.t = d;
        }
        if to == 2 || to == 4 {
            self.m[1] = d;
        }
        if to == 5 {
            self.m[0] = d;
        }
        match to {
            7 => self.a = d,
            8 => self.x = d,
            9 => self.y = d,
            10 => self.s = d,
            12 => self.out = d,
            _ => {}
        }
        self.told = to != 12;
        self.r = r;
        self.c = c;
        if !self.not_take_zn {
            (self.z, self.n) = (zero, d & 0x80 != 0);
        }
        // CONTROL.U3: /LOAD is what the ROM says now
        let last = third & 0x10 == 0;
        self.step = if last { 0 } else { (self.step + 1) & 15 };
        // CONTROL.U7 to U9
        (self.from, self.to) = (first & 15, first >> 4);
        self.select = second & 15;
        self.logic = second & 0x10 != 0;
        self.carry = second >> 5 & 3;
        self.shift = second & 0x80 != 0;
        self.onward = third & 1 != 0;
        self.by_m = third & 2 != 0;
        self.take_c = third & 4 != 0;
        self.not_take_zn = third & 8 != 0;
        // What clears them goes on until behind this clock.
        if !begun2 {
            (self.ir, self.step, self.out) = (0, 0, 0);
            (self.c, self.z, self.n, self.told) = (false, false, false, true);
        }
        self.settle();
    }

    /// One whole swing of the oscillator: up and down.
    #[inline(always)]
    pub(crate) fn swing(&mut self) {
        if self.swing_up() {
            self.clock();
        }
        self.swing_down();
    }

    /// True when HLT holds the clock.
    pub(crate) fn halts(&self) -> bool {
        self.to == 13 && !self.beat && self.begun[2]
    }

    /// Pressed and let go: the reset.
    pub(crate) fn reset(&mut self) {
        (self.press, self.awake) = ([false; 3], false);
        (self.running, self.walking) = (false, false);
        (self.beat, self.late, self.begun) = (false, false, [false; 3]);
        (self.ir, self.step, self.out) = (0, 0, 0);
        (self.c, self.z, self.n, self.told) = (false, false, false, true);
        self.settle();
    }
}
