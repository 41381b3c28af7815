//! What a person calls the rules of the grammar.

use super::blocks::Block;
use crate::language::parse::grammar::Rule;
use crate::language::parse::is_keyword;

/// A keyword as it is written.
pub(in crate::language::parse) fn keyword(rule: Rule) -> Option<String> {
    is_keyword(rule).then(|| {
        let name = format!("{rule:?}");
        name.trim_start_matches("kw_").replace('_', "-")
    })
}

/// The keywords that may stand where a rule was tried; the parser names a rule instead of what it begins with.
/// With blanks between them.
pub(super) fn keywords(rule: Rule) -> &'static str {
    match rule {
        Rule::file | Rule::rest_of_file | Rule::item => Block::File.starters(),
        Rule::part_item | Rule::part_statement | Rule::rest_of_part | Rule::each_part => Block::Part.starters(),
        Rule::rest_of_stores | Rule::each_assign | Rule::when_block => Block::Stores.starters(),
        Rule::each_connection | Rule::each_wire | Rule::rest_of_wires => "each",
        Rule::rest_of_component => "each",
        Rule::sheet_block => "family grade",
        Rule::sheet_line | Rule::rest_of_sheet => Block::Sheet.starters(),
        Rule::at_block | Rule::sheet_row | Rule::rest_of_rows => Block::Rows.starters(),
        Rule::arc_row => "delay enable disable output-hold",
        Rule::window_row => "setup recovery select hold",
        Rule::family_item | Rule::family_line | Rule::rest_of_family => Block::Family.starters(),
        Rule::level_block | Rule::level_row | Rule::level_name | Rule::rest_of_levels => Block::Levels.starters(),
        Rule::board_item | Rule::board_statement | Rule::rest_of_board | Rule::each_board => Block::Board.starters(),
        Rule::assembly_item | Rule::assembly_statement | Rule::rest_of_assembly | Rule::each_assembly => {
            Block::Assembly.starters()
        }
        Rule::supply_block | Rule::each_pole | Rule::supply_pole | Rule::rest_of_poles => Block::Poles.starters(),
        Rule::trial_item
        | Rule::procedure_item
        | Rule::each_trial
        | Rule::repeat_block
        | Rule::together_block
        | Rule::trial_statement
        | Rule::rest_of_trial => Block::Trial.starters(),
        Rule::instructions_item | Rule::each_form | Rule::instructions_line | Rule::rest_of_instructions => {
            Block::Instructions.starters()
        }
        Rule::machine_block | Rule::machine_line | Rule::rest_of_machine => Block::Machine.starters(),
        Rule::program_item | Rule::program_line | Rule::rest_of_program => Block::Program.starters(),
        Rule::contents_item | Rule::each_contents | Rule::contents_line | Rule::rest_of_contents => {
            Block::Contents.starters()
        }
        Rule::bits_block => "address data",
        Rule::whole_prefix => "not low high",
        Rule::outputs => "none",
        Rule::holding => "holds",
        Rule::pin_kind => "in out in-out three-state open-drain timing power ground none",
        Rule::edge => "rise fall",
        Rule::column | Rule::columns_line => "min typ limit",
        Rule::colour => COLOURS,
        Rule::network_style => "bussed isolated",
        Rule::value => VALUES,
        Rule::status => "high low unknown known off lit dark",
        Rule::signal_value => "high low",
        Rule::radix => "volts current hex binary decimal signed characters",
        Rule::nets | Rule::connector_pin => "open",
        Rule::expression | Rule::or_level | Rule::xor_level | Rule::and_level | Rule::not_level | Rule::group => {
            "not decode all any odd off unknown"
        }
        Rule::comparison | Rule::sum | Rule::selection | Rule::prefix => "decode all any odd off unknown",
        Rule::powerup_line => "unknown zero one random",
        Rule::corner_line => "fastest typical slowest random",
        Rule::run_line => "for until",
        Rule::show_line => "each on every now",
        Rule::record_line => "each on every",
        Rule::vectors_line => "each every",
        Rule::flip_line => "up down",
        Rule::expect_line => "within for",
        Rule::expect_never => "never on",
        _ => "",
    }
}

/// What an LED can be.
pub(super) const COLOURS: &str = "red orange amber yellow green blue white";

pub(super) const VALUES: &str = "red orange amber yellow green blue white bussed isolated";

/// What stands where a rule was tried, with its article.
pub(super) fn phrase(rule: Rule, block: Block) -> String {
    let text = mark(rule)
        .or_else(|| thing(rule, block))
        .or_else(|| formula(rule))
        .or_else(|| Block::of_statement(rule).map(Block::content));
    let keyword = || format!("`{}`", keyword(rule).unwrap_or_default());
    text.map_or_else(keyword, str::to_owned)
}

/// Punctuation.
fn mark(rule: Rule) -> Option<&'static str> {
    Some(match rule {
        Rule::open_brace => "`{`",
        Rule::close_brace => "`}`",
        Rule::open_bracket => "`[`",
        Rule::close_bracket => "`]`",
        Rule::open_paren | Rule::target_group | Rule::net_group | Rule::value_group | Rule::choice_group => "`(`",
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
        Rule::connections => "`{`",
        Rule::negative => "`-`",
        _ => return None,
    })
}

/// A single word or figure.
fn thing(rule: Rule, block: Block) -> Option<&'static str> {
    Some(match rule {
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
        Rule::kind => match block {
            Block::Part | Block::Sheet => "a name such as `DIP14` or `HC`",
            Block::Board => "a kind such as `74HC574`, `resistor` or `header-1x10`",
            _ => "a number such as `574`",
        },
        Rule::pin_numbers | Rule::pin_range | Rule::pin_digits => "a pin number",
        Rule::edge => "`rise` or `fall`",
        Rule::pin_kind => "the kind of the pin, such as `in`",
        Rule::column => "`min`, `typ` or `limit`",
        Rule::colour => "a colour",
        Rule::value | Rule::network_style | Rule::pin_count | Rule::estimated => "a value such as `10 kohm`",
        Rule::nets => "a net",
        Rule::way => "a number of ways",
        Rule::status => "`high`, `low`, `unknown`, `known` or `off`",
        Rule::signal_value => "`high`, `low`, a number or the name of one",
        Rule::radix => "`hex`, `binary`, `decimal`, `signed`, `characters` or names of values",
        Rule::trial_value
        | Rule::value_sum
        | Rule::value_product
        | Rule::value_leaf
        | Rule::choice
        | Rule::choice_sum
        | Rule::choice_product
        | Rule::choice_leaf => "a number or a name",
        Rule::symbol | Rule::named | Rule::form_name => "a name",
        Rule::local => "a local label such as `.loop`",
        Rule::output | Rule::outputs => "an output, or `none`",
        Rule::holding => "`holds`",
        Rule::duration => "a time such as `5 ms` or `3 clocks`",
        Rule::times => "a number",
        Rule::parameters | Rule::arguments => "`(`",
        Rule::field => "a name such as `A.phi`",
        Rule::seed => "`seed`",
        Rule::origin => "`from`",
        Rule::target => "a name",
        Rule::EOI => "the end of the file",
        Rule::wire | Rule::connector_list => "connectors `A.BUS, B.BUS`, or wires `A.P.1 to B.P.1`",
        Rule::unused_line => "`unused-path`",
        Rule::synchroniser_line => "`synchroniser`",
        Rule::note_line => "`note`",
        Rule::accept_line => "`accept`",
        Rule::each_head => "`each`",
        _ => return None,
    })
}

/// What is put together from others.
fn formula(rule: Rule) -> Option<&'static str> {
    Some(match rule {
        Rule::bracket | Rule::range | Rule::index | Rule::index_term | Rule::index_factor | Rule::index_name => {
            "an index such as `3` or `0..7`"
        }
        Rule::whole
        | Rule::whole_xor
        | Rule::whole_and
        | Rule::whole_sum
        | Rule::whole_product
        | Rule::whole_prefix
        | Rule::whole_leaf
        | Rule::whole_group => "a value such as `5` or `start + 2`",
        Rule::memory_byte => "a byte of memory such as `[a]`",
        Rule::visible => "a register and its bits such as `A 8`",
        Rule::effect_value | Rule::effect_choice => "a value such as `A + n`",
        Rule::effect_block => "`{`",
        Rule::operands | Rule::operand => "an operand such as `5` or `[start]`",
        Rule::form_operand | Rule::form_piece => "an operand such as `n: byte`",
        Rule::operand_kind => "`byte`, `word`, `address`, `relative`, a range or a kind of registers",
        Rule::register => "a register such as `A = 0`",
        Rule::match_any | Rule::match_all | Rule::match_one | Rule::match_source | Rule::match_group => {
            "a condition such as `step = 2`"
        }
        Rule::condition | Rule::both | Rule::claim => "a condition such as `done is high`",
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
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_rule_has_a_name_for_people() {
        let silent = ["WHITESPACE", "COMMENT", "name_char", "plain_number", "same_line", "line_end"];
        for &rule in Rule::all_rules() {
            let name = format!("{rule:?}");
            if silent.contains(&name.as_str()) || name.ends_with("_word") {
                continue;
            }
            let phrase = phrase(rule, Block::Part);
            assert!(!phrase.contains("``") && !phrase.contains('_'), "{name}: {phrase}");
        }
    }
}
