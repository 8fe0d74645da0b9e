//! Text in other encodings than UTF-8, turned into UTF-8 as it is read.

use std::io::{self, Read};

use encoding_rs::{CoderResult, Decoder, UTF_16LE, WINDOWS_1252};
use whereworn_model::settings::Encoding;

/// Bytes decoded at a time.
const CHUNK: usize = 1 << 16;

/// A reader that gives UTF-8, whatever its bytes are.
pub(crate) struct Decoded<R> {
    reader: R,
    decoder: Decoder,
    /// Bytes read and not yet decoded.
    raw: Vec<u8>,
    /// Text decoded, and how much of it was given out.
    text: Vec<u8>,
    given: usize,
    ended: bool,
}

impl<R: Read> Decoded<R> {
    /// `None` where the bytes are UTF-8 as they are.
    pub fn new(reader: R, encoding: Encoding) -> Result<Self, R> {
        let decoder = match encoding {
            Encoding::Utf8 => return Err(reader),
            Encoding::Utf16 => UTF_16LE.new_decoder(),
            Encoding::Latin1 => WINDOWS_1252.new_decoder_without_bom_handling(),
        };
        Ok(Self {
            reader,
            decoder,
            raw: Vec::new(),
            text: Vec::new(),
            given: 0,
            ended: false,
        })
    }

    /// What reads the bytes as they are.
    pub fn into_inner(self) -> R {
        self.reader
    }

    fn refill(&mut self) -> io::Result<()> {
        let room = (CHUNK - self.raw.len().min(CHUNK)) as u64;
        let read = Read::by_ref(&mut self.reader)
            .take(room)
            .read_to_end(&mut self.raw)?;
        let last = (read as u64) < room;
        self.text.resize(3 * CHUNK, 0);
        let (result, taken, written, _) =
            self.decoder.decode_to_utf8(&self.raw, &mut self.text, last);
        self.text.truncate(written);
        self.raw.drain(..taken);
        self.given = 0;
        self.ended = last && result == CoderResult::InputEmpty;
        Ok(())
    }
}

impl<R: Read> Read for Decoded<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        while self.given == self.text.len() && !self.ended {
            self.refill()?;
        }
        let mut waiting = self.text.get(self.given..).unwrap_or_default();
        let read = waiting.read(buffer)?;
        self.given += read;
        Ok(read)
    }
}

/// The encoding that the beginning of a file seems to have.
pub(crate) fn likely(beginning: &[u8]) -> Encoding {
    let zeros = |start: usize| {
        let every_other = beginning.iter().skip(start).step_by(2);
        every_other.filter(|byte| **byte == 0).count() * 4 > beginning.len()
    };
    let mark = beginning.starts_with(b"\xff\xfe") || beginning.starts_with(b"\xfe\xff");
    if mark || zeros(0) || zeros(1) {
        return Encoding::Utf16;
    }
    match std::str::from_utf8(beginning) {
        Err(error) if error.error_len().is_some() => Encoding::Latin1,
        _ => Encoding::Utf8,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(bytes: &[u8], encoding: Encoding) -> String {
        let mut text = String::new();
        let Ok(mut decoded) = Decoded::new(bytes, encoding) else {
            panic!("nothing to decode");
        };
        decoded.read_to_string(&mut text).unwrap();
        text
    }

    /// Code points from the Unicode charts: ä is U+00E4, € is U+20AC and 0x80 in Windows-1252.
    #[test]
    fn two_encodings() {
        assert_eq!(read(b"\xe4\x80;", Encoding::Latin1), "ä€;");
        assert_eq!(read(b"\xff\xfe\xe4\0;\0", Encoding::Utf16), "ä;");
        assert_eq!(read(b"\xfe\xff\0\xe4\0;", Encoding::Utf16), "ä;");
        assert_eq!(read(b";\0\xe4\0", Encoding::Utf16), ";ä");
        let long: Vec<u8> = std::iter::repeat_n([0xe4, 0], 100_000).flatten().collect();
        assert_eq!(read(&long, Encoding::Utf16), "ä".repeat(100_000));
    }

    #[test]
    fn what_it_seems_to_be() {
        for (bytes, encoding) in [
            ("time,ä".as_bytes(), Encoding::Utf8),
            (b"time,\xe4;x", Encoding::Latin1),
            (b"t\0i\0m\0e\0", Encoding::Utf16),
            (b"\0t\0i\0m\0e", Encoding::Utf16),
            (b"\xff\xfet\0", Encoding::Utf16),
            (b"", Encoding::Utf8),
            (b"cut in \xc3", Encoding::Utf8),
        ] {
            assert_eq!(likely(bytes), encoding, "{bytes:?}");
        }
    }
}
