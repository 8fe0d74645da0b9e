//! Rows of a file: split, counted and checked for what makes a row unreadable as such.

use csv::ByteRecord;
use whereworn_model::settings::Settings;

use crate::bytes::Print;
use crate::columns::Layout;
use crate::error::LoadError;
use crate::input::InputFile;
use crate::reject::{Fault, FaultKind, Reject, Rejects};
use crate::source::{Segment, Source, scan};
use crate::taken::Untaken;
use crate::times::{TimeFormat, UNPARSABLE_TIME};

/// One row.
pub(crate) struct Row<'r> {
    pub record: &'r ByteRecord,
    pub line: u64,
    /// The row as it stands in the file.
    pub raw: &'r [u8],
}

/// What was seen of a run of rows, apart from the rows accepted.
#[derive(Default)]
pub(crate) struct Seen {
    pub rows: u64,
    pub rejects: Rejects,
    /// Rows that the study's corrections leave out.
    pub left_out: u64,
    /// Rows that their sender withdrew or replaced.
    pub withdrawn: u64,
    /// Rows that the export leaves to others.
    pub untaken: Untaken,
    /// The first row for which the file as a whole cannot be used.
    pub stopped: Option<Reject>,
}

impl Seen {
    /// Adds what was seen of the part of the file that follows.
    pub fn append(&mut self, next: Self) {
        self.rows += next.rows;
        self.rejects.append(next.rejects);
        self.left_out += next.left_out;
        self.withdrawn += next.withdrawn;
        self.untaken.append(next.untaken);
        self.stopped = self.stopped.take().or(next.stopped);
    }

    /// Refuses a file that as a whole cannot be used: for the sake of a row, or because no time in it fits the format
    /// that the study names.
    pub fn refuse(&self, layout: &Layout) -> Result<(), LoadError> {
        let no_time = || {
            let first = self.rejects.listed.first()?;
            let all = self.rows == self.rejects.count + self.untaken.rows;
            let format = !matches!(layout.time_format, TimeFormat::Iso);
            let unfit = |reject: &Reject| reject.reason.starts_with(UNPARSABLE_TIME);
            (format && all && self.rejects.listed.iter().all(unfit)).then_some(first)
        };
        match self.stopped.as_ref().or_else(no_time) {
            None => Ok(()),
            Some(reject) => Err(LoadError::File {
                file: reject.file.clone(),
                line: reject.line,
                message: reject.reason.clone(),
            }),
        }
    }
}

/// Calls `accept` for each row of a block; a fault that it returns becomes a reject.
pub(crate) fn for_each_row(
    file: &str,
    block: &[u8],
    first_line: u64,
    layout: &Layout,
    mut accept: impl FnMut(&Row<'_>) -> Result<(), Fault>,
) -> Seen {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(layout.delimiter)
        .from_reader(block);
    let mut record = ByteRecord::new();
    let mut seen = Seen::default();
    let mut end = 0;
    while let Ok(true) = reader.read_byte_record(&mut record) {
        let start = record.position().map_or(end, |p| p.byte() as usize);
        end = reader.position().byte() as usize;
        let raw = block.get(start..end).unwrap_or(b"");
        let blank = raw.len() - raw.trim_ascii_start().len();
        let skipped = raw[..blank].iter().filter(|byte| **byte == b'\n').count() as u64;
        let line = first_line + skipped + record.position().map_or(1, csv::Position::line) - 1;
        let raw = raw.trim_ascii();
        seen.rows += 1;
        let taken = layout.taken.look(&record);
        let readable = taken.and_then(|()| readable(&record, layout, line, raw));
        let outcome = readable.and_then(|()| {
            accept(&Row {
                record: &record,
                line,
                raw,
            })
        });
        match outcome {
            Ok(()) => {}
            Err(fault) if fault.kind == FaultKind::LeftOut => seen.left_out += 1,
            Err(fault) if fault.kind == FaultKind::Untaken => seen.untaken.add(fault.reason),
            Err(fault) if fault.kind == FaultKind::File => {
                seen.stopped = Some(fault.at(file, line, raw));
                break;
            }
            Err(fault) => seen.rejects.push(fault.at(file, line, raw)),
        }
    }
    seen
}

/// The most bytes that a field may have.
const FIELD_BYTES: usize = 1 << 16;

fn readable(record: &ByteRecord, layout: &Layout, line: u64, raw: &[u8]) -> Result<(), Fault> {
    if record.len() != layout.fields {
        return Err(Fault::new(
            "",
            format!(
                "wrong number of fields: {} where the header has {}",
                record.len(),
                layout.fields
            ),
        ));
    }
    if record.as_slice().contains(&0) {
        return Err(Fault::new("", "a NUL byte"));
    }
    if raw.len() > FIELD_BYTES && record.iter().any(|field| field.len() > FIELD_BYTES) {
        return Err(Fault::new(
            "",
            format!("a field of more than {FIELD_BYTES} bytes"),
        ));
    }
    if memchr::memchr(b'\n', raw).is_some()
        && let Some(column) = layout.of_one_line().find(|(_, place)| {
            let field = layout.field(record, *place);
            memchr::memchr(b'\n', &field).is_some()
        })
    {
        let last = line + memchr::memchr_iter(b'\n', raw).count() as u64;
        let reason = format!(
            "a line break inside `{}`: the row spans lines {line} to {last}; look for a quotation mark too many or too few",
            column.0
        );
        return Err(Fault::new(column.0, reason));
    }
    Ok(())
}

/// Opens a file, reads its header and calls `block` with each segment of rows and the layout.
pub(crate) fn for_each_segment(
    input: &InputFile,
    settings: &Settings,
    mut block: impl FnMut(&[u8], u64, &Layout),
) -> Result<(Layout, Print), LoadError> {
    let skip = input
        .export
        .as_ref()
        .and_then(|name| settings.exports.get(name))
        .map_or(0, |export| export.skip_lines);
    let mut source = Source::open(input)?;
    let mut skipped = 0;
    while skipped < skip && source.line()?.is_some() {
        skipped += 1;
    }
    let (header, line) = source.line()?.ok_or_else(|| LoadError::File {
        file: input.name.clone(),
        line: 1,
        message: if skipped == 0 {
            "the file is empty: the first line names the columns".to_owned()
        } else {
            format!("the file has {skipped} lines, and study.toml skips {skip} before the header")
        },
    })?;
    let header = if line == 1 {
        header.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&header)
    } else {
        &header
    };
    let layout = Layout::find(input, settings, header, line)?;
    while let Some(segment) = source.next(layout.delimiter)? {
        refuse_truncated(input, &segment, &layout)?;
        block(&segment.bytes, segment.first_line, &layout);
    }
    Ok((layout, source.finish()?))
}

/// A file is truncated where its last quotation mark is open, or its last row is short and has no line end.
fn refuse_truncated(
    input: &InputFile,
    segment: &Segment,
    layout: &Layout,
) -> Result<(), LoadError> {
    if !segment.last {
        return Ok(());
    }
    let stop = |line: u64, what: &str| LoadError::File {
        file: input.name.clone(),
        line,
        message: format!("the file is truncated ({what}): copy or export it again"),
    };
    if let Some(open) = scan(&segment.bytes, layout.delimiter).open {
        let before = segment.bytes.get(..open).unwrap_or_default();
        let line = memchr::memchr_iter(b'\n', before).count() as u64;
        return Err(stop(
            segment.first_line + line,
            "a quotation mark is never closed",
        ));
    }
    if segment.bytes.last().is_some_and(|byte| *byte != b'\n') {
        let (fields, line) = last_row(&segment.bytes, layout.delimiter);
        if fields < layout.fields {
            return Err(stop(
                segment.first_line + line,
                "its last row is short and has no line end",
            ));
        }
    }
    Ok(())
}

/// Fields of the last row and its line, from 0.
fn last_row(bytes: &[u8], delimiter: u8) -> (usize, u64) {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(delimiter)
        .from_reader(bytes);
    let mut record = ByteRecord::new();
    let (mut fields, mut start) = (0, 0);
    while let Ok(true) = reader.read_byte_record(&mut record) {
        fields = record.len();
        start = record.position().map_or(0, |p| p.byte() as usize);
    }
    let rest = &bytes[start.min(bytes.len())..];
    let blank = rest.len() - rest.trim_ascii_start().len();
    let before = &bytes[..bytes.len() - rest.len() + blank];
    (fields, memchr::memchr_iter(b'\n', before).count() as u64)
}
