//! Texts and seeded changes to them, for tests and for `cargo xtask fuzz`.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// An export that needs a mapping.
pub const EXPORT: &str =
    "made by hand\nSerial;When;Value\na;2026-03-01 09:00;5,5\na;2026-03-01 09:05;101\n";

/// Readings of two sensors, with what is odd and allowed.
pub const READINGS: &str = "sensor,time,glucose,unit,status,wearer\n\
    a,2026-03-01T09:00:00Z,100,mg/dL,ok,w\n\
    a,2026-03-01T09:05:00Z,LO,,,\n\
    a,2026-03-29T01:30,5.5,mmol/L,,\n\
    \"b, \"\"two\"\"\",2026-03-01T09:10:00+01:00,102,,high,v\n";

/// Fingersticks.
pub const CHECKS: &str =
    "time,glucose,purpose\n2026-03-01T09:00:00Z,99,routine\n2026-03-01T09:05:00Z,88,control\n";

/// A log of wear.
pub const EVENTS: &str = "sensor,time,event,site,cause,grade,lot,note\n\
    a,2026-03-01T08:00:00Z,insert,calf,,,L-1,\"two\nlines\"\n\
    a,2026-03-09T08:00:00Z,end,,fell-off,,,\"a <b>bold</b> [note](https://example.org) | # \"\n\
    ,2026-03-02T22:00:00Z,bed,,,,,\n\
    a,2026-03-03T08:00:00Z,skin,,,1,,\n";

/// Judgements.
pub const VERDICTS: &str = "sensor,start,verdict\na,2026-03-01T09:00:00Z,artefact\n";

/// Pieces that break parsers.
const PIECES: [&str; 36] = [
    "\"",
    "\"\"",
    ",",
    ";",
    "\t",
    "\n",
    "\r",
    "\r\n",
    "\0",
    "\u{feff}",
    "NaN",
    "inf",
    "-",
    "1e999",
    "9999999999999999999",
    "0000-00-00",
    "2026-02-30",
    "2026-03-29T01:30",
    "24:00",
    "+25:00",
    "Z",
    "mmol/L",
    "=1+2",
    "\u{202e}",
    "\u{1b}[2J",
    "é",
    "LO",
    " ",
    "<script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    "](javascript:alert(1))",
    "{",
    "}",
    "[",
    "]",
    "-9223372036854775808",
];

/// Where faults and orders come from: seeded, so that a failure comes again.
pub struct Chance(ChaCha8Rng);

impl Chance {
    /// The chance of a seed.
    pub fn new(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed))
    }

    /// A number below `end`.
    pub fn below(&mut self, end: usize) -> usize {
        self.0.next_u64() as usize % end.max(1)
    }

    /// A text with some of its bytes changed, cut out, doubled, or replaced by a piece that breaks parsers; now and
    /// then as it is.
    pub fn mutated(&mut self, text: &str) -> Vec<u8> {
        let mut bytes = text.as_bytes().to_vec();
        for _ in 0..self.below(6) {
            let at = self.below(bytes.len() + 1);
            let end = (at + self.below(20)).min(bytes.len());
            let piece = PIECES.get(self.below(PIECES.len())).unwrap_or(&"");
            match self.below(6) {
                0 => bytes.insert(at, self.below(256) as u8),
                1 => drop(bytes.splice(at..end, piece.bytes())),
                2 => drop(bytes.drain(at..end)),
                3 => {
                    let again = bytes.get(at..end).unwrap_or_default().to_vec();
                    bytes.splice(at..at, again);
                }
                4 if self.below(4) == 0 => bytes.truncate(at),
                _ => drop(bytes.splice(at..at, piece.bytes())),
            }
        }
        bytes
    }
}
