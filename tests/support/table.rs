//! The tables a run wrote, as text: what a number means is for the test.

use std::path::Path;

/// A table of a run.
#[derive(Debug, Clone)]
pub struct Table {
    /// Its name, for messages.
    pub name: String,
    pub header: Vec<String>,
    pub rows: Vec<Row>,
}

/// A row of a table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    header: Vec<String>,
    cells: Vec<String>,
}

impl Row {
    /// The cell of a column; empty where the table has no such column.
    pub fn get(&self, column: &str) -> &str {
        self.header.iter().position(|name| name == column).map_or("", |index| self.cells[index].as_str())
    }

    /// The number in a column.
    #[track_caller]
    pub fn number(&self, column: &str) -> f64 {
        let cell = self.get(column);
        cell.parse().unwrap_or_else(|_| panic!("`{column}` is `{cell}`, not a number, in {:?}", self.cells))
    }

    /// Every cell.
    pub fn cells(&self) -> &[String] {
        &self.cells
    }

    /// Whether the columns named hold what is named.
    pub fn is(&self, wanted: &[(&str, &str)]) -> bool {
        wanted.iter().all(|(column, value)| self.get(column) == *value)
    }
}

impl Table {
    /// Reads a table of a run; every row must have as many cells as the header.
    pub fn read(path: &Path) -> Self {
        let mut reader = csv::Reader::from_path(path).unwrap();
        let header: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
        let rows = reader
            .records()
            .map(|record| Row {
                header: header.clone(),
                cells: record.expect("each row has the header's cells").iter().map(str::to_owned).collect(),
            })
            .collect();
        Self { name: path.file_stem().unwrap().to_str().unwrap().to_owned(), header, rows }
    }

    /// The rows that hold what is named.
    pub fn rows_where(&self, wanted: &[(&str, &str)]) -> Vec<&Row> {
        self.rows.iter().filter(|row| row.is(wanted)).collect()
    }

    /// The one row that holds what is named.
    #[track_caller]
    pub fn row(&self, wanted: &[(&str, &str)]) -> &Row {
        let rows = self.rows_where(wanted);
        assert_eq!(rows.len(), 1, "rows of {} with {wanted:?}", self.name);
        rows[0]
    }
}
