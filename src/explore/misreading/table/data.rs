//! Mistakes in the MIC of data frames: either side's.

use crate::explore::misreading::recipe::{
    Conf, Halves, Len, Mac, MhdrIn, Order::Printed, Rule, Slot,
};

rows! { DataMic Either;
    // The block in front
    "counter-upper-half-lost" UpperHalf "LoRaWAN 1.0.4 p. 23-25, 1.1 4.4"
        "signs with the lower 16 bits of the counter alone"
        "all is well up to counter 65535 and nothing verifies after it"
        |r| r.data.low_half = true;
    "counter-turned-in-block" DataMic "LoRaWAN 1.0.4 p. 25, 1.1 4.4"
        "puts the counter into the block most significant byte first"
        "frame 0 verifies and no other"
        |r| r.data.fcnt = Printed;
    "dev-addr-turned-in-block" DataMic "LoRaWAN 1.0.4 p. 25, 1.1 4.4"
        "puts DevAddr into the block most significant byte first"
        "the session keys are right and the MIC of every data frame fails"
        |r| r.data.dev_addr = Printed;
    "dir-inverted-in-block" DataMic "LoRaWAN 1.0.4 p. 25, 1.1 4.4"
        "puts Dir of the other direction into the block"
        "the session keys are right and the MIC of every data frame of one side fails"
        |r| r.data.dir_inverted = true;
    "mic-counted-in-block-length" DataMic "LoRaWAN 1.0.4 p. 25, 1.1 4.4"
        "counts the four bytes of MIC in the length that the block states"
        "the session keys are right and the MIC of every data frame fails"
        |r| r.data.len = Len::WithMic;
    "length-left-out-of-block" DataMic "LoRaWAN 1.0.4 p. 25, 1.1 4.4"
        "leaves the length out of the block"
        "the session keys are right and the MIC of every data frame fails"
        |r| r.data.len = Len::Zero;
    "block-begins-with-01" DataMic "LoRaWAN 1.0.4 p. 25, 1.1 4.4"
        "begins the block of the MIC with 01, as that of the cipher, where 49 belongs"
        "the session keys are right and the MIC of every data frame fails"
        |r| r.data.first = 1;
    "block-left-out" DataMic "LoRaWAN 1.0.4 p. 25, 1.1 4.4"
        "signs the frame without the block in front"
        "the session keys are right and the MIC of every data frame fails"
        |r| r.data.has_block = false;
    // The message
    "mhdr-left-out-of-data-mic" DataMic "LoRaWAN 1.0.4 p. 25, 1.1 4.4"
        "leaves MHDR out of what it signs"
        "the session keys are right and the MIC of every data frame fails"
        |r| r.data.mhdr = MhdrIn::LeftOut;
    "mic-made-before-encryption" DataMic "LoRaWAN 1.0.4 p. 24, 1.1 4.3.3"
        "signs FRMPayload before it is encrypted"
        "frames without a payload verify and the others do not"
        |r| r.data.over_plaintext = true;
    // ConfFCnt
    "conf-fcnt-left-out" DataMic "LoRaWAN 1.1, 4.4.1 and 4.4.2"
        "leaves ConfFCnt zero in a frame that acknowledges"
        "only frames with ACK fail"
        |r| r.data.conf = Conf::LeftOut;
    "conf-fcnt-one-too-high" DataMic "LoRaWAN 1.1, 4.4.1 and 4.4.2"
        "puts the next counter into ConfFCnt, not that of the frame it acknowledges"
        "only frames with ACK fail"
        |r| r.data.conf = Conf::OneMore;
    "conf-fcnt-one-too-low" DataMic "LoRaWAN 1.1, 4.4.1 and 4.4.2"
        "puts the counter before that of the frame it acknowledges into ConfFCnt"
        "only frames with ACK fail"
        |r| r.data.conf = Conf::OneLess;
    "conf-fcnt-without-ack" DataMic "LoRaWAN 1.1, 4.4.1 and 4.4.2"
        "keeps the last ConfFCnt in frames that do not acknowledge"
        "frames with ACK verify; after the first confirmed frame no others do"
        |r| r.data.conf = Conf::WithoutAckToo;
    "conf-fcnt-in-b0" DataMic "LoRaWAN 1.1, 4.4.2"
        "puts ConfFCnt into B0 of an uplink (1.1), or of any frame (1.0.x)"
        "frames with ACK fail; of a 1.1 uplink's MIC the last two bytes"
        |r| r.data.conf_in_b0 = true;
    // B1
    "tx-dr-left-out" DataMic "LoRaWAN 1.1, 4.4.2"
        "leaves TxDr zero in B1"
        "the last two bytes of an uplink's MIC are right, the first two only at data rate 0"
        |r| r.data.tx_dr_zero = true;
    "tx-ch-left-out" DataMic "LoRaWAN 1.1, 4.4.2"
        "leaves TxCh zero in B1"
        "the last two bytes of an uplink's MIC are right, the first two only on channel 0"
        |r| r.data.tx_ch_zero = true;
    "tx-dr-and-tx-ch-left-out" DataMic "LoRaWAN 1.1, 4.4.2"
        "leaves TxDr and TxCh zero in B1: B0 in its place"
        "the last two bytes of an uplink's MIC are right, the first two hardly ever"
        |r| { r.data.tx_dr_zero = true; r.data.tx_ch_zero = true; };
    "tx-dr-and-tx-ch-exchanged" DataMic "LoRaWAN 1.1, 4.4.2"
        "puts TxCh before TxDr in B1"
        "the last two bytes of an uplink's MIC are right, the first two only where both are equal"
        |r| r.data.tx_exchanged = true;
    // The two halves of 1.1
    "mic-halves-exchanged" DataMic "LoRaWAN 1.1, 4.4.2"
        "lays the forwarding half of an uplink's MIC before the serving half"
        "no uplink verifies; the halves of MIC are right and in each other's place"
        |r| r.data.halves = Halves::Exchanged;
    "forwarding-half-from-octets-2-and-3" DataMic "LoRaWAN 1.1, 4.4.2"
        "takes bytes 2 and 3 of the forwarding CMAC, which gives its bytes 0 and 1"
        "the first two bytes of an uplink's MIC are right, the last two are not"
        |r| r.data.halves = Halves::Overlaid;
    "both-halves-under-f-nwk-s-int-key" DataMic "LoRaWAN 1.1, 4.4.2"
        "signs both halves of an uplink's MIC under FNwkSIntKey"
        "the last two bytes of an uplink's MIC are right, the first two are not"
        |r| r.data.serving = Slot::Forwarding;
    "both-halves-under-s-nwk-s-int-key" DataMic "LoRaWAN 1.1, 4.4.2"
        "signs both halves of an uplink's MIC under SNwkSIntKey"
        "the first two bytes of an uplink's MIC are right, the last two are not"
        |r| r.data.forwarding = Slot::Serving;
    "data-mic-of-1.0-though-keys-are-of-1.1" DataMic "LoRaWAN 1.1, 4.4.1 and 4.4.2"
        "signs by the rule of 1.0, all four bytes under FNwkSIntKey and B0"
        "downlinks fail, and of an uplink's MIC each half"
        |r| r.data.rule = Rule::V1_0;
    "data-mic-of-1.1-though-keys-are-of-1.0" DataMic "LoRaWAN 1.1, 4.4.2 and 6.2.3"
        "splits an uplink's MIC in halves by the rule of 1.1 although OptNeg is 0"
        "no uplink verifies by the rule of 1.0"
        |r| r.data.rule = Rule::V1_1;
    "downlink-mic-under-f-nwk-s-int-key" DataMic "LoRaWAN 1.1, 4.4.1"
        "signs downlinks under FNwkSIntKey where SNwkSIntKey belongs"
        "uplinks verify and the node takes no downlink"
        |r| r.data.down = Slot::Forwarding;
    // The MAC
    "data-mic-back-to-front" DataMic "LoRaWAN 1.0.4 p. 25, RFC 4493 2.4"
        "sends the bytes of MIC back to front"
        "the MIC expected and the MIC received are the same bytes in opposite orders"
        |r| r.data.mic.reversed = true;
    "data-mic-from-the-end-of-the-cmac" DataMic "LoRaWAN 1.0.4 p. 25, RFC 4493 2.4"
        "takes the last bytes of the CMAC for MIC, not the first"
        "the session keys are right and the MIC of every data frame fails"
        |r| r.data.mic.from_the_end = true;
    "data-mac-without-subkey" DataMic "RFC 4493, 2.4"
        "chains the blocks of the MAC and leaves the subkey out"
        "every MIC that this side makes fails, whatever the frame"
        |r| r.data.mic.mac = Mac::NoSubkey;
    "data-mac-with-k1-for-k2" DataMic "RFC 4493, 2.4"
        "takes K1 for a last block that was padded, where K2 belongs"
        "MICs over whole blocks hold, all others fail"
        |r| r.data.mic.mac = Mac::OneSubkey;
    "data-mac-padded-with-zeros" DataMic "RFC 4493, 2.4"
        "pads the last block of the MAC with zeros alone, without the one bit in front"
        "MICs over whole blocks hold, all others fail"
        |r| r.data.mic.mac = Mac::ZeroPadding;
}
