//! Sizes in pixels, colours and limits of a diagram.

pub(super) const MARGIN: f64 = 16.0;
/// Half of the last label of the axis must fit in it.
pub(super) const RIGHT_MARGIN: f64 = 30.0;
/// From the names to the axis.
pub(super) const BESIDE_NAMES: f64 = 10.0;
pub(super) const TITLE_HEIGHT: f64 = 30.0;
pub(super) const AXIS_HEIGHT: f64 = 26.0;
pub(super) const FLAG_HEIGHT: f64 = 14.0;
pub(super) const ROW_HEIGHT: f64 = 30.0;
/// From the top of a row to its high level.
pub(super) const HEADROOM: f64 = 7.0;
/// From the high level to the low level.
pub(super) const SWING: f64 = 18.0;
pub(super) const NOTE_HEIGHT: f64 = 17.0;
pub(super) const NOTE_INDENT: f64 = 30.0;
pub(super) const KEY_HEIGHT: f64 = 24.0;
/// The width of a sample in the key.
pub(super) const SAMPLE: f64 = 30.0;
/// More rows than this get a second axis below.
pub(super) const FAR_ROWS: usize = 12;
/// The most marks that are told in words.
pub(super) const MOST_NOTES: usize = 60;
/// The most lines that one note may have.
pub(super) const MOST_LINES: usize = 6;
/// The most signals that the description names.
pub(super) const MOST_NAMES: usize = 40;

pub(super) const INK: &str = "#1a1a1a";
pub(super) const QUIET: &str = "#555555";
pub(super) const GRID: &str = "#d8d8d8";
pub(super) const STRIPE: &str = "#f7f7f4";
pub(super) const CELL: &str = "#eef5fb";
pub(super) const OFF: &str = "#1b6ca8";
pub(super) const UNKNOWN: &str = "#b3541e";
pub(super) const MARK: &str = "#a3005c";
pub(super) const PAPER: &str = "#ffffff";

pub(super) const TITLE_SIZE: f64 = 15.0;
pub(super) const NAME_SIZE: f64 = 12.0;
pub(super) const SMALL_SIZE: f64 = 11.0;
/// The width of a character as a share of the size of its letters: that of common monospaced letters, and enough for
/// the others.
pub(super) const CHARACTER: f64 = 0.602;
