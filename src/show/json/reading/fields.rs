//! The member `fields`: every field under the standard's own spelling.

use serde::Serialize;

use crate::{
    frame::{CfList, CfListType, Direction, DlSettings, FCtrl, Field, Fields, Frame, Mhdr},
    id::{DevAddr, Eui64, NetId},
    reading::Reading,
};

/// All members of `fields`, in the order in which any message sends them.
#[derive(Default, Serialize)]
#[serde(rename_all = "PascalCase")]
pub(super) struct FieldsJson {
    #[serde(rename = "MHDR", skip_serializing_if = "Option::is_none")]
    mhdr: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    rejoin_type: Option<u8>,
    #[serde(skip_serializing_if = "Option::is_none")]
    join_nonce: Option<u64>,
    #[serde(rename = "NetID", skip_serializing_if = "Option::is_none")]
    net_id: Option<String>,
    #[serde(rename = "JoinEUI", skip_serializing_if = "Option::is_none")]
    join_eui: Option<String>,
    #[serde(rename = "DevEUI", skip_serializing_if = "Option::is_none")]
    dev_eui: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    dev_nonce: Option<u64>,
    #[serde(rename = "RJcount0", skip_serializing_if = "Option::is_none")]
    rj_count_0: Option<u64>,
    #[serde(rename = "RJcount1", skip_serializing_if = "Option::is_none")]
    rj_count_1: Option<u64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    dev_addr: Option<String>,
    #[serde(rename = "DLSettings", skip_serializing_if = "Option::is_none")]
    dl_settings: Option<DlSettingsJson>,
    #[serde(skip_serializing_if = "Option::is_none")]
    rx_delay: Option<u8>,
    #[serde(rename = "CFList", skip_serializing_if = "Option::is_none")]
    cf_list: Option<CfListJson>,
    #[serde(rename = "FCtrl", skip_serializing_if = "Option::is_none")]
    fctrl: Option<FCtrlJson>,
    #[serde(rename = "FCnt", skip_serializing_if = "Option::is_none")]
    fcnt: Option<u64>,
    #[serde(rename = "FOpts", skip_serializing_if = "Option::is_none")]
    fopts: Option<String>,
    #[serde(rename = "FPort", skip_serializing_if = "Option::is_none")]
    fport: Option<u8>,
    #[serde(rename = "FRMPayload", skip_serializing_if = "Option::is_none")]
    frm_payload: Option<String>,
    #[serde(rename = "MIC", skip_serializing_if = "Option::is_none")]
    mic: Option<String>,
}

#[derive(Serialize)]
struct DlSettingsJson {
    #[serde(rename = "OptNeg")]
    opt_neg: bool,
    #[serde(rename = "RX1DROffset")]
    rx1_dr_offset: u8,
    #[serde(rename = "RX2DataRate")]
    rx2_data_rate: u8,
}

#[derive(Serialize)]
struct CfListJson {
    r#type: u8,
    #[serde(skip_serializing_if = "Option::is_none")]
    frequencies: Option<Vec<u32>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    masks: Option<Vec<String>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    octets: Option<String>,
}

#[derive(Serialize)]
struct FCtrlJson {
    #[serde(rename = "ADR")]
    adr: bool,
    #[serde(rename = "ADRACKReq", skip_serializing_if = "Option::is_none")]
    adr_ack_req: Option<bool>,
    #[serde(rename = "ACK")]
    ack: bool,
    #[serde(rename = "FPending", skip_serializing_if = "Option::is_none")]
    f_pending: Option<bool>,
    #[serde(rename = "ClassB", skip_serializing_if = "Option::is_none")]
    class_b: Option<bool>,
    #[serde(rename = "FOptsLen")]
    fopts_len: u8,
}

fn number(octets: &[u8]) -> u64 {
    octets.iter().rev().fold(0, |sum, octet| sum << 8 | u64::from(*octet))
}

fn eui(octets: &[u8]) -> Option<String> {
    octets.try_into().ok().map(|octets| Eui64::from_wire(octets).hex())
}

impl FieldsJson {
    /// Returns the members: those sent in clear, and those of a Join-Accept that its key opened.
    pub(super) fn of(reading: &Reading) -> Self {
        let (decoded, found) = (&reading.decoded, &reading.found);
        let mut fields = Self::default();
        fields.take(&decoded.octets, &decoded.fields());
        if let Some(opened) = &found.accept {
            fields.take(&opened.accept.octets, &opened.accept.fields);
        }
        if let Some(Frame::Data(data)) = &decoded.frame {
            // Lawfully empty fields leave no octets, and JSON shows that they are empty.
            fields.fopts.get_or_insert_default();
            if data.payload.is_some() {
                fields.frm_payload.get_or_insert_default();
            }
        }
        fields
    }

    /// Takes over every field that was read, so that a frame cut short has those before the damage.
    fn take(&mut self, octets: &[u8], fields: &Fields) {
        let uplink = octets
            .first()
            .is_some_and(|&mhdr| Mhdr(mhdr).ftype().direction() == Some(Direction::Uplink));
        for field in fields {
            let Some(of) = octets.get(field.at.clone()) else { continue };
            let first = of.first().copied();
            match field.value {
                Field::Mhdr => self.mhdr = Some(hex::encode(of)),
                Field::JoinEui => self.join_eui = eui(of),
                Field::DevEui => self.dev_eui = eui(of),
                Field::DevNonce => self.dev_nonce = Some(number(of)),
                Field::JoinNonce => self.join_nonce = Some(number(of)),
                Field::NetId => {
                    self.net_id = of.try_into().ok().map(|o| NetId::from_wire(o).hex());
                }
                Field::DevAddr => {
                    self.dev_addr = of.try_into().ok().map(|o| DevAddr::from_wire(o).hex());
                }
                Field::DlSettings => {
                    self.dl_settings = first.map(|o| DlSettingsJson::of(DlSettings(o)));
                }
                Field::RxDelay => self.rx_delay = first,
                Field::CfList => {
                    self.cf_list = of.try_into().ok().map(|o| CfListJson::of(CfList(o)));
                }
                Field::RejoinType => self.rejoin_type = first,
                Field::RjCount0 => self.rj_count_0 = Some(number(of)),
                Field::RjCount1 => self.rj_count_1 = Some(number(of)),
                Field::FCtrl => self.fctrl = first.map(|octet| FCtrlJson::of(octet, uplink)),
                Field::FCnt => self.fcnt = Some(number(of)),
                Field::FOpts => self.fopts = Some(hex::encode(of)),
                Field::FPort => self.fport = first,
                Field::FrmPayload => self.frm_payload = Some(hex::encode(of)),
                Field::Mic => self.mic = Some(hex::encode(of)),
                // In the contract these stand in `PHYPayload` alone.
                Field::Sealed | Field::Surplus | Field::Proprietary => {}
            }
        }
    }
}

impl DlSettingsJson {
    const fn of(settings: DlSettings) -> Self {
        Self {
            opt_neg: settings.opt_neg(),
            rx1_dr_offset: settings.rx1_dr_offset(),
            rx2_data_rate: settings.rx2_data_rate(),
        }
    }
}

impl CfListJson {
    fn of(list: CfList) -> Self {
        let mut out = Self { r#type: 0, frequencies: None, masks: None, octets: None };
        match list.kind() {
            CfListType::Frequencies => out.frequencies = Some(list.frequencies().collect()),
            CfListType::Masks => {
                out.r#type = 1;
                out.masks = Some(list.masks().map(|mask| format!("{mask:04x}")).collect());
            }
            CfListType::Rfu(kind) => {
                out.r#type = kind;
                out.octets = Some(hex::encode(list.0));
            }
        }
        out
    }
}

impl FCtrlJson {
    fn of(octet: u8, uplink: bool) -> Self {
        let flags = FCtrl::new(octet);
        Self {
            adr: flags.adr(),
            adr_ack_req: uplink.then(|| flags.adr_ack_req()),
            ack: flags.ack(),
            f_pending: (!uplink).then(|| flags.f_pending()),
            class_b: uplink.then(|| flags.f_pending()),
            fopts_len: octet & 0x0F,
        }
    }
}
