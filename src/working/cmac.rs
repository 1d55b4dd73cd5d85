//! AES-CMAC on paper (RFC 4493).

use std::ops::Range;

use super::desk::{Desk, Key};
use crate::crypto::mic;

/// Signs the message `M` of the desk, and takes those octets of the tag.
pub(super) fn sign(desk: &mut Desk, key: Key<'_>, name: &str, taken: Range<usize>) {
    let (_, k1, k2) = mic::subkeys(key.key);
    desk.key(key);
    desk.given("zero_block", &[0; 16], "");
    desk.aes("L", key, "zero_block", true, "");
    desk.double("K1", "L", k1, "goes on a last block that is complete");
    desk.double("K2", "K1", k2, "goes on a last block that was padded");
    let len = desk.part("M").octets.len();
    let blocks = len.div_ceil(16).max(1);
    let mut before: Option<String> = None;
    for i in 1..=blocks {
        let at = 16 * (i - 1)..(16 * i).min(len);
        let (cut, last) = (format!("M_{i}"), i == blocks);
        let note = if i == 1 { "M in blocks of 16 bytes" } else { "" };
        let short = at.len() < 16;
        desk.cut(&cut, "M", at, note);
        let mut block = cut;
        if short {
            let padded = format!("P_{i}");
            desk.pad(&padded, &block, "");
            block = padded;
        }
        let subkey = last.then_some(if short { "K2" } else { "K1" });
        let mut of: Vec<&str> = before.iter().map(String::as_str).collect();
        of.push(&block);
        of.extend(subkey);
        let input = if of.len() == 1 {
            block
        } else {
            let mixed = format!("Y_{i}");
            desk.xor(&mixed, &of, true, "");
            mixed
        };
        let output = if last { "T".to_owned() } else { format!("X_{i}") };
        desk.aes(&output, key, &input, true, if last { "the CMAC" } else { "" });
        before = Some(output);
    }
    desk.cut(name, "T", taken, "");
}
