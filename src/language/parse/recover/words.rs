//! What a person calls the rules of the grammar.

use super::blocks::Block;
use crate::language::parse::grammar::Rule;
use crate::language::parse::is_keyword;

/// A keyword as it is written.
pub(super) fn keyword(rule: Rule) -> Option<String> {
    is_keyword(rule).then(|| {
        let name = format!("{rule:?}");
        name.trim_start_matches("kw_").replace('_', "-")
    })
}

/// The keywords that may stand where a rule was tried; the parser names a rule instead of what it begins with.
pub(super) fn keywords(rule: Rule) -> &'static [&'static str] {
    match rule {
        Rule::file | Rule::rest_of_file | Rule::item => Block::File.starters(),
        Rule::part_item | Rule::part_statement | Rule::rest_of_part | Rule::each_part => {
            Block::Part.starters()
        }
        Rule::rest_of_stores | Rule::each_assign | Rule::when_block => Block::Stores.starters(),
        Rule::each_connection => &["each"],
        Rule::rest_of_component => &["each"],
        Rule::sheet_block => &["family", "grade"],
        Rule::sheet_line | Rule::rest_of_sheet => Block::Sheet.starters(),
        Rule::at_block | Rule::sheet_row | Rule::rest_of_rows => Block::Rows.starters(),
        Rule::arc_row => &["delay", "enable", "disable", "output-hold"],
        Rule::window_row => &["setup", "recovery", "select", "hold"],
        Rule::family_item | Rule::family_line | Rule::rest_of_family => Block::Family.starters(),
        Rule::level_block | Rule::level_row | Rule::level_name | Rule::rest_of_levels => {
            Block::Levels.starters()
        }
        Rule::board_item | Rule::board_statement | Rule::rest_of_board | Rule::each_board => {
            Block::Board.starters()
        }
        Rule::assembly_item
        | Rule::assembly_statement
        | Rule::rest_of_assembly
        | Rule::each_assembly => Block::Assembly.starters(),
        Rule::supply_block | Rule::supply_pole | Rule::rest_of_poles => Block::Poles.starters(),
        Rule::trial_item | Rule::trial_statement | Rule::rest_of_trial => Block::Trial.starters(),
        Rule::instructions_item | Rule::instructions_line | Rule::rest_of_instructions => {
            Block::Instructions.starters()
        }
        Rule::program_item | Rule::program_line | Rule::rest_of_program => {
            Block::Program.starters()
        }
        Rule::contents_item | Rule::contents_line | Rule::rest_of_contents => {
            Block::Contents.starters()
        }
        Rule::bits_block => &["address", "data"],
        Rule::whole_prefix => &["not", "low", "high"],
        Rule::outputs => &["none"],
        Rule::holding => &["holds"],
        Rule::pin_kind => &[
            "in",
            "out",
            "in-out",
            "three-state",
            "open-drain",
            "timing",
            "power",
            "ground",
            "none",
        ],
        Rule::edge => &["rise", "fall"],
        Rule::column | Rule::columns_line => &["min", "typ", "limit"],
        Rule::colour => COLOURS,
        Rule::network_style => &["bussed", "isolated"],
        Rule::value => VALUES,
        Rule::status => &["high", "low", "unknown", "known", "off"],
        Rule::signal_value => &["high", "low"],
        Rule::radix => &["hex", "binary", "decimal", "signed", "characters"],
        Rule::nets | Rule::connector_pin => &["open"],
        Rule::expression
        | Rule::or_level
        | Rule::xor_level
        | Rule::and_level
        | Rule::not_level
        | Rule::group => &["not", "decode", "all", "any", "odd", "off", "unknown"],
        Rule::comparison | Rule::sum | Rule::selection | Rule::prefix => {
            &["decode", "all", "any", "odd", "off", "unknown"]
        }
        Rule::powerup_line => &["unknown", "zero", "one", "random"],
        Rule::corner_line => &["fastest", "typical", "slowest", "random"],
        Rule::run_line => &["for", "until"],
        Rule::show_line => &["each", "on", "every", "now"],
        Rule::flip_line => &["up", "down"],
        Rule::expect_line => &["within", "for"],
        Rule::expect_never => &["never", "on"],
        _ => &[],
    }
}

/// What an LED can be.
pub(super) const COLOURS: &[&str] = &["red", "orange", "amber", "yellow", "green", "blue", "white"];

pub(super) const VALUES: &[&str] = &[
    "red", "orange", "amber", "yellow", "green", "blue", "white", "bussed", "isolated",
];

/// What stands where a rule was tried, with its article.
pub(super) fn phrase(rule: Rule, block: Block) -> String {
    let text = match rule {
        Rule::open_brace => "`{`",
        Rule::close_brace => "`}`",
        Rule::open_bracket => "`[`",
        Rule::close_bracket => "`]`",
        Rule::open_paren | Rule::target_group | Rule::net_group => "`(`",
        Rule::close_paren => "`)`",
        Rule::comma => "`,`",
        Rule::colon => "`:`",
        Rule::equals => "`=`",
        Rule::differs => "`!=`",
        Rule::less => "`<`",
        Rule::greater => "`>`",
        Rule::plus => "`+`",
        Rule::minus | Rule::dash => "`-`",
        Rule::star => "`*`",
        Rule::divide | Rule::slash | Rule::inner_slash => "`/`",
        Rule::percent => "`%`",
        Rule::arrow => "`->`",
        Rule::bar => "`|`",
        Rule::dot => "`.`",
        Rule::dots => "`..`",
        Rule::by => "`x`",
        Rule::string | Rule::string_text => "a text in quotation marks",
        Rule::number | Rule::digits | Rule::decimal => "a number",
        Rule::figure | Rule::figures => "a figure",
        Rule::unit => "a unit",
        Rule::quantity => "a number with its unit",
        Rule::name | Rule::names | Rule::word => "a name",
        Rule::refs => "a designator such as `U1`",
        Rule::path | Rule::path_step => "a name such as `A.phi`",
        Rule::timing_pins => "`at` and two pins",
        Rule::value_range => "a range such as `5..50 kohm`",
        Rule::bracket
        | Rule::range
        | Rule::index
        | Rule::index_term
        | Rule::index_factor
        | Rule::index_name => "an index such as `3` or `0..7`",
        Rule::kind => match block {
            Block::Part | Block::Sheet => "a name such as `DIP14` or `HC`",
            Block::Board => "a kind such as `74HC574`, `resistor` or `header-1x10`",
            _ => "a number such as `574`",
        },
        Rule::pin_numbers | Rule::pin_range | Rule::pin_digits => "a pin number",
        Rule::pin_choice | Rule::connection => Block::Component.content(),
        Rule::edge => "`rise` or `fall`",
        Rule::pin_kind => "the kind of the pin, such as `in`",
        Rule::column => "`min`, `typ` or `limit`",
        Rule::colour => "a colour",
        Rule::value | Rule::network_style | Rule::pin_count | Rule::estimated => {
            "a value such as `10 kohm`"
        }
        Rule::connections => "`{`",
        Rule::nets => "a net",
        Rule::way => "a number of ways",
        Rule::status => "`high`, `low`, `unknown`, `known` or `off`",
        Rule::signal_value => "`high`, `low`, a number or the name of one",
        Rule::radix => "`hex`, `binary`, `decimal`, `signed`, `characters` or names of values",
        Rule::trial_value | Rule::choice => "a number or a name",
        Rule::symbol | Rule::named => "a name",
        Rule::local => "a local label such as `.loop`",
        Rule::whole
        | Rule::whole_xor
        | Rule::whole_and
        | Rule::whole_sum
        | Rule::whole_product
        | Rule::whole_prefix
        | Rule::whole_leaf
        | Rule::whole_group => "a value such as `5` or `start + 2`",
        Rule::negative => "`-`",
        Rule::operands | Rule::operand => "an operand such as `5` or `[start]`",
        Rule::form_operand | Rule::form_piece => "an operand such as `n: byte`",
        Rule::operand_kind => {
            "`byte`, `word`, `address`, `relative`, a range or a kind of registers"
        }
        Rule::register => "a register such as `A = 0`",
        Rule::match_any | Rule::match_all | Rule::match_one | Rule::match_group => {
            "a condition such as `step = 2`"
        }
        Rule::output | Rule::outputs => "an output, or `none`",
        Rule::holding => "`holds`",
        Rule::duration => "a time such as `5 ms` or `3 clocks`",
        Rule::field => "a name such as `A.phi`",
        Rule::seed => "`seed`",
        Rule::origin => "`from`",
        Rule::condition | Rule::both | Rule::claim => "a condition such as `done is high`",
        Rule::target => "a name",
        Rule::assignment => "an assignment such as `Y = A and B`",
        Rule::expression
        | Rule::or_level
        | Rule::xor_level
        | Rule::and_level
        | Rule::not_level
        | Rule::comparison
        | Rule::sum
        | Rule::selection
        | Rule::prefix
        | Rule::primary
        | Rule::group => "a formula such as `A and B`",
        Rule::cell => Block::Table.content(),
        Rule::EOI => "the end of the file",
        Rule::wire | Rule::connector_list => "connectors `A.BUS, B.BUS`, or wires `A.P.1 to B.P.1`",
        Rule::file
        | Rule::item
        | Rule::use_item
        | Rule::part_item
        | Rule::part_head
        | Rule::family_item
        | Rule::family_head
        | Rule::board_item
        | Rule::board_head
        | Rule::assembly_item
        | Rule::assembly_head
        | Rule::trial_item
        | Rule::trial_head
        | Rule::names_item
        | Rule::names_head
        | Rule::instructions_item
        | Rule::instructions_head
        | Rule::program_item
        | Rule::program_head
        | Rule::contents_item
        | Rule::contents_head
        | Rule::rest_of_file => Block::File.content(),
        Rule::part_statement
        | Rule::each_part
        | Rule::package_block
        | Rule::state_line
        | Rule::memory_line
        | Rule::oscillator_line
        | Rule::timer_line
        | Rule::reset_line
        | Rule::node_line
        | Rule::on_block
        | Rule::while_block
        | Rule::forbid_line
        | Rule::table_block
        | Rule::sheet_block
        | Rule::rest_of_part => Block::Part.content(),
        Rule::package_pin | Rule::rest_of_package => Block::Package.content(),
        Rule::each_assign
        | Rule::when_block
        | Rule::start_line
        | Rule::store
        | Rule::rest_of_stores => Block::Stores.content(),
        Rule::rest_of_table => Block::Table.content(),
        Rule::sheet_line
        | Rule::source_line
        | Rule::columns_line
        | Rule::at_block
        | Rule::rest_of_sheet => Block::Sheet.content(),
        Rule::sheet_row
        | Rule::arc_row
        | Rule::window_row
        | Rule::width_row
        | Rule::rate_row
        | Rule::stable_row
        | Rule::threshold_row
        | Rule::startup_row
        | Rule::power_row
        | Rule::share
        | Rule::duration_row
        | Rule::pin_row
        | Rule::rest_of_rows => Block::Rows.content(),
        Rule::family_line
        | Rule::supply_range
        | Rule::estimate_line
        | Rule::level_block
        | Rule::rest_of_family => Block::Family.content(),
        Rule::level_row | Rule::level_name | Rule::rest_of_levels => Block::Levels.content(),
        Rule::board_statement
        | Rule::rail_line
        | Rule::trace_line
        | Rule::feed_line
        | Rule::connector_block
        | Rule::each_board
        | Rule::component
        | Rule::rest_of_board => Block::Board.content(),
        Rule::connector_pin | Rule::rest_of_connector => Block::Connector.content(),
        Rule::each_connection | Rule::rest_of_component => Block::Component.content(),
        Rule::assembly_statement
        | Rule::cable_block
        | Rule::supply_block
        | Rule::each_assembly
        | Rule::placement
        | Rule::rest_of_assembly => Block::Assembly.content(),
        Rule::rest_of_wires => Block::Wires.content(),
        Rule::supply_pole | Rule::rest_of_poles => Block::Poles.content(),
        Rule::trial_statement
        | Rule::powerup_line
        | Rule::corner_line
        | Rule::temperature_line
        | Rule::clock_line
        | Rule::count_line
        | Rule::load_line
        | Rule::hold_line
        | Rule::set_line
        | Rule::release_line
        | Rule::press_line
        | Rule::close_line
        | Rule::open_line
        | Rule::flip_line
        | Rule::step_line
        | Rule::run_line
        | Rule::expect_never
        | Rule::expect_edge
        | Rule::expect_line
        | Rule::show_line
        | Rule::rest_of_trial => Block::Trial.content(),
        Rule::named_value | Rule::rest_of_names => Block::Names.content(),
        Rule::instructions_line
        | Rule::registers_line
        | Rule::instruction_form
        | Rule::rest_of_instructions => Block::Instructions.content(),
        Rule::program_line
        | Rule::origin_line
        | Rule::constant_line
        | Rule::bytes_line
        | Rule::fill_line
        | Rule::label_mark
        | Rule::instruction
        | Rule::rest_of_program => Block::Program.content(),
        Rule::contents_line
        | Rule::file_line
        | Rule::taken_program
        | Rule::lanes_line
        | Rule::bits_block
        | Rule::when_line
        | Rule::else_line
        | Rule::rest_of_contents => Block::Contents.content(),
        Rule::bit_line | Rule::rest_of_bits => Block::Bits.content(),
        Rule::unused_line => "`unused-path`",
        Rule::synchroniser_line => "`synchroniser`",
        Rule::note_line => "`note`",
        Rule::accept_line => "`accept`",
        Rule::each_head => "`each`",
        rule => return format!("`{}`", keyword(rule).unwrap_or_default()),
    };
    text.to_owned()
}

impl Block {
    /// The words that begin a statement of such a block.
    pub(super) fn starters(self) -> &'static [&'static str] {
        match self {
            Block::File => &[
                "use",
                "part",
                "family",
                "board",
                "assembly",
                "trial",
                "names",
                "instructions",
                "program",
                "contents",
            ],
            Block::Part => &[
                "package",
                "state",
                "memory",
                "oscillator",
                "timer",
                "power-up",
                "node",
                "on",
                "while",
                "forbid",
                "table",
                "family",
                "grade",
                "each",
                "note",
            ],
            Block::Stores => &["start", "when", "each"],
            Block::Component => &["each"],
            Block::Sheet => &["source", "columns", "at", "note"],
            Block::Rows => &[
                "delay",
                "enable",
                "disable",
                "output-hold",
                "setup",
                "recovery",
                "select",
                "hold",
                "width",
                "rate",
                "stable",
                "threshold",
                "start-up",
                "power-capacitance",
                "duration",
                "output-low",
                "off-current",
                "supply-current",
                "extra-supply-current",
                "output-voltage-limit",
            ],
            Block::Family => &["source", "columns", "supply", "estimate", "at", "note"],
            Block::Levels => &[
                "input-high",
                "input-low",
                "output-high",
                "output-low",
                "bus-output-high",
                "bus-output-low",
                "input-current-high",
                "input-current-low",
                "off-current",
                "supply-current",
                "input-capacitance",
                "output-current-limit",
                "bus-output-current-limit",
                "supply-pin-current-limit",
                "bus-supply-pin-current-limit",
                "extra-supply-current",
                "short-circuit-current",
                "bus-short-circuit-current",
                "load-delay",
                "bus-load-delay",
                "input-voltage-limit",
                "output-voltage-limit",
                "input-clamp-limit",
                "input-transition",
            ],
            Block::Board => &[
                "rail",
                "trace",
                "feed",
                "connector",
                "unused-path",
                "synchroniser",
                "each",
                "note",
                "accept",
            ],
            Block::Assembly => &[
                "cable",
                "supply",
                "unused-path",
                "synchroniser",
                "each",
                "note",
                "accept",
            ],
            Block::Poles => &["plus", "minus"],
            Block::Trial => &[
                "power-up",
                "corner",
                "temperature",
                "clock",
                "count",
                "load",
                "hold",
                "set",
                "release",
                "press",
                "close",
                "open",
                "flip",
                "step",
                "run",
                "expect",
                "show",
                "note",
            ],
            Block::Instructions => &["registers", "note"],
            Block::Program => &["origin", "constant", "bytes", "fill", "note"],
            Block::Contents => &[
                "file", "program", "lanes", "address", "data", "when", "else", "note",
            ],
            Block::Package
            | Block::Table
            | Block::Connector
            | Block::Wires
            | Block::Names
            | Block::Bits
            | Block::Unknown => &[],
        }
    }

    /// What may stand in such a block, in short.
    pub(super) fn content(self) -> &'static str {
        match self {
            Block::File => "an item of a file such as `board` or `trial`",
            Block::Part => "a statement of a part",
            Block::Package => "a pin such as `2..9 D[1..8] in`",
            Block::Stores => "an assignment such as `q = D`",
            Block::Table => "a row of a table",
            Block::Sheet => "`source`, `columns`, `at` or `note`",
            Block::Rows => "a row such as `delay A -> Y 9 18 ns`",
            Block::Family => "`source`, `columns`, `supply`, `estimate`, `at` or `note`",
            Block::Levels => "a row such as `input-high 3.15 V`",
            Block::Board => "a statement of a board",
            Block::Connector => "a connector pin such as `1 CLK`",
            Block::Component => "a connection such as `CLK = phi`",
            Block::Assembly => "a statement of an assembly",
            Block::Wires => "connectors `A.BUS, B.BUS`, or wires `A.P.1 to B.P.1`",
            Block::Poles => "`plus = A.POWER.1` or `minus = A.POWER.2`",
            Block::Trial => "a step of a trial",
            Block::Names => "a name of a value such as `FETCH = 0`",
            Block::Instructions => "an instruction such as `LOAD n: byte = 0x10, n`",
            Block::Program => "a line of a program",
            Block::Contents => "a statement of contents",
            Block::Bits => "bits and their names such as `0..7 opcode[0..7]`",
            Block::Unknown => "a statement",
        }
    }

    /// What may stand in such a block, as a help line; nothing where `content` says it all.
    pub(super) fn holds(self) -> Option<String> {
        let rest = match self {
            Block::Part => "assignments such as `Y = A and B`",
            Block::Board => "components such as `U1 74HC574 { CLK = phi }`",
            Block::Assembly => "boards such as `A, B: register`",
            Block::Program => "labels such as `loop:` and instructions",
            Block::Trial | Block::Rows | Block::Levels | Block::Contents => "",
            _ => return None,
        };
        let what = match self {
            Block::Part => "a part",
            Block::Board => "a board",
            Block::Assembly => "an assembly",
            Block::Trial => "a trial",
            Block::Program => "a program",
            Block::Contents => "`contents`",
            _ => "this block",
        };
        let mut words: Vec<String> = self.starters().iter().map(|s| format!("`{s}`")).collect();
        if !rest.is_empty() {
            words.push(rest.to_owned());
        }
        Some(format!("{what} holds {}", listed(&words, "and")))
    }

    /// The kind of block that a word begins a statement of, and how a person calls that place.
    pub(super) fn home_of(word: &str) -> Option<(Block, &'static str)> {
        let homes = [
            (Block::File, "at the top of a file, outside all braces"),
            (Block::Board, "in a `board`"),
            (Block::Assembly, "in an `assembly`"),
            (Block::Trial, "in a `trial`"),
            (Block::Part, "in a `part`"),
            (Block::Family, "in a `family`"),
            (Block::Contents, "in `contents`"),
            (Block::Program, "in a `program`"),
            (Block::Instructions, "in `instructions`"),
            (Block::Rows, "in an `at` block of a part's sheet"),
            (Block::Levels, "in an `at` block of a family"),
            (Block::Poles, "in a `supply`"),
            (Block::Stores, "in an `on` or `while` block"),
        ];
        let is_home = |(block, _): &&(Block, _)| block.starters().contains(&word);
        homes.iter().find(is_home).copied()
    }

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
            Block::Sheet | Block::Family => {
                find(SHEET_EXAMPLES, "source \"publisher, document, date\"")
            }
            Block::Rows => find(ROW_EXAMPLES, "delay A -> Y 9 18 ns"),
            Block::Levels => "input-high 3.15 V",
            Block::Board => find(
                BOARD_EXAMPLES,
                "U1 74HC574 { CLK = phi  D[1..8] = m[0..7] }",
            ),
            Block::Connector => "1..8 m[0..7]",
            Block::Component => "CLK = phi",
            Block::Assembly => find(ASSEMBLY_EXAMPLES, "A, B: register"),
            Block::Wires => "A.P.1 to B.P.1",
            Block::Poles => "plus = A.POWER.1",
            Block::Names => "FETCH = 0",
            Block::Instructions => find(INSTRUCTIONS_EXAMPLES, "LOAD n: byte = 0x10, n"),
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
    (
        "family",
        "family HC { source \"publisher, document, date\" }",
    ),
    ("board", "board clock \"clock and reset\" { rail VCC 5 V }"),
    ("assembly", "assembly bench { A, B: register }"),
    ("trial", "trial counts on bench { run for 1 ms }"),
    ("names", "names steps { FETCH = 0  EXECUTE = 1 }"),
    (
        "instructions",
        "instructions OWN { LOAD n: byte = 0x10, n }",
    ),
    ("program", "program first for OWN { LOAD 5 }"),
    ("contents", "contents rom { file \"tune.hex\" }"),
];

const INSTRUCTIONS_EXAMPLES: &[(&str, &str)] = &[
    ("registers", "registers r: A = 0, B = 1"),
    ("note", "note \"what a builder must know\""),
];

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
    ("note", "note \"what a builder must know\""),
];

const PART_EXAMPLES: &[(&str, &str)] = &[
    (
        "package",
        "package DIP14 { 1 1A in  7 GND ground  14 VCC power }",
    ),
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
    (
        "family",
        "family HC { source \"publisher, document, date\" }",
    ),
    ("grade", "grade 70 { source \"publisher, document, date\" }"),
    ("each", "each i in 1..4 { [i]Y = not [i]A }"),
    ("note", "note \"what a builder must know\""),
];

const STORE_EXAMPLES: &[(&str, &str)] = &[
    ("start", "start busy"),
    ("when", "when A = 5 { q = D }"),
    ("each", "each i in 1..4 { q[i] = [i]D }"),
];

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
    (
        "accept",
        "accept memory-unreachable at U1 \"half of it is enough\"",
    ),
    (
        "connector",
        "connector BUS header-1x10 { 1..8 m[0..7]  9 VCC  10 GND }",
    ),
    (
        "each",
        "each i in 0..3 { R[i] resistor 1 kohm { 1 = a[i]  2 = GND } }",
    ),
    ("note", "note \"what a builder must know\""),
];

const ASSEMBLY_EXAMPLES: &[(&str, &str)] = &[
    ("cable", "cable W1 ribbon 10 way 250 mm { A.BUS, B.BUS }"),
    (
        "supply",
        "supply PS1 5 V 2 A { plus = A.POWER.1  minus = A.POWER.2 }",
    ),
    ("each", "each i in 0..3 { M[i]: memory }"),
    (
        "accept",
        "accept clock-load at A.phi \"the buffer is stronger\"",
    ),
    ("note", "note \"what a builder must know\""),
];

const TRIAL_EXAMPLES: &[(&str, &str)] = &[
    ("power-up", "power-up random seed 5"),
    ("corner", "corner slowest"),
    ("temperature", "temperature 70 C"),
    ("clock", "clock phi 1 MHz"),
    ("count", "count clocks on phi"),
    ("load", "load A.U7 from \"program.hex\""),
    ("hold", "hold /reset low for 3 clocks"),
    ("set", "set go = high"),
    ("release", "release go"),
    ("press", "press SW1 for 5 ms bounce 1 ms"),
    ("close", "close SW1"),
    ("open", "open SW1"),
    ("flip", "flip SW1 up"),
    ("step", "step phi 5 times every 1 ms"),
    ("run for", "run for 3 clocks"),
    ("expect on", "expect on rise strobe: sum = 1, 4, 9"),
    ("expect never", "expect never alarm is high"),
    ("show on", "show on rise strobe: sum, carry"),
    ("run", "run until done is high within 2000 clocks"),
    ("expect", "expect sum = 0x2A within 3 clocks"),
    ("show", "show each clock: a, b as binary"),
    ("note", "note \"what is tried here\""),
];

/// `a, b or c`.
pub(super) fn listed(words: &[String], last_joined_by: &str) -> String {
    match words {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} {last_joined_by} {last}", first.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_rule_has_a_name_for_people() {
        let silent = [
            "WHITESPACE",
            "COMMENT",
            "name_char",
            "plain_number",
            "same_line",
            "line_end",
        ];
        for &rule in Rule::all_rules() {
            let name = format!("{rule:?}");
            if silent.contains(&name.as_str()) || name.ends_with("_word") {
                continue;
            }
            let phrase = phrase(rule, Block::Part);
            assert!(
                !phrase.contains("``") && !phrase.contains('_'),
                "{name}: {phrase}"
            );
        }
    }
}
