//! The table of MAC commands: one row a command and layout.
//!
//! Lengths, bits and versions are those of LoRaWAN 1.0.4 (TS001), 1.1, 1.0.3 and 1.0.2 as each row
//! says. Rows of relays (TS011) rest on one device stack; what rests on less is named in
//! [`Row::doubt`].

use super::{
    kind,
    layout::{
        FieldSpec,
        Repeats::{UntilConfirmed, UntilDownlink},
        Role::{Answer, Request},
        Row, ack, bits, down, up, whole,
    },
};
use crate::frame::MacVersion;

pub(super) static ROWS: &[Row] = &[
    up(0x01, "ResetInd", Request, 1)
        .fields(VERSION)
        .versions(ONLY_1_1)
        .repeats(UntilConfirmed)
        .says("An ABP node has reset and states its version", CHAPTER_5),
    down(0x01, "ResetConf", Answer, 1)
        .fields(VERSION)
        .versions(ONLY_1_1)
        .says("The network confirms the reset and states its version", CHAPTER_5),
    up(0x02, "LinkCheckReq", Request, 0).says("The node asks how well it is heard", CHAPTER_5),
    down(0x02, "LinkCheckAns", Answer, 2)
        .fields(&[whole("Margin", 0, 1, kind::MARGIN), whole("GwCnt", 1, 1, kind::NUMBER)])
        .says("How well the last LinkCheckReq was heard, and by how many gateways", CHAPTER_5),
    down(0x03, "LinkADRReq", Request, 4)
        .fields(&[
            bits("DataRate", 0, 1, 7, 4, kind::DATA_RATE_OR_KEEP),
            bits("TXPower", 0, 1, 3, 0, kind::TX_POWER),
            whole("ChMask", 1, 2, kind::MASK),
            bits("ChMaskCntl", 3, 1, 6, 4, kind::CH_MASK_CNTL),
            bits("NbTrans", 3, 1, 3, 0, kind::NB_TRANS),
        ])
        .says("Sets data rate, power, channels and repetitions", "LoRaWAN 1.1, 5.3; 1.0.4, p. 31"),
    up(0x03, "LinkADRAns", Answer, 1)
        .fields(&[
            ack("PowerACK", 2, &["TXPower"], "the node cannot send at this power"),
            ack(
                "DataRateACK",
                1,
                &["DataRate"],
                "the node does not know or cannot use this data rate",
            ),
            ack(
                "ChannelMaskACK",
                0,
                &["ChMask", "ChMaskCntl"],
                "the mask enables a channel that is not defined, or disables every channel",
            ),
        ])
        .says("Takes or refuses a LinkADRReq", "LoRaWAN 1.1, 5.3; 1.0.3, p. 25"),
    down(0x04, "DutyCycleReq", Request, 1)
        .fields(&[bits("MaxDCycle", 0, 1, 3, 0, kind::MAX_DUTY_CYCLE)])
        .says("Limits the node's share of time on the air", CHAPTER_5)
        .doubt("that 1.0.0 used the value 255 to switch a node off is from memory"),
    up(0x04, "DutyCycleAns", Answer, 0).says("Takes a DutyCycleReq", CHAPTER_5),
    down(0x05, "RXParamSetupReq", Request, 4)
        .fields(&[
            bits("RX1DROffset", 0, 1, 6, 4, kind::RX1_DR_OFFSET),
            bits("RX2DataRate", 0, 1, 3, 0, kind::DATA_RATE),
            whole("Frequency", 1, 3, kind::FREQUENCY),
        ])
        .says("Sets the receive windows: offset of RX1, data rate and frequency of RX2", CHAPTER_5),
    up(0x05, "RXParamSetupAns", Answer, 1)
        .fields(&[
            ack("RX1DROffsetACK", 2, &["RX1DROffset"], "the offset is outside the region's range"),
            ack("RX2DataRateACK", 1, &["RX2DataRate"], "the node does not know this data rate"),
            ack("ChannelACK", 0, &["Frequency"], "the node cannot use this frequency"),
        ])
        .repeats(UntilDownlink(SINCE_1_0_1))
        .says("Takes or refuses an RXParamSetupReq", CHAPTER_5),
    down(0x06, "DevStatusReq", Request, 0).says("Asks for battery and reception", CHAPTER_5),
    up(0x06, "DevStatusAns", Answer, 2)
        .fields(&[
            whole("Battery", 0, 1, kind::BATTERY),
            bits("Margin", 1, 1, 5, 0, kind::SIGNED_MARGIN),
        ])
        .says("The node's battery, and how well it heard the DevStatusReq", CHAPTER_5),
    down(0x07, "NewChannelReq", Request, 5)
        .fields(&[
            whole("ChIndex", 0, 1, kind::NUMBER),
            whole("Frequency", 1, 3, kind::FREQUENCY_OR_OFF),
            bits("MaxDR", 4, 1, 7, 4, kind::DATA_RATE),
            bits("MinDR", 4, 1, 3, 0, kind::DATA_RATE),
        ])
        .says(
            "Adds, changes or removes a channel; a node of a fixed channel plan does not answer",
            "LoRaWAN 1.1, 5.7",
        ),
    up(0x07, "NewChannelAns", Answer, 1)
        .fields(&[
            ack(
                "DataRateRangeOK",
                1,
                &["MinDR", "MaxDR"],
                "the data rates exceed what the node can use",
            ),
            ack("ChannelFrequencyOK", 0, &["Frequency"], "the node cannot use this frequency"),
        ])
        .says("Takes or refuses a NewChannelReq", "LoRaWAN 1.1, 5.7"),
    down(0x08, "RXTimingSetupReq", Request, 1)
        .fields(&[bits("Del", 0, 1, 3, 0, kind::DELAY)])
        .says("Sets the delay from the end of an uplink to RX1", "LoRaWAN 1.1, 5.8"),
    up(0x08, "RXTimingSetupAns", Answer, 0)
        .repeats(UntilDownlink(SINCE_1_0_1))
        .says("Takes an RXTimingSetupReq", "LoRaWAN 1.1, 5.8"),
    down(0x09, "TXParamSetupReq", Request, 1)
        .fields(&[
            bits("DownlinkDwellTime", 0, 1, 5, 5, kind::DWELL),
            bits("UplinkDwellTime", 0, 1, 4, 4, kind::DWELL),
            bits("MaxEIRP", 0, 1, 3, 0, kind::MAX_EIRP),
        ])
        .versions(SINCE_1_0_2)
        .says("Sets the limits of dwell time and of radiated power", "LoRaWAN 1.1, 5.9"),
    up(0x09, "TXParamSetupAns", Answer, 0)
        .versions(SINCE_1_0_2)
        .repeats(UntilDownlink(ONLY_1_0_4))
        .says("Takes a TXParamSetupReq; a region without it gives no answer", "LoRaWAN 1.1, 5.9"),
    down(0x0A, "DlChannelReq", Request, 4)
        .fields(&[whole("ChIndex", 0, 1, kind::NUMBER), whole("Frequency", 1, 3, kind::FREQUENCY)])
        .versions(SINCE_1_0_2)
        .says(
            "Moves the RX1 frequency of a channel; a node of a fixed channel plan does not answer",
            "LoRaWAN 1.1, 5.7",
        ),
    up(0x0A, "DlChannelAns", Answer, 1)
        .fields(&[
            ack("UplinkFrequencyExists", 1, &["ChIndex"], "the channel has no uplink frequency"),
            ack("ChannelFrequencyOK", 0, &["Frequency"], "the node cannot use this frequency"),
        ])
        .versions(SINCE_1_0_2)
        .repeats(UntilDownlink(SINCE_1_0_2))
        .says("Takes or refuses a DlChannelReq", "LoRaWAN 1.1, 5.7"),
    up(0x0B, "RekeyInd", Request, 1)
        .fields(VERSION)
        .versions(ONLY_1_1)
        .repeats(UntilConfirmed)
        .says("An OTAA node uses its new session and states its version", "LoRaWAN 1.1, 5.10"),
    down(0x0B, "RekeyConf", Answer, 1)
        .fields(VERSION)
        .versions(ONLY_1_1)
        .says("The network confirms the new session and states its version", "LoRaWAN 1.1, 5.10"),
    down(0x0C, "ADRParamSetupReq", Request, 1)
        .fields(&[
            bits("Limit_exp", 0, 1, 7, 4, kind::ADR_LIMIT),
            bits("Delay_exp", 0, 1, 3, 0, kind::ADR_DELAY),
        ])
        .versions(ONLY_1_1)
        .says("Sets when a node that hears nothing lowers its data rate", CHAPTER_5),
    up(0x0C, "ADRParamSetupAns", Answer, 0)
        .versions(ONLY_1_1)
        .says("Takes an ADRParamSetupReq", CHAPTER_5),
    up(0x0D, "DeviceTimeReq", Request, 0)
        .versions(SINCE_1_0_3)
        .says("The node asks for the time", "LoRaWAN 1.1, 5.12"),
    down(0x0D, "DeviceTimeAns", Answer, 5)
        .fields(&[
            whole("Seconds", 0, 4, kind::GPS_SECONDS),
            whole("Fraction", 4, 1, kind::FRACTION),
        ])
        .versions(SINCE_1_0_3)
        .says("GPS time at the end of the uplink that asked", "LoRaWAN 1.1, 5.12"),
    down(0x0E, "ForceRejoinReq", Request, 2)
        .fields(&[
            bits("Period", 0, 2, 13, 11, kind::REJOIN_PERIOD),
            bits("Max_Retries", 0, 2, 10, 8, kind::NUMBER),
            bits("RejoinType", 0, 2, 6, 4, kind::REJOIN_TYPE),
            bits("DR", 0, 2, 3, 0, kind::DATA_RATE),
        ])
        .versions(ONLY_1_1)
        .says("Asks for a Rejoin-Request, which is the answer", CHAPTER_5)
        .doubt("that RejoinType 1 asks for a Rejoin-Request of type 0 is from memory"),
    down(0x0F, "RejoinParamSetupReq", Request, 1)
        .fields(&[
            bits("MaxTimeN", 0, 1, 7, 4, kind::MAX_TIME),
            bits("MaxCountN", 0, 1, 3, 0, kind::MAX_COUNT),
        ])
        .versions(ONLY_1_1)
        .says("Sets how often the node sends a Rejoin-Request of type 0", CHAPTER_5),
    up(0x0F, "RejoinParamSetupAns", Answer, 1)
        .fields(&[ack("TimeOK", 0, &["MaxTimeN"], "the node has no clock for the time limit")])
        .versions(ONLY_1_1)
        .says("Takes a RejoinParamSetupReq, the time limit perhaps not", CHAPTER_5),
    up(0x10, "PingSlotInfoReq", Request, 1)
        .fields(&[bits("Periodicity", 0, 1, 2, 0, kind::PERIODICITY)])
        .versions(SINCE_1_0_3)
        .says("The node states how often it opens a ping slot", CLASS_B),
    up(0x10, "PingSlotInfoReq", Request, 1)
        .fields(&[
            bits("Periodicity", 0, 1, 6, 4, kind::PERIODICITY),
            bits("DataRate", 0, 1, 3, 0, kind::DATA_RATE),
        ])
        .versions(BEFORE_1_0_3)
        .says("The node states how often it opens a ping slot, and its data rate", CLASS_B_OLD),
    down(0x10, "PingSlotInfoAns", Answer, 0).says("Takes a PingSlotInfoReq", CLASS_B),
    down(0x11, "PingSlotChannelReq", Request, 4)
        .fields(&[
            whole("Frequency", 0, 3, kind::FREQUENCY_OR_PLAN),
            bits("DR", 3, 1, 3, 0, kind::DATA_RATE),
        ])
        .versions(SINCE_1_0_3)
        .says("Sets frequency and data rate of the ping slots", CLASS_B),
    down(0x11, "PingSlotChannelReq", Request, 4)
        .fields(&[
            whole("Frequency", 0, 3, kind::FREQUENCY_OR_PLAN),
            bits("MaxDR", 3, 1, 7, 4, kind::DATA_RATE),
            bits("MinDR", 3, 1, 3, 0, kind::DATA_RATE),
        ])
        .versions(BEFORE_1_0_3)
        .says("Sets frequency and data rates of the ping slots", CLASS_B_OLD),
    up(0x11, "PingSlotChannelAns", Answer, 1)
        .fields(&[
            ack("DataRateOK", 1, &["DR"], "the node cannot use this data rate"),
            ack("ChannelFrequencyOK", 0, &["Frequency"], "the node cannot use this frequency"),
        ])
        .versions(SINCE_1_0_3)
        .repeats(UntilDownlink(ONLY_1_0_4))
        .says("Takes or refuses a PingSlotChannelReq", CLASS_B),
    up(0x11, "PingSlotFreqAns", Answer, 1)
        .fields(&[
            ack("DataRateOK", 1, &["MinDR", "MaxDR"], "the node cannot use these data rates"),
            ack("ChannelFrequencyOK", 0, &["Frequency"], "the node cannot use this frequency"),
        ])
        .versions(BEFORE_1_0_3)
        .says("Takes or refuses a PingSlotChannelReq", CLASS_B_OLD)
        .doubt("the bits are those of 1.0.3; the older table was not seen"),
    up(0x12, "BeaconTimingReq", Request, 0)
        .versions(NOT_1_0_4)
        .says("The node asks when the next beacon comes; deprecated in 1.0.3 and 1.1", CLASS_B),
    down(0x12, "BeaconTimingAns", Answer, 3)
        .fields(&[whole("Delay", 0, 2, kind::BEACON_DELAY), whole("Channel", 2, 1, kind::NUMBER)])
        .versions(NOT_1_0_4)
        .says("When and where the next beacon comes; deprecated in 1.0.3 and 1.1", CLASS_B)
        .doubt("the unit of Delay, 30 ms, is from memory"),
    down(0x13, "BeaconFreqReq", Request, 3)
        .fields(&[whole("Frequency", 0, 3, kind::FREQUENCY_OR_PLAN)])
        .says("Sets the frequency the node expects beacons on", CLASS_B),
    up(0x13, "BeaconFreqAns", Answer, 1)
        .fields(&[ack(
            "BeaconFrequencyOK",
            0,
            &["Frequency"],
            "the node cannot use this frequency",
        )])
        .says("Takes or refuses a BeaconFreqReq", CLASS_B),
    up(0x20, "DeviceModeInd", Request, 1)
        .fields(CLASS)
        .versions(ONLY_1_1)
        .repeats(UntilConfirmed)
        .says("The node states its class", "LoRaWAN 1.1, chapter 18"),
    down(0x20, "DeviceModeConf", Answer, 1)
        .fields(CLASS)
        .versions(ONLY_1_1)
        .says("The network confirms the class", "LoRaWAN 1.1, chapter 18"),
    down(0x40, "RelayConfReq", Request, 5)
        .fields(&[
            bits("StartStop", 0, 2, 13, 13, kind::START_STOP),
            bits("CADPeriodicity", 0, 2, 12, 10, kind::CAD_PERIOD),
            bits("DefaultChIdx", 0, 2, 9, 9, kind::NUMBER),
            bits("SecondChIdx", 0, 2, 8, 7, kind::NUMBER),
            bits("SecondChDR", 0, 2, 6, 3, kind::DATA_RATE),
            bits("SecondChAckOffset", 0, 2, 2, 0, kind::ACK_OFFSET),
            whole("SecondChFreq", 2, 3, kind::FREQUENCY),
        ])
        .says("Sets up a relay", TS011)
        .doubt(RELAY_DOUBT),
    up(0x40, "RelayConfAns", Answer, 1)
        .fields(&[
            ack("CADPeriodicityACK", 5, &["CADPeriodicity"], "the relay cannot listen so often"),
            ack(
                "DefaultChIdxACK",
                4,
                &["DefaultChIdx"],
                "the relay does not know this default channel",
            ),
            ack(
                "SecondChIdxACK",
                3,
                &["SecondChIdx"],
                "the relay does not know this second channel",
            ),
            ack("SecondChDRACK", 2, &["SecondChDR"], "the relay cannot use this data rate"),
            ack(
                "SecondChAckOffsetACK",
                1,
                &["SecondChAckOffset"],
                "the relay cannot use this offset",
            ),
            ack("SecondChFreqACK", 0, &["SecondChFreq"], "the relay cannot use this frequency"),
        ])
        .says("Takes or refuses a RelayConfReq", TS011)
        .doubt(RELAY_DOUBT),
    down(0x41, "EndDeviceConfReq", Request, 6)
        .fields(&[
            bits("RelayModeActivation", 0, 1, 3, 2, kind::ACTIVATION),
            bits("SmartEnableLevel", 0, 1, 1, 0, kind::SMART_LEVEL),
            bits("BackOff", 1, 2, 14, 9, kind::NUMBER),
            bits("SecondChIdx", 1, 2, 8, 7, kind::NUMBER),
            bits("SecondChDR", 1, 2, 6, 3, kind::DATA_RATE),
            bits("SecondChAckOffset", 1, 2, 2, 0, kind::ACK_OFFSET),
            whole("SecondChFreq", 3, 3, kind::FREQUENCY),
        ])
        .says("Sets up a node that is served by a relay", TS011)
        .doubt(RELAY_WORDS_DOUBT),
    up(0x41, "EndDeviceConfAns", Answer, 1)
        .fields(&[
            ack("BackOffACK", 3, &["BackOff"], "the node cannot use this back-off"),
            ack(
                "SecondChIdxACK",
                2,
                &["SecondChIdx"],
                "the node does not know this second channel",
            ),
            ack("SecondChDRACK", 1, &["SecondChDR"], "the node cannot use this data rate"),
            ack("SecondChFreqACK", 0, &["SecondChFreq"], "the node cannot use this frequency"),
        ])
        .says("Takes or refuses an EndDeviceConfReq", TS011)
        .doubt(RELAY_BITS_DOUBT),
    down(0x42, "FilterListReq", Request, 2)
        .counted()
        .fields(&[
            bits("FilterListIdx", 0, 2, 10, 7, kind::NUMBER),
            bits("FilterListAction", 0, 2, 6, 5, kind::FILTER_ACTION),
            bits("FilterListLen", 0, 2, 4, 0, kind::FILTER_LENGTH),
            whole("FilterListEUI", 2, 0, kind::OCTETS),
        ])
        .says("States a relay whose Join-Requests to forward", TS011)
        .doubt(RELAY_WORDS_DOUBT),
    up(0x42, "FilterListAns", Answer, 1)
        .fields(&[
            ack("CombinedRulesACK", 2, &["FilterListIdx"], "the rules do not fit together"),
            ack("FilterListLenACK", 1, &["FilterListLen"], "the relay cannot use this length"),
            ack(
                "FilterListActionACK",
                0,
                &["FilterListAction"],
                "the relay cannot use this action",
            ),
        ])
        .says("Takes or refuses a FilterListReq", TS011)
        .doubt(RELAY_BITS_DOUBT),
    down(0x43, "UpdateUplinkListReq", Request, 26)
        .fields(&[
            whole("UplinkListIdx", 0, 1, kind::NUMBER),
            bits("BucketSize", 1, 1, 7, 6, kind::BUCKET),
            bits("ReloadRate", 1, 1, 5, 0, kind::RATE_6),
            whole("DevAddr", 2, 4, kind::ADDRESS),
            whole("WFCnt", 6, 4, kind::NUMBER),
            whole("RootWorSKey", 10, 16, kind::KEY),
        ])
        .says("Trusts a node to a relay; carries the node's RootWorSKey", TS011)
        .doubt(RELAY_DOUBT),
    up(0x43, "UpdateUplinkListAns", Answer, 0)
        .says("Takes an UpdateUplinkListReq", TS011)
        .doubt(RELAY_DOUBT),
    down(0x44, "CtrlUplinkListReq", Request, 1)
        .fields(&[
            bits("CtrlUplinkAction", 0, 1, 4, 4, kind::UPLINK_LIST_ACTION),
            bits("UplinkListIdx", 0, 1, 3, 0, kind::NUMBER),
        ])
        .says("Reads or removes a trusted node of a relay", TS011)
        .doubt(RELAY_DOUBT),
    up(0x44, "CtrlUplinkListAns", Answer, 5)
        .fields(&[
            ack("UplinkListIdxACK", 0, &["UplinkListIdx"], "the relay has no such entry"),
            whole("WFCnt", 1, 4, kind::NUMBER),
        ])
        .says("The counter of a trusted node", TS011)
        .doubt(RELAY_DOUBT),
    down(0x45, "ConfigureFwdLimitReq", Request, 5)
        .fields(&[
            bits("ResetLimitCounter", 0, 4, 29, 28, kind::NUMBER),
            bits("JoinReqReloadRate", 0, 4, 27, 21, kind::RATE_7),
            bits("NotifyReloadRate", 0, 4, 20, 14, kind::RATE_7),
            bits("GlobalUplinkReloadRate", 0, 4, 13, 7, kind::RATE_7),
            bits("OverallReloadRate", 0, 4, 6, 0, kind::RATE_7),
            bits("JoinReqBucketSize", 4, 1, 7, 6, kind::BUCKET),
            bits("NotifyBucketSize", 4, 1, 5, 4, kind::BUCKET),
            bits("GlobalUplinkBucketSize", 4, 1, 3, 2, kind::BUCKET),
            bits("OverallBucketSize", 4, 1, 1, 0, kind::BUCKET),
        ])
        .says("Limits how much a relay forwards", TS011)
        .doubt("widths from one device stack; which of the four rates is which is from memory"),
    up(0x45, "ConfigureFwdLimitAns", Answer, 0)
        .says("Takes a ConfigureFwdLimitReq", TS011)
        .doubt(RELAY_DOUBT),
    up(0x46, "NotifyNewEndDeviceReq", Request, 6)
        .fields(&[
            whole("DevAddr", 0, 4, kind::ADDRESS),
            bits("RSSI", 4, 2, 11, 5, kind::RELAY_RSSI),
            bits("SNR", 4, 2, 4, 0, kind::RELAY_SNR),
        ])
        .says("A relay heard a node that it does not know", TS011)
        .doubt(RELAY_DOUBT),
];

const SINCE_1_0_1: &[MacVersion] = &[
    MacVersion::V1_0_1,
    MacVersion::V1_0_2,
    MacVersion::V1_0_3,
    MacVersion::V1_0_4,
    MacVersion::V1_1,
];
const SINCE_1_0_2: &[MacVersion] =
    &[MacVersion::V1_0_2, MacVersion::V1_0_3, MacVersion::V1_0_4, MacVersion::V1_1];
const SINCE_1_0_3: &[MacVersion] = &[MacVersion::V1_0_3, MacVersion::V1_0_4, MacVersion::V1_1];
const BEFORE_1_0_3: &[MacVersion] = &[MacVersion::V1_0_0, MacVersion::V1_0_1, MacVersion::V1_0_2];
const ONLY_1_0_4: &[MacVersion] = &[MacVersion::V1_0_4];
const ONLY_1_1: &[MacVersion] = &[MacVersion::V1_1];
const NOT_1_0_4: &[MacVersion] = &[
    MacVersion::V1_0_0,
    MacVersion::V1_0_1,
    MacVersion::V1_0_2,
    MacVersion::V1_0_3,
    MacVersion::V1_1,
];

const TS011: &str = "TS011-1.0.0, relay commands";
const RELAY_DOUBT: &str = "layout from one device stack; the tables of TS011 were not seen";
const RELAY_WORDS_DOUBT: &str =
    "layout from one device stack; what the codes of activation and action mean is from memory";
const RELAY_BITS_DOUBT: &str =
    "layout from one device stack; which bit is which is from memory, all ones is agreement";
const CLASS_B: &str = "LoRaWAN 1.1, chapter 14; 1.0.4, Class B";
const CLASS_B_OLD: &str = "LoRaWAN 1.0.2, chapter 14";
const CHAPTER_5: &str = "LoRaWAN 1.1, chapter 5; 1.0.4, MAC commands";

const VERSION: &[FieldSpec] = &[bits("Minor", 0, 1, 3, 0, kind::MINOR)];
const CLASS: &[FieldSpec] = &[whole("Class", 0, 1, kind::CLASS)];
