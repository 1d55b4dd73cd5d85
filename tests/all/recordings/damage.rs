//! Damage: what is not whole is named, and all that is whole is kept.

use super::*;

/// The events of so many packets.
fn before(all: &[Event], packets: usize) -> Vec<Event> {
    let packets = u64::try_from(packets).unwrap();
    all.iter().filter(|event| event.place.number <= packets).cloned().collect()
}

#[test]
fn a_bad_block_of_sound_length_takes_no_other_with_it() {
    let push = |token| up(AT, token, DatagramKind::PushData, RXPK).ip();
    let at: Timestamp = AT.parse().unwrap();
    let mut ng = Ng::new(Order::Little);
    ng.interface(RAW.number, Some(6), 0);
    ng.packet(0, at, &push(1));
    let bad = ng.out.len();
    ng.packet(0, at, &push(2));
    // captured length, 20 octets into the block, is now more than the block holds
    ng.out[bad + 20..bad + 24].copy_from_slice(&60_000u32.to_le_bytes());
    let ends = ng.out.len();
    ng.packet(0, at, &push(3));
    let after = ng.out.len();
    ng.packet(0, at, &push(4));
    // the length at the end of the third
    ng.out[after - 4] ^= 0x40;
    let got = items(&ng.out);
    assert_eq!(numbers(&intact(&got)), [1, 4]);
    let errors: Vec<_> = got
        .iter()
        .filter_map(|item| match item {
            Item::Event(event) => Some((event.place.number, &event.gap()?.damage)),
            Item::PassedOver(_) => None,
        })
        .map(|(number, damage)| match damage {
            Damage::All(IntakeError::Packet(PacketError { offset, flaw })) => {
                (number, *offset, flaw.clone())
            }
            other => panic!("{other:?}"),
        })
        .collect();
    let [(2, first, Flaw::Overfull { stated: 60_000, .. }), (3, second, Flaw::Ends { .. })] =
        errors.as_slice()
    else {
        panic!("{errors:?}")
    };
    assert_eq!((*first, *second), (bad as u64, ends as u64));
}

#[test]
fn a_pcap_cut_anywhere_keeps_every_whole_packet_and_names_the_other() {
    let shots = talk();
    let whole = file(&shots);
    let mut ends = vec![24];
    for shot in &shots {
        ends.push(ends.last().unwrap() + 16 + shot.ip().len());
    }
    let all = events(&whole);
    for cut in 12..whole.len() {
        let packets = ends.iter().filter(|end| **end <= cut).count().saturating_sub(1);
        let got = items(&whole[..cut]);
        assert_eq!(intact(&got), before(&all, packets), "{cut}");
        let at_border = cut >= 24 && ends.contains(&cut);
        let named = skipped(&got);
        assert_eq!(named.len(), usize::from(!at_border), "{cut}: {named:?}");
        if let [(line, words)] = named.as_slice() {
            assert_eq!(*line, packets as u64 + 1, "{cut}");
            let begins = if cut < 24 { 0 } else { ends[packets] };
            assert!(words.starts_with(&format!("byte {begins}: the capture ends")), "{words}");
        }
    }
}

#[test]
fn a_pcapng_cut_anywhere_keeps_every_whole_packet_and_names_the_other() {
    for order in [Order::Big, Order::Little] {
        let (whole, ends) = ng_of(&talk(), order);
        let all = events(&whole);
        for cut in 12..whole.len() {
            let packets = ends.iter().filter(|end| **end <= cut).count().saturating_sub(1);
            let got = items(&whole[..cut]);
            assert_eq!(intact(&got), before(&all, packets), "{cut}");
            // 28 octets of section header
            let at_border = ends.contains(&cut) || cut == 28;
            assert_eq!(skipped(&got).len(), usize::from(!at_border), "{cut}");
        }
    }
}

#[test]
fn a_flipped_bit_never_panics_and_never_adds_datagrams() {
    let shots = talk();
    let (ng, _) = ng_of(&shots, Order::Little);
    for whole in [file(&shots), ng] {
        let all = events(&whole);
        for place in 0..whole.len() {
            for bit in 0..8 {
                let mut flipped = whole.clone();
                flipped[place] ^= 1 << bit;
                let got = intact(&items(&flipped));
                assert!(got.len() <= all.len(), "{place} {bit}");
            }
        }
    }
    for packed in [gzip(&file(&shots)), zstd(&file(&shots))] {
        for place in 4..packed.len() {
            for bit in [0, 3, 7] {
                let mut flipped = packed.clone();
                flipped[place] ^= 1 << bit;
                drop(items(&flipped));
            }
        }
    }
}

#[test]
fn a_length_that_cannot_be_takes_no_memory_and_ends_the_capture() {
    let at: Timestamp = AT.parse().unwrap();
    let push = up(AT, 1, DatagramKind::PushData, RXPK).ip();
    let mut long =
        pcap(Order::Little, false, RAW.number, &[(at, push.clone()), (at, push.clone())]);
    let second = 24 + 16 + push.len();
    long[second + 8..second + 12].copy_from_slice(&0xFFFF_FFF0u32.to_le_bytes());
    let got = items(&long);
    assert_eq!(numbers(&intact(&got)).len(), 1);
    let words = format!(
        "byte {second}: packet of 4294967280 bytes: that cannot be, and what follows cannot be found"
    );
    assert_eq!(skipped(&got), [(2, words)]);
    // 16 MiB are a packet, if they are there: they are not.
    long[second + 8..second + 12].copy_from_slice(&(1u32 << 24).to_le_bytes());
    let words = skipped(&items(&long));
    assert!(words[0].1.contains("16777216 bytes needed"), "{words:?}");
    // A block of 4 GiB is passed over as far as there is anything.
    let mut ng = Ng::new(Order::Little);
    ng.interface(RAW.number, None, 0);
    ng.packet(0, at, &push);
    let block = ng.out.len();
    ng.packet(0, at, &push);
    ng.out[block + 4..block + 8].copy_from_slice(&0xFFFF_FFF0u32.to_le_bytes());
    let got = items(&ng.out);
    assert_eq!((numbers(&intact(&got)).len(), skipped(&got).len()), (1, 1));
}

#[test]
fn a_datagram_that_was_not_recorded_whole_is_named() {
    let at: Timestamp = AT.parse().unwrap();
    let mut packet = LINKS[0].packet(&up(AT, 1, DatagramKind::PushData, RXPK).ip());
    packet.truncate(96);
    let got = items(&pcap(Order::Little, false, 1, &[(at, packet)]));
    let needed = 12 + RXPK.len();
    let words = format!("byte 82: a PUSH_DATA of which 54 of {needed} bytes were recorded");
    assert_eq!(skipped(&got), [(1, words)]);
    // Ethernet's own padding is no part of the datagram
    let mut padded = LINKS[0].packet(&up(AT, 1, DatagramKind::PullData, "").ip());
    padded.resize(64, 0);
    let whole = events(&pcap(Order::Little, false, 1, &[(at, padded)]));
    assert_eq!(says(&whole[0]), "PULL_DATA");
}

#[test]
fn damaged_json_is_named_and_a_link_layer_that_is_not_read_is_told_once() {
    let at: Timestamp = AT.parse().unwrap();
    let cut = up(AT, 1, DatagramKind::PushData, &RXPK[..40]).ip();
    let whole = up(AT, 2, DatagramKind::PushData, RXPK).ip();
    let got = items(&pcap(Order::Little, false, RAW.number, &[(at, cut), (at, whole.clone())]));
    assert_eq!(numbers(&intact(&got)).len(), 1);
    let words = "byte 68: JSON from byte 12: column 40: the line ends before its JSON does";
    assert_eq!(skipped(&got), [(1, words.to_owned())]);
    let got = items(&pcap(Order::Little, false, 127, &[(at, whole.clone()), (at, whole)]));
    assert!(skipped(&got)[0].1.starts_with("byte 40: link type 127, which is not read"), "{got:?}");
    assert_eq!((skipped(&got).len(), passed(&got)), (1, Some([2, 2, 0, 0])));
}
