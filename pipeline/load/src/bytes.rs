//! The bytes of an input file: unpacked, as UTF-8, and hashed as they are read.

use std::fs::File;
use std::io::{self, BufReader, Read};

use flate2::read::MultiGzDecoder;
use whereworn_model::settings::Encoding;

use crate::encoding::Decoded;
use crate::error::LoadError;
use crate::files::Hashed;
use crate::input::InputFile;

/// A packed file may hold this many times its size; logs and readings pack to a tenth.
const MOST_UNPACKED: u64 = 100;

/// A packed file that unpacks to less is read whatever its size.
const SMALL_UNPACKED: u64 = 64 << 20;

/// What was read of a file: its bytes on the disk and their SHA-256, hexadecimal.
pub(crate) type Print = (u64, String);

enum Packing {
    Plain(Hashed<File>),
    Packed(Box<MultiGzDecoder<BufReader<Hashed<File>>>>),
}

impl Read for Packing {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        match self {
            Self::Plain(file) => file.read(buffer),
            Self::Packed(file) => file.read(buffer),
        }
    }
}

enum Text {
    AsItIs(Packing),
    Decoded(Box<Decoded<Packing>>),
}

/// The bytes of an input file. A packed file that unpacks to far more than any log does is an error.
pub(crate) struct Bytes {
    text: Text,
    /// Bytes of the file as it lies on the disk.
    on_disk: u64,
    read: u64,
    is_packed: bool,
}

impl Bytes {
    pub fn open(input: &InputFile) -> Result<Self, LoadError> {
        let file = File::open(&input.path).map_err(LoadError::io(&input.path, "opening"))?;
        let on_disk = file.metadata().map_or(0, |meta| meta.len());
        let file = Hashed::new(file);
        let is_packed = input.name.to_ascii_lowercase().ends_with(".gz");
        let packing = if is_packed {
            let file = BufReader::with_capacity(1 << 18, file);
            Packing::Packed(Box::new(MultiGzDecoder::new(file)))
        } else {
            Packing::Plain(file)
        };
        let encoding = input.encoding.unwrap_or(Encoding::Utf8);
        let text = match Decoded::new(packing, encoding) {
            Ok(decoded) => Text::Decoded(Box::new(decoded)),
            Err(packing) => Text::AsItIs(packing),
        };
        Ok(Self {
            text,
            on_disk,
            read: 0,
            is_packed,
        })
    }

    /// Why the file is refused where it unpacks to too much.
    pub fn bomb(&self) -> Option<String> {
        let most = (self.on_disk * MOST_UNPACKED).max(SMALL_UNPACKED);
        (self.is_packed && self.read > most).then(|| {
            format!("the file unpacks to more than {MOST_UNPACKED} times its size, as no log does: unpack it and look into it")
        })
    }

    /// Size and hash of the file, once it has been read to its end.
    pub fn finish(self) -> Print {
        let packing = match self.text {
            Text::AsItIs(packing) => packing,
            Text::Decoded(decoded) => decoded.into_inner(),
        };
        let hashed = match packing {
            Packing::Plain(file) => file,
            Packing::Packed(file) => file.into_inner().into_inner(),
        };
        let (_, bytes, sha256) = hashed.finish();
        (bytes, sha256)
    }
}

impl Read for Bytes {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let read = match &mut self.text {
            Text::AsItIs(packing) => packing.read(buffer),
            Text::Decoded(decoded) => decoded.read(buffer),
        }?;
        self.read += read as u64;
        match self.bomb() {
            Some(message) => Err(io::Error::other(message)),
            None => Ok(read),
        }
    }
}
