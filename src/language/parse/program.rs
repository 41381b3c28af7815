//! Names of values, instruction sets, programs, and the formulas in them.

use super::{P, Reader, Rule, is_mark, only_child, without_words};
use crate::language::ast::{
    Form, FormLine, FormOperand, Instructions, NameList, Named, Operand, OperandKind, Program, ProgramLine, Registers,
    Whole, WholeKind, WholeOperator, WholeUnary, Word,
};

impl Reader {
    pub(super) fn named(&mut self, pair: P<'_>) -> Named {
        let span = self.span(&pair);
        let mut names =
            pair.into_inner().filter(|p| p.as_rule() == Rule::symbol).map(|symbol| symbol.as_str().to_owned());
        let first = names.next().unwrap_or_default();
        match names.next() {
            Some(name) => Named { owner: Some(first), name, span },
            None => Named { owner: None, name: first, span },
        }
    }

    pub(super) fn name_list(&mut self, pair: P<'_>) -> NameList {
        let (head, lines) = self.head_and_body(pair);
        let (name, title) = self.name_and_title(head);
        let values = lines
            .filter_map(|line| {
                let mut inner = without_words(line);
                let name = self.word(&inner.next()?);
                let first = self.number(&inner.next()?);
                let last = inner.next().map(|last| self.number(&last));
                Some((name, first, last))
            })
            .collect();
        NameList { name, title, values }
    }

    pub(super) fn instructions(&mut self, pair: P<'_>) -> Instructions {
        let (head, lines) = self.head_and_body(pair);
        let (name, title) = self.name_and_title(head);
        let (registers, state, effects, forms) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
        let mut set = Instructions { name, title, registers, state, effects, forms };
        for line in lines.filter_map(only_child) {
            match line.as_rule() {
                Rule::registers_line => set.registers.extend(self.registers(line)),
                Rule::visible_line => set.state.extend(self.visible(line)),
                Rule::effect_item => set.effects.extend(self.effect(line)),
                _ => set.forms.extend(self.form_line(line)),
            }
        }
        set
    }

    fn form_line(&mut self, pair: P<'_>) -> Option<FormLine> {
        match pair.as_rule() {
            Rule::instruction_form => self.form(pair).map(FormLine::Form),
            Rule::each_form => Some(FormLine::Each(self.each(pair, |reader, line| {
                let line = only_child(line)?;
                if line.as_rule() == Rule::registers_line {
                    let span = reader.span(&line);
                    reader.problem(span, "registers are declared once", "write this line outside of the repetition");
                }
                reader.form_line(line)
            }))),
            _ => None,
        }
    }

    fn registers(&mut self, pair: P<'_>) -> Option<Registers> {
        let mut inner = without_words(pair);
        let kind = self.word(&inner.next()?);
        let registers = inner.filter_map(|register| {
            let mut inner = without_words(register);
            Some((self.word(&inner.next()?), self.number(&inner.next()?)))
        });
        let members = registers.collect();
        Some(Registers { kind, members })
    }

    fn form(&mut self, pair: P<'_>) -> Option<Form> {
        let span = self.span(&pair);
        let mut inner = without_words(pair);
        let mnemonic = self.template(inner.next()?);
        let (operands, encoding) = (Vec::new(), Vec::new());
        let mut form = Form { mnemonic, operands, encoding, alias: None, effect: None, span };
        for inner in inner {
            match inner.as_rule() {
                Rule::form_operand => {
                    let operand = self.form_operand(inner);
                    form.operands.push(operand);
                }
                Rule::whole => form.encoding.push(self.whole_formula(inner)),
                Rule::effect_block => form.effect = Some(self.effect_steps(inner)),
                _ => form.alias = Some(self.template(inner)),
            }
        }
        Some(form)
    }

    fn form_operand(&mut self, pair: P<'_>) -> FormOperand {
        let bracketed = pair.as_str().starts_with('[');
        let pieces = without_words(pair).filter_map(|piece| {
            let mut inner = without_words(piece);
            let name = self.template(inner.next()?);
            let kind = inner.next().and_then(|kind| {
                let mut inner = without_words(kind);
                let first = inner.next()?;
                Some(match inner.next() {
                    Some(last) => OperandKind::Range(self.number(&first), self.number(&last)),
                    None => OperandKind::Word(self.word(&first)),
                })
            });
            Some((name, kind))
        });
        FormOperand { bracketed, pieces: pieces.collect() }
    }

    pub(super) fn program(&mut self, pair: P<'_>) -> Option<Program> {
        let (head, lines) = self.head_and_body(pair);
        let mut words = without_words(head);
        let name = self.word(&words.next()?);
        let instructions = self.word(&words.next()?);
        let title = words.next().map(|title| self.string(title).node);
        self.label.clear();
        let lines = lines.filter_map(|line| self.program_line(line)).collect();
        Some(Program { name, instructions, title: title.unwrap_or_default(), lines })
    }

    fn program_line(&mut self, pair: P<'_>) -> Option<ProgramLine> {
        let line = only_child(pair)?;
        let span = self.span(&line);
        let rule = line.as_rule();
        let mut inner = without_words(line);
        Some(match rule {
            Rule::origin_line => ProgramLine::Origin(self.whole_formula(inner.next()?), span),
            Rule::constant_line => {
                let name = self.word(&inner.next()?);
                ProgramLine::Constant(name, self.whole_formula(inner.next()?))
            }
            Rule::bytes_line => ProgramLine::Bytes(inner.map(|item| self.whole_formula(item)).collect(), span),
            Rule::fill_line => {
                let count = self.whole_formula(inner.next()?);
                ProgramLine::Fill(count, self.whole_formula(inner.next()?), span)
            }
            Rule::label_mark => {
                let label = inner.next()?;
                if label.as_rule() == Rule::local {
                    return Some(ProgramLine::Label(self.local(&label)));
                }
                let word = self.word(&label);
                self.label.clone_from(&word.node);
                ProgramLine::Label(word)
            }
            Rule::instruction => {
                let mnemonic = self.word(&inner.next()?);
                let operands = inner.next().map(|operands| {
                    let operands = without_words(operands).map(|operand| self.operand(operand));
                    operands.collect()
                });
                ProgramLine::Instruction(mnemonic, operands.unwrap_or_default(), span)
            }
            _ => ProgramLine::Note,
        })
    }

    /// A local label, with the name of the label that it stands under: `count.loop`.
    fn local(&self, pair: &P<'_>) -> Word {
        Word { node: format!("{}{}", self.label, pair.as_str()), span: self.span(pair) }
    }

    fn operand(&mut self, pair: P<'_>) -> Operand {
        let bracketed = pair.as_str().starts_with('[');
        let pieces = without_words(pair).map(|piece| self.whole_formula(piece));
        Operand { bracketed, pieces: pieces.collect() }
    }

    pub(super) fn whole_formula(&mut self, pair: P<'_>) -> Whole {
        self.formula(pair, Self::whole_level)
    }

    /// A chain of operators of one level, or what it is made of.
    pub(super) fn whole_level(&mut self, pair: P<'_>) -> Whole {
        let span = self.span(&pair);
        let kind = match pair.as_rule() {
            Rule::number => WholeKind::Number(self.number(&pair).node),
            Rule::string => WholeKind::Text(self.string(pair).node),
            Rule::named => WholeKind::Name(self.named(pair)),
            Rule::local => {
                let Word { node: name, span } = self.local(&pair);
                let owner = None;
                WholeKind::Name(Named { owner, name, span })
            }
            Rule::whole_prefix => return self.whole_prefix(pair),
            Rule::memory_byte => match without_words(pair).next() {
                Some(address) => WholeKind::Memory(Box::new(self.whole_level(address))),
                None => WholeKind::Number(0),
            },
            _ => {
                let mut inner = pair.into_inner().filter(|p| !is_mark(p.as_rule()));
                let Some(first) = inner.next() else {
                    let kind = WholeKind::Number(0);
                    return Whole { kind, span };
                };
                let mut left = self.whole_level(first);
                while let (Some(operator), Some(right)) = (inner.next(), inner.next()) {
                    let operator = match operator.as_rule() {
                        Rule::plus => WholeOperator::Add,
                        Rule::minus => WholeOperator::Subtract,
                        Rule::star => WholeOperator::Multiply,
                        Rule::divide => WholeOperator::Divide,
                        Rule::percent => WholeOperator::Remainder,
                        Rule::kw_and => WholeOperator::And,
                        Rule::kw_or => WholeOperator::Or,
                        _ => WholeOperator::Xor,
                    };
                    let right = self.whole_level(right);
                    if self.too_many_operators(span) {
                        break;
                    }
                    left = Whole { kind: WholeKind::Binary(Box::new(left), operator, Box::new(right)), span };
                }
                return left;
            }
        };
        Whole { kind, span }
    }

    fn whole_prefix(&mut self, pair: P<'_>) -> Whole {
        let span = self.span(&pair);
        let mut inner: Vec<P<'_>> = pair.into_inner().collect();
        let Some(leaf) = inner.pop() else {
            let kind = WholeKind::Number(0);
            return Whole { kind, span };
        };
        let mut whole = self.whole_level(leaf);
        for operator in inner.into_iter().rev() {
            if self.too_many_operators(span) {
                break;
            }
            let unary = match operator.as_rule() {
                Rule::kw_not => WholeUnary::Not,
                Rule::kw_low => WholeUnary::Low,
                Rule::kw_high => WholeUnary::High,
                _ => WholeUnary::Negative,
            };
            whole = Whole { kind: WholeKind::Unary(unary, Box::new(whole)), span };
        }
        whole
    }
}
