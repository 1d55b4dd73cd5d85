//! Splits a frame, checks and decrypts it, and verifies a join, without the standard library.
//!
//! The panic handler and the allocator are its own. Where a dependency links `std`, there are two panic
//! handlers, and the compiler refuses.
#![no_std]

extern crate alloc;

use alloc::string::ToString;
use core::{
    alloc::{GlobalAlloc, Layout},
    panic::PanicInfo,
    ptr,
    sync::atomic::{AtomicUsize, Ordering},
};

use handfast::{
    crypto::{
        EncryptionKeys, IntegrityKeys, MicInput, Unseen, Verifier,
        block::FOptsText,
        cipher::{self, AcceptKey},
        derive, mic, wrap,
    },
    frame::{Frame, beacon, command, decode},
    id::{DevNonce, identify},
    key::{AppKey, AppSKey, Kek, NwkSKey},
};

/// Everything that the rooms offer must link, so each is called once.
fn everything(octets: &[u8]) -> Option<usize> {
    let decoded = decode(octets);
    let mut told = decoded.fields().len() + decoded.faults.len();
    match decoded.frame? {
        Frame::Data(frame) => {
            let (network, app) = (NwkSKey::from([1; 16]), AppSKey::from([2; 16]));
            let mut verifier = Verifier::new(0, IntegrityKeys::V1_0(&network));
            let counters = [u32::from(frame.fcnt)];
            let mut input = MicInput::of(&frame);
            let verified = verifier.check(&mut input, counters, &Unseen::default())?.ok()?;
            let keys = EncryptionKeys { app_s_key: Some(&app), ..EncryptionKeys::default() };
            let options = cipher::fopts(&verified, &keys, FOptsText::Amended)?;
            let list = command::decode(&options, frame.direction(), None);
            told += list.to_string().len() + cipher::payload(&verified, &keys)?.octets.len();
        }
        Frame::JoinRequest(request) => {
            let root = AppKey::from([3; 16]);
            told += usize::from(mic::check_join_request(&root, &request).is_ok());
            told += identify(&request.dev_eui.hex()).ok()?.candidates.len();
        }
        Frame::JoinAccept(sealed) => {
            let root = AppKey::from([3; 16]);
            let accept = cipher::open_join_accept(AcceptKey::join(&root), &sealed)?.accept;
            mic::check_join_accept_1_0(&root, &accept).ok()?;
            let keys = derive::session_1_0(&root, accept.join_nonce, accept.net_id, DevNonce(1));
            told += keys.named().len();
        }
        Frame::RejoinRequest(_) | Frame::Proprietary(_) => {
            let beacon = beacon::decode(octets, None).ok()?;
            told += beacon.time.to_string().len() + beacon.faults().len();
            told += wrap::unwrap_data(&Kek::from([4; 16]), octets).ok()?.len();
        }
    }
    Some(told)
}

/// Reads a frame; the way in, so that nothing of it is left out.
#[unsafe(no_mangle)]
pub extern "C" fn handfast_no_std(first: u8, second: u8) -> usize {
    let mut octets = [0; 33];
    octets[0] = first;
    octets[5] = second;
    everything(&octets).unwrap_or_default()
}

#[panic_handler]
fn panic(_: &PanicInfo<'_>) -> ! {
    loop {}
}

/// Gives memory once and takes none back: enough to link.
struct Once;

const ROOM: usize = 1 << 16;
static mut MEMORY: [u8; ROOM] = [0; ROOM];
static USED: AtomicUsize = AtomicUsize::new(0);

// SAFETY: each range of MEMORY is given out once, aligned, and none beyond its end.
unsafe impl GlobalAlloc for Once {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        let want = layout.size() + layout.align();
        let at = USED.fetch_add(want, Ordering::Relaxed);
        if at.saturating_add(want) > ROOM {
            return ptr::null_mut();
        }
        let start = (&raw mut MEMORY).cast::<u8>().wrapping_add(at);
        start.wrapping_add(start.align_offset(layout.align()))
    }

    unsafe fn dealloc(&self, _: *mut u8, _: Layout) {}
}

#[global_allocator]
static ALLOCATOR: Once = Once;
