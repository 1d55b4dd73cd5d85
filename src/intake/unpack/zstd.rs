//! Zstandard: one frame after another, and frames to be skipped.

use std::io::{self, BufRead, Read};

use ruzstd::decoding::{BlockDecodingStrategy, FrameDecoder, errors::FrameDecoderError};

use super::{
    counted::Counted,
    step::{MOST_WINDOW, Packing, Stop, Unpack, UnpackError},
};

/// Returns whether a stream begins with a frame, or with one to be skipped (RFC 8878, 3.1).
pub(super) fn begins(head: &[u8]) -> bool {
    matches!(head, [0x28, 0xB5, 0x2F, 0xFD, ..]) || is_skipped(head)
}

const fn is_skipped(head: &[u8]) -> bool {
    matches!(head, [0x50..=0x5F, 0x2A, 0x4D, 0x18, ..])
}

pub(super) struct Zstd<R> {
    stream: Counted<R>,
    /// The frame that is being unpacked. Each has a decoder of its own: one that is used again would make room for
    /// a whole window at once.
    frame: Option<Box<FrameDecoder>>,
    /// What stopped a frame, told once all before it is out.
    stop: Option<Stop>,
}

impl<R: BufRead> Zstd<R> {
    pub(super) const fn new(stream: Counted<R>) -> Self {
        Self { stream, frame: None, stop: None }
    }

    fn damage(&mut self) -> Stop {
        if let Some(error) = self.stream.take_failure() {
            return Stop::Stream(error);
        }
        let (packing, offset) = (Packing::Zstd, self.stream.offset());
        Stop::Damage(if self.stream.is_ended() {
            UnpackError::Cut { packing, offset }
        } else {
            UnpackError::Damaged { packing, offset }
        })
    }

    /// Goes to the next frame; returns whether there is one.
    fn next_frame(&mut self) -> Result<bool, Stop> {
        let head = match self.stream.fill_buf() {
            Ok([]) => return Ok(false),
            Ok(head) => head.first().copied(),
            Err(_) => return Err(self.damage()),
        };
        if matches!(head, Some(0x50..=0x5F)) {
            return self.skip_frame().map(|()| true);
        }
        let mut frame = Box::new(FrameDecoder::new());
        frame.set_max_window_size(MOST_WINDOW);
        match frame.init(&mut self.stream) {
            Ok(()) => {
                self.frame = Some(frame);
                Ok(true)
            }
            Err(FrameDecoderError::WindowSizeTooBig { requested, max }) => {
                Err(Stop::Damage(UnpackError::Window { window: requested, most: max }))
            }
            Err(_) => Err(self.damage()),
        }
    }

    fn skip_frame(&mut self) -> Result<(), Stop> {
        let mut head = [0; 8];
        if self.stream.read_exact(&mut head).is_err() || !is_skipped(&head) {
            return Err(self.damage());
        }
        let [.., l0, l1, l2, l3] = head;
        let length = u64::from(u32::from_le_bytes([l0, l1, l2, l3]));
        match io::copy(&mut (&mut self.stream).take(length), &mut io::sink()) {
            Ok(passed) if passed == length => Ok(()),
            _ => Err(self.damage()),
        }
    }

    /// Unpacks a block of the frame, or ends it.
    fn advance(&mut self) {
        let Some(frame) = &mut self.frame else { return };
        if frame.is_finished() {
            let stated = frame.get_checksum_from_data();
            if stated.is_some() && stated != frame.get_calculated_checksum() {
                let (packing, offset) = (Packing::Zstd, self.stream.offset());
                self.stop = Some(Stop::Damage(UnpackError::Checksum { packing, offset }));
            }
            self.frame = None;
            return;
        }
        if frame.decode_blocks(&mut self.stream, BlockDecodingStrategy::UptoBlocks(1)).is_err() {
            // A last block without octets, and room for a checksum: so the decoder gives out its window.
            let end = [1, 0, 0, 0, 0, 0, 0];
            let given = frame.decode_blocks(&end[..], BlockDecodingStrategy::UptoBlocks(1)).is_ok();
            if !given {
                self.frame = None;
            }
            self.stop = Some(self.damage());
        }
    }
}

impl<R: BufRead> Unpack for Zstd<R> {
    fn unpack(&mut self, buffer: &mut [u8]) -> Result<usize, Stop> {
        loop {
            if let Some(frame) = &mut self.frame {
                match frame.read(buffer) {
                    Ok(0) => {}
                    Ok(octets) => return Ok(octets),
                    Err(_) => return Err(self.damage()),
                }
            }
            if let Some(stop) = self.stop.take() {
                self.frame = None;
                return Err(stop);
            }
            if self.frame.is_some() {
                self.advance();
            } else if !self.next_frame()? {
                return Ok(0);
            }
        }
    }
}
