//! Frames put together again, octet for octet, so that their MICs can be checked.

use super::fields::Fields;
use crate::id::Eui64;

/// MHDR 1, JoinEUI 8, DevEUI 8, DevNonce 2, MIC 4 octets.
///
/// # Errors
/// The name of the member that is missing or wrong.
pub(super) fn join_request(fields: &mut Fields<'_, '_>) -> Result<Vec<u8>, &'static str> {
    let mhdr = fields.small("MHdr").ok_or("MHdr")?;
    let join_eui = fields.eui("JoinEui", "JoinEUI").map(Eui64::to_wire).ok_or("JoinEui")?;
    let dev_eui = fields.eui("DevEui", "DevEUI").map(Eui64::to_wire).ok_or("DevEui")?;
    let nonce = fields.two_octets("DevNonce").ok_or("DevNonce")?;
    let mic = fields.four_octets("MIC").ok_or("MIC")?;
    Ok([&[mhdr][..], &join_eui, &dev_eui, &nonce, &mic].concat())
}

/// MHDR 1, DevAddr 4, FCtrl 1, FCnt 2, FOpts, FPort 1 unless it is -1, FRMPayload, MIC 4 octets.
///
/// # Errors
/// The name of the member that is missing or wrong.
pub(super) fn data(fields: &mut Fields<'_, '_>) -> Result<Vec<u8>, &'static str> {
    let mhdr = fields.small("MHdr").ok_or("MHdr")?;
    let dev_addr = fields.four_octets("DevAddr").ok_or("DevAddr")?;
    let fctrl = fields.small("FCtrl").ok_or("FCtrl")?;
    let fcnt = fields.two_octets("FCnt").ok_or("FCnt")?;
    let f_opts = fields.hex("FOpts").unwrap_or_default();
    let port = match fields.get("FPort") {
        None => None,
        Some(_) => fields.integer("FPort", -1..=255).ok_or("FPort")?.try_into().ok(),
    };
    let port: Vec<u8> = port.into_iter().collect();
    let payload = fields.hex("FRMPayload").unwrap_or_default();
    let mic = fields.four_octets("MIC").ok_or("MIC")?;
    Ok([&[mhdr][..], &dev_addr, &[fctrl], &fcnt, &f_opts, &port, &payload, &mic].concat())
}
