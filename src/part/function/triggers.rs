//! What makes a function store, and what it then stores from: asked by engines that leave out what cannot matter.

use super::effect::Effect;
use super::program::{Environment, Program, Register};
use super::reads::{Reads, walk};
use super::{ChipState, Function, SampledInputs, Scratch};
use crate::logic::Word;
use crate::part::Edge;
use crate::part::sheet::Signal;

impl Function {
    /// The input that clocks some state bits, and the edge of it, where they are a plain register: nothing clocks itself,
    /// no memory, no timer.
    pub fn plain_clock(&self, states: u64) -> Option<(usize, Edge)> {
        let rules = self.edge_rules.iter();
        let mut rules = rules.filter(|rule| rule.effect.mask & states != 0);
        let first = rules.clone().next()?;
        let Signal::Input(bit) = first.trigger else {
            return None;
        };
        let alike = rules.all(|rule| {
            let effect = &rule.effect;
            (rule.trigger, rule.edge) == (first.trigger, first.edge)
                && effect.starts.is_none()
                && effect.writes.is_empty()
        });
        (alike && self.only_follows()).then_some((bit, first.edge))
    }

    /// True when nothing in it clocks itself or moves by itself, and it has no memory.
    fn only_follows(&self) -> bool {
        self.settles_at_once
            && self.memories.is_empty()
            && self.timers.is_empty()
            && self.oscillator.is_none()
            && self.rc_oscillator.is_none()
    }

    /// What forbidden uses hang on.
    fn reads_of_forbids(&self) -> Reads {
        let mut reads = Reads::default();
        for forbid in &self.forbids {
            walk(&forbid.program, forbid.condition, 1, &mut reads);
        }
        reads
    }

    /// Inputs whose edges, while no level acts, do nothing but store what [`Function::two_state_trigger`] gives.
    pub fn plain_edges(&self) -> u64 {
        if !self.only_follows() || self.reads_of_forbids().states != 0 {
            return 0;
        }
        let mut clocks = 0;
        let mut others = self.direct | self.level_inputs() | self.forbid_inputs();
        others |= self.node_inputs.iter().fold(0, |all, it| all | it);
        for rule in &self.edge_rules {
            match rule.trigger {
                Signal::Input(bit) => clocks |= 1 << bit,
                Signal::Node(_) => others |= rule.causes,
            }
        }
        clocks & !others
    }

    /// Inputs that move a node which an edge, an output or a forbidden use hangs on. Other nodes are only read when
    /// something is stored.
    pub fn asked_node_inputs(&self) -> u64 {
        let mut reads = self.reads_of_forbids();
        for result in [self.drive_value, self.drive_off].into_iter().flatten() {
            walk(&self.drive_program, result, u64::MAX, &mut reads);
        }
        let triggers = self.edge_rules.iter().map(|rule| match rule.trigger {
            Signal::Node(bit) => 1 << bit,
            Signal::Input(_) => 0,
        });
        let asked = triggers.fold(reads.nodes, |all, bit| all | bit);
        let nodes = self.node_inputs.iter().enumerate();
        let asked = nodes.filter(|(node, _)| asked >> node & 1 == 1);
        asked.fold(0, |all, (_, inputs)| all | inputs)
    }

    /// True when the inputs as they are now keep all level-sensitive storage shut.
    #[inline]
    pub fn is_shut(&self, now: Word) -> bool {
        self.level_rules.iter().all(|rule| rule.is_idle(now))
    }

    /// What the edge-triggered rules store from that set any of some state bits.
    pub fn reads_of_edges(&self, states: u64) -> Reads {
        let rules = self.edge_rules.iter().map(|rule| &rule.effect);
        self.reads_of_effects(rules.filter(|effect| effect.touches(states)))
    }

    /// What the level-sensitive rules store from, and what they hang on, that set any of some state bits.
    pub fn reads_of_levels(&self, states: u64) -> Reads {
        let rules = self.level_rules.iter();
        let rules = rules.filter(|rule| rule.effect.touches(states));
        let mut reads = self.reads_of_effects(rules.clone().map(|rule| &rule.effect));
        for rule in rules {
            walk(&rule.effect.program, rule.condition, 1, &mut reads);
        }
        self.behind_nodes(&mut reads);
        reads
    }

    /// Input bits whose edge or level makes any of some state bits, or a memory, be stored.
    pub fn controls_of(&self, states: u64) -> u64 {
        let edges = self.edge_rules.iter().map(|rule| (&rule.effect, rule.causes));
        let levels = self.level_rules.iter().map(|rule| (&rule.effect, rule.causes));
        edges.chain(levels).filter(|(effect, _)| effect.touches(states)).fold(0, |mask, (_, causes)| mask | causes)
    }

    /// State bits that one rule sets together, rule by rule.
    pub fn stored_together(&self) -> impl Iterator<Item = u64> + '_ {
        let edges = self.edge_rules.iter().map(|rule| rule.effect.mask);
        edges.chain(self.level_rules.iter().map(|rule| rule.effect.mask))
    }

    /// The input bits that name the word that is written.
    pub fn address_inputs(&self) -> u64 {
        let mut reads = Reads::default();
        for rule in &self.level_rules {
            for write in &rule.effect.writes {
                walk(&rule.effect.program, write.address, u64::MAX, &mut reads);
            }
        }
        self.behind_nodes(&mut reads);
        reads.inputs
    }

    /// True when a memory is written at an edge.
    pub fn writes_at_edges(&self) -> bool {
        let mut rules = self.edge_rules.iter();
        rules.any(|rule| !rule.effect.writes.is_empty())
    }

    /// One bit: whether a level-sensitive rule acts now.
    pub fn acts(&self, sampled: SampledInputs, stored: &ChipState, scratch: &mut Scratch) -> Word {
        let mut acts = Word::known(0);
        for rule in &self.level_rules {
            rule.effect.run(sampled, stored.state, &stored.memories, scratch);
            acts = acts.or(scratch.registers[rule.condition.index()]);
        }
        acts
    }

    /// What can still move, whatever the unknown input bits are: makes the stored bits of `stored` unknown that may be set
    /// by a rule that may act.
    pub fn reachable(&self, inputs: Word, stored: &mut ChipState, scratch: &mut Scratch) -> Reachable {
        let mut reachable = Reachable::default();
        loop {
            let nodes = self.nodes(inputs, stored, scratch);
            let sampled = SampledInputs { inputs, nodes };
            let mut found = Reachable::default();
            for rule in &self.edge_rules {
                let trigger = match rule.trigger {
                    Signal::Input(bit) => inputs.unknown >> bit,
                    Signal::Node(bit) => nodes.unknown >> bit,
                };
                if trigger & 1 == 1 {
                    found.add(&rule.effect);
                }
            }
            for rule in &self.level_rules {
                rule.effect.run(sampled, stored.state, &stored.memories, scratch);
                if scratch.registers[rule.condition.index()] != Word::known(0) {
                    found.add(&rule.effect);
                }
            }
            let oscillating = self.oscillator.map_or(0, |bit| 1 << bit);
            found.states |= oscillating | reachable.states;
            if found == reachable {
                return reachable;
            }
            reachable = found;
            stored.state.unknown |= reachable.states;
            stored.state.value &= !reachable.states;
        }
    }

    /// True when a forbidden use cannot be ruled out, whatever the unknown bits of `sampled` are.
    pub fn may_be_forbidden(&self, sampled: SampledInputs, stored: &ChipState, scratch: &mut Scratch) -> bool {
        let environment = Environment { inputs: sampled.inputs, states: stored.state, nodes: sampled.nodes };
        self.forbids.iter().any(|forbid| {
            let registers = &mut scratch.registers;
            forbid.program.run(&environment, &stored.memories, registers);
            registers[forbid.condition.index()] != Word::known(0)
        })
    }

    /// Input bits that forbidden uses hang on.
    pub fn forbid_inputs(&self) -> u64 {
        self.forbids.iter().fold(0, |mask, forbid| mask | forbid.inputs)
    }

    fn reads_of_effects<'a>(&self, effects: impl Iterator<Item = &'a Effect>) -> Reads {
        let mut reads = Reads::default();
        for effect in effects {
            let mut read = |program: &Program, register: Register| {
                walk(program, register, u64::MAX, &mut reads);
            };
            for register in [effect.next, effect.starts].into_iter().flatten() {
                read(&effect.program, register);
            }
            for write in &effect.writes {
                read(&effect.program, write.address);
                read(&effect.program, write.data);
                if let Some(condition) = write.condition {
                    read(&effect.program, condition);
                }
            }
        }
        self.behind_nodes(&mut reads);
        reads
    }
}

/// What can be stored at all.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Reachable {
    /// State bits that may be set.
    pub states: u64,
    /// True when a timer may be started.
    pub starts: bool,
    /// True when a memory may be written.
    pub writes: bool,
}

impl Reachable {
    fn add(&mut self, effect: &Effect) {
        self.states |= effect.mask;
        self.starts |= effect.starts.is_some();
        self.writes |= !effect.writes.is_empty();
    }
}

impl Effect {
    /// True when it sets any of some state bits, or writes a memory.
    fn touches(&self, states: u64) -> bool {
        self.mask & states != 0 || !self.writes.is_empty()
    }
}
