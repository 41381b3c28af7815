//! The computer `dunlin` as its instruction table tells it (designs/dunlin/README.md): no chips, no clock, no microsteps.

/// The registers, the flags and the memory.
#[derive(Clone)]
pub(super) struct Model {
    pub(super) a: u8,
    pub(super) x: u8,
    pub(super) y: u8,
    pub(super) s: u8,
    pub(super) pc: u16,
    pub(super) c: bool,
    pub(super) z: bool,
    pub(super) n: bool,
    /// ROM below 0x8000, RAM above.
    pub(super) memory: Vec<u8>,
    /// What the switches say.
    pub(super) input: u8,
    /// What the last OUT sent.
    pub(super) output: Option<u8>,
}

/// What an instruction did besides.
pub(super) struct Done {
    pub(super) clocks: u32,
    /// The RAM byte that it wrote last.
    pub(super) wrote: Option<u16>,
}

/// Where an operand is, by the low bits of an instruction.
const IMMEDIATE: u8 = 0;
const ABSOLUTE: u8 = 1;
const PAGE: u8 = 2;
const POINTER: u8 = 3;
const IN_X: u8 = 4;
const IN_Y: u8 = 5;

impl Model {
    pub(super) fn new(memory: Vec<u8>, input: u8) -> Model {
        assert_eq!(memory.len(), 0x10000);
        Model { a: 0, x: 0, y: 0, s: 0, pc: 0, c: false, z: false, n: false, memory, input, output: None }
    }

    /// One instruction; `None` when it is HLT, or one that does not exist.
    pub(super) fn step(&mut self) -> Option<Done> {
        let mut done = Done { clocks: 0, wrote: None };
        let code = self.next();
        done.clocks = match code {
            0x00 => 3,
            0x02 | 0x03 => {
                self.c = code == 0x03;
                3
            }
            0x04 => {
                let low = self.pop();
                let high = self.pop();
                self.pc = u16::from_be_bytes([high, low]).wrapping_add(2);
                15
            }
            0x05 => {
                self.a = self.look(self.input);
                3
            }
            0x06 => {
                self.output = Some(self.a);
                3
            }
            0x08 => {
                self.x = self.look(self.a);
                3
            }
            0x09 => {
                self.a = self.look(self.x);
                3
            }
            0x0A => {
                self.y = self.look(self.a);
                3
            }
            0x0B => {
                self.a = self.look(self.y);
                3
            }
            0x0C => {
                self.x = self.look(self.s);
                3
            }
            0x0D => {
                self.s = self.look(self.x);
                3
            }
            0x10..=0x17 => {
                self.a = self.alone(code & 7, self.a);
                4
            }
            0x18 => {
                self.x = self.look(self.x.wrapping_add(1));
                4
            }
            0x19 => {
                self.x = self.look(self.x.wrapping_sub(1));
                4
            }
            0x1A => {
                self.y = self.look(self.y.wrapping_add(1));
                4
            }
            0x1B => {
                self.y = self.look(self.y.wrapping_sub(1));
                4
            }
            0x1C..=0x1E => {
                let byte = [self.a, self.x, self.y][usize::from(code - 0x1C)];
                self.push(byte, &mut done);
                7
            }
            0x20..=0x22 => {
                let byte = self.pop();
                let byte = self.look(byte);
                match code {
                    0x20 => self.a = byte,
                    0x21 => self.x = byte,
                    _ => self.y = byte,
                }
                8
            }
            0x24..=0x29 => {
                let at = self.address(ABSOLUTE);
                // INC, DEC, SHL, ROL, SHR, ROR in the order of 0x10 to 0x15.
                let byte = self.alone(code - 0x24, self.memory[usize::from(at)]);
                self.write(at, byte, &mut done);
                6
            }
            0x30 => {
                self.pc = self.address(ABSOLUTE);
                4
            }
            0x31 => {
                // The target is read behind the pushes: they could be what writes it.
                let [high, low] = self.pc.to_be_bytes();
                self.push(high, &mut done);
                self.push(low, &mut done);
                self.pc = self.address(ABSOLUTE);
                12
            }
            0x32 => {
                self.pc = u16::from_be_bytes([self.y, self.x]);
                4
            }
            0x38..=0x3D => {
                let target = self.address(ABSOLUTE);
                let flag = [self.c, self.z, self.n][usize::from(code - 0x38) / 2];
                if flag == (code & 1 == 0) {
                    self.pc = target;
                }
                4
            }
            0x40..=0x43 => {
                let byte = self.operand(code & 3);
                self.a = self.look(byte);
                [3, 5, 4, 5][usize::from(code & 3)]
            }
            0x45..=0x47 => {
                let at = self.address(code & 3);
                self.write(at, self.a, &mut done);
                [0, 5, 4, 5][usize::from(code & 3)]
            }
            0x48 | 0x49 => {
                let byte = self.operand(code & 1);
                self.x = self.look(byte);
                [3, 5][usize::from(code & 1)]
            }
            0x4D => {
                let at = self.address(ABSOLUTE);
                self.write(at, self.x, &mut done);
                5
            }
            0x50 | 0x51 => {
                let byte = self.operand(code & 1);
                self.y = self.look(byte);
                [3, 5][usize::from(code & 1)]
            }
            0x55 => {
                let at = self.address(ABSOLUTE);
                self.write(at, self.y, &mut done);
                5
            }
            0x58 | 0x5C => {
                let left = if code == 0x58 { self.x } else { self.y };
                let right = self.operand(IMMEDIATE);
                let difference = self.subtract(left, right, true);
                self.look(difference);
                4
            }
            0x80..=0xBF if code & 7 <= IN_Y => {
                let mode = code & 7;
                let right = self.operand(mode);
                self.both(code >> 3 & 7, right);
                [4, 7, 6, 7, 5, 5][usize::from(mode)]
            }
            _ => return None,
        };
        Some(done)
    }

    // ---- operands -----------------------------------------------------------------------------------------------

    fn next(&mut self) -> u8 {
        let byte = self.memory[usize::from(self.pc)];
        self.pc = self.pc.wrapping_add(1);
        byte
    }

    fn address(&mut self, mode: u8) -> u16 {
        let [high, low] = match mode {
            ABSOLUTE => [self.next(), self.next()],
            PAGE => [self.next(), self.x],
            POINTER => [self.y, self.x],
            _ => unreachable!("no address"),
        };
        u16::from_be_bytes([high, low])
    }

    fn operand(&mut self, mode: u8) -> u8 {
        match mode {
            IMMEDIATE => self.next(),
            IN_X => self.x,
            IN_Y => self.y,
            _ => {
                let at = self.address(mode);
                self.memory[usize::from(at)]
            }
        }
    }

    /// The RAM hears every write, whatever bit 15 of the address is.
    fn write(&mut self, at: u16, byte: u8, done: &mut Done) {
        let at = at | 0x8000;
        self.memory[usize::from(at)] = byte;
        done.wrote = Some(at);
    }

    fn push(&mut self, byte: u8, done: &mut Done) {
        self.write(0xFF00 | u16::from(self.s), byte, done);
        self.s = self.s.wrapping_sub(1);
    }

    fn pop(&mut self) -> u8 {
        self.s = self.s.wrapping_add(1);
        self.memory[0xFF00 | usize::from(self.s)]
    }

    // ---- arithmetic ---------------------------------------------------------------------------------------------

    /// Z and N look at a byte.
    fn look(&mut self, byte: u8) -> u8 {
        self.z = byte == 0;
        self.n = byte & 0x80 != 0;
        byte
    }

    fn subtract(&mut self, left: u8, right: u8, carry: bool) -> u8 {
        let borrow = u16::from(!carry);
        self.c = u16::from(left) >= u16::from(right) + borrow;
        left.wrapping_sub(right).wrapping_sub(borrow as u8)
    }

    fn add(&mut self, left: u8, right: u8, carry: bool) -> u8 {
        let sum = u16::from(left) + u16::from(right) + u16::from(carry);
        self.c = sum > 0xFF;
        sum as u8
    }

    /// INC, DEC, SHL, ROL, SHR, ROR, ASR, NOT.
    fn alone(&mut self, which: u8, byte: u8) -> u8 {
        let carry = u8::from(self.c);
        let (result, out) = match which {
            0 => (byte.wrapping_add(1), self.c),
            1 => (byte.wrapping_sub(1), self.c),
            2 => (byte << 1, byte & 0x80 != 0),
            3 => (byte << 1 | carry, byte & 0x80 != 0),
            4 => (byte >> 1, byte & 1 != 0),
            5 => (byte >> 1 | carry << 7, byte & 1 != 0),
            6 => (byte >> 1 | byte & 0x80, byte & 1 != 0),
            _ => (!byte, self.c),
        };
        self.c = out;
        self.look(result)
    }

    /// ADD, ADC, SUB, SBC, AND, OR, XOR, CMP: A with another byte.
    fn both(&mut self, which: u8, right: u8) {
        let result = match which {
            0 => self.add(self.a, right, false),
            1 => self.add(self.a, right, self.c),
            2 | 7 => self.subtract(self.a, right, true),
            3 => self.subtract(self.a, right, self.c),
            4 => self.a & right,
            5 => self.a | right,
            _ => self.a ^ right,
        };
        self.look(result);
        if which != 7 {
            self.a = result;
        }
    }
}
