//! How fast frames are read and checked, and how near that is to what AES alone allows.
//!
//! `cargo bench --bench frames`
//!
//! What AES alone allows is measured in one entry into the cipher, each block after the one before: so
//! CMAC needs them. The `cmac` crate enters three times a MIC: for the blocks, for the subkey, for the
//! last block. In a portable build each entry is a call that no compiler sees through, and the round
//! keys are loaded again; built for one processor (`RUSTFLAGS="-C target-cpu=native"`) the calls go
//! away. Cargo.toml says which versions were compared.
#![expect(clippy::print_stdout, reason = "a bench prints what it measured")]

#[path = "common/measure.rs"]
mod measure;

use std::{fs, hint::black_box, path::Path};

use aes::{
    Aes128,
    cipher::{
        Array, BlockCipherEncBackend, BlockCipherEncClosure, BlockCipherEncrypt, BlockSizeUser,
        KeyInit, consts::U16,
    },
};
use handfast::{
    crypto::{IntegrityKeys, MicInput, Unseen, Verifier},
    frame::{DataFrame, Frame, decode},
    key::NwkSKey,
};
use measure::seconds;
use serde_json::Value;

const KEY: [u8; 16] = [
    0x2b, 0x7e, 0x15, 0x16, 0x28, 0xae, 0xd2, 0xa6, 0xab, 0xf7, 0x15, 0x88, 0x09, 0xcf, 0x4f, 0x3c,
];

/// So many blocks in one entry into the cipher, each encrypted after the one before.
struct Chained<'a> {
    blocks: usize,
    state: &'a mut [u8; 16],
}

impl BlockSizeUser for Chained<'_> {
    type BlockSize = U16;
}

impl BlockCipherEncClosure for Chained<'_> {
    #[inline]
    fn call<B: BlockCipherEncBackend<BlockSize = U16>>(self, aes: &B) {
        let mut state = Array::from(*self.state);
        for _ in 0..self.blocks {
            aes.encrypt_block_inplace(&mut state);
        }
        *self.state = state.into();
    }
}

/// The published frames, as bytes.
fn published() -> Vec<Vec<u8>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("vectors/frames");
    let names = ["data-down", "data-up", "join-accept", "join-request", "rejoin-request"];
    let files = names.map(|name| {
        let text = fs::read_to_string(folder.join(name).with_extension("json")).expect("vectors");
        serde_json::from_str::<Value>(&text).expect("vectors")
    });
    let items = files.iter().flat_map(|file| file["items"].as_array().expect("items"));
    items.map(|item| hex::decode(item["phy_hex"].as_str().expect("hex")).expect("hex")).collect()
}

fn main() {
    let frames = published();
    let data: Vec<DataFrame> = frames
        .iter()
        .filter_map(|octets| match decode(octets).frame {
            Some(Frame::Data(data)) => Some(data),
            _ => None,
        })
        .collect();
    let mut inputs: Vec<_> = data.iter().map(|frame| (MicInput::of(frame), frame.fcnt)).collect();
    let mut inputs_again = inputs.clone();
    // What a MIC encrypts: zeros for the subkey, B0, and the bytes in blocks of 16.
    let blocks: usize =
        data.iter().map(|frame| 2 + Frame::Data(frame.clone()).signed().len().div_ceil(16)).sum();

    let key = NwkSKey::from(KEY);
    let ready = || Verifier::new(0, IntegrityKeys::V1_0(&key));
    let (mut verifier, mut another) = (ready(), ready());
    let unseen = Unseen::default();
    let holds = |verifier: &mut Verifier, input: &mut MicInput<'_>, fcnt: u16| {
        let checked = verifier.check(input, [u32::from(fcnt)], &unseen);
        u64::from(checked.is_some_and(|checked| checked.is_ok()))
    };
    let aes = Aes128::new(&Array::from(KEY));
    let mut chained = [0; 16];
    let mut apart: Vec<_> = (0..8u8).map(|i| Array::from([i; 16])).collect();
    let split = |octets: &[u8]| decode(octets).frame.is_some();
    let [parse, located, stored, stored_parsed, fresh, bare_chained, bare_apart] = seconds([
        &mut || frames.iter().map(|octets| u64::from(split(octets))).sum(),
        &mut || frames.iter().map(|octets| decode(octets).fields().len() as u64).sum(),
        &mut || inputs.iter_mut().map(|(input, n)| holds(&mut verifier, input, *n)).sum(),
        &mut || {
            // From bytes to answer, as a capture is read.
            let mut hold = 0;
            for octets in &frames {
                if let Some(Frame::Data(data)) = decode(octets).frame {
                    hold += holds(&mut another, &mut MicInput::of(&data), data.fcnt);
                }
            }
            hold
        },
        &mut || inputs_again.iter_mut().map(|(input, n)| holds(&mut ready(), input, *n)).sum(),
        &mut || {
            aes.encrypt_with_backend(Chained { blocks, state: black_box(&mut chained) });
            u64::from(chained[0])
        },
        &mut || {
            // No block waits for another: eight at a time.
            for _ in 0..blocks.div_ceil(8) {
                aes.encrypt_blocks(black_box(&mut apart));
            }
            u64::from(apart[0][0])
        },
    ]);

    let per = |what: &str, seconds: f64, count: usize, unit: &str| {
        #[expect(clippy::cast_precision_loss, reason = "counts are small")]
        let count = count as f64;
        println!(
            "{what:44} {:7.1} ns, {:6.2} M {unit}/s",
            seconds / count * 1e9,
            count / seconds / 1e6
        );
    };
    println!(
        "{} frames, {} of them data, {blocks} blocks under their MICs",
        frames.len(),
        data.len()
    );
    per("read into fields", parse, frames.len(), "frames");
    per("the same, and where each field is", located, frames.len(), "frames");
    per("MIC check, stored key", stored, data.len(), "frames");
    per("read and MIC check, stored key", stored_parsed, frames.len(), "frames");
    per("MIC check, a fresh key each", fresh, data.len(), "frames");
    per("bare AES, each block after the one before", bare_chained, blocks, "blocks");
    per("bare AES, blocks side by side", bare_apart, blocks, "blocks");
    println!("MIC check, stored key: {:.2} of the chained AES rate", bare_chained / stored);
    println!("MIC check, stored key: {:.2} of the side-by-side AES rate", bare_apart / stored);
    println!("MIC check, fresh key:  {:.2} of the chained AES rate", bare_chained / fresh);
}
