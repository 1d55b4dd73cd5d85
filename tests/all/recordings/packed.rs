//! gzip and zstd around a capture, pipes that trickle, streams that fail.

use super::*;

#[test]
fn a_packed_capture_cut_anywhere_keeps_what_was_unpacked_and_says_so() {
    let whole = file(&std::iter::repeat_with(talk).take(40).flatten().collect::<Vec<_>>());
    let text = talk().len().to_string().repeat(200) + "\n# not a frame\n";
    let all = events(&whole);
    for (packed, packing) in [(gzip(&whole), "gzip"), (zstd(&whole), "zstd")] {
        let mut most = 0;
        for cut in (4..packed.len()).step_by(7).chain(packed.len() - 20..packed.len()) {
            let got = items(&packed[..cut]);
            let kept = intact(&got);
            assert!(all.starts_with(&kept), "{packing} {cut}");
            most = most.max(kept.len());
            let words = skipped(&got);
            let (_, last) = words.last().unwrap_or_else(|| panic!("{packing} {cut}: nothing said"));
            assert_eq!(*last, format!("{packing}: it ends early, after {cut} bytes"));
        }
        assert!(most > all.len() / 2, "{packing}: {most} of {}", all.len());
    }
    let packed = gzip(text.as_bytes());
    for cut in 4..packed.len() {
        let got = items(&packed[..cut]);
        let Some(Item::Event(event)) = got.last() else { panic!("{got:?}") };
        let damage = &event.gap().unwrap().damage;
        assert!(matches!(damage, Damage::All(IntakeError::Unpack(UnpackError::Cut { .. }))));
    }
}

#[test]
fn a_checksum_that_does_not_hold_is_told() {
    let whole = file(&talk());
    let mut packed = gzip(&whole);
    let crc = packed.len() - 8;
    packed[crc] ^= 1;
    let got = items(&packed);
    assert_eq!(intact(&got), events(&whole));
    assert!(skipped(&got)[0].1.starts_with("gzip: damaged at about byte"), "{got:?}");
    let mut packed = zstd(&whole);
    let last = packed.len() - 1;
    packed[last] ^= 1;
    let got = items(&packed);
    assert_eq!(intact(&got), events(&whole));
    assert!(skipped(&got)[0].1.starts_with("zstd: the checksum does not hold"), "{got:?}");
}

#[test]
fn members_and_frames_that_follow_each_other_are_one_capture() {
    let whole = file(&talk());
    let (a, b) = whole.split_at(whole.len() / 2);
    // Magic 50 2A 4D 18 and a length: a frame to be skipped (RFC 8878, 3.1.2).
    let skip = [0x50, 0x2A, 0x4D, 0x18, 3, 0, 0, 0, 1, 2, 3].to_vec();
    let packed = [
        [gzip(a), gzip(b)].concat(),
        [zstd(a), skip.clone(), zstd(b)].concat(),
        [skip, zstd(&whole)].concat(),
        gzip(&zstd(&whole)),
        zstd(&gzip(&whole)),
    ];
    for packed in packed {
        assert_eq!(events(&packed), events(&whole));
    }
    let nested = (0..4).fold(whole, |inner, _| gzip(&inner));
    assert_eq!(skipped(&items(&nested))[0].1, "packed more than 3 times over");
}

#[test]
fn a_bomb_is_streamed_and_a_window_is_bounded() {
    // 64 MiB of one line, packed into some 64 KiB.
    let bomb = gzip(&vec![b' '; 64 << 20]);
    assert!(bomb.len() < 100_000);
    let got = items(&bomb);
    let words = skipped(&got);
    assert!(words.len() == 1 && words[0].1.starts_with("longer than "), "{words:?}");
    let bomb = zstd(&vec![0; 64 << 20]);
    assert!(bomb.len() < 100_000);
    assert_eq!(items(&bomb).len(), 1);
    // Frame header with a window of 2^41 octets (RFC 8878, 3.1.1.1.2): exponent 31.
    let huge = [0x28, 0xB5, 0x2F, 0xFD, 0x00, 31 << 3, 1, 0, 0];
    let words = skipped(&items(&huge));
    assert_eq!(words[0].1, "zstd: a window of 2199023255552 bytes; up to 33554432 are given to it");
}

/// A stream that fails.
pub(crate) struct Failing;

impl Read for Failing {
    fn read(&mut self, _: &mut [u8]) -> io::Result<usize> {
        Err(io::ErrorKind::ConnectionReset.into())
    }
}

#[test]
fn an_error_of_the_stream_is_no_damage_of_the_capture() {
    for whole in [file(&talk()), gzip(&file(&talk())), zstd(&file(&talk()))] {
        let stream = Cursor::new(whole[..whole.len() - 9].to_vec()).chain(Failing);
        let read: Vec<_> = Capture::new(stream).collect();
        let errors: Vec<_> = read.iter().filter_map(|item| item.as_ref().err()).collect();
        assert_eq!(errors.len(), 1);
        assert_eq!(errors[0].kind(), io::ErrorKind::ConnectionReset);
        let read: Vec<_> = read.into_iter().flatten().collect();
        assert_eq!(skipped(&read), []);
    }
}

/// A stream that gives one octet at a time, as a slow pipe may.
struct Trickle(Cursor<Vec<u8>>);

impl Read for Trickle {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let most = buffer.len().min(1);
        self.0.read(&mut buffer[..most])
    }
}

#[test]
fn a_pipe_that_trickles_is_read_alike() {
    let whole = file(&talk());
    for packed in [whole.clone(), gzip(&whole), zstd(&whole), ng_of(&talk(), Order::Big).0] {
        let stream = Trickle(Cursor::new(packed));
        let read: Vec<_> = Capture::new(stream).map(Result::unwrap).collect();
        assert_eq!(unlinked(intact(&read)), events(&whole));
    }
}
