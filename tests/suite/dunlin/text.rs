//! What the instructions do by their own words (designs/dunlin/instructions.board), beside the model of the instruction
//! table, which was written first and apart from them.

use super::model::Model;
use super::{instructions, project};
use coldboard::contents::behaviour::{Behaviour, Memory};
use coldboard::language::ast::Word;
use rand_chacha::ChaCha8Rng;
use rand_core::{Rng, SeedableRng};
use std::sync::Arc;

/// 64 KiB, of which the RAM is the upper half.
struct Bytes(Vec<u8>);

impl Memory for Bytes {
    fn read(&mut self, address: u64) -> Option<u8> {
        Some(self.0[address as usize & 0xFFFF])
    }

    fn write(&mut self, address: u64, byte: Option<u8>) {
        assert!((0x8000..0x10000).contains(&address), "{address:04X} is RAM");
        self.0[address as usize] = byte.expect("all is known");
    }
}

fn behaviour() -> Arc<Behaviour> {
    let project = project();
    let span = project.contents().fillings()[0].span;
    project.contents().names.behaviour(&Word { node: "DUNLIN".to_owned(), span }).expect("DUNLIN").clone()
}

#[test]
fn the_words_and_the_table_agree_on_random_programs() {
    let behaviour = behaviour();
    let codes = instructions();
    let register = |name: &str| behaviour.register(name).expect("a register");
    let at = ["A", "X", "Y", "S", "PC", "C", "Z", "N", "OUT"].map(register);
    let input = register("IN");
    let mut seen = std::collections::BTreeSet::new();
    for seed in 0..300 {
        let mut chance = ChaCha8Rng::seed_from_u64(seed);
        let memory: Vec<u8> = (0..0x10000).map(|_| codes[chance.next_u32() as usize % codes.len()]).collect();
        let switches = chance.next_u32() as u8;
        let mut model = Model::new(memory.clone(), switches);
        let mut bytes = Bytes(memory);
        let mut registers = vec![Some(0); behaviour.registers().len()];
        registers[input] = Some(u64::from(switches));
        for number in 0..2000 {
            let address = u64::from(model.pc);
            let decoded = behaviour.decode(&mut bytes, address);
            let Some(_) = model.step() else { break };
            let decoded = decoded.expect("what the table has is an instruction");
            let text = behaviour.text(&decoded, address);
            seen.insert(text.split(' ').next().unwrap_or_default().to_owned());
            behaviour.execute(&decoded, &mut registers, &mut bytes).expect("it can be done");
            let here = format!("program {seed}, instruction {number}: {text} at {address:04X}");
            assert_eq!(at.map(|register| registers[register]), super::registers(&model), "{here}");
        }
        assert!(bytes.0 == model.memory, "program {seed}: memory");
    }
    // All but HLT, at which the programs end.
    let all: std::collections::BTreeSet<String> = behaviour.mnemonics().map(str::to_owned).collect();
    let missing: Vec<&String> = all.difference(&seen).collect();
    assert_eq!(missing, ["HLT"]);
}
