//! Assemblies: boards in place, cables, supplies.

use super::{P, Reader, Rule, only_child, without_words};
use crate::language::ast::{Assembly, AssemblyStatement, Cable, CableLine, Joins, PoleLine, Supply};
use crate::quantity::Quantity;

impl Reader {
    pub(super) fn assembly(&mut self, pair: P<'_>) -> Assembly {
        let (head, statements) = self.head_and_body(pair);
        let (name, title) = self.name_and_title(head);
        let body = statements.filter_map(|statement| self.assembly_statement(statement)).collect();
        Assembly { name, title, body }
    }

    fn assembly_statement(&mut self, pair: P<'_>) -> Option<AssemblyStatement> {
        let pair = only_child(pair)?;
        Some(match pair.as_rule() {
            Rule::cable_block => AssemblyStatement::Cable(self.cable(pair)?),
            Rule::supply_block => AssemblyStatement::Supply(self.supply(pair)?),
            Rule::each_assembly => AssemblyStatement::Each(self.each(pair, Self::assembly_statement)),
            Rule::unused_line => AssemblyStatement::Unused(self.way(pair)?),
            Rule::synchroniser_line => AssemblyStatement::Synchroniser(self.way(pair)?),
            Rule::note_line => AssemblyStatement::Note(self.quoted(pair)?),
            Rule::accept_line => AssemblyStatement::Accept(self.acceptance(pair)?),
            _ => {
                let mut names = Vec::new();
                let mut board = None;
                for inner in without_words(pair) {
                    if inner.as_rule() == Rule::name {
                        names.push(self.template(inner));
                    } else {
                        board = Some(self.word(&inner));
                    }
                }
                AssemblyStatement::Placement(names, board?)
            }
        })
    }

    fn cable(&mut self, pair: P<'_>) -> Option<Cable> {
        let mut inner = pair.into_inner();
        let mut span = self.span(&inner.next()?);
        let name = self.template(inner.next()?);
        let kind = self.word(&inner.next()?);
        let mut ways = None;
        let mut length = None;
        let mut reversed = false;
        let mut joins = Joins::Wires(Vec::new());
        for inner in inner {
            match inner.as_rule() {
                Rule::way => ways = Some(self.small(&without_words(inner).next()?, 1000, "a number of conductors")),
                Rule::quantity => {
                    span = span.to(self.span(&inner));
                    let quantity = self.quantity(inner);
                    length = self.as_kind(quantity, Quantity::as_length, "a length");
                }
                Rule::kw_reversed => reversed = true,
                Rule::connector_list => {
                    joins = Joins::Connectors(without_words(inner).map(|path| self.path(path)).collect());
                }
                Rule::wire | Rule::each_wire => {
                    let line = self.cable_line(inner);
                    if let Joins::Wires(wires) = &mut joins {
                        wires.extend(line);
                    }
                }
                _ => {}
            }
        }
        Some(Cable { name, kind, ways, length: length?, reversed, joins, span })
    }

    fn cable_line(&mut self, pair: P<'_>) -> Option<CableLine> {
        if pair.as_rule() == Rule::each_wire {
            return Some(CableLine::Each(self.each(pair, Self::cable_line)));
        }
        let mut ends = without_words(pair);
        let from = self.path(ends.next()?);
        Some(CableLine::Wire(from, ends.map(|path| self.path(path)).collect()))
    }

    fn pole_line(&mut self, pair: P<'_>) -> Option<PoleLine> {
        if pair.as_rule() == Rule::each_pole {
            return Some(PoleLine::Each(self.each(pair, Self::pole_line)));
        }
        let plus = pair.clone().into_inner().any(|inner| inner.as_rule() == Rule::kw_plus);
        Some(PoleLine::Pole(plus, without_words(pair).map(|path| self.path(path)).collect()))
    }

    fn supply(&mut self, pair: P<'_>) -> Option<Supply> {
        let mut inner = without_words(pair);
        let name = self.template(inner.next()?);
        let voltage = self.quantity(inner.next()?);
        let current = self.quantity(inner.next()?);
        let span = name.span.to(current.span);
        let voltage = self.as_kind(voltage, Quantity::as_voltage, "a voltage")?;
        let current = self.as_kind(current, Quantity::as_current, "a current")?;
        let poles = inner.filter_map(|pole| self.pole_line(pole)).collect();
        Some(Supply { name, voltage, current, poles, span })
    }
}
