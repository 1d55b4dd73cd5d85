//! Whether octets that may be noise are a frame.

use crate::frame::{FType, Frame, Mhdr, decode};

/// Returns whether octets are a frame that the standard allows.
///
/// Major is 0 and no RFU bit of MHDR is set (1 in 32 of noise), the type is none of proprietary, the
/// length is that of the type: of random octets of 16, which a key may be, 1 in 64 gets so far.
pub(super) fn is_plausible(octets: &[u8]) -> bool {
    let Some(&first) = octets.first() else { return false };
    let mhdr = Mhdr(first);
    if first & 0x1F != 0 || mhdr.ftype() == FType::Proprietary {
        return false;
    }
    // Counting up and one value again and again are what examples of keys look like.
    if octets.windows(2).all(|w| matches!(w, [a, b] if b.wrapping_sub(*a) <= 1)) {
        return false;
    }
    let decoded = decode(octets);
    decoded.stopped.is_none()
        && decoded.faults.is_empty()
        && match decoded.frame {
            Some(Frame::JoinRequest(request)) => request.surplus.is_empty(),
            Some(Frame::JoinAccept(sealed)) => sealed.is_whole(),
            Some(Frame::RejoinRequest(_) | Frame::Data(_)) => true,
            Some(Frame::Proprietary(_)) | None => false,
        }
}

/// Returns whether octets are a Join-Request, whose length alone is rare: 23.
pub(super) fn is_request(octets: &[u8]) -> bool {
    octets.len() == 23 && octets.first() == Some(&0)
}

#[cfg(test)]
mod tests {
    use super::*;

    // Frames: protocol-crypto.md section 10; the key: RFC 4493.
    #[test]
    fn frames_are_and_keys_and_noise_are_not() {
        for frame in [
            "0001000bfeff0000023c2b1afeff00000202012e269cf5",
            "40dabb0102800200022721029daeaf9ee9",
            "60dabb0102a00500007efc0f41fe4bd10617",
            "20d94acfd06540984f241461506659c3aaadb5152aaff250202fba28e71693051d",
        ] {
            let octets = hex::decode(frame).unwrap();
            assert!(is_plausible(&octets), "{frame}");
            for cut in 1..octets.len().min(12) {
                assert!(!is_plausible(&octets[..cut]), "{frame} {cut}");
            }
        }
        for other in [
            "2b7e151628aed2a6abf7158809cf4f3c",
            "00000000000000000000000000000000",
            "000102030405060708090a0b0c0d0e0f",
            "41dabb0102800200022721029daeaf9ee9",
            "e0dabb0102800200022721029daeaf9ee9",
            "",
        ] {
            assert!(!is_plausible(&hex::decode(other).unwrap()), "{other}");
        }
    }
}
