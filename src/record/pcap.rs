//! The file around packets: pcap with nanoseconds, least significant octet first.
//!
//! | octets | file header | octets | before each packet |
//! |--------|-------------|--------|--------------------|
//! | 4 | magic, a1b23c4d: nanoseconds | 4 | seconds since 1970, unsigned |
//! | 2, 2 | version, 2.4 | 4 | nanoseconds |
//! | 4, 4 | 0 | 4 | octets that follow |
//! | 4 | octets that a packet may have | 4 | octets that the packet had |
//! | 4 | link type | | |
//!
//! Source: PCAP Capture File Format (draft-ietf-opsawg-pcap), sections 4 and 5.

use std::io::{self, Write};

use jiff::Timestamp;

/// Writes packets of one link type.
#[derive(Debug)]
pub(super) struct Pcap<W> {
    writer: W,
    record: Vec<u8>,
}

impl<W: Write> Pcap<W> {
    /// Writes the file's header.
    pub(super) fn new(mut writer: W, link_type: u32) -> io::Result<Self> {
        let mut header = Vec::with_capacity(24);
        header.extend_from_slice(&NANOSECONDS.to_le_bytes());
        header.extend_from_slice(&2u16.to_le_bytes());
        header.extend_from_slice(&4u16.to_le_bytes());
        header.extend_from_slice(&[0; 8]);
        header.extend_from_slice(&LONGEST.to_le_bytes());
        header.extend_from_slice(&link_type.to_le_bytes());
        writer.write_all(&header)?;
        Ok(Self { writer, record: Vec::new() })
    }

    /// Writes one packet that `fill` appends to the record.
    pub(super) fn write(
        &mut self,
        at: Timestamp,
        fill: impl FnOnce(&mut Vec<u8>) -> io::Result<()>,
    ) -> io::Result<()> {
        // The file counts from 1970 in 32 bits.
        let seconds =
            u32::try_from(at.as_second()).map_err(|_| invalid("no time from 1970 to 2106"))?;
        let nanoseconds = at.subsec_nanosecond().unsigned_abs();
        self.record.clear();
        self.record.extend_from_slice(&seconds.to_le_bytes());
        self.record.extend_from_slice(&nanoseconds.to_le_bytes());
        self.record.extend_from_slice(&[0; 8]);
        fill(&mut self.record)?;
        let packet = u32::try_from(self.record.len() - HEADER).unwrap_or(u32::MAX);
        if packet > LONGEST {
            return Err(invalid("longer than a packet may be"));
        }
        let lengths = [packet.to_le_bytes(); 2].concat();
        for (place, octet) in self.record.iter_mut().skip(8).zip(lengths) {
            *place = octet;
        }
        self.writer.write_all(&self.record)
    }

    pub(super) const fn get_ref(&self) -> &W {
        &self.writer
    }

    pub(super) const fn get_mut(&mut self) -> &mut W {
        &mut self.writer
    }

    pub(super) fn into_inner(self) -> W {
        self.writer
    }
}

/// Returns the error of something that cannot be written.
pub(super) fn invalid(what: &'static str) -> io::Error {
    io::Error::new(io::ErrorKind::InvalidInput, what)
}

const NANOSECONDS: u32 = 0xA1B2_3C4D;
/// Octets of the header before each packet.
const HEADER: usize = 16;
/// As recorders of packets set it.
const LONGEST: u32 = 262_144;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_packet_has_its_time_and_its_length_twice() {
        let mut pcap = Pcap::new(Vec::new(), 270).unwrap();
        let at = Timestamp::new(0x0102_0304, 5).unwrap();
        pcap.write(at, |record| {
            record.extend_from_slice(b"abc");
            Ok(())
        })
        .unwrap();
        let octets = pcap.into_inner();
        assert_eq!(
            hex::encode(octets),
            "4d3cb2a1020004000000000000000000000004000e010000\
             04030201050000000300000003000000616263"
        );
    }

    #[test]
    fn what_the_file_cannot_hold_is_refused_and_leaves_nothing() {
        let mut pcap = Pcap::new(Vec::new(), 270).unwrap();
        let refused = |got: io::Result<()>| got.unwrap_err().kind() == io::ErrorKind::InvalidInput;
        assert!(refused(pcap.write(Timestamp::new(-1, 0).unwrap(), |_| Ok(()))));
        assert!(refused(pcap.write(Timestamp::new(1 << 32, 0).unwrap(), |_| Ok(()))));
        let long = vec![0; 262_145];
        assert!(refused(pcap.write(Timestamp::UNIX_EPOCH, |r| {
            r.extend(&long);
            Ok(())
        })));
        assert_eq!(pcap.into_inner().len(), 24);
    }
}
