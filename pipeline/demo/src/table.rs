//! CSV files written row by row.

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

use flate2::Compression;
use flate2::write::GzEncoder;

use crate::DemoError;

enum Sink {
    Plain(BufWriter<File>),
    Gzip(Box<GzEncoder<BufWriter<File>>>),
}

/// A CSV file in the making; knows the line that it writes next.
pub(crate) struct Table {
    path: PathBuf,
    sink: Sink,
    /// The row being built; rows are written by [`Table::end_row`].
    pub(crate) row: Vec<u8>,
    /// Number of the next line, counted from 1.
    pub(crate) line: u64,
    /// Rows written below the header.
    pub(crate) rows: u64,
}

impl Table {
    /// Creates a file and writes its header; `.gz` at the end of the name compresses it.
    pub(crate) fn create(path: &Path, columns: &[&str]) -> Result<Self, DemoError> {
        let file = File::create(path).map_err(|source| DemoError::io(path, source))?;
        let plain = BufWriter::with_capacity(1 << 18, file);
        let compressed = path.extension().is_some_and(|extension| extension == "gz");
        let sink = if compressed {
            Sink::Gzip(Box::new(GzEncoder::new(plain, Compression::new(6))))
        } else {
            Sink::Plain(plain)
        };
        let mut table = Self {
            path: path.to_owned(),
            sink,
            row: Vec::new(),
            line: 1,
            rows: 0,
        };
        table.row.extend_from_slice(columns.join(",").as_bytes());
        table.end_row()?;
        table.rows = 0;
        Ok(table)
    }

    /// Writes the row that was built and begins the next one.
    pub(crate) fn end_row(&mut self) -> Result<(), DemoError> {
        self.row.push(b'\n');
        let written = match &mut self.sink {
            Sink::Plain(file) => file.write_all(&self.row),
            Sink::Gzip(file) => file.write_all(&self.row),
        };
        written.map_err(|source| DemoError::io(&self.path, source))?;
        self.line += self.row.iter().filter(|&&byte| byte == b'\n').count() as u64;
        self.rows += 1;
        self.row.clear();
        Ok(())
    }

    /// Writes a row given as text and returns its line number.
    pub(crate) fn raw(&mut self, text: &str) -> Result<u64, DemoError> {
        let line = self.line;
        self.row.extend_from_slice(text.as_bytes());
        self.end_row()?;
        Ok(line)
    }

    /// Writes a row of text cells.
    pub(crate) fn cells(&mut self, cells: &[&str]) -> Result<(), DemoError> {
        let mut csv = csv::WriterBuilder::new()
            .buffer_capacity(256)
            .from_writer(&mut self.row);
        let written = csv.write_record(cells).and_then(|()| Ok(csv.flush()?));
        drop(csv);
        written.map_err(|source| DemoError::io(&self.path, source.into()))?;
        self.row.pop();
        self.end_row()
    }

    /// Brings everything to the file; gives the number of rows below the header.
    pub(crate) fn finish(self) -> Result<u64, DemoError> {
        let done = match self.sink {
            Sink::Plain(mut file) => file.flush(),
            Sink::Gzip(file) => file.finish().and_then(|mut file| file.flush()),
        };
        done.map_err(|source| DemoError::io(&self.path, source))?;
        Ok(self.rows)
    }
}

/// Appends a whole number of at most four digits.
pub(crate) fn push_whole(value: u32, row: &mut Vec<u8>) {
    let digits = [
        value / 1000 % 10,
        value / 100 % 10,
        value / 10 % 10,
        value % 10,
    ];
    let first = digits.iter().position(|&digit| digit > 0).unwrap_or(3);
    row.extend(digits[first..].iter().map(|&digit| b'0' + digit as u8));
}
