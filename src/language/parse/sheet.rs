//! Data sheets: of one part in one family, and of a whole family.

use super::{P, Reader, Rule, is_mark, only_child, without_words};
use crate::language::ast::{
    AtBlock, Column, ColumnKind, DurationTerms, Edge, Estimate, Family, LevelBlock, LevelName, LevelRow, RowKind,
    Share, Sheet, SheetRow,
};
use crate::quantity::{Quantity, Temperature, Voltage};
use crate::text::Spanned;

/// The figures of a row: one a column, and the source of the row itself.
type Figures = (Vec<Option<Quantity>>, Option<Spanned<String>>);

impl Reader {
    pub(super) fn sheet(&mut self, pair: P<'_>) -> Option<Sheet> {
        let mut inner = pair.into_inner().filter(|p| !is_mark(p.as_rule()));
        let grade = inner.next()?.as_rule() == Rule::kw_grade;
        let name = self.word(&inner.next()?);
        let mut sheet =
            Sheet { name, grade, sources: Vec::new(), columns: Vec::new(), blocks: Vec::new(), notes: Vec::new() };
        for line in inner.filter_map(only_child) {
            match line.as_rule() {
                Rule::source_line => sheet.sources.extend(self.quoted(line)),
                Rule::note_line => sheet.notes.extend(self.quoted(line)),
                Rule::columns_line => sheet.columns = self.columns(line),
                _ => sheet.blocks.extend(self.at_block(line)),
            }
        }
        Some(sheet)
    }

    pub(super) fn family(&mut self, pair: P<'_>) -> Family {
        let (head, lines) = self.head_and_body(pair);
        let (name, title) = self.name_and_title(head);
        let mut family = Family {
            name,
            title,
            sources: Vec::new(),
            columns: Vec::new(),
            supply: None,
            estimates: Vec::new(),
            blocks: Vec::new(),
            notes: Vec::new(),
        };
        for line in lines.filter_map(only_child) {
            match line.as_rule() {
                Rule::source_line => family.sources.extend(self.quoted(line)),
                Rule::note_line => family.notes.extend(self.quoted(line)),
                Rule::columns_line => family.columns = self.columns(line),
                Rule::supply_range => family.supply = self.supply_range(line),
                Rule::estimate_line => family.estimates.extend(self.estimate(line)),
                _ => family.blocks.extend(self.level_block(line)),
            }
        }
        family
    }

    pub(super) fn quoted(&mut self, line: P<'_>) -> Option<Spanned<String>> {
        without_words(line).next().map(|string| self.string(string))
    }

    fn columns(&mut self, line: P<'_>) -> Vec<Column> {
        without_words(line).filter_map(|column| self.column(column)).collect()
    }

    fn column(&mut self, pair: P<'_>) -> Option<Column> {
        let span = self.span(&pair);
        let mut inner = pair.into_inner().filter(|p| p.as_rule() != Rule::dots);
        let kind = match inner.next()?.as_rule() {
            Rule::kw_min => ColumnKind::Min,
            Rule::kw_typ => ColumnKind::Typ,
            _ => ColumnKind::Limit,
        };
        let mut words: Vec<String> = inner.map(|p| p.as_str().to_owned()).collect();
        let unit = words.pop()?;
        let mut ends = Vec::new();
        for word in words {
            let quantity = Spanned { node: self.measure(span, &word, &unit), span };
            ends.push(self.as_kind(quantity, Quantity::as_temperature, "a temperature")?);
        }
        let coldest: Temperature = *ends.first()?;
        let hottest = *ends.last()?;
        Some(Column { kind, temperature: (coldest, hottest), span })
    }

    fn supply_range(&mut self, line: P<'_>) -> Option<(Voltage, Voltage)> {
        let span = self.span(&line);
        let words: Vec<String> = without_words(line).map(|p| p.as_str().to_owned()).collect();
        let [low, high, unit] = words.as_slice() else {
            return None;
        };
        let end = |reader: &mut Self, number: &str| {
            let quantity = Spanned { node: reader.measure(span, number, unit), span };
            reader.as_kind(quantity, Quantity::as_voltage, "a voltage")
        };
        let low = end(self, low)?;
        let high = end(self, high)?;
        Some((low, high))
    }

    fn estimate(&mut self, line: P<'_>) -> Option<Estimate> {
        let span = self.span(&line);
        let mut inner = without_words(line);
        let base = self.word(&inner.next()?);
        let mut share = |pair: P<'_>| self.measure(span, pair.as_str(), "%").as_percent();
        let (least, most) = (share(inner.next()?)?, share(inner.next()?)?);
        let source = inner.find(|pair| pair.as_rule() == Rule::origin);
        let source = source.and_then(|source| self.quoted(source));
        if least <= 0 || most < least {
            self.problem(
                span,
                "the shares run from the least to the most, both above nothing",
                "write `estimate from HC 40..70 %`",
            );
            return None;
        }
        Some(Estimate { base, least, most, source })
    }

    fn at_block(&mut self, pair: P<'_>) -> Option<AtBlock> {
        let span = self.span(&pair);
        let mut voltage = None;
        let mut load = None;
        let (mut rows, mut levels) = (Vec::new(), Vec::new());
        for inner in without_words(pair) {
            if inner.as_rule() == Rule::sheet_row {
                match only_child(inner) {
                    Some(row) if row.as_rule() == Rule::level_row => levels.extend(self.level_row(row)),
                    Some(row) => rows.extend(self.sheet_row(row)),
                    None => {}
                }
            } else if voltage.is_none() {
                let quantity = self.quantity(inner);
                voltage = self.as_kind(quantity, Quantity::as_voltage, "a voltage").or(Some(Voltage::default()));
            } else {
                let quantity = self.quantity(inner);
                load = self.as_kind(quantity, Quantity::as_capacitance, "a capacitance");
            }
        }
        Some(AtBlock { voltage: voltage?, load, rows, levels, span })
    }

    fn sheet_row(&mut self, pair: P<'_>) -> Option<SheetRow> {
        let span = self.span(&pair);
        let rule = pair.as_rule();
        let mut names = Vec::new();
        let mut single = None;
        let mut edge = None;
        let mut level = None;
        let mut head = None;
        let mut part = None;
        let mut figures: Figures = (Vec::new(), None);
        let mut terms = DurationTerms::default();
        for inner in pair.into_inner() {
            match inner.as_rule() {
                Rule::names => names.push(self.templates(inner)),
                Rule::name => single = Some(self.template(inner)),
                Rule::edge => edge = Some(self.edge(&inner)),
                Rule::kw_rise => edge = Some(Edge::Rise),
                Rule::kw_fall => edge = Some(Edge::Fall),
                Rule::kw_high => level = Some(true),
                Rule::kw_low => level = Some(false),
                Rule::figures => figures = self.figures(inner),
                Rule::value_range => terms.ranges.extend(self.value_range(inner)),
                Rule::quantity => terms.plus = Some(self.quantity(inner)),
                Rule::kw_per | Rule::arrow | Rule::kw_before | Rule::kw_after | Rule::kw_while => {}
                Rule::kw_with | Rule::kw_and | Rule::kw_plus => {}
                Rule::share => part = only_child(inner).map(|word| share(word.as_rule())),
                keyword => head = Some(keyword),
            }
        }
        let mut names = names.into_iter();
        let mut list = || names.next().unwrap_or_default();
        let kind = match (rule, head?) {
            (Rule::arc_row, Rule::kw_delay) => {
                if level.is_some() {
                    self.problem(span, "`high` and `low` belong to enable and disable times", "write `rise` or `fall`");
                }
                RowKind::Delay(list(), list(), edge)
            }
            (Rule::arc_row, Rule::kw_output_hold) => RowKind::OutputHold(list(), list()),
            (Rule::arc_row, keyword) => {
                if edge.is_some() {
                    self.problem(span, "`rise` and `fall` belong to delays", "write `high` or `low`");
                }
                let (from, to) = (list(), list());
                if keyword == Rule::kw_enable {
                    RowKind::Enable(from, to, level)
                } else {
                    RowKind::Disable(from, to, level)
                }
            }
            (Rule::window_row, Rule::kw_setup) => RowKind::Setup(list(), single?, edge?),
            (Rule::window_row, Rule::kw_hold) => RowKind::Hold(list(), single?, edge?),
            (Rule::window_row, Rule::kw_select) => RowKind::Select(list(), single?, edge?),
            (Rule::window_row, _) => RowKind::Recovery(list(), single?, edge?),
            (Rule::width_row, _) => RowKind::Width(list(), level?),
            (Rule::rate_row, _) => RowKind::Rate(list()),
            (Rule::stable_row, _) => RowKind::Stable(list(), single?),
            (Rule::threshold_row, _) => RowKind::Threshold(list(), edge?),
            (Rule::power_row, _) => RowKind::PowerCapacitance(part?),
            (Rule::duration_row, _) => RowKind::Duration(list(), terms),
            (Rule::pin_row, _) => RowKind::ExtraSupplyCurrent(list()),
            _ => RowKind::StartUp(single?),
        };
        Some(SheetRow { kind, figures: figures.0, source: figures.1, span })
    }

    fn value_range(&mut self, pair: P<'_>) -> Option<Spanned<(Quantity, Option<Quantity>)>> {
        let span = self.span(&pair);
        let inner = pair.into_inner().filter(|p| p.as_rule() != Rule::dots);
        let words: Vec<String> = inner.map(|p| p.as_str().trim().to_owned()).collect();
        let (unit, ends) = words.split_last()?;
        let least = self.measure(span, ends.first()?, unit);
        let most = ends.get(1).map(|most| self.measure(span, most, unit));
        let node = (least, most);
        Some(Spanned { node, span })
    }

    fn figures(&mut self, pair: P<'_>) -> Figures {
        let span = self.span(&pair);
        let mut numbers = Vec::new();
        let mut unit = String::new();
        let mut source = None;
        for inner in pair.into_inner() {
            match inner.as_rule() {
                Rule::figure => {
                    let text = inner.as_str().trim().to_owned();
                    numbers.push((text != "-").then_some(text));
                }
                Rule::unit => unit = inner.as_str().to_owned(),
                _ => source = self.quoted(inner),
            }
        }
        let figures =
            numbers.into_iter().map(|number| number.map(|number| self.measure(span, &number, &unit))).collect();
        (figures, source)
    }

    fn level_block(&mut self, pair: P<'_>) -> Option<LevelBlock> {
        let mut inner = without_words(pair);
        let quantity = self.quantity(inner.next()?);
        let voltage = self.as_kind(quantity, Quantity::as_voltage, "a voltage")?;
        let rows = inner.filter_map(|row| self.level_row(row)).collect();
        Some(LevelBlock { voltage, rows })
    }

    fn level_row(&mut self, pair: P<'_>) -> Option<LevelRow> {
        let mut name = None;
        let mut at = None;
        let mut figures: Figures = (Vec::new(), None);
        for inner in without_words(pair) {
            match inner.as_rule() {
                Rule::level_name => {
                    let span = self.span(&inner);
                    name = Some(Spanned { node: level_name(only_child(inner)?.as_rule()), span });
                }
                Rule::quantity => at = Some(self.quantity(inner).node),
                _ => figures = self.figures(inner),
            }
        }
        Some(LevelRow { name: name?, at, figures: figures.0, source: figures.1 })
    }
}

fn level_name(rule: Rule) -> LevelName {
    match rule {
        Rule::kw_input_high => LevelName::InputHigh,
        Rule::kw_input_low => LevelName::InputLow,
        Rule::kw_output_high => LevelName::OutputHigh,
        Rule::kw_output_low => LevelName::OutputLow,
        Rule::kw_bus_output_high => LevelName::BusOutputHigh,
        Rule::kw_bus_output_low => LevelName::BusOutputLow,
        Rule::kw_input_current_high => LevelName::InputCurrentHigh,
        Rule::kw_input_current_low => LevelName::InputCurrentLow,
        Rule::kw_off_current => LevelName::OffCurrent,
        Rule::kw_supply_current => LevelName::SupplyCurrent,
        Rule::kw_output_current_limit => LevelName::OutputCurrentLimit,
        Rule::kw_bus_output_current_limit => LevelName::BusOutputCurrentLimit,
        Rule::kw_supply_pin_current_limit => LevelName::SupplyPinCurrentLimit,
        Rule::kw_bus_supply_pin_current_limit => LevelName::BusSupplyPinCurrentLimit,
        Rule::kw_extra_supply_current => LevelName::ExtraSupplyCurrent,
        Rule::kw_short_circuit_current => LevelName::ShortCircuitCurrent,
        Rule::kw_bus_short_circuit_current => LevelName::BusShortCircuitCurrent,
        Rule::kw_input_voltage_limit => LevelName::InputVoltageLimit,
        Rule::kw_input_clamp_limit => LevelName::InputClampLimit,
        Rule::kw_input_transition => LevelName::InputTransition,
        Rule::kw_output_voltage_limit => LevelName::OutputVoltageLimit,
        Rule::kw_load_delay => LevelName::LoadDelay,
        Rule::kw_bus_load_delay => LevelName::BusLoadDelay,
        _ => LevelName::InputCapacitance,
    }
}

fn share(rule: Rule) -> Share {
    match rule {
        Rule::kw_gate => Share::Gate,
        Rule::kw_buffer => Share::Buffer,
        Rule::kw_transceiver => Share::Transceiver,
        Rule::kw_flip_flop => Share::FlipFlop,
        Rule::kw_multiplexer => Share::Multiplexer,
        _ => Share::Package,
    }
}
