//! A whole file as text, whatever its encoding.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use flate2::read::MultiGzDecoder;
use whereworn_model::settings::Encoding;

use crate::encoding::{Decoded, likely};
use crate::error::LoadError;

/// Bytes of a file that are looked at.
const MOST_BYTES: u64 = 256 << 20;

/// The text of a file, and its encoding where it is not UTF-8. Of a very large file the beginning, up to its last
/// whole line.
///
/// # Errors
/// A file that cannot be read.
pub(super) fn read_text(path: &Path) -> Result<(String, Option<Encoding>), LoadError> {
    let file = File::open(path).map_err(LoadError::io(path, "opening"))?;
    let packed = path
        .extension()
        .is_some_and(|extension| extension.eq_ignore_ascii_case("gz"));
    let reader: Box<dyn Read> = if packed {
        Box::new(MultiGzDecoder::new(file))
    } else {
        Box::new(file)
    };
    let mut bytes = Vec::new();
    reader
        .take(MOST_BYTES)
        .read_to_end(&mut bytes)
        .map_err(LoadError::io(path, "reading"))?;
    let encoding = likely(&bytes);
    let mut text = match Decoded::new(bytes.as_slice(), encoding) {
        Err(bytes) => String::from_utf8_lossy(bytes).into_owned(),
        Ok(mut decoded) => {
            let mut text = String::new();
            decoded
                .read_to_string(&mut text)
                .map_err(LoadError::io(path, "reading"))?;
            text
        }
    };
    if bytes.len() as u64 == MOST_BYTES {
        text.truncate(text.rfind('\n').map_or(0, |end| end + 1));
    }
    let text = text
        .strip_prefix('\u{feff}')
        .unwrap_or(&text)
        .replace("\r\n", "\n")
        .replace('\r', "\n");
    Ok((text, (encoding != Encoding::Utf8).then_some(encoding)))
}
