//! Text in other encodings than UTF-8, turned into UTF-8 as it is read.

use std::io::{self, Read};

use whereworn_model::settings::Encoding;

/// Bytes decoded at a time; even, so that no code unit of UTF-16 is cut but at the end.
const CHUNK: u64 = 1 << 16;

/// What the bytes 0x80 to 0x9f mean, by the index windows-1252 of the WHATWG Encoding Standard; all others are the code
/// point of their own number.
const WINDOWS_1252: [char; 32] = [
    '\u{20ac}', '\u{81}', '\u{201a}', '\u{192}', '\u{201e}', '\u{2026}', '\u{2020}', '\u{2021}',
    '\u{2c6}', '\u{2030}', '\u{160}', '\u{2039}', '\u{152}', '\u{8d}', '\u{17d}', '\u{8f}',
    '\u{90}', '\u{2018}', '\u{2019}', '\u{201c}', '\u{201d}', '\u{2022}', '\u{2013}', '\u{2014}',
    '\u{2dc}', '\u{2122}', '\u{161}', '\u{203a}', '\u{153}', '\u{9d}', '\u{17e}', '\u{178}',
];

/// How bytes stand for characters.
enum Scheme {
    Latin1,
    /// Whether the high byte comes first; told by the mark at the start.
    Utf16(Option<bool>),
}

/// A reader that gives UTF-8, whatever its bytes are.
pub(crate) struct Decoded<R> {
    reader: R,
    scheme: Scheme,
    /// The first half of a pair of UTF-16 whose second is still to be read.
    half: Option<u16>,
    /// Text decoded, and how much of it was given out.
    text: String,
    given: usize,
    ended: bool,
}

impl<R: Read> Decoded<R> {
    /// Gives the reader back where its bytes are UTF-8 as they are.
    pub fn new(reader: R, encoding: Encoding) -> Result<Self, R> {
        let scheme = match encoding {
            Encoding::Utf8 => return Err(reader),
            Encoding::Utf16 => Scheme::Utf16(None),
            Encoding::Latin1 => Scheme::Latin1,
        };
        Ok(Self {
            reader,
            scheme,
            half: None,
            text: String::new(),
            given: 0,
            ended: false,
        })
    }

    /// What reads the bytes as they are.
    pub fn into_inner(self) -> R {
        self.reader
    }

    fn refill(&mut self) -> io::Result<()> {
        let mut raw = Vec::new();
        Read::by_ref(&mut self.reader)
            .take(CHUNK)
            .read_to_end(&mut raw)?;
        self.ended = (raw.len() as u64) < CHUNK;
        self.text.clear();
        self.given = 0;
        match &mut self.scheme {
            Scheme::Latin1 => self.text.extend(raw.iter().map(|byte| {
                match byte {
                    0x80..=0x9f => WINDOWS_1252
                        .get(usize::from(byte - 0x80))
                        .copied()
                        .unwrap_or('\u{fffd}'),
                    byte => char::from(*byte),
                }
            })),
            Scheme::Utf16(high_first) => {
                let mut bytes = raw.as_slice();
                let high = *high_first.get_or_insert_with(|| {
                    let marked = bytes.starts_with(b"\xfe\xff") || bytes.first() == Some(&0);
                    if bytes.starts_with(b"\xfe\xff") || bytes.starts_with(b"\xff\xfe") {
                        bytes = bytes.get(2..).unwrap_or_default();
                    }
                    marked
                });
                let unit = |pair: &[u8]| match pair {
                    [a, b] if high => u16::from_be_bytes([*a, *b]),
                    [a, b] => u16::from_le_bytes([*a, *b]),
                    _ => 0xfffd,
                };
                let mut units: Vec<u16> = self.half.take().into_iter().collect();
                units.extend(bytes.chunks(2).map(unit));
                let is_half = |unit: &u16| (0xd800..0xdc00).contains(unit);
                if !self.ended && units.last().is_some_and(is_half) {
                    self.half = units.pop();
                }
                let read = char::decode_utf16(units);
                self.text
                    .extend(read.map(|read| read.unwrap_or(char::REPLACEMENT_CHARACTER)));
            }
        }
        Ok(())
    }
}

impl<R: Read> Read for Decoded<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        while self.given == self.text.len() && !self.ended {
            self.refill()?;
        }
        let mut waiting = self.text.as_bytes().get(self.given..).unwrap_or_default();
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

    /// Code points from the Unicode charts: ä is U+00E4, 𝄞 is U+1D11E (D834 DD1E in UTF-16); 0x80 is the euro sign in
    /// windows-1252.
    #[test]
    fn two_encodings() {
        assert_eq!(read(b"\xe4\x80;", Encoding::Latin1), "ä€;");
        assert_eq!(read(b"\xff\xfe\xe4\0;\0", Encoding::Utf16), "ä;");
        assert_eq!(read(b"\xfe\xff\0\xe4\0;", Encoding::Utf16), "ä;");
        assert_eq!(read(b";\0\xe4\0", Encoding::Utf16), ";ä");
        assert_eq!(read(b"\0;\0\xe4", Encoding::Utf16), ";ä");
        let long: Vec<u8> = std::iter::repeat_n([0xe4, 0], 100_000).flatten().collect();
        assert_eq!(read(&long, Encoding::Utf16), "ä".repeat(100_000));
        let pairs: Vec<u8> = std::iter::once([b';', 0])
            .chain(std::iter::repeat_n([[0x34, 0xd8], [0x1e, 0xdd]], 40_000).flatten())
            .flatten()
            .collect();
        assert_eq!(
            read(&pairs, Encoding::Utf16),
            format!(";{}", "𝄞".repeat(40_000))
        );
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
