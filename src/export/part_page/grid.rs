//! Columns of text that stand under each other, for a terminal of limited width.

/// The widest line, where the cells allow it.
const WIDTH: usize = 112;

/// Rows of cells; the first column names the rows.
#[derive(Clone, Debug, Default)]
pub struct Grid {
    /// Lines above the rows.
    pub heading: Vec<Vec<String>>,
    /// The rows; short ones end in empty cells.
    pub rows: Vec<Vec<String>>,
}

impl Grid {
    /// The grid, each line indented by two. What does not fit beside each other follows below, with the names of those
    /// rows that have something there.
    pub fn text(&self) -> String {
        self.within(WIDTH)
    }

    /// The grid, each line indented by two, as wide as it is.
    pub fn whole(&self) -> String {
        self.within(usize::MAX)
    }

    fn within(&self, most: usize) -> String {
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

#[cfg(test)]
mod tests {
    use super::*;

    fn words(line: &str) -> Vec<String> {
        line.split(' ').map(str::to_owned).collect()
    }

    #[test]
    fn cells_stand_under_each_other() {
        let grid = Grid {
            heading: vec![words("row HC LS")],
            rows: vec![words("a 1 22"), words("bbbb 333")],
        };
        assert_eq!(
            grid.text(),
            "  row   HC   LS\n  a     1    22\n  bbbb  333\n"
        );
    }

    #[test]
    fn what_does_not_fit_follows_below() {
        let wide = "x".repeat(60);
        let grid = Grid {
            heading: vec![words("r A B")],
            rows: vec![
                vec!["a".to_owned(), wide.clone(), wide.clone()],
                vec!["b".to_owned(), "y".to_owned()],
            ],
        };
        assert_eq!(
            grid.text(),
            format!("  r  A\n  a  {wide}\n  b  y\n\n  r  B\n  a  {wide}\n")
        );
        assert_eq!(Grid::default().text(), "");
    }
}
