//! Mistakes in the MIC of a Join-Request: the node's.

use crate::explore::misreading::recipe::{Mac, MhdrIn, Order::Printed};

rows! { Request Node;
    "join-eui-turned-in-request-mic" RequestMic "LoRaWAN 1.0.4 p. 45, 1.1 6.2.2"
        "signs JoinEUI in one byte order and sends it in the other"
        "the root key is right, the server finds the node, and the MIC of every Join-Request fails"
        |r| r.request.join_eui = Printed;
    "dev-eui-turned-in-request-mic" RequestMic "LoRaWAN 1.0.4 p. 45, 1.1 6.2.2"
        "signs DevEUI in one byte order and sends it in the other"
        "the root key is right, the server finds the node, and the MIC of every Join-Request fails"
        |r| r.request.dev_eui = Printed;
    "both-euis-turned-in-request-mic" RequestMic "LoRaWAN 1.0.4 p. 45, 1.1 6.2.2"
        "signs both EUIs in one byte order and sends them in the other"
        "the root key is right, the server finds the node, and the MIC of every Join-Request fails"
        |r| { r.request.join_eui = Printed; r.request.dev_eui = Printed; };
    "dev-nonce-turned-in-request-mic" RequestMic "LoRaWAN 1.0.4 p. 45, 1.1 6.2.2"
        "signs DevNonce in one byte order and sends it in the other"
        "the MIC of a Join-Request holds only where both bytes of DevNonce are equal"
        |r| r.request.dev_nonce = Printed;
    "all-fields-turned-in-request-mic" RequestMic "LoRaWAN 1.0.4 p. 45, 1.1 6.2.2"
        "signs both EUIs and DevNonce in one byte order and sends them in the other"
        "the root key is right, the server finds the node, and the MIC of every Join-Request fails"
        |r| {
            r.request.join_eui = Printed;
            r.request.dev_eui = Printed;
            r.request.dev_nonce = Printed;
        };
    "euis-exchanged-in-request-mic" RequestMic "LoRaWAN 1.0.4 p. 45, 1.1 6.2.2"
        "signs DevEUI before JoinEUI and sends JoinEUI before DevEUI"
        "the root key is right, the server finds the node, and the MIC of every Join-Request fails"
        |r| r.request.euis_exchanged = true;
    "mhdr-left-out-of-request-mic" RequestMic "LoRaWAN 1.0.4 p. 45, 1.1 6.2.2"
        "leaves MHDR out of what it signs"
        "the root key is right and the MIC of every Join-Request fails"
        |r| r.request.mhdr = MhdrIn::LeftOut;
    "zero-mic-signed-in-request" RequestMic "LoRaWAN 1.0.4 p. 45, 1.1 6.2.2"
        "signs the four zero bytes, too, where MIC will be"
        "the root key is right and the MIC of every Join-Request fails"
        |r| r.request.zero_mic = true;
    "request-signed-under-js-int-key" RequestMic "LoRaWAN 1.1, 6.2.2"
        "signs its Join-Request under JSIntKey, which is for Rejoin-Requests of type 1"
        "the MIC of every Join-Request fails under NwkKey and under AppKey"
        |r| r.request.under_js_int_key = true;
    "request-mic-back-to-front" RequestMic "LoRaWAN 1.0.4 p. 45, RFC 4493 2.4"
        "sends the bytes of MIC back to front"
        "the MIC expected and the MIC received are the same bytes in opposite orders"
        |r| r.request.mic.reversed = true;
    "request-mic-from-the-end-of-the-cmac" RequestMic "LoRaWAN 1.0.4 p. 45, RFC 4493 2.4"
        "takes the last four bytes of the CMAC for MIC, not the first"
        "the root key is right and the MIC of every Join-Request fails"
        |r| r.request.mic.from_the_end = true;
    "request-mac-without-subkey" RequestMic "RFC 4493, 2.4"
        "chains the blocks of the MAC and leaves the subkey out"
        "every MIC that this side makes fails, whatever the frame"
        |r| r.request.mic.mac = Mac::NoSubkey;
    "request-mac-with-k1-for-k2" RequestMic "RFC 4493, 2.4"
        "takes K1 for a last block that was padded, where K2 belongs"
        "MICs over whole blocks hold, all others fail: a Join-Request has 19 bytes"
        |r| r.request.mic.mac = Mac::OneSubkey;
    "request-mac-padded-with-zeros" RequestMic "RFC 4493, 2.4"
        "pads the last block of the MAC with zeros alone, without the one bit in front"
        "MICs over whole blocks hold, all others fail: a Join-Request has 19 bytes"
        |r| r.request.mic.mac = Mac::ZeroPadding;
}
