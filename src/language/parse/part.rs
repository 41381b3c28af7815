//! Parts: packages, storage, formulas and function tables.

use super::{P, Reader, Rule, is_mark, only_child, without_words};
use crate::language::ast::{
    Assign, BinaryOperator, Expression, ExpressionKind, Memory, OnBlock, Package, PackagePin, Part, PartStatement,
    PinKind, Store, Table, TableLine, Target, TimingPins, UnaryOperator, WhenBlock, WhileBlock,
};
use crate::text::Spanned;

/// The largest memory, in words.
const MOST_WORDS: u64 = 1 << 24;

impl Reader {
    pub(super) fn part(&mut self, pair: P<'_>) -> Part {
        let (head, statements) = self.head_and_body(pair);
        let (name, title) = self.name_and_title(head);
        let body = statements.filter_map(|statement| self.part_statement(statement)).collect();
        Part { name, title, body }
    }

    fn part_statement(&mut self, pair: P<'_>) -> Option<PartStatement> {
        let pair = only_child(pair)?;
        let span = self.span(&pair);
        Some(match pair.as_rule() {
            Rule::package_block => PartStatement::Package(self.package(pair)),
            Rule::state_line => PartStatement::State(self.templates(without_words(pair).next()?)),
            Rule::memory_line => PartStatement::Memory(self.memory(pair)?),
            Rule::oscillator_line => {
                let mut inner = without_words(pair);
                let name = self.template(inner.next()?);
                PartStatement::Oscillator(name, inner.next().and_then(|pins| self.timing_pins(pins)))
            }
            Rule::timer_line => {
                let mut inner = without_words(pair);
                let names = self.templates(inner.next()?);
                PartStatement::Timer(names, inner.next().and_then(|pins| self.timing_pins(pins)))
            }
            Rule::reset_line => PartStatement::PowerUpZero(self.templates(without_words(pair).next()?)),
            Rule::node_line => {
                let mut inner = without_words(pair);
                PartStatement::Node(self.template(inner.next()?), self.formula(inner.next()?, Self::expression))
            }
            Rule::on_block => {
                let mut inner = without_words(pair);
                let edge = self.edge(&inner.next()?);
                let trigger = self.template(inner.next()?);
                let body = inner.filter_map(|store| self.store(store)).collect();
                PartStatement::On(OnBlock { edge, trigger, body })
            }
            Rule::while_block => {
                let mut inner = without_words(pair);
                let condition = self.formula(inner.next()?, Self::expression);
                let body = inner.filter_map(|store| self.store(store)).collect();
                PartStatement::While(WhileBlock { condition, body })
            }
            Rule::forbid_line => {
                let mut inner = without_words(pair);
                PartStatement::Forbid(self.formula(inner.next()?, Self::expression), self.string(inner.next()?))
            }
            Rule::table_block => PartStatement::Table(self.table(pair)),
            Rule::sheet_block => PartStatement::Sheet(self.sheet(pair)?),
            Rule::each_part => PartStatement::Each(self.each(pair, Self::part_statement)),
            Rule::note_line => PartStatement::Note(self.string(without_words(pair).next()?)),
            Rule::assignment => PartStatement::Assign(self.assign(pair)?),
            rule => unreachable!("{rule:?} is no statement of a part at {span:?}"),
        })
    }

    fn package(&mut self, pair: P<'_>) -> Package {
        let mut inner = without_words(pair);
        let name = self.word(&inner.next().expect("a package has a name"));
        let pins = inner.filter_map(|pin| self.package_pin(pin)).collect();
        Package { name, pins }
    }

    fn package_pin(&mut self, pair: P<'_>) -> Option<PackagePin> {
        let mut inner = pair.into_inner();
        let numbers = self.pin_numbers(inner.next()?);
        let name = self.template(inner.next()?);
        let kind = match only_child(inner.next()?)?.as_rule() {
            Rule::kw_in => PinKind::In,
            Rule::kw_out => PinKind::Out,
            Rule::kw_three_state => PinKind::ThreeState,
            Rule::kw_open_drain => PinKind::OpenDrain,
            Rule::kw_in_out => PinKind::InOut,
            Rule::kw_timing => PinKind::Timing,
            Rule::kw_power => PinKind::Power,
            Rule::kw_ground => PinKind::Ground,
            _ => PinKind::None,
        };
        Some(PackagePin { numbers, name, kind, schmitt: inner.next().is_some() })
    }

    fn memory(&mut self, pair: P<'_>) -> Option<Memory> {
        let span = self.span(&pair);
        let mut inner = without_words(pair);
        let name = self.template(inner.next()?);
        let words_pair = inner.next()?;
        let words = self.whole(&words_pair);
        if words == 0 || words > MOST_WORDS || !words.is_power_of_two() {
            let message = format!("a memory of {words} words cannot be modelled");
            self.problem(self.span(&words_pair), message, format!("write a power of two up to {MOST_WORDS}"));
        }
        let width = self.small(&inner.next()?, 64, "the width of a memory word");
        let blank = inner.next().map(|blank| self.number(&blank).node as u64);
        Some(Memory { name, words, width, blank, span })
    }

    fn timing_pins(&mut self, pair: P<'_>) -> Option<TimingPins> {
        let mut inner = without_words(pair);
        Some(TimingPins { resistor: self.template(inner.next()?), capacitor: self.template(inner.next()?) })
    }

    fn store(&mut self, pair: P<'_>) -> Option<Store> {
        match pair.as_rule() {
            Rule::assignment => Some(Store::Assign(self.assign(pair)?)),
            Rule::start_line => Some(Store::Start(self.templates(without_words(pair).next()?))),
            Rule::when_block => {
                let mut inner = without_words(pair);
                let condition = self.formula(inner.next()?, Self::expression);
                let body = inner.filter_map(|store| self.store(store)).collect();
                Some(Store::When(WhenBlock { condition, body }))
            }
            Rule::each_assign => Some(Store::Each(self.each(pair, Self::store))),
            _ => None,
        }
    }

    fn assign(&mut self, pair: P<'_>) -> Option<Assign> {
        let mut inner = without_words(pair);
        let target = inner.next()?;
        let value = self.formula(inner.next()?, Self::expression);
        let mut inner = without_words(target);
        let first = inner.next()?;
        let target = if first.as_rule() == Rule::target_group {
            Target::Names(self.templates(first))
        } else {
            let name = self.template(first);
            match inner.next() {
                Some(address) => {
                    let address = self.formula(address, Self::expression);
                    let words = inner.next().map(|words| Spanned { node: self.whole(&words), span: self.span(&words) });
                    Target::MemoryWord(name, address, words)
                }
                None => Target::Names(vec![name]),
            }
        };
        Some(Assign { target, value })
    }

    /// One formula; every level of the grammar comes through here.
    pub(super) fn expression(&mut self, pair: P<'_>) -> Expression {
        let span = self.span(&pair);
        let kind = match pair.as_rule() {
            Rule::expression => return self.choice(pair),
            Rule::number => ExpressionKind::Number(self.number(&pair).node as u64),
            Rule::kw_off => ExpressionKind::Off,
            Rule::kw_unknown => ExpressionKind::Unknown,
            Rule::name => ExpressionKind::Name(self.template(pair)),
            Rule::group => {
                let members = without_words(pair).map(|member| self.expression(member)).collect();
                ExpressionKind::Group(members)
            }
            Rule::primary => {
                return self.expression(only_child(pair).expect("a primary holds one thing"));
            }
            Rule::not_level | Rule::prefix => return self.prefixed(pair),
            _ => return self.chain(pair),
        };
        Expression { kind, span }
    }

    /// `a when b else c when d else e`, read from the right.
    fn choice(&mut self, pair: P<'_>) -> Expression {
        let mut operands: Vec<Expression> = Vec::new();
        let span = self.span(&pair);
        for operand in without_words(pair) {
            if !operands.is_empty() && self.too_many_operators(span) {
                break;
            }
            operands.push(self.expression(operand));
        }
        let mut result = operands.pop().expect("an expression has an operand");
        while let (Some(condition), Some(yes)) = (operands.pop(), operands.pop()) {
            let span = yes.span.to(result.span);
            let (yes, condition, no) = (Box::new(yes), Box::new(condition), Box::new(result));
            result = Expression { kind: ExpressionKind::When { yes, condition, no }, span };
        }
        result
    }

    fn prefixed(&mut self, pair: P<'_>) -> Expression {
        let span = self.span(&pair);
        let mut operators = Vec::new();
        let mut operand = None;
        for inner in pair.into_inner() {
            match inner.as_rule() {
                Rule::kw_not => operators.push(UnaryOperator::Not),
                Rule::kw_decode => operators.push(UnaryOperator::Decode),
                Rule::kw_all => operators.push(UnaryOperator::All),
                Rule::kw_any => operators.push(UnaryOperator::Any),
                Rule::kw_odd => operators.push(UnaryOperator::Odd),
                _ => operand = Some(self.expression(inner)),
            }
        }
        let mut result = operand.expect("a prefix stands before something");
        for operator in operators.into_iter().rev() {
            if self.too_many_operators(span) {
                break;
            }
            result = Expression { kind: ExpressionKind::Unary(operator, Box::new(result)), span };
        }
        result
    }

    /// Operands of one level, joined from the left.
    fn chain(&mut self, pair: P<'_>) -> Expression {
        let mut inner = pair.into_inner();
        let mut left = self.expression(inner.next().expect("a chain has an operand"));
        while let (Some(operator), Some(right)) = (inner.next(), inner.next()) {
            let operator = match operator.as_rule() {
                Rule::kw_or => BinaryOperator::Or,
                Rule::kw_xor => BinaryOperator::Xor,
                Rule::kw_and => BinaryOperator::And,
                Rule::plus => BinaryOperator::Add,
                Rule::minus => BinaryOperator::Subtract,
                Rule::equals => BinaryOperator::Equal,
                Rule::differs => BinaryOperator::Differs,
                Rule::less => BinaryOperator::Less,
                Rule::greater => BinaryOperator::Greater,
                _ => BinaryOperator::At,
            };
            let right = self.expression(right);
            let span = left.span.to(right.span);
            if self.too_many_operators(span) {
                break;
            }
            left = Expression { kind: ExpressionKind::Binary(Box::new(left), operator, Box::new(right)), span };
        }
        left
    }

    fn table(&mut self, pair: P<'_>) -> Table {
        let span = self.span(&pair);
        let mut lines: Vec<(TableLine, bool)> = Vec::new();
        let text = pair.get_input();
        let mut before = pair.as_span().start();
        for cell in pair.into_inner().filter(|p| !is_mark(p.as_rule()) && p.as_rule() != Rule::kw_table) {
            let place = self.span(&cell);
            let gap = &text[before..cell.as_span().start()];
            before = cell.as_span().end();
            if lines.is_empty() || gap.contains('\n') {
                lines.push((TableLine { inputs: Vec::new(), outputs: Vec::new(), span: place }, false));
            }
            let Some((line, behind)) = lines.last_mut() else {
                continue;
            };
            line.span = line.span.to(place);
            match (cell.as_rule(), *behind) {
                (Rule::bar, false) => *behind = true,
                (Rule::bar, true) => self.problem(place, "a second bar in this row", "write one bar in each row"),
                (_, false) => line.inputs.push(self.word(&cell)),
                (_, true) => line.outputs.push(self.word(&cell)),
            }
        }
        Table { lines: lines.into_iter().map(|(line, _)| line).collect(), span }
    }
}
