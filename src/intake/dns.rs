//! Questions to the DNS for an address, and the answers: RFC 1035, section 4.
//!
//! | bytes | part |
//! |-------|------|
//! | 2 | identification |
//! | 2 | QR, opcode, flags, RCODE |
//! | 2 each | how many questions, answers, authorities, further records |
//! | - | questions: name, type, class |
//! | - | answers: name, type, class, time to live, length, data |
//!
//! A message with anything but one question for an address is left alone: it says nothing of a gateway.

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};

use super::{event::Network, text::printable};

/// The port of the DNS.
pub(super) const PORT: u16 = 53;

const HEADER: usize = 12;
/// Type A (RFC 1035, 3.2.2) and AAAA (RFC 3596, 2.1).
const A: u16 = 1;
const AAAA: u16 = 28;
/// Class IN.
const INTERNET: u16 = 1;
/// Bytes of a name (RFC 1035, 2.3.4).
const LONGEST_NAME: usize = 255;
/// Records of an answer that are looked at: a name has a handful of addresses.
const MOST_RECORDS: usize = 16;

/// Returns what a message says of a name; `None` where it is not such a message.
pub(super) fn read(message: &[u8]) -> Option<Network> {
    let flags = number(message, 2)?;
    let (is_answer, opcode, rcode) = (flags >> 15 == 1, flags >> 11 & 0xF, flags & 0xF);
    let (questions, answers) = (number(message, 4)?, number(message, 6)?);
    if opcode != 0 || questions != 1 {
        return None;
    }
    let (name, after) = name(message, HEADER)?;
    let (kind, class) = (number(message, after)?, number(message, after + 2)?);
    if !matches!(kind, A | AAAA) || class != INTERNET {
        return None;
    }
    if !is_answer {
        return Some(Network::Asked { name });
    }
    let addresses = addresses(message, after + 4, answers);
    Some(Network::Resolved { name, rcode: u8::try_from(rcode).ok()?, addresses })
}

/// The addresses among the answers, as far as they can be read.
fn addresses(message: &[u8], mut at: usize, answers: u16) -> Vec<IpAddr> {
    let mut out = Vec::new();
    for _ in 0..usize::from(answers).min(MOST_RECORDS) {
        let Some(after) = past_name(message, at) else { break };
        let (Some(kind), Some(length)) = (number(message, after), number(message, after + 8))
        else {
            break;
        };
        let from = after + 10;
        let data = message.get(from..from + usize::from(length)).unwrap_or_default();
        match kind {
            A => out.extend(<[u8; 4]>::try_from(data).map(Ipv4Addr::from).map(IpAddr::from)),
            AAAA => out.extend(<[u8; 16]>::try_from(data).map(Ipv6Addr::from).map(IpAddr::from)),
            _ => {}
        }
        at = from + usize::from(length);
    }
    out
}

/// A name that is written out, as a question's is, and where it ends.
fn name(message: &[u8], mut at: usize) -> Option<(String, usize)> {
    let mut labels: Vec<String> = Vec::new();
    let mut octets = 0;
    loop {
        let length = usize::from(*message.get(at)?);
        at += 1;
        match length {
            0 => break,
            1..=63 => {}
            // A pointer has nothing before it to point to.
            _ => return None,
        }
        octets += length + 1;
        if octets > LONGEST_NAME {
            return None;
        }
        let label = message.get(at..at + length)?;
        labels.push(printable(&String::from_utf8_lossy(label).to_ascii_lowercase()).into_owned());
        at += length;
    }
    (!labels.is_empty()).then(|| (labels.join("."), at))
}

/// Where a name ends that may be a pointer, or end with one.
fn past_name(message: &[u8], mut at: usize) -> Option<usize> {
    loop {
        match *message.get(at)? {
            0 => return Some(at + 1),
            length @ 1..=63 => at += 1 + usize::from(length),
            0xC0.. => return Some(at + 2),
            _ => return None,
        }
    }
}

fn number(message: &[u8], at: usize) -> Option<u16> {
    let pair = message.get(at..at.checked_add(2)?)?;
    Some(u16::from_be_bytes(pair.try_into().ok()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A question for `lns.orchard.example`, and an answer to it.
    fn message(flags: u16, answers: u16, records: &[u8]) -> Vec<u8> {
        let mut out = vec![0x31, 0x00];
        out.extend(flags.to_be_bytes());
        out.extend([0, 1]);
        out.extend(answers.to_be_bytes());
        out.extend([0; 4]);
        out.extend(b"\x03LNS\x07orchard\x07example\0\0\x01\0\x01");
        out.extend(records);
        out
    }

    fn name() -> String {
        "lns.orchard.example".to_owned()
    }

    #[test]
    fn a_question_and_its_answers_are_read() {
        assert_eq!(read(&message(0x0100, 0, &[])), Some(Network::Asked { name: name() }));
        for (flags, rcode) in [(0x8180, 0), (0x8182, 2), (0x8183, 3)] {
            let wanted = Network::Resolved { name: name(), rcode, addresses: Vec::new() };
            assert_eq!(read(&message(flags, 0, &[])), Some(wanted));
        }
        // A CNAME by pointer, then the address.
        let cname = b"\xC0\x0C\0\x05\0\x01\0\0\0\x3C\0\x02\xC0\x0C";
        let address = b"\xC0\x0C\0\x01\0\x01\0\0\0\x3C\0\x04\xC6\x33\x64\x07";
        let wanted = Network::Resolved {
            name: name(),
            rcode: 0,
            addresses: vec![Ipv4Addr::new(198, 51, 100, 7).into()],
        };
        let records = [&cname[..], address].concat();
        assert_eq!(read(&message(0x8180, 2, &records)), Some(wanted));
    }

    #[test]
    fn other_messages_say_nothing_and_no_cut_is_read_beyond() {
        let whole = message(0x8180, 1, b"\xC0\x0C\0\x01\0\x01\0\0\0\x3C\0\x04\xC6\x33\x64\x07");
        for cut in 0..whole.len() {
            if let Some(Network::Resolved { addresses, .. }) = read(&whole[..cut]) {
                assert!(addresses.is_empty());
            }
        }
        let with = |at: usize, octet: u8| {
            let mut other = whole.clone();
            other[at] = octet;
            read(&other)
        };
        // Another opcode, two questions, a pointer for a question, type TXT, class CHAOS.
        for (at, octet) in [(2, 0x28), (5, 2), (12, 0xC0), (34, 16), (36, 3)] {
            assert_eq!(with(at, octet), None, "{at}");
        }
    }
}
