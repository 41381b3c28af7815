//! How statements are written: an example of each, for the help of a message.

use super::blocks::Block;

impl Block {
    /// How a statement of such a block is written, told by what is there of it: the longest beginning that fits.
    pub(super) fn example(self, written: &str) -> &'static str {
        let find = |examples: &[(&str, &'static str)], other: &'static str| {
            let fits = |start: &str| {
                let rest = written.strip_prefix(start);
                rest.is_some_and(|rest| !rest.starts_with(|c: char| c.is_alphanumeric()))
            };
            let fitting = examples.iter().filter(|(start, _)| fits(start));
            let longest = fitting.max_by_key(|(start, _)| start.len());
            longest.map_or(other, |&(_, example)| example)
        };
        match self {
            Block::File => find(FILE_EXAMPLES, "board clock \"clock and reset\" { }"),
            Block::Part => find(PART_EXAMPLES, "Y = A and B"),
            Block::Package => "2..9 D[1..8] in",
            Block::Stores => find(STORE_EXAMPLES, "q = D"),
            Block::Table => "L rise 5 | 5",
            Block::Sheet | Block::Family => find(SHEET_EXAMPLES, "source \"publisher, document, date\""),
            Block::Rows => find(ROW_EXAMPLES, "delay A -> Y 9 18 ns"),
            Block::Levels => "input-high 3.15 V",
            Block::Board => find(BOARD_EXAMPLES, "U1 74HC574 { CLK = phi  D[1..8] = m[0..7] }"),
            Block::Connector => "1..8 m[0..7]",
            Block::Component => "CLK = phi",
            Block::Assembly => find(ASSEMBLY_EXAMPLES, "A, B: register"),
            Block::Wires => find(WIRE_EXAMPLES, "A.P.1 to B.P.1"),
            Block::Poles => find(POLE_EXAMPLES, "plus = A.POWER.1"),
            Block::Names => "FETCH = 0",
            Block::Instructions => find(INSTRUCTIONS_EXAMPLES, "LOAD n: byte = 0x10, n"),
            Block::Effect => "A = A + n",
            Block::Machine => find(MACHINE_EXAMPLES, "A = AX.p"),
            Block::Program => find(PROGRAM_EXAMPLES, "LOAD 5"),
            Block::Contents => find(CONTENTS_EXAMPLES, "when step = 0: pc_out, ir_load"),
            Block::Bits => "0..7 opcode[0..7]",
            Block::Trial | Block::Unknown => find(TRIAL_EXAMPLES, "expect done is high"),
        }
    }
}

const FILE_EXAMPLES: &[(&str, &str)] = &[
    ("use", "use \"clock.board\""),
    ("part", "part 574 \"octal flip-flop\" { Q = D }"),
    ("family", "family HC { source \"publisher, document, date\" }"),
    ("board", "board clock \"clock and reset\" { rail VCC 5 V }"),
    ("assembly", "assembly bench { A, B: register }"),
    ("trial", "trial counts on bench { run for 1 ms }"),
    ("procedure", "procedure write(address, byte) { set a = address  set d = byte }"),
    ("names", "names steps { FETCH = 0  EXECUTE = 1 }"),
    ("instructions", "instructions OWN { LOAD n: byte = 0x10, n }"),
    ("program", "program first for OWN { LOAD 5 }"),
    ("contents", "contents rom { file \"tune.hex\" }"),
];

const WIRE_EXAMPLES: &[(&str, &str)] = &[("each", "each i in 1..8 { A.P.[i] to B.P.[9-i] }")];

const POLE_EXAMPLES: &[(&str, &str)] =
    &[("minus", "minus = A.POWER.2"), ("each", "each i in 1..2 { plus = L[i].POWER.1 }")];

const INSTRUCTIONS_EXAMPLES: &[(&str, &str)] = &[
    ("registers", "registers r: A = 0, B = 1"),
    ("state", "state A 8, B 8, PC 16, Z 1"),
    ("each", "each n in 0..7 { SET[n] = 0x40 + n }"),
    ("effect", "effect test(v) { Z = v = 0 }"),
    ("note", "note \"what a builder must know\""),
];

const MACHINE_EXAMPLES: &[(&str, &str)] =
    &[("start", "start on rise clk when step = 0"), ("memory", "memory 0x8000 = MEMORY.U1")];

const PROGRAM_EXAMPLES: &[(&str, &str)] = &[
    ("origin", "origin 0x8000"),
    ("constant", "constant SIZE = 16"),
    ("bytes", "bytes 1, 2, \"text\", 0"),
    ("fill", "fill 16 with 0xFF"),
    ("note", "note \"what it does\""),
];

const CONTENTS_EXAMPLES: &[(&str, &str)] = &[
    ("file", "file \"tune.hex\" offset 0x100"),
    ("program", "program monitor"),
    ("lanes", "lanes 2"),
    ("address", "address { 0..7 opcode[0..7]  8..9 step[0..1] }"),
    ("data", "data { 0 pc_out  1 /ir_load }"),
    ("else", "else: none"),
    ("each", "each n in 0..7 { when step = n: phase[n] }"),
    ("sequence", "sequence opcode by step until last"),
    ("drivers", "drivers d: a_out, x_out, rom_out"),
    ("note", "note \"what a builder must know\""),
];

const PART_EXAMPLES: &[(&str, &str)] = &[
    ("package", "package DIP14 { 1 1A in  7 GND ground  14 VCC power }"),
    ("state", "state q[1..8]"),
    ("memory", "memory cells 32768 x 8 blank 0xFF"),
    ("oscillator", "oscillator swing"),
    ("timer", "timer pulse at REXT CEXT"),
    ("power-up", "power-up zero busy"),
    ("node", "node carry = A and B"),
    ("on", "on rise CLK { q = D }"),
    ("while", "while CLR { q = 0 }"),
    ("forbid", "forbid S and R \"both at once\""),
    ("table", "table { A B | Y }"),
    ("family", "family HC { source \"publisher, document, date\" }"),
    ("grade", "grade 70 { source \"publisher, document, date\" }"),
    ("each", "each i in 1..4 { [i]Y = not [i]A }"),
    ("note", "note \"what a builder must know\""),
];

const STORE_EXAMPLES: &[(&str, &str)] =
    &[("start", "start busy"), ("when", "when A = 5 { q = D }"), ("each", "each i in 1..4 { q[i] = [i]D }")];

const SHEET_EXAMPLES: &[(&str, &str)] = &[
    ("columns", "columns typ 25 C, limit -40..85 C"),
    ("at", "at 4.5 V { }"),
    ("supply", "supply 2..6 V"),
    ("note", "note \"what a builder must know\""),
];

const ROW_EXAMPLES: &[(&str, &str)] = &[
    ("enable", "enable /OE -> Q 12 30 ns"),
    ("disable", "disable /OE -> Q 18 30 ns"),
    ("output-hold", "output-hold A -> DQ 10 - ns"),
    ("setup", "setup D before CLK rise - 20 ns"),
    ("hold", "hold D after CLK rise - 5 ns"),
    ("recovery", "recovery /CLR before CLK rise - 20 ns"),
    ("select", "select /CE before write fall - 60 ns"),
    ("width", "width CLK high - 16 ns"),
    ("rate", "rate CLK - 30 MHz"),
    ("stable", "stable A while write"),
    ("threshold", "threshold A rise 1.9 3.15 V"),
    ("start-up", "start-up OUT - 10 ms"),
    ("power-capacitance", "power-capacitance per gate 20 - - pF"),
    ("duration", "duration busy - 10 ms"),
    ("output-low", "output-low at 16 mA - 0.4 V"),
    ("off-current", "off-current - 250 uA"),
    ("supply-current", "supply-current 12 22 mA"),
    ("extra-supply-current", "extra-supply-current A - 432 uA"),
    ("output-voltage-limit", "output-voltage-limit - 30 V"),
];

const BOARD_EXAMPLES: &[(&str, &str)] = &[
    ("rail", "rail VCC 5 V"),
    ("trace", "trace 25 mm"),
    ("feed", "feed U1..U3 from VCC GND"),
    ("accept", "accept memory-unreachable at U1 \"half of it is enough\""),
    ("connector", "connector BUS header-1x10 { 1..8 m[0..7]  9 VCC  10 GND }"),
    ("each", "each i in 0..3 { R[i] resistor 1 kohm { 1 = a[i]  2 = GND } }"),
    ("note", "note \"what a builder must know\""),
];

const ASSEMBLY_EXAMPLES: &[(&str, &str)] = &[
    ("cable", "cable W1 ribbon 10 way 250 mm { A.BUS, B.BUS }"),
    ("supply", "supply PS1 5 V 2 A { plus = A.POWER.1  minus = A.POWER.2 }"),
    ("each", "each i in 0..3 { M[i]: memory }"),
    ("accept", "accept clock-load at A.phi \"the buffer is stronger\""),
    ("note", "note \"what a builder must know\""),
];

const TRIAL_EXAMPLES: &[(&str, &str)] = &[
    ("power-up", "power-up random seed 5"),
    ("corner", "corner slowest"),
    ("temperature", "temperature 70 C"),
    ("clock", "clock phi 1 MHz"),
    ("count", "count clocks on phi"),
    ("load", "load A.U7 from \"program.hex\""),
    ("drive", "drive /reset low for 3 clocks"),
    ("set", "set go = high"),
    ("release", "release go"),
    ("press", "press SW1 for 5 ms bounce 1 ms"),
    ("close", "close SW1, SW2"),
    ("open", "open SW1"),
    ("flip", "flip SW1 up"),
    ("step", "step phi 5 times every 1 ms"),
    ("run for", "run for 3 clocks"),
    ("expect on", "expect on rise strobe: sum = 1, 4, 9"),
    ("expect never", "expect never alarm is high"),
    ("machine", "machine OWN { start on rise clk  PC = pc  A = a  memory 0 = U1 }"),
    ("agree", "agree with OWN"),
    ("profile", "profile OWN"),
    ("show each instruction", "show each instruction: A, Z"),
    ("show on", "show on rise strobe: sum, carry"),
    ("run", "run until done is high within 2000 clocks"),
    ("expect", "expect sum = 0x2A within 3 clocks"),
    ("show", "show each clock: a, b as binary"),
    ("vectors", "vectors \"adder.csv\" every 1 us"),
    ("record", "record \"adder.csv\" each clock: a, b, sum"),
    ("each", "each i in 0..7 { set a = i  run for 1 us }"),
    ("repeat", "repeat 20 times { run for 1 clock }"),
    ("together", "together { press SW1 for 5 ms  drive /reset low for 8 ms }"),
    ("do", "do write(5, 0x2A)"),
    ("note", "note \"what is tried here\""),
];
