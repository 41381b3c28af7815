//! Trials: stimulus and expectations.

use super::{P, Reader, Rule, only_child, the_only_child, without_words};
use crate::language::ast::{
    Condition, ConditionKind, Corner, Duration, Field, Index, PowerUp, Procedure, Radix, ShowWhen, SignalValue, Status,
    Trial, TrialStatement, TrialValue, View, Word,
};
use crate::quantity::Quantity;
use crate::text::Spanned;
use std::sync::Arc;

impl Reader {
    pub(super) fn trial(&mut self, pair: P<'_>) -> Trial {
        let (head, statements) = self.head_and_body(pair);
        let mut words = Vec::new();
        let mut title = String::new();
        for inner in without_words(head) {
            if inner.as_rule() == Rule::string {
                title = self.string(inner).node;
            } else {
                words.push(self.word(&inner));
            }
        }
        let body = statements.filter_map(|statement| self.step(statement)).collect();
        let mut words = words.into_iter();
        let name = words.next().expect("a trial has a name");
        let on = words.next().expect("a trial names what it runs on");
        Trial { name, on, title, body, procedures: Arc::default() }
    }

    pub(super) fn procedure(&mut self, pair: P<'_>) -> Option<Procedure> {
        let (head, statements) = self.head_and_body(pair);
        let mut parameters = Vec::new();
        let mut name: Option<Word> = None;
        let mut title = String::new();
        for inner in without_words(head) {
            match inner.as_rule() {
                Rule::string => title = self.string(inner).node,
                Rule::parameters => parameters = without_words(inner).map(|parameter| self.word(&parameter)).collect(),
                _ => name = Some(self.word(&inner)),
            }
        }
        let body = statements.filter_map(|statement| self.step(statement)).collect();
        Some(Procedure { name: name?, parameters, title, body })
    }

    pub(super) fn step(&mut self, pair: P<'_>) -> Option<Spanned<TrialStatement>> {
        let span = self.span(&pair);
        Some(Spanned { node: self.trial_statement(only_child(pair)?)?, span })
    }

    fn trial_statement(&mut self, pair: P<'_>) -> Option<TrialStatement> {
        let rule = pair.as_rule();
        if let Some(block) = self.repetition(&pair) {
            return block;
        }
        let keywords: Vec<Rule> = pair.clone().into_inner().map(|p| p.as_rule()).collect();
        let has = |keyword| keywords.contains(&keyword);
        let word = pair.clone().into_inner().next()?;
        let mut inner = without_words(pair.clone());
        Some(match rule {
            Rule::powerup_line => TrialStatement::PowerUp(self.power_up(&keywords, inner.next())),
            Rule::corner_line => TrialStatement::Corner(self.corner(&keywords, inner.next())),
            Rule::temperature_line => TrialStatement::Temperature(self.quantity(inner.next()?)),
            Rule::clock_line => {
                let path = self.path(inner.next()?);
                let frequency = self.quantity(inner.next()?);
                let duty = inner.next().map(|duty| self.quantity(duty));
                TrialStatement::Clock { path, frequency, duty }
            }
            Rule::count_line => TrialStatement::CountClocks(self.path(inner.next()?)),
            Rule::load_line => {
                let path = self.path(inner.next()?);
                let file = self.string(inner.next()?);
                let offset = inner.next().map_or(0, |offset| self.number(&offset).node);
                TrialStatement::Load { path, file, offset }
            }
            Rule::load_random => {
                let (path, instructions) = (self.path(inner.next()?), self.word(&inner.next()?));
                let (mut seed, mut without) = (1, Vec::new());
                for inner in inner {
                    match inner.as_rule() {
                        Rule::seed => seed = self.seed(Some(inner)),
                        _ => without.push(self.word(&inner)),
                    }
                }
                TrialStatement::LoadRandom { path, instructions, seed, without }
            }
            Rule::drive_line | Rule::old_hold_line => {
                if rule == Rule::old_hold_line {
                    self.old_word(&word, "hold", "drive");
                }
                TrialStatement::Drive(
                    self.path(inner.next()?),
                    self.signal_value(inner.next()?)?,
                    self.duration(inner.next()?)?,
                )
            }
            Rule::set_line => TrialStatement::Set(self.path(inner.next()?), self.signal_value(inner.next()?)?),
            Rule::release_line => TrialStatement::Release(self.path(inner.next()?)),
            Rule::press_line => {
                let path = self.path(inner.next()?);
                let duration = self.duration(inner.next()?)?;
                let bounce = inner.next().map(|bounce| self.quantity(bounce));
                TrialStatement::Press { path, duration, bounce }
            }
            Rule::close_line => TrialStatement::Close(inner.map(|path| self.path(path)).collect()),
            Rule::open_line => TrialStatement::Open(inner.map(|path| self.path(path)).collect()),
            Rule::flip_line => TrialStatement::Flip(self.path(inner.next()?), has(Rule::kw_up)),
            Rule::step_line => {
                let path = self.path(inner.next()?);
                let times = self.times(inner.next()?)?;
                let every = inner.next().map(|every| self.quantity(every));
                TrialStatement::Step { path, times, every }
            }
            Rule::run_line if has(Rule::kw_until) => {
                TrialStatement::RunUntil(self.condition(inner.next()?)?, self.duration(inner.next()?)?)
            }
            Rule::run_line => TrialStatement::RunFor(self.duration(inner.next()?)?),
            Rule::expect_never => TrialStatement::ExpectNever(self.condition(inner.next()?)?),
            Rule::expect_edge => {
                let edge = self.edge(&inner.next()?);
                let strobe = self.path(inner.next()?);
                let signal = self.path(inner.next()?);
                let values = inner.filter_map(|value| self.trial_value(value)).collect();
                TrialStatement::ExpectOn { edge, strobe, signal, values, more: has(Rule::kw_more) }
            }
            Rule::expect_line => {
                let condition = self.condition(inner.next()?)?;
                match inner.next() {
                    None => TrialStatement::Expect(condition),
                    Some(duration) if has(Rule::kw_within) => {
                        TrialStatement::ExpectWithin(condition, self.duration(duration)?)
                    }
                    Some(duration) => TrialStatement::ExpectFor(condition, self.duration(duration)?),
                }
            }
            Rule::show_line => {
                let when = self.show_when(&keywords, &mut inner)?;
                TrialStatement::Show(when, inner.filter_map(|field| self.field(field)).collect())
            }
            Rule::machine_block => TrialStatement::Machine(Box::new(self.machine(pair)?)),
            Rule::agree_line => TrialStatement::Agree(self.word(&inner.next()?)),
            Rule::profile_line => TrialStatement::Profile(self.word(&inner.next()?)),
            _ => TrialStatement::Note(self.string(inner.next()?).node),
        })
    }

    fn power_up(&mut self, keywords: &[Rule], seed: Option<P<'_>>) -> PowerUp {
        match keywords {
            [.., Rule::kw_unknown] => PowerUp::Unknown,
            [.., Rule::kw_zero] => PowerUp::Zero,
            [.., Rule::kw_one] => PowerUp::One,
            _ => PowerUp::Random(self.seed(seed)),
        }
    }

    fn corner(&mut self, keywords: &[Rule], seed: Option<P<'_>>) -> Corner {
        match keywords {
            [.., Rule::kw_fastest] => Corner::Fastest,
            [.., Rule::kw_typical] => Corner::Typical,
            [.., Rule::kw_slowest] => Corner::Slowest,
            _ => Corner::Random(self.seed(seed)),
        }
    }

    pub(super) fn show_when<'t>(
        &mut self,
        keywords: &[Rule],
        inner: &mut impl Iterator<Item = P<'t>>,
    ) -> Option<ShowWhen> {
        Some(if keywords.contains(&Rule::kw_instruction) {
            ShowWhen::EachInstruction
        } else if keywords.contains(&Rule::kw_each) {
            ShowWhen::EachClock
        } else if keywords.contains(&Rule::kw_on) {
            let edge = self.edge(&inner.next()?);
            ShowWhen::On(edge, self.path(inner.next()?))
        } else if keywords.contains(&Rule::kw_every) {
            ShowWhen::Every(self.quantity(inner.next()?))
        } else {
            ShowWhen::Now
        })
    }

    fn seed(&mut self, pair: Option<P<'_>>) -> u64 {
        pair.and_then(|seed| without_words(seed).next()).map_or(1, |number| self.whole(&number))
    }

    fn signal_value(&mut self, pair: P<'_>) -> Option<SignalValue> {
        let inner = only_child(pair)?;
        Some(match inner.as_rule() {
            Rule::kw_high => SignalValue::High,
            Rule::kw_low => SignalValue::Low,
            _ => SignalValue::Number(self.trial_value(inner)?),
        })
    }

    pub(super) fn duration(&mut self, pair: P<'_>) -> Option<Duration> {
        let inner = without_words(pair).next()?;
        if inner.as_rule() == Rule::times {
            return Some(Duration::Clocks(self.times(inner)?));
        }
        let quantity = self.quantity(inner);
        self.as_kind(quantity, Quantity::as_time, "a time")?;
        Some(Duration::Time(quantity))
    }

    fn field(&mut self, pair: P<'_>) -> Option<Field> {
        let mut inner = without_words(pair);
        let path = self.path(inner.next()?);
        let view = match inner.next().and_then(only_child) {
            None => View::Radix(Radix::Hex),
            Some(view) => match view.as_rule() {
                Rule::kw_volts => View::Volts,
                Rule::kw_current => View::Current,
                Rule::kw_hex => View::Radix(Radix::Hex),
                Rule::kw_binary => View::Radix(Radix::Binary),
                Rule::kw_decimal => View::Radix(Radix::Decimal),
                Rule::kw_signed => View::Radix(Radix::Signed),
                Rule::kw_characters => View::Characters,
                _ => View::Names(self.word(&view)),
            },
        };
        Some(Field { path, view })
    }

    pub(super) fn condition(&mut self, pair: P<'_>) -> Option<Condition> {
        let span = self.span(&pair);
        match pair.as_rule() {
            Rule::claim => self.claim(pair),
            rule => {
                let mut members = Vec::new();
                for member in without_words(pair) {
                    members.push(self.condition(member)?);
                }
                if members.len() == 1 {
                    return members.pop();
                }
                let kind = if rule == Rule::both { ConditionKind::And(members) } else { ConditionKind::Or(members) };
                Some(Condition { kind, span })
            }
        }
    }

    fn trial_value(&mut self, pair: P<'_>) -> Option<TrialValue> {
        let mut leaf = pair.clone();
        while let Some(inner) = the_only_child(&leaf) {
            leaf = inner;
            match leaf.as_rule() {
                Rule::number => return Some(TrialValue::Number(self.number(&leaf))),
                Rule::named => return Some(TrialValue::Named(self.named(leaf))),
                _ => {}
            }
        }
        Some(TrialValue::Formula(self.formula(only_child(pair)?, Self::arithmetic)))
    }

    /// How often: a number or arithmetic.
    pub(super) fn times(&mut self, pair: P<'_>) -> Option<Index> {
        let inner = without_words(pair).next()?;
        Some(self.formula(inner, Self::arithmetic))
    }

    fn claim(&mut self, pair: P<'_>) -> Option<Condition> {
        let span = self.span(&pair);
        let negations = pair.clone().into_inner().filter(|p| p.as_rule() == Rule::kw_not).count();
        let equal = pair.clone().into_inner().any(|p| p.as_rule() == Rule::equals);
        let mut inner = pair.into_inner().filter(|p| {
            matches!(p.as_rule(), Rule::condition | Rule::path | Rule::status | Rule::trial_value | Rule::quantity)
        });
        let first = inner.next()?;
        let mut claim = if first.as_rule() == Rule::condition {
            self.condition(first)?
        } else {
            let path = self.path(first);
            let second = inner.next()?;
            let kind = match second.as_rule() {
                Rule::status => ConditionKind::Is(path, status(only_child(second)?.as_rule())),
                Rule::quantity => ConditionKind::Between(path, self.quantity(second), self.quantity(inner.next()?)),
                _ => ConditionKind::Equals(path, self.trial_value(second)?, equal),
            };
            Condition { kind, span }
        };
        if negations % 2 == 1 {
            claim = Condition { kind: ConditionKind::Not(Box::new(claim)), span };
        }
        Some(claim)
    }
}

fn status(rule: Rule) -> Status {
    match rule {
        Rule::kw_high => Status::High,
        Rule::kw_low => Status::Low,
        Rule::kw_unknown => Status::Unknown,
        Rule::kw_known => Status::Known,
        Rule::kw_lit => Status::Lit,
        Rule::kw_dark => Status::Dark,
        _ => Status::Off,
    }
}
