//! Frames put together again, octet for octet, so that their MICs can be checked.

use super::fields::Fields;
use crate::id::Eui64;

/// MHDR 1, JoinEUI 8, DevEUI 8, DevNonce 2, MIC 4 octets.
pub(super) fn join_request(fields: &mut Fields<'_, '_>) -> Option<Vec<u8>> {
    let mhdr = fields.small("MHdr")?;
    let join_eui = fields.eui("JoinEui", "JoinEUI").map(Eui64::to_wire)?;
    let dev_eui = fields.eui("DevEui", "DevEUI").map(Eui64::to_wire)?;
    let nonce = fields.two_octets("DevNonce")?;
    let mic = fields.four_octets("MIC")?;
    Some([&[mhdr][..], &join_eui, &dev_eui, &nonce, &mic].concat())
}

/// MHDR 1, DevAddr 4, FCtrl 1, FCnt 2, FOpts, FPort 1 unless it is -1, FRMPayload, MIC 4 octets.
pub(super) fn data(fields: &mut Fields<'_, '_>) -> Option<Vec<u8>> {
    let mhdr = fields.small("MHdr")?;
    let dev_addr = fields.four_octets("DevAddr")?;
    let fctrl = fields.small("FCtrl")?;
    let fcnt = fields.two_octets("FCnt")?;
    let f_opts = fields.hex("FOpts").unwrap_or_default();
    let port = match fields.get("FPort") {
        None => None,
        Some(_) => fields.integer("FPort", -1..=255)?.try_into().ok(),
    };
    let port: Vec<u8> = port.into_iter().collect();
    let payload = fields.hex("FRMPayload").unwrap_or_default();
    let mic = fields.four_octets("MIC")?;
    Some([&[mhdr][..], &dev_addr, &[fctrl], &fcnt, &f_opts, &port, &payload, &mic].concat())
}
