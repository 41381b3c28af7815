//! Published function tables.

/// A table as it was written; the model is run against it row by row.
pub type FunctionTable = crate::language::ast::Table;
