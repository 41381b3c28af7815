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
}

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
