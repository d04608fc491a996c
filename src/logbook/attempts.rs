//! Attempts as CSV (RFC 4180, UTF-8, CRLF, no byte order mark): written exactly, read forgivingly.
//!
//! What can be read: any order of columns, missing columns (an older version), unknown ones (a newer version), a byte order mark, line ends of any
//! system. What cannot be trusted is left out and named with its place: a row with too few or too many cells (it was cut
//! short), a cell that is no number.

use super::row::{COLUMNS, Column, Row};
use csv::{ByteRecord, ReaderBuilder, Terminator, WriterBuilder};
use std::fmt;
use std::io;

/// A place in the file that could not be used.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Trouble {
    /// The line where the row begins, from 1.
    pub line: u64,
    /// What is wrong there.
    pub what: Fault,
}

/// What is wrong with a row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fault {
    /// The row was cut short or run together with another; it is left out.
    Cells {
        /// How many it has.
        found: usize,
        /// How many the header has.
        wanted: usize,
    },
    /// One cell is empty in the row that was read.
    Cell {
        /// The column's name.
        column: &'static str,
        /// What stands there.
        found: String,
        /// What should.
        wanted: &'static str,
    },
}

impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let line = self.line;
        match &self.what {
            Fault::Cells { found, wanted } => write!(f, "line {line} has {found} cells where the header has {wanted}: left out"),
            Fault::Cell { column, found, wanted } => write!(f, "line {line}, {column}: {found:?} is not {wanted}: taken as unknown"),
        }
    }
}

/// What a file of attempts held.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Attempts {
    /// The rows that could be read, in the order of the file.
    pub rows: Vec<Row>,
    /// The places that could not.
    pub troubles: Vec<Trouble>,
}

/// Why a file of attempts could not be read at all.
#[derive(Debug)]
pub enum ReadError {
    /// The system failed.
    Io(io::Error),
    /// The first line names none of the columns that every log has.
    NoHeader(String),
}

/// The header with its line end.
#[must_use]
pub fn header() -> Vec<u8> {
    record(COLUMNS.iter().map(|column| column.name.to_owned()))
}

/// A row with its line end.
#[must_use]
pub fn line(row: &Row) -> Vec<u8> {
    record(row.cells().into_iter())
}

/// Header and rows.
#[must_use]
pub fn whole_file(rows: &[Row]) -> Vec<u8> {
    std::iter::once(header()).chain(rows.iter().map(line)).flatten().collect()
}

fn record(cells: impl Iterator<Item = String>) -> Vec<u8> {
    let mut writer = WriterBuilder::new().terminator(Terminator::CRLF).from_writer(Vec::new());
    // Writing to memory cannot fail, nor can a record of its own length.
    let _ = writer.write_record(cells.map(String::into_bytes));
    writer.into_inner().unwrap_or_default()
}

/// Reads a whole file of attempts; an empty one holds nothing.
///
/// # Errors
/// When the system fails, or when the file does not begin with a header of attempts.
pub fn read(mut from: impl io::Read) -> Result<Attempts, ReadError> {
    let mut bytes = Vec::new();
    from.read_to_end(&mut bytes).map_err(ReadError::Io)?;
    let mut lines = Lines { bytes: &bytes, at: 0, line: 1 };
    let mut reader = ReaderBuilder::new().has_headers(false).flexible(true).from_reader(&bytes[..]);
    let mut record = ByteRecord::new();
    if !reader.read_byte_record(&mut record).map_err(io_error)? {
        return Ok(Attempts::default());
    }
    let header = columns_of(&record)?;
    let mut attempts = Attempts::default();
    while reader.read_byte_record(&mut record).map_err(io_error)? {
        let line = lines.of(record.position().map_or(0, csv::Position::byte));
        if record.len() == header.len() {
            let row = read_row(&header, &record, line, &mut attempts.troubles);
            attempts.rows.push(row);
        } else {
            attempts.troubles.push(Trouble { line, what: Fault::Cells { found: record.len(), wanted: header.len() } });
        }
    }
    Ok(attempts)
}

/// Counts lines as an editor does. The reader's own count is one short in a file with CRLF, since it sees the record end at CR.
struct Lines<'a> {
    bytes: &'a [u8],
    at: usize,
    line: u64,
}

impl Lines<'_> {
    /// The line of the record that begins at or, when line ends are left over there, right after this byte. Asked in rising order.
    fn of(&mut self, byte: u64) -> u64 {
        let from = usize::try_from(byte).unwrap_or(usize::MAX).clamp(self.at, self.bytes.len());
        let left_over = self.bytes[from..].iter().take_while(|byte| matches!(byte, b'\r' | b'\n')).count();
        let begin = from + left_over;
        self.line += self.bytes[self.at..begin].split(|byte| *byte == b'\n').count() as u64 - 1;
        self.at = begin;
        self.line
    }
}

/// The columns of this version that a header names; without take and attempt it is no header.
fn columns_of(header: &ByteRecord) -> Result<Vec<Option<&'static Column>>, ReadError> {
    let names: Vec<String> =
        header.iter().map(|cell| String::from_utf8_lossy(cell).trim_start_matches('\u{feff}').trim().to_owned()).collect();
    if ["take", "attempt"].iter().any(|needed| !names.iter().any(|name| name == needed)) {
        let line = names.join(",");
        // Of a recording or a picture nothing is worth reading.
        let is_text = !line.contains(|letter: char| letter == char::REPLACEMENT_CHARACTER || letter.is_control() && letter != '\t');
        let shown: String = line.chars().take(60).collect();
        return Err(ReadError::NoHeader(if is_text { format!("its first line is {shown:?}") } else { "it cannot be read as text".into() }));
    }
    Ok(names.iter().map(|name| COLUMNS.iter().find(|column| column.name == name)).collect())
}

fn read_row(header: &[Option<&'static Column>], record: &ByteRecord, line: u64, troubles: &mut Vec<Trouble>) -> Row {
    let mut row = Row::default();
    for (column, cell) in header.iter().zip(record).filter_map(|(column, cell)| column.map(|column| (column, cell))) {
        let text = String::from_utf8_lossy(cell);
        if let Err(misread) = (column.read)(&mut row, &text) {
            let found = text.chars().take(40).collect();
            troubles.push(Trouble { line, what: Fault::Cell { column: column.name, found, wanted: misread.0 } });
        }
    }
    row
}

fn io_error(error: csv::Error) -> ReadError {
    ReadError::Io(match error.into_kind() {
        csv::ErrorKind::Io(error) => error,
        other => io::Error::other(format!("{other:?}")),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row() -> Row {
        Row {
            take: "slow, \"sad\" ballad".into(),
            attempt: Some(2),
            hold_s: Some(1.25),
            faults: vec!["flat".into(), "clipped".into()],
            ..Row::default()
        }
    }

    #[test]
    fn rows_are_read_as_they_were_written() {
        let attempts = read(&*whole_file(&[row(), Row::default()])).unwrap();
        assert_eq!(attempts.rows, [row(), Row::default()]);
        assert_eq!(attempts.troubles, []);
    }

    #[test]
    fn an_older_and_a_newer_log_are_read_by_the_names_of_their_columns() {
        let text = "\u{feff}attempt,take,weather,hold_s\n1,one,rain,0.5\n";
        let attempts = read(text.as_bytes()).unwrap();
        assert_eq!(attempts.rows, [Row { take: "one".into(), attempt: Some(1), hold_s: Some(0.5), ..Row::default() }]);
    }

    #[test]
    fn what_cannot_be_trusted_is_named_with_its_place() {
        let text = "take,attempt,hold_s\r\none,1,0.5\r\ntwo,2\r\nthree,3,long\r\n";
        let attempts = read(text.as_bytes()).unwrap();
        assert_eq!(attempts.rows.iter().map(|row| row.take.as_str()).collect::<Vec<_>>(), ["one", "three"]);
        assert_eq!(attempts.rows[1].hold_s, None);
        let said: Vec<String> = attempts.troubles.iter().map(ToString::to_string).collect();
        assert_eq!(
            said,
            ["line 3 has 2 cells where the header has 3: left out", "line 4, hold_s: \"long\" is not a number: taken as unknown",]
        );
    }

    #[test]
    fn another_file_is_not_taken_for_a_log() {
        assert!(matches!(read(&b"RIFF\x24\0\0\0WAVE"[..]), Err(ReadError::NoHeader(found)) if found == "it cannot be read as text"));
        assert_eq!(read(&b""[..]).unwrap(), Attempts::default());
    }
}
