//! JSON taken apart as it is read: the resources of a bundle one after the other, never the bundle as a whole.

use std::io::{self, Read};

/// Bytes read at a time.
const CHUNK: usize = 1 << 18;

/// Strings longer than this are left out: a document in base64 that nobody here reads.
const MOST_STRING: usize = 16 << 20;

/// Resources larger than this, without such strings, are refused.
const MOST_RESOURCE: usize = 64 << 20;

/// What stands in the place of a string that is too long.
const LEFT_OUT: &[u8] = b"\\u0000";

/// Why the text cannot be taken apart: the byte of the file, and what is wrong there.
#[derive(Debug)]
pub(super) struct Broken {
    pub offset: u64,
    pub message: String,
}

/// A piece of the file.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Piece {
    /// An entry of a bundle, by its place from 0.
    Entry(u64),
    /// A resource of a plain array, by its place from 0.
    Item(u64),
    /// What stands outside of bundles and arrays: a resource, or a bundle without its entries. By its place from 0.
    Top(u64),
}

/// A file of JSON values, one after the other.
pub(super) struct Scanner<R> {
    reader: R,
    buffer: Vec<u8>,
    /// Place in the buffer.
    at: usize,
    /// Bytes of the file before the buffer.
    before: u64,
    ended: bool,
}

impl<R: Read> Scanner<R> {
    pub fn new(reader: R) -> Self {
        Self {
            reader,
            buffer: Vec::new(),
            at: 0,
            before: 0,
            ended: false,
        }
    }

    /// What reads the file.
    pub fn into_inner(self) -> R {
        self.reader
    }

    /// Calls `see` with the JSON text of each piece.
    pub fn each(&mut self, mut see: impl FnMut(Piece, &[u8])) -> Result<(), Broken> {
        let mut text = Vec::new();
        if self.peek()? == Some(0xef) {
            for _ in 0..3 {
                self.peek()?;
                self.at += 1;
            }
        }
        let mut top = 0;
        while let Some(byte) = self.skip_blanks()? {
            match byte {
                b'[' => {
                    self.elements(&mut text, &mut |place, text| see(Piece::Item(place), text))?
                }
                b'{' => {
                    let mut rest = Vec::new();
                    self.object(&mut text, &mut rest, &mut see)?;
                    see(Piece::Top(top), &rest);
                }
                _ => return Err(self.broken("neither an object nor an array begins here")),
            }
            top += 1;
        }
        Ok(())
    }

    /// An object: the elements of a member `entry` one by one, all other members into `rest`.
    fn object(
        &mut self,
        text: &mut Vec<u8>,
        rest: &mut Vec<u8>,
        see: &mut impl FnMut(Piece, &[u8]),
    ) -> Result<(), Broken> {
        self.expect(b'{')?;
        rest.push(b'{');
        if self.skip_blanks()? == Some(b'}') {
            self.at += 1;
            rest.push(b'}');
            return Ok(());
        }
        loop {
            text.clear();
            self.value(text)?;
            if !text.starts_with(b"\"") {
                return Err(self.broken("a name in quotation marks should stand before this"));
            }
            self.expect(b':')?;
            if text == b"\"entry\"" && self.skip_blanks()? == Some(b'[') {
                self.elements(text, &mut |place, text| see(Piece::Entry(place), text))?;
            } else {
                if rest.len() > 1 {
                    rest.push(b',');
                }
                rest.extend_from_slice(text);
                rest.push(b':');
                self.value(rest)?;
            }
            match self.skip_blanks()? {
                Some(b',') => self.at += 1,
                Some(b'}') => {
                    self.at += 1;
                    rest.push(b'}');
                    return Ok(());
                }
                _ => return Err(self.broken("a comma or the end of an object should stand here")),
            }
        }
    }

    /// The elements of an array.
    fn elements(
        &mut self,
        text: &mut Vec<u8>,
        see: &mut impl FnMut(u64, &[u8]),
    ) -> Result<(), Broken> {
        self.expect(b'[')?;
        if self.skip_blanks()? == Some(b']') {
            self.at += 1;
            return Ok(());
        }
        for place in 0.. {
            text.clear();
            self.value(text)?;
            see(place, text);
            match self.skip_blanks()? {
                Some(b',') => self.at += 1,
                Some(b']') => {
                    self.at += 1;
                    break;
                }
                _ => return Err(self.broken("a comma or the end of an array should stand here")),
            }
        }
        Ok(())
    }

    /// Copies a value of any kind. What is in it is checked no further than where it ends.
    fn value(&mut self, out: &mut Vec<u8>) -> Result<(), Broken> {
        let start = out.len();
        match self.skip_blanks()? {
            Some(b'{' | b'[') => self.nested(out, start),
            Some(b'"') => self.string(out),
            Some(_) => self.scalar(out),
            None => Err(self.cut_off()),
        }
    }

    fn nested(&mut self, out: &mut Vec<u8>, start: usize) -> Result<(), Broken> {
        let mut depth = 0_u64;
        loop {
            let waiting = self.waiting()?;
            let mut seen = 0;
            let mut string = false;
            for byte in waiting {
                match byte {
                    b'"' => {
                        string = true;
                        break;
                    }
                    b'{' | b'[' => depth += 1,
                    b'}' | b']' => depth -= 1,
                    _ => {}
                }
                seen += 1;
                if depth == 0 {
                    break;
                }
            }
            out.extend_from_slice(waiting.get(..seen).unwrap_or_default());
            self.at += seen;
            if string {
                self.string(out)?;
            } else if depth == 0 {
                return Ok(());
            }
            if out.len() - start > MOST_RESOURCE {
                return Err(self.broken("a resource of more than 64 MiB"));
            }
        }
    }

    /// Copies a string with its quotation marks; one that is too long is left out.
    fn string(&mut self, out: &mut Vec<u8>) -> Result<(), Broken> {
        self.expect(b'"')?;
        out.push(b'"');
        let start = out.len();
        let mut skipped = false;
        let mut escaped = false;
        loop {
            let waiting = self.waiting()?;
            if escaped {
                escaped = false;
                if !skipped {
                    out.extend(waiting.first());
                }
                self.at += 1;
                continue;
            }
            let end = memchr::memchr2(b'"', b'\\', waiting);
            let text = waiting
                .get(..end.unwrap_or(waiting.len()))
                .unwrap_or_default();
            if !skipped {
                out.extend_from_slice(text);
                if out.len() - start > MOST_STRING {
                    skipped = true;
                    out.truncate(start);
                    out.extend_from_slice(LEFT_OUT);
                }
            }
            let found = end.and_then(|end| waiting.get(end)).copied();
            self.at += text.len() + usize::from(found.is_some());
            match found {
                Some(b'"') => {
                    out.push(b'"');
                    return Ok(());
                }
                Some(_) => {
                    escaped = true;
                    if !skipped {
                        out.push(b'\\');
                    }
                }
                None => {}
            }
        }
    }

    fn scalar(&mut self, out: &mut Vec<u8>) -> Result<(), Broken> {
        while let Some(byte) = self.peek()? {
            if matches!(byte, b',' | b'}' | b']' | b':') || byte.is_ascii_whitespace() {
                break;
            }
            out.push(byte);
            self.at += 1;
        }
        Ok(())
    }

    /// Bytes that wait in the buffer, at least one.
    fn waiting(&mut self) -> Result<&[u8], Broken> {
        if self.peek()?.is_none() {
            return Err(self.cut_off());
        }
        Ok(self.buffer.get(self.at..).unwrap_or_default())
    }

    fn peek(&mut self) -> Result<Option<u8>, Broken> {
        if self.at == self.buffer.len() && !self.ended {
            self.before += self.buffer.len() as u64;
            self.buffer.clear();
            self.at = 0;
            let mut chunk = Read::by_ref(&mut self.reader).take(CHUNK as u64);
            let read = chunk.read_to_end(&mut self.buffer);
            read.map_err(|error: io::Error| self.broken(&format!("cannot be read on ({error})")))?;
            self.ended = self.buffer.is_empty();
        }
        Ok(self.buffer.get(self.at).copied())
    }

    fn skip_blanks(&mut self) -> Result<Option<u8>, Broken> {
        while let Some(byte) = self.peek()? {
            if !byte.is_ascii_whitespace() {
                return Ok(Some(byte));
            }
            self.at += 1;
        }
        Ok(None)
    }

    fn expect(&mut self, wanted: u8) -> Result<(), Broken> {
        match self.skip_blanks()? {
            Some(byte) if byte == wanted => {
                self.at += 1;
                Ok(())
            }
            Some(_) => Err(self.broken(&format!("`{}` should stand here", char::from(wanted)))),
            None => Err(self.cut_off()),
        }
    }

    fn cut_off(&self) -> Broken {
        self.broken("the file ends in the middle of a resource: it was cut off")
    }

    fn broken(&self, message: &str) -> Broken {
        Broken {
            offset: self.before + self.at as u64,
            message: message.to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pieces(text: &[u8]) -> Result<Vec<(Piece, String)>, Broken> {
        let mut found = Vec::new();
        Scanner::new(text).each(|piece, text| {
            found.push((piece, String::from_utf8(text.to_vec()).unwrap()));
        })?;
        Ok(found)
    }

    #[test]
    fn entries_items_and_single_resources() {
        let text = "\u{feff} {\"entry\" : [ {\"a\":[1,{}]} , {\"b\":\"}]\\\"\"}], \"type\":\"x\"}\n{\"c\":1e2}\n[{\"d\":null}, 5]";
        let found = pieces(text.as_bytes()).unwrap();
        let found: Vec<(Piece, &str)> = found
            .iter()
            .map(|(piece, text)| {
                (
                    match piece {
                        Piece::Entry(n) => Piece::Entry(*n),
                        Piece::Item(n) => Piece::Item(*n),
                        Piece::Top(n) => Piece::Top(*n),
                    },
                    text.as_str(),
                )
            })
            .collect();
        assert_eq!(
            found,
            [
                (Piece::Entry(0), "{\"a\":[1,{}]}"),
                (Piece::Entry(1), "{\"b\":\"}]\\\"\"}"),
                (Piece::Top(0), "{\"type\":\"x\"}"),
                (Piece::Top(1), "{\"c\":1e2}"),
                (Piece::Item(0), "{\"d\":null}"),
                (Piece::Item(1), "5"),
            ]
        );
    }

    #[test]
    fn a_file_that_is_cut_off_says_where() {
        let text = b"{\"entry\":[{\"a\":\"x\"},{\"b\":\"y\"}]}";
        assert_eq!(pieces(text).unwrap().len(), 3);
        for end in 1..text.len() {
            let broken = pieces(&text[..end]).unwrap_err();
            assert_eq!(broken.offset, end as u64, "{}", broken.message);
        }
        for (wrong, offset) in [
            ("{\"a\":1} x", 8),
            ("{\"a\":1]", 6),
            ("{1:2}", 2),
            ("[1 2]", 3),
        ] {
            assert_eq!(
                pieces(wrong.as_bytes()).unwrap_err().offset,
                offset,
                "{wrong}"
            );
        }
        assert!(pieces(b"").unwrap().is_empty());
        assert_eq!(pieces(b"{} {\"a\":1}").unwrap().len(), 2);
    }

    /// A document of 20 MB in the middle of a resource takes no room.
    #[test]
    fn long_strings_are_left_out() {
        let mut text = b"[{\"data\":\"".to_vec();
        text.extend(std::iter::repeat_n(b'A', 20 << 20));
        text.extend_from_slice(b"\\\"tail\",\"b\":1}]");
        let found = pieces(&text).unwrap();
        assert_eq!(found[0].1, "{\"data\":\"\\u0000\",\"b\":1}");
    }

    #[test]
    fn nesting_of_any_depth() {
        let deep = 200_000;
        let text = format!("[{}{}]", "[".repeat(deep), "]".repeat(deep));
        assert_eq!(pieces(text.as_bytes()).unwrap().len(), 1);
    }
}
