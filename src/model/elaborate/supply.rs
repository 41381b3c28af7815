//! Supplies: the connector pins that their poles are connected to.

use super::assembler::Assembler;
use crate::diagnostic::Diagnostic;
use crate::language::ast::{self, PoleLine};
use crate::language::expand::Scope;
use crate::model::things::{Pole, Supply};
use crate::quantity::{Current, Voltage};

impl Assembler<'_> {
    /// Reads a supply and the connector pins of its poles.
    pub(super) fn supply(&mut self, scope: &Scope, supply: &ast::Supply) -> Option<()> {
        let name = self.problems.take(scope.name(&supply.name))?;
        let problem = if let Some(first) = self.model.supply(&name) {
            Some(
                Diagnostic::error("name-twice", format!("two supplies are called {name}"))
                    .at(supply.span, "the second one")
                    .at(self.model.supplies[first].span, "the first one")
                    .help("give each supply a name of its own"),
            )
        } else if supply.voltage <= Voltage::ZERO || supply.current <= Current::ZERO {
            let message = format!("{name} needs a voltage and a current above zero");
            let help = "write them as in `5 V 1 A`";
            Some(Diagnostic::error("supply", message).at(supply.span, "these values").help(help))
        } else {
            let lacks = |plus: bool| !has_pole(&supply.poles, plus);
            let missing = if lacks(true) { Some("plus") } else { lacks(false).then_some("minus") };
            missing.map(|pole| {
                Diagnostic::error("supply", format!("the {pole} pole of {name} is not connected"))
                    .at(supply.span, "this supply")
                    .help(format!("write `{pole} = A.POWER.1` in its block"))
            })
        };
        if let Some(problem) = problem {
            self.problems.unclear(problem);
            return None;
        }
        let mut poles = Vec::new();
        self.poles(&mut scope.clone(), &supply.poles, &mut poles)?;
        self.model.insert_supply(Supply {
            name: name.into(),
            voltage: supply.voltage,
            current: supply.current,
            poles,
            span: supply.span,
        });
        Some(())
    }

    /// The pins of the lines of a supply.
    fn poles(&mut self, scope: &mut Scope, lines: &[PoleLine], poles: &mut Vec<Pole>) -> Option<()> {
        for line in lines {
            match line {
                PoleLine::Pole(plus, paths) => {
                    for path in paths {
                        for flat in self.paths(scope, path)? {
                            let pins = self.pins(&flat, path.span);
                            let pins = self.problems.take(pins)?;
                            poles.push(Pole { plus: *plus, contacts: pins, span: path.span });
                        }
                    }
                }
                PoleLine::Each(each) => {
                    let mut whole = Some(());
                    let done = scope.each(each, |scope, body| {
                        whole = whole
                            .and_then(|()| if self.problems.spend(1) { self.poles(scope, body, poles) } else { None });
                    });
                    self.problems.take(done)?;
                    whole?;
                }
            }
        }
        Some(())
    }
}

fn has_pole(lines: &[PoleLine], wanted: bool) -> bool {
    lines.iter().any(|line| match line {
        PoleLine::Pole(plus, _) => *plus == wanted,
        PoleLine::Each(each) => has_pole(&each.body, wanted),
    })
}
