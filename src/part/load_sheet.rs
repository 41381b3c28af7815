//! From the syntax tree of a sheet to a [`Sheet`].

use super::family::{Level, column};
use super::sheet::{
    Arc, ArcKind, Block, Check, CheckKind, ExtraCurrent, Figures, PowerCapacitance, Sheet, Signal, Threshold,
};
use super::{Part, PinIndex};
use crate::diagnostic::{Diagnostic, did_you_mean};
use crate::language::ast::{self, AtBlock, Edge, RowKind, SheetRow, Template};
use crate::language::expand::Scope;
use crate::quantity::Quantity;
use crate::text::Span;

pub(super) struct SheetReader<'a> {
    pub(super) part: &'a Part,
    pub(super) scope: &'a Scope,
    pub(super) problems: &'a mut Vec<Diagnostic>,
}

pub(super) type Fallible<T> = Result<T, Diagnostic>;

fn wrong_count(figures: usize, columns: usize) -> String {
    format!("{figures} figures stand in this row, but {columns} columns")
}

impl SheetReader<'_> {
    pub(super) fn read(&mut self, tree: &ast::Sheet) -> Sheet {
        let texts = |list: &[crate::text::Spanned<String>]| list.iter().map(|text| text.node.clone()).collect();
        if tree.columns.is_empty() && !tree.blocks.is_empty() {
            self.problems.push(
                Diagnostic::error("columns", "this sheet does not say what its figures are")
                    .at(tree.name.span, "no `columns`")
                    .help("write `columns typ 25 C, limit 25 C, limit -40..85 C`"),
            );
        }
        let before = self.problems.len();
        let mut blocks: Vec<Block> = tree.blocks.iter().map(|block| self.block(block, tree.columns.len())).collect();
        blocks.sort_by_key(|block| (block.voltage, block.load));
        // A row that was told of already may be the one that is missing.
        if self.problems.len() == before {
            self.every_timer_runs(tree, &blocks);
        }
        Sheet {
            levels: self.levels(tree),
            name: tree.name.node.clone(),
            grade: tree.grade,
            sources: texts(&tree.sources),
            columns: tree.columns.iter().map(column).collect(),
            blocks,
            notes: texts(&tree.notes),
            span: tree.name.span,
        }
    }

    /// Electrical figures that take the place of the family's.
    fn levels(&mut self, tree: &ast::Sheet) -> Vec<Level> {
        let rows = tree.blocks.iter().flat_map(|block| {
            let row = |row| (block.voltage, row);
            block.levels.iter().map(row)
        });
        let mut levels = Vec::new();
        for (voltage, row) in rows {
            let problem = if tree.grade {
                Some((
                    "a grade has no family whose figures these could replace".to_owned(),
                    "write electrical figures into the sheet of a family",
                ))
            } else if row.figures.len() != tree.columns.len() {
                Some((wrong_count(row.figures.len(), tree.columns.len()), "write `-` where the sheet gives none"))
            } else {
                levels.push(Level::load(row, voltage));
                None
            };
            if let Some((message, help)) = problem {
                let problem = Diagnostic::error("columns", message);
                self.problems.push(problem.at(row.name.span, "").help(help));
            }
        }
        levels
    }

    fn block(&mut self, tree: &AtBlock, columns: usize) -> Block {
        let mut block = Block {
            voltage: tree.voltage,
            load: tree.load,
            arcs: Vec::new(),
            checks: Vec::new(),
            thresholds: Vec::new(),
            start_up: None,
            power: Vec::new(),
            durations: Vec::new(),
            extra_currents: Vec::new(),
        };
        for row in &tree.rows {
            if !matches!(row.kind, RowKind::Stable(..)) && row.figures.len() != columns {
                let message = wrong_count(row.figures.len(), columns);
                self.problems.push(
                    Diagnostic::error("columns", message).at(row.span, "").help("write `-` where the sheet gives none"),
                );
                continue;
            }
            if let Err(problem) = self.row(row, &mut block) {
                self.problems.push(problem);
            }
        }
        block
    }

    fn row(&mut self, row: &SheetRow, block: &mut Block) -> Fallible<()> {
        let both = |edge: Option<bool>, high: ArcKind, low: ArcKind| match edge {
            None => vec![high, low],
            Some(true) => vec![high],
            Some(false) => vec![low],
        };
        match &row.kind {
            RowKind::Delay(from, to, edge) => {
                let kinds = both(edge.map(|edge| edge == Edge::Rise), ArcKind::Rise, ArcKind::Fall);
                self.arcs(row, from, to, &kinds, block)
            }
            RowKind::Enable(from, to, level) => {
                self.arcs(row, from, to, &both(*level, ArcKind::EnableHigh, ArcKind::EnableLow), block)
            }
            RowKind::Disable(from, to, level) => {
                self.arcs(row, from, to, &both(*level, ArcKind::DisableHigh, ArcKind::DisableLow), block)
            }
            RowKind::OutputHold(from, to) => self.arcs(row, from, to, &[ArcKind::OutputHold], block),
            RowKind::Setup(names, reference, edge) => {
                self.windows(row, names, reference, &|at| CheckKind::Setup(at, *edge), block)
            }
            RowKind::Hold(names, reference, edge) => {
                self.windows(row, names, reference, &|at| CheckKind::Hold(at, *edge), block)
            }
            RowKind::Recovery(names, reference, edge) => {
                self.windows(row, names, reference, &|at| CheckKind::Recovery(at, *edge), block)
            }
            RowKind::Select(names, reference, edge) => {
                self.windows(row, names, reference, &|at| CheckKind::Select(at, *edge), block)
            }
            RowKind::Width(names, high) => self.alone(row, names, CheckKind::Width(*high), block),
            RowKind::Rate(names) => self.alone(row, names, CheckKind::Period, block),
            RowKind::Stable(names, node) => self.windows(row, names, node, &CheckKind::Stable, block),
            RowKind::Threshold(names, edge) => {
                let figures = self.figures(row, Quantity::as_voltage, "voltages")?;
                for input in self.inputs(names)? {
                    block.thresholds.push(Threshold { input, edge: *edge, figures: figures.clone() });
                }
                Ok(())
            }
            RowKind::PowerCapacitance(per) => {
                let figures = self.figures(row, Quantity::as_capacitance, "capacitances")?;
                block.power.push(PowerCapacitance {
                    per: *per,
                    figures,
                    source: row.source.as_ref().map(|source| source.node.clone()),
                });
                Ok(())
            }
            RowKind::ExtraSupplyCurrent(names) => self.extra_currents(row, names, block),
            RowKind::Duration(names, terms) => self.durations(row, names, terms, block),
            RowKind::StartUp(name) => {
                self.outputs(std::slice::from_ref(name))?;
                block.start_up = Some(self.figures(row, Quantity::as_time, "times")?);
                Ok(())
            }
        }
    }

    fn extra_currents(&mut self, row: &SheetRow, names: &[Template], block: &mut Block) -> Fallible<()> {
        let figures = self.figures(row, |figure| figure.as_current().map(|_| figure), "currents")?;
        for input in self.inputs(names)? {
            block.extra_currents.push(ExtraCurrent {
                pin: self.part.function.inputs[input],
                figures: figures.clone(),
                source: row.source.as_ref().map(|source| source.node.clone()),
            });
        }
        Ok(())
    }

    /// An arc is made wherever the function lets the input move the output.
    fn arcs(
        &mut self,
        row: &SheetRow,
        from: &[Template],
        to: &[Template],
        kinds: &[ArcKind],
        block: &mut Block,
    ) -> Fallible<()> {
        let figures = self.figures(row, Quantity::as_time, "times")?;
        let (inputs, outputs) = (self.inputs(from)?, self.outputs(to)?);
        let before = block.arcs.len();
        for &from in &inputs {
            for &to in &outputs {
                if self.part.function.arcs.get(to).is_none_or(|arc| arc >> from & 1 == 0) {
                    continue;
                }
                for &kind in kinds {
                    block.arcs.push(Arc {
                        from,
                        to,
                        kind,
                        figures: figures.clone(),
                        source: row.source.as_ref().map(|source| source.node.clone()),
                        span: row.span,
                    });
                }
            }
        }
        if block.arcs.len() == before && crate::diagnostic::any_error(self.problems) {
            return Ok(());
        }
        if block.arcs.len() == before {
            return Err(Diagnostic::error("no-arc", "no such input moves any such output")
                .at(row.span, "the formulas have no such path")
                .help("mend the names, or the formula of the output"));
        }
        Ok(())
    }

    /// Requirements of single signals.
    fn alone(&mut self, row: &SheetRow, names: &[Template], kind: CheckKind, block: &mut Block) -> Fallible<()> {
        for template in names {
            for signal in self.signals(template)? {
                self.check(row, signal, kind, block)?;
            }
        }
        Ok(())
    }

    /// Requirements between signals and a reference. As many references as signals go pair by pair, section by
    /// section; one reference serves all.
    fn windows(
        &mut self,
        row: &SheetRow,
        names: &[Template],
        reference: &Template,
        kind: &dyn Fn(Signal) -> CheckKind,
        block: &mut Block,
    ) -> Fallible<()> {
        let references = self.signals(reference)?;
        for template in names {
            let signals = self.signals(template)?;
            if references.len() != 1 && references.len() != signals.len() {
                let message = format!("{} signals, but {} references", signals.len(), references.len());
                return Err(Diagnostic::error("reference", message)
                    .at(template.span, "these signals")
                    .at(reference.span, "these references")
                    .help("name one reference, or one for each signal"));
            }
            for (at, signal) in signals.into_iter().enumerate() {
                let reference = references[at.min(references.len() - 1)];
                self.check(row, signal, kind(reference), block)?;
            }
        }
        Ok(())
    }

    fn check(&mut self, row: &SheetRow, signal: Signal, kind: CheckKind, block: &mut Block) -> Fallible<()> {
        let figures = match kind {
            CheckKind::Stable(_) => Vec::new(),
            CheckKind::Period => {
                let rates = self.figures(row, Quantity::as_frequency, "frequencies")?;
                rates.into_iter().map(|rate| rate.and_then(|rate| rate.period())).collect()
            }
            _ => self.figures(row, Quantity::as_time, "times")?,
        };
        let source = row.source.as_ref().map(|source| source.node.clone());
        block.checks.push(Check { kind, signal, figures, source, span: row.span });
        Ok(())
    }

    pub(super) fn figures<T>(
        &self,
        row: &SheetRow,
        take: fn(Quantity) -> Option<T>,
        wanted: &str,
    ) -> Fallible<Figures<T>> {
        row.figures
            .iter()
            .map(|figure| match figure {
                None => Ok(None),
                Some(quantity) => take(*quantity).map(Some).ok_or_else(|| {
                    Diagnostic::error("unit", format!("{wanted} are wanted in this row, not {}", quantity.kind()))
                        .at(row.span, "")
                        .help("mend the unit at the end of the row")
                }),
            })
            .collect()
    }

    fn pins(&self, template: &Template) -> Fallible<Vec<PinIndex>> {
        let mut pins = Vec::new();
        for name in self.scope.names(template)? {
            let active_low = || self.part.pins_called(&format!("/{name}"));
            match self.part.pins_called(&name).or_else(active_low) {
                Some(found) => pins.extend(found),
                None => return Err(self.unknown(&name, template.span)),
            }
        }
        Ok(pins)
    }

    fn unknown(&self, name: &str, span: Span) -> Diagnostic {
        let names = self.part.pins.iter().map(|pin| pin.name.as_str());
        let help = did_you_mean(name, names).unwrap_or_else(|| "write a pin of the package".to_owned());
        Diagnostic::error("unknown-pin", format!("the part {} has no pin `{name}`", self.part.name))
            .at(span, "not a pin")
            .help(help)
    }

    fn inputs(&self, templates: &[Template]) -> Fallible<Vec<usize>> {
        self.bits(templates, &self.part.function.inputs, "an input")
    }

    fn outputs(&self, templates: &[Template]) -> Fallible<Vec<usize>> {
        self.bits(templates, &self.part.function.outputs, "an output")
    }

    fn bits(&self, templates: &[Template], word: &[PinIndex], wanted: &str) -> Fallible<Vec<usize>> {
        let mut bits = Vec::new();
        for template in templates {
            for pin in self.pins(template)? {
                let bit = word.iter().position(|&other| other == pin).ok_or_else(|| {
                    Diagnostic::error("pin-kind", format!("`{}` is not {wanted}", self.part.pins[pin].name))
                        .at(template.span, format!("{wanted} is wanted here"))
                        .help("mend the name, or the kind of the pin")
                })?;
                bits.push(bit);
            }
        }
        Ok(bits)
    }

    /// Inputs or nodes.
    fn signals(&self, template: &Template) -> Fallible<Vec<Signal>> {
        let names = self.scope.names(template)?;
        let nodes = &self.part.function.nodes;
        if let [name] = names.as_slice()
            && let Some(node) = nodes.iter().position(|node| node == name)
        {
            return Ok(vec![Signal::Node(node)]);
        }
        Ok(self.inputs(std::slice::from_ref(template))?.into_iter().map(Signal::Input).collect())
    }
}
