//! What may stand in each kind of block.

use super::blocks::Block;
use crate::language::parse::grammar::Rule;

/// The words that begin a statement, block by block.
const STARTERS: &[(Block, &str)] = &[
    (Block::File, "use part family board assembly trial procedure names instructions program contents"),
    (Block::Part, "package state memory oscillator timer power-up node on while forbid table family grade each note"),
    (Block::Stores, "start when each"),
    (Block::Component, "each"),
    (Block::Sheet, "source columns at note"),
    (
        Block::Rows,
        "delay enable disable output-hold setup recovery select hold width rate stable threshold start-up \
         power-capacitance duration output-low off-current supply-current extra-supply-current \
         output-voltage-limit",
    ),
    (Block::Family, "source columns supply estimate at note"),
    (
        Block::Levels,
        "input-high input-low output-high output-low bus-output-high bus-output-low input-current-high \
         input-current-low off-current supply-current input-capacitance output-current-limit \
         bus-output-current-limit supply-pin-current-limit bus-supply-pin-current-limit extra-supply-current \
         short-circuit-current bus-short-circuit-current load-delay bus-load-delay input-voltage-limit \
         output-voltage-limit input-clamp-limit input-transition",
    ),
    (Block::Board, "rail trace feed connector unused-path synchroniser each note accept"),
    (Block::Assembly, "cable supply unused-path synchroniser each note accept"),
    (Block::Wires, "each"),
    (Block::Poles, "plus minus each"),
    (
        Block::Trial,
        "power-up corner temperature clock count load drive set release press close open flip step run expect \
         show machine agree profile vectors record each repeat together do note",
    ),
    (Block::Instructions, "registers state effect each note"),
    (Block::Machine, "start memory"),
    (Block::Program, "origin constant bytes fill note"),
    (Block::Contents, "file program lanes address data when else sequence drivers each note"),
    (Block::Unknown, ""),
];

/// The rules that read statements, block by block.
const STATEMENTS: &[(Block, &[Rule])] = &[
    (Block::Component, &[Rule::pin_choice, Rule::connection, Rule::each_connection, Rule::rest_of_component]),
    (Block::Table, &[Rule::cell, Rule::rest_of_table]),
    (
        Block::File,
        &[
            Rule::file,
            Rule::item,
            Rule::use_item,
            Rule::part_item,
            Rule::part_head,
            Rule::family_item,
            Rule::family_head,
            Rule::board_item,
            Rule::board_head,
            Rule::assembly_item,
            Rule::assembly_head,
            Rule::trial_item,
            Rule::trial_head,
            Rule::procedure_item,
            Rule::procedure_head,
            Rule::names_item,
            Rule::names_head,
            Rule::instructions_item,
            Rule::instructions_head,
            Rule::program_item,
            Rule::program_head,
            Rule::contents_item,
            Rule::contents_head,
            Rule::rest_of_file,
        ],
    ),
    (
        Block::Part,
        &[
            Rule::part_statement,
            Rule::each_part,
            Rule::package_block,
            Rule::state_line,
            Rule::memory_line,
            Rule::oscillator_line,
            Rule::timer_line,
            Rule::reset_line,
            Rule::node_line,
            Rule::on_block,
            Rule::while_block,
            Rule::forbid_line,
            Rule::table_block,
            Rule::sheet_block,
            Rule::rest_of_part,
        ],
    ),
    (Block::Package, &[Rule::package_pin, Rule::rest_of_package]),
    (Block::Stores, &[Rule::each_assign, Rule::when_block, Rule::start_line, Rule::store, Rule::rest_of_stores]),
    (Block::Sheet, &[Rule::sheet_line, Rule::source_line, Rule::columns_line, Rule::at_block, Rule::rest_of_sheet]),
    (
        Block::Rows,
        &[
            Rule::sheet_row,
            Rule::arc_row,
            Rule::window_row,
            Rule::width_row,
            Rule::rate_row,
            Rule::stable_row,
            Rule::threshold_row,
            Rule::startup_row,
            Rule::power_row,
            Rule::share,
            Rule::duration_row,
            Rule::pin_row,
            Rule::rest_of_rows,
        ],
    ),
    (
        Block::Family,
        &[Rule::family_line, Rule::supply_range, Rule::estimate_line, Rule::level_block, Rule::rest_of_family],
    ),
    (Block::Levels, &[Rule::level_row, Rule::level_name, Rule::rest_of_levels]),
    (
        Block::Board,
        &[
            Rule::board_statement,
            Rule::rail_line,
            Rule::trace_line,
            Rule::feed_line,
            Rule::connector_block,
            Rule::each_board,
            Rule::component,
            Rule::rest_of_board,
        ],
    ),
    (Block::Connector, &[Rule::connector_pin, Rule::rest_of_connector]),
    (
        Block::Assembly,
        &[
            Rule::assembly_statement,
            Rule::cable_block,
            Rule::supply_block,
            Rule::each_assembly,
            Rule::placement,
            Rule::rest_of_assembly,
        ],
    ),
    (Block::Wires, &[Rule::each_wire, Rule::rest_of_wires]),
    (Block::Poles, &[Rule::supply_pole, Rule::each_pole, Rule::rest_of_poles]),
    (
        Block::Trial,
        &[
            Rule::trial_statement,
            Rule::each_trial,
            Rule::repeat_block,
            Rule::together_block,
            Rule::do_line,
            Rule::vectors_line,
            Rule::record_line,
            Rule::powerup_line,
            Rule::corner_line,
            Rule::temperature_line,
            Rule::clock_line,
            Rule::count_line,
            Rule::load_random,
            Rule::load_line,
            Rule::drive_line,
            Rule::old_hold_line,
            Rule::set_line,
            Rule::release_line,
            Rule::press_line,
            Rule::close_line,
            Rule::open_line,
            Rule::flip_line,
            Rule::step_line,
            Rule::run_line,
            Rule::expect_never,
            Rule::expect_edge,
            Rule::expect_line,
            Rule::show_line,
            Rule::machine_block,
            Rule::agree_line,
            Rule::profile_line,
            Rule::rest_of_trial,
        ],
    ),
    (Block::Names, &[Rule::named_value, Rule::rest_of_names]),
    (
        Block::Instructions,
        &[
            Rule::instructions_line,
            Rule::each_form,
            Rule::registers_line,
            Rule::visible_line,
            Rule::effect_item,
            Rule::instruction_form,
            Rule::rest_of_instructions,
        ],
    ),
    (Block::Effect, &[Rule::effect_step, Rule::effect_call, Rule::effect_set, Rule::rest_of_effect]),
    (
        Block::Machine,
        &[Rule::machine_line, Rule::machine_start, Rule::machine_memory, Rule::machine_register, Rule::rest_of_machine],
    ),
    (
        Block::Program,
        &[
            Rule::program_line,
            Rule::origin_line,
            Rule::constant_line,
            Rule::bytes_line,
            Rule::fill_line,
            Rule::label_mark,
            Rule::instruction,
            Rule::rest_of_program,
        ],
    ),
    (
        Block::Contents,
        &[
            Rule::contents_line,
            Rule::each_contents,
            Rule::file_line,
            Rule::taken_program,
            Rule::lanes_line,
            Rule::bits_block,
            Rule::when_line,
            Rule::else_line,
            Rule::sequence_line,
            Rule::drivers_line,
            Rule::rest_of_contents,
        ],
    ),
    (Block::Bits, &[Rule::bit_line, Rule::rest_of_bits]),
];

impl Block {
    /// The words that begin a statement of such a block, with blanks between them.
    pub(super) fn starters(self) -> &'static str {
        let own = STARTERS.iter().find(|(block, _)| *block == self);
        own.map_or("", |(_, words)| words)
    }

    /// True for a word that begins a statement of such a block.
    pub(super) fn begins_with(self, word: &str) -> bool {
        self.starters().split_whitespace().any(|starter| starter == word)
    }

    /// The block that a rule reads a statement of.
    pub(super) fn of_statement(rule: Rule) -> Option<Block> {
        let home = STATEMENTS.iter().find(|(_, rules)| rules.contains(&rule));
        home.map(|(block, _)| *block)
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
            Block::Effect => "a step such as `A = A + n`",
            Block::Machine => "a line such as `PC = ADDRESS.pc`",
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
        let words = self.starters().split_whitespace();
        let mut words: Vec<String> = words.map(|word| format!("`{word}`")).collect();
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
        let is_home = |(block, _): &&(Block, _)| block.begins_with(word);
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
