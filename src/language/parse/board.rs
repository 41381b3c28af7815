//! Boards: rails, connectors, components and their wiring.

use super::{P, Reader, Rule, only_child, without_words};
use crate::language::ast::{
    Acceptance, Board, BoardStatement, Component, Connection, Connector, ConnectorPin, Feed, Holding, PinChoice, Rail,
    Value, Way, Wiring,
};
use crate::quantity::{Quantity, Voltage};
use crate::text::Spanned;

impl Reader {
    pub(super) fn board(&mut self, pair: P<'_>) -> Board {
        let (head, statements) = self.head_and_body(pair);
        let (name, title) = self.name_and_title(head);
        let body = statements.filter_map(|statement| self.board_statement(statement)).collect();
        Board { name, title, body }
    }

    fn board_statement(&mut self, pair: P<'_>) -> Option<BoardStatement> {
        let pair = only_child(pair)?;
        Some(match pair.as_rule() {
            Rule::rail_line => BoardStatement::Rail(self.rail(pair)?),
            Rule::trace_line => {
                let length = self.quantity(without_words(pair).next()?);
                BoardStatement::Trace(self.as_kind(length, Quantity::as_length, "a length")?)
            }
            Rule::feed_line => BoardStatement::Feed(self.feed(pair)?),
            Rule::connector_block => BoardStatement::Connector(self.connector(pair)?),
            Rule::each_board => BoardStatement::Each(self.each(pair, Self::board_statement)),
            Rule::unused_line => BoardStatement::Unused(self.way(pair)?),
            Rule::synchroniser_line => BoardStatement::Synchroniser(self.way(pair)?),
            Rule::note_line => BoardStatement::Note(self.quoted(pair)?),
            Rule::accept_line => BoardStatement::Accept(self.acceptance(pair)?),
            _ => BoardStatement::Component(self.component(pair)?),
        })
    }

    /// `unused-path U3.Q1 to U9.D "reason"` and its like, on a board or in an assembly.
    pub(super) fn way(&mut self, pair: P<'_>) -> Option<Way> {
        let span = self.span(&pair);
        let mut inner = without_words(pair);
        Some(Way {
            from: self.path(inner.next()?),
            to: self.path(inner.next()?),
            reason: self.string(inner.next()?).node,
            span,
        })
    }

    pub(super) fn acceptance(&mut self, pair: P<'_>) -> Option<Acceptance> {
        let mut inner = without_words(pair);
        Some(Acceptance {
            rule: self.word(&inner.next()?),
            place: self.path(inner.next()?),
            reason: self.string(inner.next()?),
        })
    }

    fn rail(&mut self, pair: P<'_>) -> Option<Rail> {
        let mut inner = without_words(pair);
        let name = self.template(inner.next()?);
        let voltage = match inner.next() {
            Some(quantity) => {
                let quantity = self.quantity(quantity);
                self.as_kind(quantity, Quantity::as_voltage, "a voltage")?
            }
            None => Voltage::default(),
        };
        Some(Rail { name, voltage })
    }

    fn feed(&mut self, pair: P<'_>) -> Option<Feed> {
        let mut refs = Vec::new();
        let mut rails = Vec::new();
        for inner in without_words(pair) {
            if inner.as_rule() == Rule::refs {
                refs.push(self.refs(inner));
            } else {
                rails.push(self.template(inner));
            }
        }
        let mut rails = rails.into_iter();
        Some(Feed { refs, power: rails.next()?, ground: rails.next()? })
    }

    fn connector(&mut self, pair: P<'_>) -> Option<Connector> {
        let mut inner = without_words(pair);
        let name = self.template(inner.next()?);
        let kind = self.word(&inner.next()?);
        let pins = inner.filter_map(|pin| self.connector_pin(pin)).collect();
        Some(Connector { name, kind, pins })
    }

    fn connector_pin(&mut self, pair: P<'_>) -> Option<ConnectorPin> {
        let mut inner = without_words(pair);
        let numbers = self.pin_numbers(inner.next()?);
        let mut pin = ConnectorPin { numbers, label: None, nets: None, remark: None };
        for inner in inner {
            match inner.as_rule() {
                Rule::name => pin.label = Some(self.template(inner)),
                Rule::nets => pin.nets = Some(self.nets(inner)),
                _ => pin.remark = Some(self.string(inner)),
            }
        }
        Some(pin)
    }

    fn component(&mut self, pair: P<'_>) -> Option<Component> {
        let mut inner = without_words(pair);
        let refs = self.refs(inner.next()?);
        let kind = self.word(&inner.next()?);
        let span = refs.from.span.to(kind.span);
        let mut component = Component {
            refs,
            kind,
            values: Vec::new(),
            holds: None,
            decouples: Vec::new(),
            connections: Vec::new(),
            span,
        };
        for inner in inner {
            match inner.as_rule() {
                Rule::value => component.values.extend(self.value(inner)),
                Rule::holding => component.holds = self.holding(inner).map(Box::new),
                Rule::refs => component.decouples.push(self.refs(inner)),
                _ => component.connections = without_words(inner).filter_map(|line| self.wiring(line)).collect(),
            }
        }
        Some(component)
    }

    fn value(&mut self, pair: P<'_>) -> Option<Spanned<Value>> {
        let span = self.span(&pair);
        let inner = only_child(pair)?;
        let node = match inner.as_rule() {
            Rule::quantity => Value::Quantity(self.quantity(inner).node),
            Rule::colour => Value::Colour(inner.as_str().trim().to_owned()),
            Rule::network_style => Value::Bussed(inner.as_str().starts_with("bussed")),
            Rule::estimated => Value::Estimated,
            _ => Value::Pins(self.small(&without_words(inner).next()?, 1000, "a number of pins")),
        };
        Some(Spanned { node, span })
    }

    fn holding(&mut self, pair: P<'_>) -> Option<Holding> {
        let span = self.span(&pair);
        let mut inner = without_words(pair);
        let name = self.word(&inner.next()?);
        let mut lane = None;
        let mut numbers = Vec::new();
        for inner in inner {
            if inner.as_rule() == Rule::digits {
                let node = self.small(&inner, 7, "a lane");
                let span = self.span(&inner);
                lane = Some(Spanned { node, span });
            } else {
                numbers.push(self.number(&inner));
            }
        }
        let mut numbers = numbers.into_iter();
        let window = numbers.next().map(|from| (from, numbers.next()));
        Some(Holding { name, lane, window, span })
    }

    fn wiring(&mut self, pair: P<'_>) -> Option<Wiring> {
        let span = self.span(&pair);
        match pair.as_rule() {
            Rule::each_connection => Some(Wiring::Each(self.each(pair, Self::wiring))),
            Rule::connection => {
                let mut inner = without_words(pair);
                let choice = only_child(inner.next()?)?;
                let pins = if choice.as_rule() == Rule::pin_numbers {
                    PinChoice::Numbers(self.pin_numbers(choice))
                } else {
                    PinChoice::Names(self.template(choice))
                };
                let nets = self.nets(inner.next()?);
                Some(Wiring::Connection(Connection { pins, nets, span }))
            }
            _ => None,
        }
    }
}
