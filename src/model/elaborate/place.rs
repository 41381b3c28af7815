//! A plan put in place.

use super::plan::{Plan, PlanConnector, PlanJoint, Written};
use crate::key::Key;
use crate::model::problems::MOST_PINS;
use crate::model::roster::Roster;
use crate::model::things::{
    Board, BoardId, Chip, ChipId, Connector, Contact, Discrete, Joint, Model, SegmentId, TimingPath, Waiver, within,
};
use crate::text::Span;
use std::sync::Arc;

impl Model {
    /// False when a board would be too much.
    pub(super) fn has_room_for(&self, plan: &Plan) -> bool {
        self.pins.saturating_add(plan.pins.max(1)) <= MOST_PINS
    }

    /// Puts a board in place.
    pub(super) fn place(&mut self, plan: &Plan, path: &Arc<str>, span: Span) -> BoardId {
        let board = self.insert_board(Board {
            path: path.clone(),
            design: plan.design.clone(),
            title: plan.title.clone(),
            trace: plan.trace,
            span,
            chips: Roster::default(),
            discretes: Roster::default(),
            connectors: Roster::default(),
            segments: Roster::default(),
        });
        self.reserve(board, plan);
        let pins = self.pins;
        let nets = plan.nets.values();
        let segments: Vec<SegmentId> =
            nets.map(|net| self.insert_segment(board, &net.name, net.rail, net.span)).collect();
        let joint = |pin: PlanJoint| match pin {
            PlanJoint::Free => Joint::Free,
            PlanJoint::Net(net, _) => Joint::Segment(segments[net.index()]),
            PlanJoint::Open(_) => Joint::Open,
        };
        let joints = |pins: &[PlanJoint]| pins.iter().map(|pin| joint(*pin)).collect();
        let mut chips: Vec<ChipId> = Vec::with_capacity(plan.chips.len());
        let mut decoupling = Vec::new();
        for row in &plan.written {
            match *row {
                Written::Chip(at) => {
                    let chip = &plan.chips[at];
                    chips.push(self.insert_chip(Chip {
                        board,
                        reference: chip.reference.clone(),
                        device: chip.device.clone(),
                        frequency: chip.frequency,
                        contents: chip.contents.clone(),
                        pins: joints(&chip.pins),
                        span: chip.span,
                    }));
                }
                Written::Discrete(at) => {
                    let discrete = &plan.discretes[at];
                    let id = self.insert_discrete(Discrete {
                        board,
                        reference: discrete.reference.clone(),
                        kind: discrete.kind.clone(),
                        decouples: Vec::new(),
                        rating: discrete.rating,
                        pins: joints(&discrete.pins),
                        span: discrete.span,
                    });
                    decoupling.push((id, &discrete.chips));
                }
                Written::Connector(at) => {
                    self.insert_connector(connector(&plan.connectors[at], board, joint));
                }
            }
        }
        // A capacitor may be written before its chips.
        for (id, rows) in decoupling {
            self.discretes[id].decouples = rows.iter().map(|row| chips[*row]).collect();
        }
        self.paths.extend(plan.paths.iter().map(|said| TimingPath { board: path.clone(), ..said.clone() }));
        self.waivers.extend(plan.waivers.iter().map(|waiver| Waiver {
            place: within(path, &waiver.place),
            board: Some(board),
            ..waiver.clone()
        }));
        self.pins = pins + plan.pins.max(1);
        board
    }

    /// Makes room for what a board has.
    fn reserve(&mut self, board: BoardId, plan: &Plan) {
        let board = &mut self.boards[board];
        self.segments.reserve(plan.nets.len());
        board.segments.reserve(plan.nets.len());
        self.chips.reserve(plan.chips.len());
        board.chips.reserve(plan.chips.len());
        self.discretes.reserve(plan.discretes.len());
        board.discretes.reserve(plan.discretes.len());
    }
}

fn connector(plan: &PlanConnector, board: BoardId, joint: impl Fn(PlanJoint) -> Joint) -> Connector {
    let contacts = plan.contacts.iter().map(|contact| Contact {
        label: contact.label.clone(),
        remark: contact.remark.clone(),
        joint: joint(contact.joint),
        span: match contact.joint {
            PlanJoint::Net(_, span) | PlanJoint::Open(span) => span,
            PlanJoint::Free => plan.span,
        },
    });
    Connector { board, name: plan.name.clone(), kind: plan.kind.clone(), contacts: contacts.collect(), span: plan.span }
}
