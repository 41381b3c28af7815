//! coldboard: write boards of 74-series logic down as they physically are, learn before ordering what is electrically
//! wrong with them, and run the whole machine with real delays.
//!
//! ```text
//! text -> syntax tree -> parts + model -> circuit -+-> check                findings
//!                                                  +-> simulate -> trial    report, waves
//!                                                                    +-> sweep, refit
//!                                                  +-> timing               report
//! ```
//!
//! The [`circuit`] is the hub: flat, frozen, every thing in it with one path. It is frozen from a [`model`], which can be
//! edited. The [`project`] opens a design with all
//! that it uses. A trial is prepared once and run as often as is wanted:
//!
//! ```
//! use coldboard::part::Library;
//! use coldboard::project::Project;
//! use coldboard::text::MemoryFiles;
//! use coldboard::trial::{self, Options, Unattended};
//!
//! let design = r#"
//!     board inverter {
//!         rail VCC 5 V
//!         rail GND
//!         feed U1 from VCC GND
//!         U1 74HC04 { 1A = a  1Y = y  2A = GND  3A = GND  4A = GND  5A = GND  6A = GND }
//!     }
//!     trial inverts on inverter {
//!         set a = low
//!         expect y is high within 1 us
//!     }
//! "#;
//! let files = MemoryFiles::default().with("inverter.board", design);
//! let mut project = Project::open(&files, "inverter.board".as_ref(), Library::built_in());
//! assert!(project.diagnostics().is_empty());
//!
//! let (circuit, _) = project.circuit(Some("inverter"));
//! let circuit = circuit.expect("a board without mistakes");
//! assert_eq!(circuit.chips.len(), 1);
//!
//! let images = |file: &_| project.image(file);
//! let prepared = trial::prepare(&project.trials()[0], &circuit, project.sources(), &images)
//!     .expect("every name is known");
//! let report = trial::run(&prepared, &circuit, project.sources(), &Options::default(), &mut Unattended);
//! assert!(report.passed);
//! ```

// Rooms in reading order: each imports only from those above it.
pub mod quantity;

pub mod logic;

pub mod key;

pub mod text;

pub mod diagnostic;

pub mod language;

pub mod image;

pub mod contents;

pub mod part;

pub mod model;

pub mod circuit;

pub mod electrical;

pub mod delay;

mod evaluate;

mod hazard;

pub mod run;

pub mod simulate;

pub mod untimed;

pub mod timing;

pub mod trial;

pub mod check;

pub mod project;

pub mod sweep;

pub mod refit;

pub mod export;

pub mod cli;
