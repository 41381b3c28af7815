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
    /// The grid, each line indented by two. What does not fit beside each other follows below, with the first column
    /// repeated.
    pub fn text(&self) -> String {
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
            while next < columns && (next == first || width + 2 + widths[next] <= WIDTH) {
                width += 2 + widths[next];
                next += 1;
            }
            for line in lines() {
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
            rows: vec![vec!["a".to_owned(), wide.clone(), wide.clone()]],
        };
        assert_eq!(
            grid.text(),
            format!("  r  A\n  a  {wide}\n\n  r  B\n  a  {wide}\n")
        );
        assert_eq!(Grid::default().text(), "");
    }
}
