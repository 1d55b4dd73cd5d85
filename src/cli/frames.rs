//! Where the frames of a command come from: arguments, standard input, files.
//!
//! MERGE POINT: `intake` reads capture lines and frame texts; its `frame_text` takes the place of
//! [`octets`], its line reader the place of [`Frames`]'s own. What a command sees stays [`InputFrame`].

use std::{
    fs::File,
    io::{self, BufRead, BufReader, Read},
    path::PathBuf,
};

use base64::{Engine, alphabet, engine};

use super::UsageError;
use crate::frame::Direction;

/// What a right frame text looks like.
pub const FRAME_HINT: &str = "a frame is hex, with or without separators, or base64; `hex:` or \
                              `base64:` in front decides";

/// Octets of the longest line that is read; a frame has 255 octets at most.
const MAX_LINE: u64 = 64 * 1024;

/// Why a text is no frame.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum FrameTextError {
    /// Nothing there.
    #[error("no octets: the text is empty")]
    Empty,
    /// Neither hex nor base64.
    #[error("character {position} belongs neither to hex nor to base64")]
    Character {
        /// Which one, from 1.
        position: usize,
    },
    /// Hex with half an octet.
    #[error("{digits} hex digits: an octet has two, so one is missing or too many")]
    OddDigits {
        /// How many there are.
        digits: usize,
    },
    /// Base64 that does not decode.
    #[error("no hex, and no whole base64 text either")]
    Base64,
    /// A line longer than any frame.
    #[error("the line is longer than {MAX_LINE} octets")]
    TooLong,
}

/// A frame as a command meets it.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct InputFrame {
    /// The input: `argument`, `stdin`, a path.
    pub name: String,
    /// The place of the frame in it, from 0.
    pub index: usize,
    /// The line of a file or of standard input, from 1.
    pub line: Option<u64>,
    /// The octets, or why there are none.
    pub octets: Result<Vec<u8>, FrameTextError>,
    /// The way it travelled, where the input says so.
    pub direction: Option<Direction>,
}

/// Reads a frame text: hex with any separators, or base64.
///
/// # Errors
/// [`FrameTextError`] when it is neither.
pub fn octets(text: &str) -> Result<Vec<u8>, FrameTextError> {
    let text = text.trim();
    if let Some(text) = text.strip_prefix("base64:") {
        return base64(text);
    }
    let (text, forced) = match text.strip_prefix("hex:") {
        Some(text) => (text, true),
        None => (text, false),
    };
    let digits: String = text
        .trim_start_matches("0x")
        .chars()
        .filter(|c| !matches!(c, ' ' | '\t' | '-' | ':' | ',' | '.'))
        .collect();
    if digits.is_empty() {
        return Err(FrameTextError::Empty);
    }
    match digits.chars().position(|c| !c.is_ascii_hexdigit()) {
        None if digits.len().is_multiple_of(2) => {
            hex::decode(digits).map_err(|_| FrameTextError::Character { position: 1 })
        }
        None => Err(FrameTextError::OddDigits { digits: digits.len() }),
        Some(_) if !forced => base64(text),
        Some(position) => Err(FrameTextError::Character { position: position + 1 }),
    }
}

fn base64(text: &str) -> Result<Vec<u8>, FrameTextError> {
    let config = engine::GeneralPurposeConfig::new()
        .with_decode_padding_mode(engine::DecodePaddingMode::Indifferent);
    let engine = engine::GeneralPurpose::new(&alphabet::STANDARD, config);
    let bytes = engine.decode(text.trim()).map_err(|error| match error {
        base64::DecodeError::InvalidByte(at, _) => FrameTextError::Character { position: at + 1 },
        _ => FrameTextError::Base64,
    })?;
    if bytes.is_empty() { Err(FrameTextError::Empty) } else { Ok(bytes) }
}

/// One input of a command.
#[derive(Clone, Debug, Eq, PartialEq)]
enum Input {
    Text(String),
    Stdin,
    File(PathBuf),
}

/// The frames of all inputs, one after another; no more than a line is held at a time.
pub struct Frames {
    inputs: std::vec::IntoIter<Input>,
    arguments: usize,
    open: Option<Lines>,
}

impl std::fmt::Debug for Frames {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Frames").field("inputs", &self.inputs).finish_non_exhaustive()
    }
}

struct Lines {
    name: String,
    reader: Box<dyn BufRead>,
    index: usize,
    line: u64,
}

impl Frames {
    /// Returns the frames of texts, of `-` for standard input, and of files.
    ///
    /// A text that is no frame and names a file is taken for that file. Several texts of one octet
    /// each are one frame whose quotes were forgotten.
    pub fn new(texts: &[String], files: &[PathBuf]) -> Self {
        let loose = texts.len() > 1
            && texts.iter().all(|t| t.len() <= 2 && t.bytes().all(|b| b.is_ascii_hexdigit()));
        let texts = if loose { vec![texts.join(" ")] } else { texts.to_vec() };
        let texts = texts.into_iter().map(|text| match text.as_str() {
            "-" => Input::Stdin,
            path if octets(path).is_err() && std::path::Path::new(path).is_file() => {
                Input::File(path.into())
            }
            _ => Input::Text(text),
        });
        let files = files.iter().map(|path| {
            if path.as_os_str() == "-" { Input::Stdin } else { Input::File(path.clone()) }
        });
        let inputs: Vec<_> = texts.chain(files).collect();
        Self { inputs: inputs.into_iter(), arguments: 0, open: None }
    }

    /// Returns whether there is at most one frame, which then needs no heading.
    pub fn is_single(&self) -> bool {
        matches!(self.inputs.as_slice(), [Input::Text(_)])
    }

    fn open(&mut self, input: Input) -> Result<Option<InputFrame>, UsageError> {
        let (name, reader): (_, Box<dyn BufRead>) = match input {
            Input::Text(text) => {
                let index = self.arguments;
                self.arguments += 1;
                let name = "argument".to_owned();
                let octets = octets(&text);
                return Ok(Some(InputFrame { name, index, line: None, octets, direction: None }));
            }
            Input::Stdin => ("stdin".into(), Box::new(BufReader::new(io::stdin()))),
            Input::File(path) => match File::open(&path) {
                Ok(file) => (path.display().to_string(), Box::new(BufReader::new(file))),
                Err(error) => return Err(UsageError::File { path, error }),
            },
        };
        self.open = Some(Lines { name, reader, index: 0, line: 0 });
        Ok(None)
    }
}

impl Iterator for Frames {
    type Item = Result<InputFrame, UsageError>;

    fn next(&mut self) -> Option<Self::Item> {
        loop {
            if let Some(lines) = &mut self.open {
                match lines.next() {
                    Some(frame) => return Some(frame),
                    None => self.open = None,
                }
            }
            let input = self.inputs.next()?;
            match self.open(input) {
                Ok(Some(frame)) => return Some(Ok(frame)),
                Ok(None) => {}
                Err(error) => return Some(Err(error)),
            }
        }
    }
}

impl Lines {
    /// Returns the next frame; blank lines and those that begin with `#` are none.
    fn next(&mut self) -> Option<Result<InputFrame, UsageError>> {
        loop {
            let mut line = Vec::new();
            let read = self.reader.by_ref().take(MAX_LINE).read_until(b'\n', &mut line);
            let whole = match read {
                Ok(0) => return None,
                Ok(_) => {
                    line.ends_with(b"\n") || (line.len() as u64) < MAX_LINE || self.skip_rest()
                }
                Err(error) => {
                    let path = self.name.clone().into();
                    return Some(Err(UsageError::File { path, error }));
                }
            };
            self.line += 1;
            let text = String::from_utf8_lossy(&line);
            let text = text.trim();
            if text.is_empty() || text.starts_with('#') {
                continue;
            }
            let octets = if whole { octets(text) } else { Err(FrameTextError::TooLong) };
            let (name, index, line) = (self.name.clone(), self.index, Some(self.line));
            self.index += 1;
            return Some(Ok(InputFrame { name, index, line, octets, direction: None }));
        }
    }

    /// Drops the rest of a line that is too long, and returns whether there was none.
    fn skip_rest(&mut self) -> bool {
        let mut nothing = true;
        loop {
            let (used, end) = match self.reader.fill_buf() {
                Ok([]) | Err(_) => return nothing,
                Ok(buffer) => match buffer.iter().position(|&b| b == b'\n') {
                    Some(at) => (at + 1, true),
                    None => (buffer.len(), false),
                },
            };
            nothing = nothing && used == 1 && end;
            self.reader.consume(used);
            if end {
                return nothing;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hex_with_any_separators_is_a_frame() {
        for text in ["40 da bb", "40-DA-BB", "40:da:bb", "0x40dabb", "hex:40dabb", "QNq7"] {
            assert_eq!(octets(text), Ok(vec![0x40, 0xDA, 0xBB]), "{text}");
        }
    }

    #[test]
    fn what_is_valid_as_both_is_hex_unless_the_prefix_says_otherwise() {
        assert_eq!(octets("deadbeef").unwrap().len(), 4);
        assert_eq!(octets("base64:deadbeef").unwrap().len(), 6);
    }

    #[test]
    fn a_damaged_text_says_where() {
        assert_eq!(octets("40dab"), Err(FrameTextError::OddDigits { digits: 5 }));
        assert_eq!(octets("hex:40zz"), Err(FrameTextError::Character { position: 3 }));
        assert_eq!(octets("40da!b"), Err(FrameTextError::Character { position: 5 }));
        assert_eq!(octets(" "), Err(FrameTextError::Empty));
    }

    #[test]
    fn octets_whose_quotes_were_forgotten_are_one_frame() {
        let texts: Vec<_> = ["40", "da", "BB"].map(String::from).into();
        let frames: Vec<_> = Frames::new(&texts, &[]).map(Result::unwrap).collect();
        assert_eq!(frames.len(), 1);
        assert_eq!(frames[0].octets, Ok(vec![0x40, 0xDA, 0xBB]));
    }
}
