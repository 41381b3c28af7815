//! The netlist of `dunlin` (designs/dunlin) as straight-line code, bit by bit: at each edge of the oscillator every chip
//! is computed once by its equations, in the order of levels, two-valued and with a level for each pin. It is what
//! comes of a netlist that knows no buses; `dunlin_levels.rs` moves those as integers.

use coldboard::circuit::Circuit;
use std::array::from_fn;

type Byte = [bool; 8];
type Digit = [bool; 4];

/// All nets, and what the chips store besides them; those of active-low nets begin with `not_`.
#[derive(Default)]
pub(crate) struct Bits {
    // ---- from outside
    /// CLOCK.reset_rc: low while the button is pressed.
    pub(crate) reset_rc: bool,
    press: bool,
    run: bool,
    whole: bool,
    input: Byte,
    // ---- CLOCK
    swing: bool,
    not_swing: bool,
    off: bool,
    not_off: bool,
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
    begun: [bool; 3],
    clk: bool,
    strobe: bool,
    not_reset: bool,
    reset: bool,
    not_clear: bool,
    lamps: [bool; 4],
    // ---- CONTROL
    ir: Byte,
    step: Digit,
    decoded: [Byte; 3],
    shown: [Byte; 3],
    not_from: [bool; 16],
    not_to: [bool; 16],
    not_take_t: bool,
    not_take_mh: bool,
    // ---- ADDRESS
    pc: [Digit; 4],
    carry: [bool; 4],
    m: [Byte; 2],
    address: [bool; 16],
    // ---- MEMORY
    write: bool,
    not_pulse: bool,
    not_speak: bool,
    e: Byte,
    lit: [bool; 16],
    // ---- AX, YS
    a: Byte,
    x: Byte,
    y: Byte,
    s: Byte,
    // ---- ALU
    t: Byte,
    f: Byte,
    not_carry_in: bool,
    not_half: bool,
    not_carry: bool,
    top: bool,
    r: Byte,
    r_held: Byte,
    next_c: bool,
    c: bool,
    not_zero: bool,
    zero: bool,
    z: bool,
    n: bool,
    // ---- PORT
    out: Byte,
    told: bool,
    shown_bus: Byte,
    d: Byte,
    // ---- memories
    rom: Vec<u8>,
    ram: Vec<u8>,
    decode: [Vec<u8>; 3],
}

// ---- the chips ------------------------------------------------------------------------------------------------------

/// One of two lines.
#[inline(always)]
fn select(second: bool, a: bool, b: bool) -> bool {
    a & !second | b & second
}

/// A 157 that is enabled.
#[inline(always)]
fn mux157(second: bool, a: Digit, b: Digit) -> Digit {
    from_fn(|at| select(second, a[at], b[at]))
}

/// One half of a 153.
#[inline(always)]
fn mux153(a: bool, b: bool, c: Digit) -> bool {
    c[0] & !b & !a | c[1] & !b & a | c[2] & b & !a | c[3] & b & a
}

/// A 154 that is enabled.
#[inline(always)]
fn decoder154(input: Digit) -> [bool; 16] {
    from_fn(|line| !(0..4).fold(true, |all, bit| all & (input[bit] == (line >> bit & 1 == 1))))
}

/// A 377, or a 173 that is not cleared: what it holds behind a clock, if that comes.
#[inline(always)]
fn register377(clock: bool, not_enable: bool, q: Byte, d: Byte) -> Byte {
    from_fn(|bit| select(clock & !not_enable, q[bit], d[bit]))
}

/// A 163, or a 161 that is not cleared: what it counts to at a clock.
#[inline(always)]
fn counter163(not_clear: bool, not_load: bool, enable: bool, q: Digit, data: Digit) -> Digit {
    let t = [enable, enable & q[0], enable & q[0] & q[1], enable & q[0] & q[1] & q[2]];
    from_fn(|bit| not_clear & select(not_load, data[bit], q[bit] ^ t[bit]))
}

/// Its ripple carry.
#[inline(always)]
fn ripple163(enable: bool, q: Digit) -> bool {
    enable & q[0] & q[1] & q[2] & q[3]
}

/// A 181 by its equations: F, and CN+4.
#[inline(always)]
fn alu181(a: Digit, b: Digit, s: Digit, logic: bool, not_carry: bool) -> (Digit, bool) {
    let u: Digit = from_fn(|at| a[at] | b[at] & s[0] | !b[at] & s[1]);
    let v: Digit = from_fn(|at| a[at] & !b[at] & s[2] | a[at] & b[at] & s[3]);
    let mut carries = [!not_carry; 5];
    for at in 0..4 {
        carries[at + 1] = v[at] | u[at] & carries[at];
    }
    let f = from_fn(|at| u[at] ^ v[at] ^ (logic | carries[at]));
    (f, !carries[4])
}

/// A driver with tri-state outputs, on a bus that resistors pull low.
#[inline(always)]
fn shows(not_enable: bool, a: Byte) -> Byte {
    a.map(|a| a & !not_enable)
}

/// A 28C256 or 62256 that is read.
#[inline(always)]
fn read(memory: &[u8], address: &[bool]) -> Byte {
    let byte = memory[index(address)];
    from_fn(|bit| byte >> bit & 1 == 1)
}

#[inline(always)]
fn index(address: &[bool]) -> usize {
    let bits = address.iter().enumerate();
    bits.fold(0, |all, (bit, &level)| all | usize::from(level) << bit) & 0x7FFF
}

/// The lower and the upper half.
#[inline(always)]
fn digits([a, b, c, d, e, f, g, h]: Byte) -> [Digit; 2] {
    [[a, b, c, d], [e, f, g, h]]
}

#[inline(always)]
fn byte([[a, b, c, d], [e, f, g, h]]: [Digit; 2]) -> Byte {
    [a, b, c, d, e, f, g, h]
}

/// A number from its bits, the least significant first.
fn number(bits: &[bool]) -> u64 {
    let bits = bits.iter().rev();
    bits.fold(0, |all, &bit| all << 1 | u64::from(bit))
}

impl Bits {
    /// The machine at rest with its button pressed, the ROMs of the design and zeros in its RAM.
    pub(crate) fn new(circuit: &Circuit, input: u8) -> Bits {
        let rom = |path: &str| super::by_hand::rom(circuit, path);
        let mut bits = Bits {
            run: true,
            input: from_fn(|bit| input >> bit & 1 == 1),
            told: true,
            rom: rom("MEMORY.U1"),
            ram: vec![0; 0x8000],
            decode: ["CONTROL.U4", "CONTROL.U5", "CONTROL.U6"].map(rom),
            ..Bits::default()
        };
        bits.edge();
        bits.edge();
        bits
    }

    /// The oscillator goes up or down, and everything follows.
    #[inline(never)]
    pub(crate) fn edge(&mut self) {
        let (swing, clk) = (self.swing, self.clk);
        self.swing = !swing;
        self.reset_lines();
        self.clock_storage(!swing, swing);
        self.clock_lines();
        self.storage(self.clk & !clk);
        self.control();
        self.addresses();
        self.bus();
        self.arithmetic();
        self.stepping();
        if !self.not_pulse {
            self.ram[index(&self.address[..15])] = number(&self.e) as u8;
        }
    }

    /// CLOCK.U1
    fn reset_lines(&mut self) {
        self.off = !self.reset_rc;
        self.not_off = !self.off;
        self.not_swing = !self.swing;
    }

    /// CLOCK.U2 to U4
    fn clock_storage(&mut self, rises: bool, falls: bool) {
        let clear = self.not_off;
        let (press1, press2, beat) = (self.press1, self.press2, self.beat);
        let take = |q: bool, d: bool| clear & select(rises, q, d);
        self.not_press3 = !clear | select(rises, self.not_press3, !press2);
        self.press1 = take(press1, self.press);
        self.press2 = take(press2, press1);
        self.awake = take(self.awake, true);
        self.running = take(self.running, self.run);
        self.walking = take(self.walking, self.whole);
        self.beat = take(beat, self.next);
        self.late = clear & select(falls, self.late, beat);
    }

    /// CLOCK.U1, U6, U9
    fn clock_lines(&mut self) {
        self.rest = !self.beat;
        self.third = self.late & self.rest;
        self.clk = self.beat;
        self.strobe = self.third;
        self.lamps[0] = self.beat;
    }

    /// All that is clocked by clk, and what resets it.
    fn storage(&mut self, rises: bool) {
        let d = self.d;
        let not_to = self.not_to;
        // CLOCK.U5, U9
        let begun = self.begun;
        for (at, d) in [true, begun[0], begun[1]].into_iter().enumerate() {
            self.begun[at] = self.not_off & select(rises, begun[at], d);
        }
        // What clears registers at this clock goes on until behind it.
        let runs = self.not_reset & self.begun[1];
        self.not_reset = self.begun[1];
        self.reset = !self.begun[1];
        // CONTROL.U1, U2
        self.ir = register377(rises, not_to[1], self.ir, d).map(|q| q & runs);
        // ADDRESS.U1 to U4
        let data = [digits(d), digits(self.m[1])];
        let onward = self.shown[2][0];
        for at in 0..4 {
            let enable = onward & (at == 0 || self.carry[at.max(1) - 1]);
            let data = data[at / 2][at % 2];
            let next = counter163(self.not_clear, not_to[6], enable, self.pc[at], data);
            self.pc[at] = from_fn(|bit| select(rises, self.pc[at][bit], next[bit]));
        }
        self.not_clear = self.begun[2];
        // ADDRESS.U5, U6
        self.m[0] = register377(rises, not_to[5], self.m[0], d);
        self.m[1] = register377(rises, self.not_take_mh, self.m[1], d);
        // AX.U1, U3, YS.U1, U3
        self.a = register377(rises, not_to[7], self.a, d);
        self.x = register377(rises, not_to[8], self.x, d);
        self.y = register377(rises, not_to[9], self.y, d);
        self.s = register377(rises, not_to[10], self.s, d);
        // ALU.U1, U6, U9, U11
        self.t = register377(rises, self.not_take_t, self.t, d);
        self.r_held = register377(rises, false, self.r_held, self.r);
        self.c = select(rises, self.c, self.next_c) & runs;
        let take_zn = rises & !self.shown[2][3];
        self.z = select(take_zn, self.z, self.zero) & runs;
        self.n = select(take_zn, self.n, d[7]) & runs;
        // PORT.U2 to U4
        self.out = register377(rises, not_to[12], self.out, d).map(|q| q & runs);
        self.told = select(rises, self.told, not_to[12]) | !runs;
        // CONTROL.U3, U7 to U9
        let next = counter163(true, self.decoded[2][4], true, self.step, [false; 4]);
        self.step = from_fn(|bit| select(rises, self.step[bit], next[bit]) & runs);
        for lane in 0..3 {
            self.shown[lane] = register377(rises, false, self.shown[lane], self.decoded[lane]);
        }
    }

    /// CONTROL.U4 to U6, U10 to U12
    fn control(&mut self) {
        let (ir, s) = (self.ir, self.step);
        let at =
            [ir[0], ir[1], ir[2], ir[3], ir[4], ir[5], ir[6], ir[7], s[0], s[1], s[2], s[3], self.c, self.z, self.n];
        self.decoded = [0, 1, 2].map(|lane: usize| read(&self.decode[lane], &at));
        let [from, to] = digits(self.shown[0]);
        self.not_from = decoder154(from);
        self.not_to = decoder154(to);
        self.not_take_t = self.not_to[2] & self.not_to[3];
        self.not_take_mh = self.not_to[2] & self.not_to[4];
    }

    /// ADDRESS.U1 to U4, U7 to U10, MEMORY.U6, U7
    fn addresses(&mut self) {
        self.carry[0] = ripple163(true, self.pc[0]);
        for at in 1..4 {
            self.carry[at] = ripple163(self.carry[at - 1], self.pc[at]);
        }
        let m = [digits(self.m[0]), digits(self.m[1])];
        for at in 0..4 {
            let nibble = mux157(self.shown[2][1], self.pc[at], m[at / 2][at % 2]);
            self.address[4 * at..4 * at + 4].copy_from_slice(&nibble);
        }
        self.lit = self.address;
    }

    /// MEMORY.U1 to U5, ADDRESS.U11, U12, AX.U2, U4, YS.U2, U4, ALU.U6, PORT.U1, U5
    fn bus(&mut self) {
        let (not_write, a15) = (self.not_to[11], self.address[15]);
        let from = self.not_from;
        self.write = !not_write;
        self.not_pulse = !(self.write & self.strobe);
        self.not_speak = !(not_write & a15);
        let rom = shows(a15 | self.write, read(&self.rom, &self.address[..15]));
        let ram = shows(self.not_speak, read(&self.ram, &self.address[..15]));
        let memories: Byte = from_fn(|bit| rom[bit] | ram[bit]);
        let drivers = [
            shows(from[0], self.r_held),
            shows(from[1], memories),
            shows(from[2], self.a),
            shows(from[3], self.x),
            shows(from[4], self.y),
            shows(from[5], self.s),
            shows(from[6], byte([self.pc[0], self.pc[1]])),
            shows(from[7], byte([self.pc[2], self.pc[3]])),
            shows(from[8], self.input),
        ];
        self.d = from_fn(|bit| drivers.iter().fold(false, |any, byte| any | byte[bit]));
        let written = shows(not_write | self.clk, self.d);
        self.e = from_fn(|bit| memories[bit] | written[bit]);
        self.shown_bus = self.d;
    }

    /// ALU.U2 to U5, U7, U8, U10, U12
    fn arithmetic(&mut self) {
        let ([s, [logic, low, high, shift]], take_c) = (digits(self.shown[1]), self.shown[2][2]);
        let (d, c) = (self.d, self.c);
        self.not_carry_in = mux153(low, high, [true, false, !c, true]);
        self.top = mux153(low, high, [false, true, c, d[7]]);
        let ([a0, a1], [b0, b1]) = (digits(d), digits(self.t));
        let (f0, not_half) = alu181(a0, b0, s, logic, self.not_carry_in);
        let (f1, not_carry) = alu181(a1, b1, s, logic, not_half);
        (self.not_half, self.not_carry) = (not_half, not_carry);
        self.f = byte([f0, f1]);
        let r0 = mux157(shift, f0, [d[1], d[2], d[3], d[4]]);
        let r1 = mux157(shift, f1, [d[5], d[6], d[7], self.top]);
        self.r = byte([r0, r1]);
        self.next_c = mux153(shift, take_c, [c, c, !not_carry, d[0]]);
        self.not_zero = d.iter().fold(false, |any, bit| any | bit);
        self.zero = !self.not_zero;
    }

    /// CLOCK.U6 to U8
    fn stepping(&mut self) {
        let (not_fetch, not_halt) = (self.not_to[1], self.not_to[13]);
        self.walk = self.walking & not_fetch;
        self.moving = self.running | self.walk;
        self.onward = self.moving & not_halt;
        self.once = self.press2 & self.not_press3;
        self.kick = self.once | !self.begun[2];
        self.go = self.kick | self.onward;
        self.ready = self.go & self.awake;
        self.next = self.ready & !self.beat;
        self.lamps[1] = self.running;
        self.lamps[2] = not_halt;
        self.lamps[3] = self.off;
    }

    /// A, X, Y, S, the program counter, T, the output, the instruction and its step.
    pub(crate) fn registers(&self) -> [u64; 9] {
        let pc = self.pc.iter().rev();
        let pc = pc.fold(0, |pc, digit| pc << 4 | number(digit));
        let (a, x, y, s) = (&self.a, &self.x, &self.y, &self.s);
        let [a, x, y, s, t, out, ir] = [a, x, y, s, &self.t, &self.out, &self.ir].map(|byte| number(byte));
        [a, x, y, s, pc, t, out, ir, number(&self.step)]
    }

    /// True when HLT holds the clock.
    pub(crate) fn halts(&self) -> bool {
        !self.not_to[13] & !self.beat & self.begun[2]
    }
}
