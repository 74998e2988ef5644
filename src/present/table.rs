//! Aligned text for terminals: columns as wide as their widest cell, two spaces between.

/// How the cells of a column stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    Left,
    Right,
    /// Numbers under each other by their decimal point.
    Point,
}

/// Rows of text under a header. Rows shorter than the header end early; longer ones are cut to it.
#[derive(Debug, Clone, Default)]
pub struct Table {
    columns: Vec<(String, Align)>,
    rows: Vec<Vec<String>>,
}

impl Table {
    pub fn new(columns: &[(&str, Align)]) -> Self {
        let columns = columns.iter().map(|(header, align)| ((*header).to_owned(), *align)).collect();
        Self { columns, rows: Vec::new() }
    }

    pub fn push(&mut self, mut row: Vec<String>) {
        row.truncate(self.columns.len());
        self.rows.push(row);
    }

    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// Header and rows, each line ended, no space at any line's end.
    pub fn to_text(&self) -> String {
        let columns: Vec<Vec<String>> = (0..self.columns.len()).map(|index| self.column(index)).collect();
        let mut text = String::new();
        for line in 0..=self.rows.len() {
            let cells: Vec<&str> = columns.iter().map(|column| column[line].as_str()).collect();
            text.push_str(cells.join("  ").trim_end());
            text.push('\n');
        }
        text
    }

    /// Header and cells of one column, all padded to the same width.
    fn column(&self, index: usize) -> Vec<String> {
        let (header, align) = &self.columns[index];
        let cells = self.rows.iter().map(|row| row.get(index).map_or("", String::as_str));
        let tails = if *align == Align::Point { cells.clone().map(tail).max().unwrap_or(0) } else { 0 };
        let padded = |cell: &str| format!("{cell}{}", " ".repeat(tails.saturating_sub(tail(cell))));
        let cells: Vec<String> =
            cells.map(|cell| if *align == Align::Point { padded(cell) } else { cell.to_owned() }).collect();
        let width = cells.iter().map(|cell| width(cell)).chain([width(header)]).max().unwrap_or(0);
        let place = |cell: &str| {
            let space = " ".repeat(width - self::width(cell));
            if *align == Align::Left { format!("{cell}{space}") } else { format!("{space}{cell}") }
        };
        std::iter::once(place(header)).chain(cells.iter().map(|cell| place(cell))).collect()
    }
}

/// Letters as a terminal counts them, near enough for the Latin and Greek of this program.
fn width(text: &str) -> usize {
    text.chars().count()
}

/// How much of a cell stands from its decimal point on.
fn tail(cell: &str) -> usize {
    cell.rfind('.').map_or(0, |at| width(&cell[at..]))
}

#[cfg(test)]
mod tests {
    use expect_test::expect;

    use super::*;

    #[test]
    fn columns_stand_under_each_other() {
        let mut table = Table::new(&[("lap", Align::Right), ("name", Align::Left), ("speed", Align::Point)]);
        table.push(vec!["1".into(), "hairpin".into(), "9.25".into()]);
        table.push(vec!["12".into(), "T2".into(), "101.2".into()]);
        table.push(vec!["±".into(), String::new(), "–".into()]);
        table.push(vec!["3".into()]);
        expect![[r#"
            lap  name      speed
              1  hairpin    9.25
             12  T2       101.2
              ±             –
              3
        "#]]
        .assert_eq(&table.to_text());
    }
}
