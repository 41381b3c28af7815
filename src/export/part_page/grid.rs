//! Columns of text that stand under each other, for a terminal of limited width.

use crate::text::{WIDEST_COLUMN, filled};

/// Rows of cells; the first column names the rows.
#[derive(Clone, Debug, Default)]
pub struct Grid {
    /// Lines above the rows.
    pub heading: Vec<Vec<String>>,
    /// The rows; short ones end in empty cells.
    pub rows: Vec<Vec<String>>,
}

impl Grid {
    /// The grid, each line indented by two, as wide as it is.
    pub fn whole(&self) -> String {
        self.within(usize::MAX)
    }

    /// The grid, each line indented by two. What does not fit beside each other follows below, with the names of those
    /// rows that have something there; a single column may be wider than `most`.
    pub fn within(&self, most: usize) -> String {
        let lines = || self.heading.iter().chain(&self.rows);
        let columns = lines().map(Vec::len).max().unwrap_or(0);
        let widths: Vec<usize> = (0..columns)
            .map(|column| {
                let cells = lines().filter_map(|line| line.get(column));
                cells.map(|cell| cell.chars().count()).max().unwrap_or(0)
            })
            .collect();
        let mut out = String::new();
        let mut next = 1;
        loop {
            let first = next;
            let mut width = 2 + widths.first().copied().unwrap_or(0);
            while next < columns && (next == first || width + 2 + widths[next] <= most) {
                width += 2 + widths[next];
                next += 1;
            }
            let split = first > 1 || next < columns;
            let heading = self.heading.len();
            for (number, line) in lines().enumerate() {
                let blank = |column| line.get(column).is_none_or(String::is_empty);
                let named = number >= heading && !split;
                if !named && (first..next).all(blank) {
                    continue;
                }
                let mut text = " ".to_owned();
                for column in [0].into_iter().chain(first..next) {
                    let cell = line.get(column).map_or("", String::as_str);
                    let width = widths.get(column).copied().unwrap_or(0);
                    let width = width.min(WIDEST_COLUMN);
                    text.push_str(if column == 0 { " " } else { "  " });
                    text.push_str(&format!("{cell:width$}"));
                }
                out.push_str(text.trim_end());
                out.push('\n');
            }
            if next >= columns {
                return out;
            }
            out.push('\n');
        }
    }
}

/// A text in lines of at most `most` characters, broken at blanks. The first begins with `before`, the others are
/// indented as far.
pub(crate) fn wrapped(before: &str, text: &str, most: usize) -> String {
    let indent = " ".repeat(before.chars().count());
    let options = filled(most).initial_indent(before).subsequent_indent(&indent);
    textwrap::fill(text, options) + "\n"
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_texts_are_broken_at_blanks() {
        assert_eq!(wrapped("  - ", "one two three", 11), "  - one two\n    three\n");
        assert_eq!(wrapped("  - ", "unbreakable", 6), "  - unbreakable\n");
    }

    fn words(line: &str) -> Vec<String> {
        line.split(' ').map(str::to_owned).collect()
    }

    #[test]
    fn cells_stand_under_each_other() {
        let grid = Grid { heading: vec![words("row HC LS")], rows: vec![words("a 1 22"), words("bbbb 333")] };
        assert_eq!(grid.within(112), "  row   HC   LS\n  a     1    22\n  bbbb  333\n");
    }

    #[test]
    fn what_does_not_fit_follows_below() {
        let wide = "x".repeat(60);
        let grid = Grid {
            heading: vec![words("r A B")],
            rows: vec![vec!["a".to_owned(), wide.clone(), wide.clone()], vec!["b".to_owned(), "y".to_owned()]],
        };
        assert_eq!(grid.within(112), format!("  r  A\n  a  {wide}\n  b  y\n\n  r  B\n  a  {wide}\n"));
        assert_eq!(Grid::default().within(112), "");
    }
}
