//! gzip: one member after another.

use std::io::{BufRead, Read};

use flate2::bufread::MultiGzDecoder;

use super::{
    counted::Counted,
    step::{Packing, Stop, Unpack, UnpackError},
};

pub(super) struct Gzip<R>(MultiGzDecoder<Counted<R>>);

impl<R: BufRead> Gzip<R> {
    pub(super) fn new(stream: Counted<R>) -> Self {
        Self(MultiGzDecoder::new(stream))
    }
}

impl<R: BufRead> Unpack for Gzip<R> {
    fn unpack(&mut self, buffer: &mut [u8]) -> Result<usize, Stop> {
        self.0.read(buffer).map_err(|_| {
            let stream = self.0.get_mut();
            if let Some(error) = stream.take_failure() {
                return Stop::Stream(error);
            }
            let (packing, offset) = (Packing::Gzip, stream.offset());
            Stop::Damage(if stream.is_ended() {
                UnpackError::Cut { packing, offset }
            } else {
                UnpackError::Damaged { packing, offset }
            })
        })
    }
}
