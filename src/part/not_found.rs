//! Numbers that name no part, and what to do about them.

use std::fmt;

/// Why a number names no part.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NotFound {
    /// No part of that name.
    Unknown {
        /// The number as it was written.
        number: String,
        /// The number that was probably meant.
        near: Option<String>,
    },
    /// The part is there, but without a sheet of that family.
    NoSuchFamily {
        /// The number as it was written.
        number: String,
        /// The part's name.
        part: String,
        /// The family that was asked for.
        family: String,
        /// The families that there are.
        known: Vec<String>,
    },
    /// The part is there, but without a sheet of that grade.
    NoSuchGrade {
        /// The number as it was written.
        number: String,
        /// The part's name.
        part: String,
        /// The grade that was asked for.
        grade: String,
        /// The grades that there are.
        known: Vec<String>,
    },
    /// The part has several sheets, and the number does not say which.
    Which {
        /// The number as it was written.
        number: String,
        /// Numbers that do say it.
        choices: Vec<String>,
    },
    /// The part is there, but its text has errors.
    Damaged {
        /// The number as it was written.
        number: String,
        /// The file of the part.
        path: String,
    },
}

impl fmt::Display for NotFound {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            NotFound::Unknown { number, .. } => {
                write!(f, "there is no part `{number}` in the library or the design")
            }
            NotFound::NoSuchFamily { number, part, family, known } => {
                write!(f, "{number}: the library has no {family} sheet for the {part}; it has ")?;
                f.write_str(&list_or_none(known))
            }
            NotFound::NoSuchGrade { number, part, grade, known } => {
                write!(f, "{number}: the library has no grade {grade} of the {part}; it has ")?;
                f.write_str(&list_or_none(known))
            }
            NotFound::Which { number, choices } => {
                write!(f, "{number} may be any of {}", choices.join(", "))
            }
            NotFound::Damaged { number, path } => {
                write!(f, "{number} cannot be used: its model in {path} has errors")
            }
        }
    }
}

fn list_or_none(names: &[String]) -> String {
    if names.is_empty() { "none".to_owned() } else { names.join(", ") }
}

impl std::error::Error for NotFound {}

impl NotFound {
    /// What to do about it.
    pub fn help(&self) -> String {
        match self {
            NotFound::Unknown { near: Some(near), .. } => format!("did you mean `{near}`?"),
            NotFound::Unknown { .. } => {
                "write a number such as 74HC574, or describe the part in the design: `part NAME { ... }`".to_owned()
            }
            NotFound::NoSuchFamily { known, .. } if known.is_empty() => "write the part's own name".to_owned(),
            NotFound::NoSuchFamily { .. } => "take a family that there is a sheet for".to_owned(),
            NotFound::NoSuchGrade { known, .. } if known.is_empty() => "write the number without a grade".to_owned(),
            NotFound::NoSuchGrade { .. } => "take a grade that there is a sheet for".to_owned(),
            NotFound::Which { choices, .. } => match choices.first() {
                Some(first) => format!("write the whole number, such as {first}"),
                None => "write the whole number".to_owned(),
            },
            NotFound::Damaged { .. } => "mend the errors of that file first".to_owned(),
        }
    }
}
