//! Key streams and the Join-Accept turned round, on paper.

use super::{
    Part, Sheet,
    desk::{Desk, Key, laid},
};
use crate::{
    crypto::block::{self, BlockFields, FOptsRule},
    frame::Direction,
};

/// Dir, DevAddr and FCnt, as every block has them in octets 5 to 13.
pub(super) fn place_parts(place: &BlockFields) -> [(&'static str, usize, String); 3] {
    let way = match place.direction {
        Direction::Uplink => "up",
        Direction::Downlink => "down",
    };
    [
        ("Dir", 1, way.to_owned()),
        ("DevAddr", 4, format!("{}, last byte first", place.dev_addr)),
        ("FCnt", 4, format!("{}, 32 bits, last byte first", place.fcnt)),
    ]
}

fn a_parts(block: &[u8], place: &BlockFields, constant: &str, last: &str) -> Vec<Part> {
    let [dir, addr, fcnt] = place_parts(place);
    let none = String::new;
    let names = [
        ("01", 1, none()),
        ("zeros", 3, none()),
        ("constant", 1, constant.to_owned()),
        dir,
        addr,
        fcnt,
        ("00", 1, none()),
        ("i", 1, last.to_owned()),
    ];
    laid(block, &names)
}

/// FRMPayload under its key stream.
pub(super) fn payload(key: Key<'_>, place: &BlockFields, octets: &[u8]) -> Sheet {
    let mut desk = Desk::new(format!("FRMPayload under {}", key.name));
    desk.key(key);
    desk.given("FRMPayload", octets, "as sent");
    let mut clear = Vec::new();
    for (i, chunk) in (1u8..=u8::MAX).zip(octets.chunks(16)) {
        let [a, s, c, p] = ["A", "S", "C", "P"].map(|letter| format!("{letter}_{i}"));
        let parts = a_parts(&block::a(place, i), place, "", &format!("block {i}"));
        desk.join(&a, parts, "");
        desk.aes(&s, key, &a, false, "key stream");
        let from = 16 * usize::from(i - 1);
        desk.cut(&c, "FRMPayload", from..from + chunk.len(), "");
        desk.xor(&p, &[&c, &s], false, "");
        clear.push(p);
    }
    let parts = clear.iter().map(|name| desk.part(name)).collect();
    desk.join("plaintext", parts, "");
    desk.done("plaintext is FRMPayload in clear.")
}

/// FOpts of 1.1 under its one block of key stream.
pub(super) fn fopts(key: Key<'_>, place: &BlockFields, rule: FOptsRule, octets: &[u8]) -> Sheet {
    let mut desk = Desk::new(format!("FOpts under {}", key.name));
    desk.key(key);
    desk.given("FOpts", octets, "as sent");
    let (constant, last) = match rule {
        FOptsRule::AsPublished => ("1.1 as first published", ""),
        FOptsRule::Erratum => ("erratum: FCntUp or NFCntDwn", "erratum"),
        FOptsRule::ErratumAppCounter => ("erratum: AFCntDwn", "erratum"),
    };
    desk.join("A", a_parts(&block::a_fopts(place, rule), place, constant, last), "");
    desk.aes("S", key, "A", false, "key stream");
    desk.xor("plaintext", &["FOpts", "S"], false, "");
    desk.done("plaintext is FOpts in clear.")
}

/// A Join-Accept as the node opens it.
pub(super) fn accept(key: Key<'_>, sealed: &[u8], fields: &[(&str, usize)]) -> Sheet {
    let mut desk = Desk::new(format!("Join-Accept turned round under {}", key.name));
    desk.key(key);
    desk.given("sealed", sealed, "after MHDR, as sent");
    let mut clear = Vec::new();
    for (i, chunk) in (1usize..).zip(sealed.chunks_exact(16)) {
        let [c, p] = ["C", "P"].map(|letter| format!("{letter}_{i}"));
        let from = 16 * (i - 1);
        desk.cut(&c, "sealed", from..from + chunk.len(), "");
        let note = "the server decrypted, so that encrypting opens";
        desk.aes(&p, key, &c, false, if i == 1 { note } else { "" });
        clear.push(p);
    }
    let parts = clear.iter().map(|name| desk.part(name)).collect();
    desk.join("plaintext", parts, "");
    let mut from = 0;
    for (name, len) in fields {
        desk.cut(name, "plaintext", from..from + len, "");
        from += len;
    }
    desk.done("The last four bytes are the MIC that the server put in.")
}
