//! The parser that pest makes from `grammar.pest`.
#![allow(missing_docs, reason = "the generated rules are explained in the grammar")]
#![allow(unreachable_pub, reason = "the generated rule type is public")]

#[derive(pest_derive::Parser)]
#[grammar = "language/grammar.pest"]
pub(in crate::language) struct Grammar;
