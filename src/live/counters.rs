//! What the tap counts, readable while it runs.

use std::sync::atomic::{AtomicU64, Ordering};

macro_rules! counters {
    ($($(#[$doc:meta])* $name:ident: $words:literal;)*) => {
        /// Counts of one run. They only grow.
        #[derive(Debug, Default)]
        pub struct Counters {
            $($(#[$doc])* pub $name: Counter,)*
        }

        impl Counters {
            /// Returns every count: its name for scripts, its words for people, its value.
            pub fn all(&self) -> Vec<(&'static str, &'static str, u64)> {
                vec![$((stringify!($name), $words, self.$name.value()),)*]
            }
        }
    };
}

counters! {
    /// Datagrams that came to the port.
    received: "datagrams at the port";
    /// Those that were acknowledged in the place of a server.
    acknowledged: "acknowledged";
    /// Those that were handed on to the server.
    relayed_up: "forwarded to the server";
    /// Datagrams of the server that were handed on to a gateway.
    relayed_down: "forwarded to a gateway";
    /// Frames that gateways heard.
    frames_up: "frames heard";
    /// Frames that gateways were told to send.
    frames_down: "frames to be sent";
    /// Frames whose CRC fails: nothing in them is to be believed.
    crc_bad: "frames with a bad CRC";
    /// Datagrams written to the recording.
    recorded: "recorded";
    /// Octets that are no datagram of the protocol.
    malformed: "no datagrams of the protocol";
    /// Datagrams whose JSON cannot be read.
    unreadable: "without readable JSON";
    /// Datagrams that only a server sends, from elsewhere.
    misdirected: "meant for gateways, but sent here";
    /// Datagrams of gateways that are not listened to.
    not_allowed: "of gateways not allowed";
    /// Datagrams that were acknowledged or handed on, and recorded, but not decoded: too many at once.
    not_decoded: "passed on without decoding, too many at the same time";
    /// Datagrams that the recording lacks: the disk was slow or full.
    not_recorded: "not recorded";
    /// Datagrams and acknowledgements that a socket did not take.
    not_sent: "not sent, the network did not take them";
    /// Datagrams that came faster than they were read, and that the system dropped.
    dropped: "dropped by the system before they were read";
    /// Datagrams that were handed on a moment ago, and came back: the relay leads here.
    returned: "came back, and were not forwarded again";
    /// Datagrams of new addresses that were not handed on: too many came at once.
    not_admitted: "of too many new addresses, not forwarded";
    /// Gateways' addresses that were forgotten to make room for others.
    forgotten: "addresses forgotten to make room";
}

/// One count.
#[derive(Debug, Default)]
pub struct Counter(AtomicU64);

impl Counter {
    /// Returns the count so far.
    pub fn value(&self) -> u64 {
        self.0.load(Ordering::Relaxed)
    }

    pub(super) fn one(&self) {
        self.many(1);
    }

    /// Counts what somebody else has counted.
    pub(super) fn raise_to(&self, n: u64) {
        self.0.fetch_max(n, Ordering::Relaxed);
    }

    pub(super) fn many(&self, n: u64) {
        self.0.fetch_add(n, Ordering::Relaxed);
    }
}
