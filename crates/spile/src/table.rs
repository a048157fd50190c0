//! Columns of text for a screen.

/// Where a column's text stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Align {
    /// At the column's left.
    Left,
    /// At its right, for numbers.
    Right,
}

/// Rows of text in columns of equal width.
#[derive(Debug, Clone)]
pub(crate) struct Table<const N: usize> {
    aligns: [Align; N],
    rows: Vec<[String; N]>,
}

/// Blanks between columns.
const GAP: usize = 2;

impl<const N: usize> Table<N> {
    /// A table with these column heads.
    pub fn new(heads: &[(&str, Align); N]) -> Table<N> {
        Table { aligns: heads.map(|(_, a)| a), rows: vec![heads.map(|(h, _)| h.to_owned())] }
    }

    /// Adds a row; an empty cell is shown as `-`.
    pub fn row(&mut self, cells: [String; N]) {
        self.rows.push(cells.map(|c| if c.is_empty() { "-".to_owned() } else { c }));
    }

    /// The table as lines, without blanks at their ends.
    pub fn text(&self) -> String {
        let wide = |c: usize| self.rows.iter().map(|r| r[c].chars().count()).max().unwrap_or(0);
        let mut out = String::new();
        for row in &self.rows {
            let mut line = String::new();
            for (c, cell) in row.iter().enumerate() {
                let blanks = " ".repeat(wide(c) - cell.chars().count());
                match self.aligns[c] {
                    Align::Left => line.extend([cell.as_str(), &blanks]),
                    Align::Right => line.extend([blanks.as_str(), cell]),
                }
                line.push_str(&" ".repeat(GAP));
            }
            out.push_str(line.trim_end());
            out.push('\n');
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::{Align, Table};

    #[test]
    fn columns_line_up() {
        let mut table = Table::new(&[("name", Align::Left), ("size", Align::Right)]);
        table.row(["a".into(), "1".into()]);
        table.row([String::new(), "12345".into()]);
        assert_eq!(table.text(), "name   size\na         1\n-     12345\n");
    }
}
