//! Bytes of an input file, in segments that end with a whole row.

use std::fs::File;
use std::io::{BufReader, Read};
use std::path::Path;

use flate2::read::MultiGzDecoder;
use memchr::{memchr, memrchr};
use sha2::{Digest, Sha256};

use crate::error::LoadError;
use crate::input::InputFile;

/// Bytes read before rows are parsed. A segment with a quotation mark grows to the end of the file, since
/// a line end inside quotation marks is no end of a row.
const SEGMENT_BYTES: usize = 32 << 20;

/// Size and SHA-256 of a file's bytes.
pub(crate) fn fingerprint(path: &Path) -> Result<(u64, String), LoadError> {
    let mut file = File::open(path).map_err(LoadError::io(path, "opening"))?;
    let mut hash = Sha256::new();
    let mut size = 0;
    let mut buffer = vec![0; 1 << 18];
    loop {
        let n = file
            .read(&mut buffer)
            .map_err(LoadError::io(path, "reading"))?;
        if n == 0 {
            break;
        }
        hash.update(&buffer[..n]);
        size += n as u64;
    }
    let digest = hash.finalize();
    Ok((
        size,
        digest.iter().map(|byte| format!("{byte:02x}")).collect(),
    ))
}

/// A file being read segment by segment.
pub(crate) struct Source {
    reader: Box<dyn Read>,
    name: String,
    /// Bytes read and not yet given out.
    rest: Vec<u8>,
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
        let file = File::open(&input.path).map_err(LoadError::io(&input.path, "opening"))?;
        let reader: Box<dyn Read> = if input.name.to_ascii_lowercase().ends_with(".gz") {
            Box::new(MultiGzDecoder::new(BufReader::with_capacity(1 << 18, file)))
        } else {
            Box::new(file)
        };
        Ok(Self {
            reader,
            name: input.name.clone(),
            rest: Vec::new(),
            line: 1,
            ended: false,
        })
    }

    /// The next segment; `None` after the last.
    pub fn next(&mut self) -> Result<Option<Segment>, LoadError> {
        if self.ended {
            return Ok(None);
        }
        let mut bytes = std::mem::take(&mut self.rest);
        let mut wanted = SEGMENT_BYTES;
        loop {
            let before = bytes.len();
            let n = Read::by_ref(&mut self.reader)
                .take(wanted.saturating_sub(before) as u64)
                .read_to_end(&mut bytes)
                .map_err(|error| {
                    self.error(
                        &bytes,
                        format!("cannot be read to its end ({error}): copy it again"),
                    )
                })?;
            if n == 0 && before < wanted {
                self.ended = true;
                break;
            }
            if memchr(b'"', &bytes).is_some() {
                wanted = usize::MAX;
            } else if let Some(end) = memrchr(b'\n', &bytes).filter(|_| bytes.len() >= wanted) {
                self.rest = bytes.split_off(end + 1);
                break;
            } else if bytes.len() >= wanted {
                wanted = wanted.saturating_mul(2);
            }
        }
        if let Err(error) = std::str::from_utf8(&bytes) {
            let message = "not UTF-8: save the file as UTF-8".to_owned();
            return Err(self.error(&bytes[..error.valid_up_to()], message));
        }
        let segment = Segment {
            first_line: self.line,
            last: self.ended,
            bytes,
        };
        self.line += count_lines(&segment.bytes);
        Ok(Some(segment))
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
    memchr::memchr_iter(b'\n', bytes).count() as u64
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
