//! The certification protocol, TS009: what a test tool asks of a node on FPort 224, and what it answers.
//!
//! The numbers of CIDs 20 to 22, 7D and 7E were seen in the document, the others in device stacks. Nodes that
//! were certified for 1.0.2 and 1.0.3 use an older protocol on this port, which is not read here.

use super::super::{
    kind,
    layout::{
        Length,
        Role::{Answer, Request},
        Row, bits, down, up, whole,
    },
};

const SOURCE: &str = "TS009";
const FROM_STACKS: &str = "its number is from device stacks";

/// A command whose number was read in device stacks alone.
const fn seen(row: Row, says: &'static str) -> Row {
    row.says(says, SOURCE).doubt(FROM_STACKS)
}

pub(super) static CERTIFICATION: &[Row] = &[
    super::VERSION_REQ,
    super::VERSION_ANS,
    seen(down(0x01, "DutResetReq", Request, 0), "Has the node reset"),
    seen(down(0x02, "DutJoinReq", Request, 0), "Has the node join again"),
    seen(
        down(0x03, "SwitchClassReq", Request, 1).fields(&[whole("Class", 0, 1, kind::TEST_CLASS)]),
        "Has the node change its class",
    ),
    seen(
        down(0x04, "AdrBitChangeReq", Request, 1).fields(&[bits("ADR", 0, 1, 0, 0, kind::FLAG)]),
        "Has the node set or clear its ADR bit",
    ),
    seen(
        down(0x05, "RegionalDutyCycleCtrlReq", Request, 1).fields(&[bits(
            "DutyCycle",
            0,
            1,
            0,
            0,
            kind::FLAG,
        )]),
        "Switches the region's duty cycle limit in the node on or off",
    ),
    seen(
        down(0x06, "TxPeriodicityChangeReq", Request, 1).fields(&[whole(
            "Periodicity",
            0,
            1,
            kind::TEST_PERIOD,
        )]),
        "Has the node send at another interval",
    ),
    seen(
        down(0x07, "TxFramesCtrlReq", Request, 1).long(Length::Rest(1)).fields(&[
            whole("FrameType", 0, 1, kind::TEST_FRAMES),
            whole("Extra", 1, 0, kind::OCTETS),
        ]),
        "Has the node send confirmed or unconfirmed uplinks",
    ),
    seen(
        down(0x08, "EchoIncPayloadReq", Request, 0).long(Length::Rest(0)).fields(&[whole(
            "Payload",
            0,
            0,
            kind::OCTETS,
        )]),
        "Has the node send these bytes back, each one higher",
    ),
    seen(
        up(0x08, "EchoIncPayloadAns", Answer, 0).long(Length::Rest(0)).fields(&[whole(
            "Payload",
            0,
            0,
            kind::OCTETS,
        )]),
        "The bytes of the request, each one higher, modulo 256",
    ),
    seen(down(0x09, "RxAppCntReq", Request, 0), "Asks how many application downlinks came"),
    seen(
        up(0x09, "RxAppCntAns", Answer, 2).fields(&[whole("RxAppCnt", 0, 2, kind::NUMBER)]),
        "How many application downlinks came",
    ),
    seen(down(0x0A, "RxAppCntResetReq", Request, 0), "Sets that count to 0"),
    down(0x20, "LinkCheckReq", Request, 0).says("Has the node send LinkCheckReq", SOURCE),
    down(0x21, "DeviceTimeReq", Request, 0).says("Has the node send DeviceTimeReq", SOURCE),
    down(0x22, "PingSlotInfoReq", Request, 1)
        .fields(&[bits("Periodicity", 0, 1, 2, 0, kind::PERIODICITY)])
        .says("Has the node send PingSlotInfoReq", SOURCE),
    seen(
        down(0x40, "BeaconRxStatusIndCtrl", Request, 1).fields(&[bits(
            "On",
            0,
            1,
            0,
            0,
            kind::FLAG,
        )]),
        "Has the node report each beacon or not",
    ),
    seen(down(0x42, "BeaconCntReq", Request, 0), "Asks how many beacons came"),
    seen(
        up(0x43, "BeaconCntAns", Answer, 2).fields(&[whole("BeaconCnt", 0, 2, kind::NUMBER)]),
        "How many beacons came",
    ),
    seen(down(0x44, "BeaconCntResetReq", Request, 0), "Sets that count to 0"),
    seen(
        down(0x52, "FragSessionCntReq", Request, 1).fields(&[whole(
            "FragIndex",
            0,
            1,
            kind::NUMBER,
        )]),
        "Asks for the counter of a fragmentation session",
    ),
    seen(
        down(0x53, "RelayModeCtrlReq", Request, 1).fields(&[bits("On", 0, 1, 0, 0, kind::FLAG)]),
        "Switches relay mode on or off",
    ),
    down(0x7D, "TxCwReq", Request, 6)
        .fields(&[
            whole("Timeout", 0, 2, kind::SECONDS),
            whole("Frequency", 2, 3, kind::FREQUENCY),
            whole("TxPower", 5, 1, kind::SIGNED_DBM),
        ])
        .says("Has the node send an unmodulated carrier: a test room's work", SOURCE),
    down(0x7E, "DutFPort224DisableReq", Request, 0)
        .says("Ends the test: the node no longer listens on FPort 224", SOURCE),
    seen(down(0x7F, "DutVersionsReq", Request, 0), "Asks for firmware and LoRaWAN versions"),
    seen(
        up(0x7F, "DutVersionsAns", Answer, 12).fields(&[
            whole("FwVersion", 0, 4, kind::NUMBER),
            whole("LrwanVersion", 4, 4, kind::NUMBER),
            whole("LrwanRpVersion", 8, 4, kind::NUMBER),
        ]),
        "States firmware, LoRaWAN and regional versions",
    ),
];
