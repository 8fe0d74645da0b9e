//! Bytes of an input file, in segments that end with a whole row.

use std::io::Read;

use memchr::{memchr, memchr_iter, memrchr};
use whereworn_model::settings::Encoding;

use crate::bytes::{Bytes, Print};
use crate::encoding::likely;
use crate::error::LoadError;
use crate::input::InputFile;

/// Bytes read before rows are parsed, and the most that one row may have.
const SEGMENT_BYTES: usize = 32 << 20;

/// The most bytes that a header line, or a line to be skipped before it, may have.
const HEADER_BYTES: usize = 1 << 20;

/// A file being read segment by segment. A lone carriage return is read as a line end.
pub(crate) struct Source {
    bytes: Bytes,
    name: String,
    /// Bytes read and not yet given out.
    rest: Vec<u8>,
    /// Of them, those whose line ends have been looked at.
    clean: usize,
    /// Line on which the next segment begins, from 1.
    line: u64,
    ended: bool,
}

/// Whole rows of a file.
pub(crate) struct Segment {
    pub bytes: Vec<u8>,
    pub first_line: u64,
    /// Whether the file ends here.
    pub last: bool,
}

impl Source {
    pub fn open(input: &InputFile) -> Result<Self, LoadError> {
        Ok(Self {
            bytes: Bytes::open(input)?,
            name: input.name.clone(),
            rest: Vec::new(),
            clean: 0,
            line: 1,
            ended: false,
        })
    }

    /// The next line, without its end, and its number; `None` after the last. For what stands before the rows.
    pub fn line(&mut self) -> Result<Option<(Vec<u8>, u64)>, LoadError> {
        let mut wanted = 1 << 16;
        let end = loop {
            self.fill(wanted)?;
            match memchr(b'\n', &self.rest) {
                Some(end) => break end + 1,
                None if self.ended => break self.rest.len(),
                None => {}
            }
            if self.rest.len() >= HEADER_BYTES {
                let message = format!(
                    "the line is longer than {} MiB: this is no header, or no CSV",
                    HEADER_BYTES >> 20
                );
                return Err(self.error(b"", message));
            }
            wanted = self.rest.len() * 2;
        };
        if end == 0 {
            return Ok(None);
        }
        let mut line = self.give(end);
        self.utf8(&line)?;
        let number = self.line;
        self.line += 1;
        line.pop_if(|byte| *byte == b'\n');
        Ok(Some((line, number)))
    }

    /// The next segment of rows whose fields this byte separates; `None` after the last.
    pub fn next(&mut self, delimiter: u8) -> Result<Option<Segment>, LoadError> {
        if self.ended && self.rest.is_empty() {
            return Ok(None);
        }
        self.fill(SEGMENT_BYTES)?;
        let end = if self.ended {
            self.rest.len()
        } else {
            let end = scan(&self.rest, delimiter).whole;
            end.ok_or_else(|| {
                let message = format!(
                    "a row is longer than {} MiB: a quotation mark is never closed, or this is no CSV",
                    SEGMENT_BYTES >> 20
                );
                self.error(b"", message)
            })?
        };
        let bytes = self.give(end);
        self.utf8(&bytes)?;
        let segment = Segment {
            first_line: self.line,
            last: self.ended && self.rest.is_empty(),
            bytes,
        };
        self.line += count_lines(&segment.bytes);
        Ok(Some(segment))
    }

    /// Size and hash of the file, of the very bytes that were parsed.
    pub fn finish(mut self) -> Result<Print, LoadError> {
        while !self.ended {
            self.rest.clear();
            self.clean = 0;
            self.fill(SEGMENT_BYTES)?;
        }
        Ok(self.bytes.finish())
    }

    /// Reads on until so many bytes wait to be given out, or the file ends.
    fn fill(&mut self, wanted: usize) -> Result<(), LoadError> {
        while !self.ended && self.rest.len() < wanted {
            let room = (wanted - self.rest.len()) as u64;
            let read = Read::by_ref(&mut self.bytes)
                .take(room)
                .read_to_end(&mut self.rest);
            let n = read.map_err(|error| {
                let plain = || format!("cannot be read to its end ({error}): copy it again");
                self.error(&self.rest, self.bytes.bomb().unwrap_or_else(plain))
            })?;
            self.ended = (n as u64) < room;
            self.end_lines();
        }
        Ok(())
    }

    /// Turns carriage returns that no line feed follows into line feeds.
    fn end_lines(&mut self) {
        let known = if self.ended {
            self.rest.len()
        } else {
            self.rest.len().saturating_sub(1)
        };
        let from = self.clean;
        let lone: Vec<usize> = memchr_iter(b'\r', self.rest.get(from..known).unwrap_or_default())
            .map(|at| from + at)
            .filter(|at| self.rest.get(at + 1) != Some(&b'\n'))
            .collect();
        for at in lone {
            if let Some(byte) = self.rest.get_mut(at) {
                *byte = b'\n';
            }
        }
        self.clean = known;
    }

    /// Takes the first bytes of those that wait.
    fn give(&mut self, end: usize) -> Vec<u8> {
        let rest = self.rest.split_off(end);
        self.clean = self.clean.saturating_sub(end);
        std::mem::replace(&mut self.rest, rest)
    }

    fn utf8(&self, bytes: &[u8]) -> Result<(), LoadError> {
        std::str::from_utf8(bytes).map(drop).map_err(|error| {
            let seems = match likely(bytes) {
                Encoding::Utf8 => String::new(),
                other => format!(
                    " (it seems to be {0}), or map it in study.toml under [exports] with encoding = \"{0}\"",
                    other.name()
                ),
            };
            let message = format!("not UTF-8: save the file as UTF-8{seems}");
            let before = bytes.get(..error.valid_up_to()).unwrap_or_default();
            self.error(before, message)
        })
    }

    fn error(&self, before: &[u8], message: String) -> LoadError {
        LoadError::File {
            file: self.name.clone(),
            line: self.line + count_lines(before),
            message,
        }
    }
}

fn count_lines(bytes: &[u8]) -> u64 {
    memchr_iter(b'\n', bytes).count() as u64
}

/// Where rows end in bytes that begin with a row.
#[derive(Debug, Default, PartialEq, Eq)]
pub(crate) struct Scan {
    /// After the last line end that is within no quotation marks.
    pub whole: Option<usize>,
    /// A quotation mark that opens a field and is not closed.
    pub open: Option<usize>,
}

/// Finds the end of the last whole row (RFC 4180: a field in quotation marks may hold line ends).
pub(crate) fn scan(bytes: &[u8], delimiter: u8) -> Scan {
    let find = |byte, from: usize| {
        let rest = bytes.get(from..).unwrap_or_default();
        memchr(byte, rest).map(|at| from + at)
    };
    let last_end = |from: usize, to: usize| {
        let stretch = bytes.get(from..to).unwrap_or_default();
        memrchr(b'\n', stretch).map(|at| from + at + 1)
    };
    let mut whole = None;
    let mut from = 0;
    while let Some(quote) = find(b'"', from) {
        whole = last_end(from, quote).or(whole);
        let before = quote.checked_sub(1).and_then(|at| bytes.get(at));
        from = quote + 1;
        if !before.is_none_or(|byte| *byte == b'\n' || *byte == delimiter) {
            continue;
        }
        loop {
            let Some(close) = find(b'"', from) else {
                let open = Some(quote);
                return Scan { whole, open };
            };
            from = close + 1;
            if bytes.get(from) != Some(&b'"') {
                break;
            }
            from += 1;
        }
    }
    whole = last_end(from, bytes.len()).or(whole);
    Scan { whole, open: None }
}

/// Splits whole rows into about as many blocks as there are threads, each of whole rows and with its first
/// line; one block where there are quotation marks.
pub(crate) fn split_blocks(bytes: &[u8], first_line: u64, blocks: usize) -> Vec<(&[u8], u64)> {
    if memchr(b'"', bytes).is_some() {
        return vec![(bytes, first_line)];
    }
    let size = (bytes.len() / blocks.max(1)).max(1 << 16);
    let mut out = Vec::new();
    let (mut rest, mut line) = (bytes, first_line);
    while rest.len() > size {
        let Some(end) = memchr(b'\n', &rest[size..]) else {
            break;
        };
        let (block, after) = rest.split_at(size + end + 1);
        out.push((block, line));
        line += count_lines(block);
        rest = after;
    }
    out.push((rest, line));
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand.
    #[test]
    fn rows_end_outside_quotation_marks() {
        for (text, whole, open) in [
            ("", None, None),
            ("a,b", None, None),
            ("a\nb", Some(2), None),
            ("a,\"x\ny\"\nb", Some(8), None),
            ("a,\"x\ny", None, Some(2)),
            ("a\n\"x\ny", Some(2), Some(2)),
            ("a,\"x\"\"\ny\"\n", Some(10), None),
            ("a,5\" wide\nb\n", Some(12), None),
            ("\"a\"b\"\n,\"", Some(6), Some(7)),
        ] {
            assert_eq!(
                scan(text.as_bytes(), b','),
                Scan { whole, open },
                "{text:?}"
            );
        }
        assert_eq!(
            scan(b"a;\"x\n", b',').whole,
            Some(5),
            "no field of such a file"
        );
        assert_eq!(scan(b"a;\"x\n", b';').open, Some(2));
    }
}
