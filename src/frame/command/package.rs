//! Commands of the application packages: what FRMPayload of their FPorts asks and answers.
//!
//! A package's list looks like that of MAC commands, and its CIDs are its own. Its payload is encrypted
//! with AppSKey, as all payload of an application (TS003, TS004, TS005, TS006).
//!
//! | package | identifier | default FPort |
//! |---------|------------|---------------|
//! | clock synchronisation, TS003 | 1 | 202 |
//! | remote multicast setup, TS005 | 2 | 200 |
//! | fragmented data block transport, TS004 | 3 | 201 |
//! | firmware management, TS006 | 4 | 203 |
//! | certification, TS009 | 6 | 224 |
//!
//! A node may put a package on another FPort, and may use these for something else: what does not split
//! to the last octet is none.
//!
//! ```
//! use handfast::frame::{Direction, command::package};
//!
//! let list = package::decode(202, &[0x01, 0, 0, 0, 0x40, 0x15], Direction::Uplink, None).expect("a list");
//! assert_eq!(list.commands[0].number("TokenReq"), Some(5));
//! ```

mod certification;

use super::{
    Commands, kind,
    layout::{
        Length,
        Role::{Answer, Request},
        Row, bits, down, up, whole,
    },
    split,
};
use crate::frame::Direction;

/// A package, by the layout of its versions.
#[derive(Debug)]
pub struct Package {
    /// PackageIdentifier.
    pub identifier: u8,
    /// Its name.
    pub name: &'static str,
    /// The document.
    pub source: &'static str,
    /// The FPort that it is recommended to use.
    pub port: u8,
    /// The commands of each version, the newest first.
    versions: &'static [(u8, &'static [Row])],
}

/// Every package that is read.
pub static PACKAGES: &[Package] = &[
    Package {
        identifier: 1,
        name: "clock synchronisation",
        source: "TS003",
        port: CLOCK_PORT,
        versions: &[(2, CLOCK)],
    },
    Package {
        identifier: 2,
        name: "remote multicast setup",
        source: "TS005",
        port: MULTICAST_PORT,
        versions: &[(2, MULTICAST)],
    },
    Package {
        identifier: 3,
        name: "fragmented data block transport",
        source: "TS004",
        port: FRAGMENTATION_PORT,
        versions: &[(2, FRAGMENTATION_2), (1, FRAGMENTATION_1)],
    },
    Package {
        identifier: 4,
        name: "firmware management",
        source: "TS006",
        port: FIRMWARE_PORT,
        versions: &[(1, FIRMWARE)],
    },
    Package {
        identifier: 6,
        name: "certification",
        source: "TS009",
        port: CERTIFICATION_PORT,
        versions: &[(1, certification::CERTIFICATION)],
    },
];

/// FPort of remote multicast setup.
pub const MULTICAST_PORT: u8 = 200;
/// FPort of fragmented data block transport.
pub const FRAGMENTATION_PORT: u8 = 201;
/// FPort of clock synchronisation.
pub const CLOCK_PORT: u8 = 202;
/// FPort of firmware management.
pub const FIRMWARE_PORT: u8 = 203;
/// FPort of the certification protocol.
pub const CERTIFICATION_PORT: u8 = 224;

/// Returns the package of an FPort.
pub fn of_port(port: u8) -> Option<&'static Package> {
    PACKAGES.iter().find(|package| package.port == port)
}

/// Returns the package of a PackageIdentifier.
pub fn by_identifier(identifier: i64) -> Option<&'static Package> {
    PACKAGES.iter().find(|package| i64::from(package.identifier) == identifier)
}

/// Splits FRMPayload of a package's FPort, in clear, by the layout of its version: of the newest that
/// fits where nobody states it.
///
/// `None` where the FPort is no package's, and where no layout splits the payload to its last octet: then
/// it is the application's own.
pub fn decode(
    port: u8,
    octets: &[u8],
    direction: Direction,
    version: Option<u8>,
) -> Option<Commands> {
    let package = of_port(port)?;
    let layouts = package.versions.iter().filter(|(of, _)| version.is_none_or(|own| own == *of));
    layouts
        .map(|(_, rows)| {
            let fits = |row: &&Row, cid| row.cid == cid && row.direction == direction;
            split(octets, None, |cid| rows.iter().find(|row| fits(row, cid)))
        })
        .find(|list| list.trailing.is_none() && !list.commands.is_empty())
}

/// What the packages have in common.
const VERSION_REQ: Row = down(0x00, "PackageVersionReq", Request, 0)
    .says("Asks for the package's version", "TS003, TS004, TS005, TS006");
const VERSION_ANS: Row = up(0x00, "PackageVersionAns", Answer, 2)
    .fields(&[
        whole("PackageIdentifier", 0, 1, kind::PACKAGE),
        whole("PackageVersion", 1, 1, kind::NUMBER),
    ])
    .says("States the package and its version", "TS003, TS004, TS005, TS006");

static CLOCK: &[Row] = &[
    VERSION_REQ,
    VERSION_ANS,
    up(0x01, "AppTimeReq", Request, 5)
        .fields(&[
            whole("DeviceTime", 0, 4, kind::GPS_SECONDS),
            bits("AnsRequired", 4, 1, 4, 4, kind::FLAG),
            bits("TokenReq", 4, 1, 3, 0, kind::NUMBER),
        ])
        .says("The node states its time, and asks by how much it is off", "TS003"),
    down(0x01, "AppTimeAns", Answer, 5)
        .fields(&[
            whole("TimeCorrection", 0, 4, kind::SIGNED_SECONDS),
            bits("TokenAns", 4, 1, 3, 0, kind::NUMBER),
        ])
        .says("GPS time less the node's; counts where the token is that of the request", "TS003"),
    down(0x02, "DeviceAppTimePeriodicityReq", Request, 1)
        .fields(&[bits("Period", 0, 1, 3, 0, kind::TIME_OUT_BEACONS)])
        .says("Has the node ask for the time again and again", "TS003"),
    up(0x02, "DeviceAppTimePeriodicityAns", Answer, 5)
        .fields(&[
            bits("NotSupported", 0, 1, 0, 0, kind::FLAG),
            whole("DeviceTime", 1, 4, kind::GPS_SECONDS),
        ])
        .says("Takes or refuses the period, and states the node's time", "TS003"),
    down(0x03, "ForceDeviceResyncCmd", Request, 1)
        .fields(&[bits("NbTransmissions", 0, 1, 2, 0, kind::NUMBER)])
        .says("Has the node ask for the time now", "TS003"),
];

static MULTICAST: &[Row] = &[
    VERSION_REQ,
    VERSION_ANS,
    down(0x01, "McGroupStatusReq", Request, 1)
        .fields(&[bits("ReqGroupMask", 0, 1, 3, 0, kind::NUMBER)])
        .says("Asks for the groups", "TS005"),
    up(0x01, "McGroupStatusAns", Answer, 1)
        .long(Length::Each(5))
        .fields(&[
            bits("NbTotalGroups", 0, 1, 6, 4, kind::NUMBER),
            bits("AnsGroupMask", 0, 1, 3, 0, kind::NUMBER),
            whole("Groups", 1, 0, kind::OCTETS),
        ])
        .says("States the groups: McGroupID and McAddr of each", "TS005"),
    down(0x02, "McGroupSetupReq", Request, 29)
        .fields(&[
            bits("McGroupID", 0, 1, 1, 0, kind::NUMBER),
            whole("McAddr", 1, 4, kind::ADDRESS),
            whole("McKey_encrypted", 5, 16, kind::KEY),
            whole("minMcFCnt", 21, 4, kind::NUMBER),
            whole("maxMcFCnt", 25, 4, kind::NUMBER),
        ])
        .says("Makes a group: its address, its key, and the counters that are valid", "TS005"),
    up(0x02, "McGroupSetupAns", Answer, 1)
        .fields(&[
            bits("IDerror", 0, 1, 2, 2, kind::FLAG),
            bits("McGroupID", 0, 1, 1, 0, kind::NUMBER),
        ])
        .says("Takes or refuses a group", "TS005"),
    down(0x03, "McGroupDeleteReq", Request, 1)
        .fields(&[bits("McGroupID", 0, 1, 1, 0, kind::NUMBER)])
        .says("Deletes a group", "TS005"),
    up(0x03, "McGroupDeleteAns", Answer, 1)
        .fields(&[
            bits("McGroupUndefined", 0, 1, 2, 2, kind::FLAG),
            bits("McGroupID", 0, 1, 1, 0, kind::NUMBER),
        ])
        .says("The group is deleted, or there was none", "TS005"),
    down(0x04, "McClassCSessionReq", Request, 10)
        .fields(&[
            bits("McGroupID", 0, 1, 1, 0, kind::NUMBER),
            whole("SessionTime", 1, 4, kind::GPS_SECONDS),
            bits("SessionTimeOut", 5, 1, 3, 0, kind::TIME_OUT),
            whole("DLFreq", 6, 3, kind::FREQUENCY),
            whole("DR", 9, 1, kind::DATA_RATE),
        ])
        .says("Has the node listen as class C for a group, from a time on", "TS005"),
    up(0x04, "McClassCSessionAns", Answer, 4)
        .long(SESSION_ANS)
        .fields(&[
            bits("StartMissed", 0, 1, 5, 5, kind::FLAG),
            bits("McGroupUndefined", 0, 1, 4, 4, kind::FLAG),
            bits("FreqError", 0, 1, 3, 3, kind::FLAG),
            bits("DRError", 0, 1, 2, 2, kind::FLAG),
            bits("McGroupID", 0, 1, 1, 0, kind::NUMBER),
            whole("TimeToStart", 1, 3, kind::TIME_TO_START),
        ])
        .says("Takes or refuses a class C session", "TS005"),
    down(0x05, "McClassBSessionReq", Request, 10)
        .fields(&[
            bits("McGroupID", 0, 1, 1, 0, kind::NUMBER),
            whole("SessionTime", 1, 4, kind::GPS_SECONDS),
            bits("Periodicity", 5, 1, 6, 4, kind::PERIODICITY),
            bits("SessionTimeOut", 5, 1, 3, 0, kind::TIME_OUT_BEACONS),
            whole("DLFreq", 6, 3, kind::FREQUENCY_OR_PLAN),
            whole("DR", 9, 1, kind::DATA_RATE),
        ])
        .says("Has the node listen in ping slots for a group, from a time on", "TS005"),
    up(0x05, "McClassBSessionAns", Answer, 4)
        .long(SESSION_ANS)
        .fields(&[
            bits("StartMissed", 0, 1, 5, 5, kind::FLAG),
            bits("McGroupUndefined", 0, 1, 4, 4, kind::FLAG),
            bits("FreqError", 0, 1, 3, 3, kind::FLAG),
            bits("DRError", 0, 1, 2, 2, kind::FLAG),
            bits("McGroupID", 0, 1, 1, 0, kind::NUMBER),
            whole("TimeToStart", 1, 3, kind::TIME_TO_START),
        ])
        .says("Takes or refuses a class B session", "TS005"),
];

/// TimeToStart is left out where a bit says an error.
const SESSION_ANS: Length = Length::Whole { octets: 4, mask: 0x3C, equal: 0 };

const FRAGMENT: Row = down(0x08, "DataFragment", Request, 2)
    .long(Length::Rest(2))
    .fields(&[
        bits("FragIndex", 0, 2, 15, 14, kind::NUMBER),
        bits("N", 0, 2, 13, 0, kind::NUMBER),
        whole("Fragment", 2, 0, kind::OCTETS),
    ])
    .says("One fragment, in clear up to NbFrag, coded above", "TS004");
const STATUS_REQ: Row = down(0x01, "FragSessionStatusReq", Request, 1)
    .fields(&[
        bits("FragIndex", 0, 1, 2, 1, kind::NUMBER),
        bits("Participants", 0, 1, 0, 0, kind::FLAG),
    ])
    .says("Asks how many fragments came", "TS004");
const SETUP_ANS: Row = up(0x02, "FragSessionSetupAns", Answer, 1)
    .fields(&[
        bits("FragIndex", 0, 1, 7, 6, kind::NUMBER),
        bits("SessionCntReplay", 0, 1, 4, 4, kind::FLAG),
        bits("WrongDescriptor", 0, 1, 3, 3, kind::FLAG),
        bits("FragIndexUnsupported", 0, 1, 2, 2, kind::FLAG),
        bits("NotEnoughMemory", 0, 1, 1, 1, kind::FLAG),
        bits("FragAlgoUnsupported", 0, 1, 0, 0, kind::FLAG),
    ])
    .says("Takes or refuses a session", "TS004");
const DELETE_REQ: Row = down(0x03, "FragSessionDeleteReq", Request, 1)
    .fields(&[bits("FragIndex", 0, 1, 1, 0, kind::NUMBER)])
    .says("Ends a session", "TS004");
const DELETE_ANS: Row = up(0x03, "FragSessionDeleteAns", Answer, 1)
    .fields(&[
        bits("SessionDoesNotExist", 0, 1, 2, 2, kind::FLAG),
        bits("FragIndex", 0, 1, 1, 0, kind::NUMBER),
    ])
    .says("The session is ended, or there was none", "TS004");

static FRAGMENTATION_2: &[Row] = &[
    VERSION_REQ,
    VERSION_ANS,
    STATUS_REQ,
    up(0x01, "FragSessionStatusAns", Answer, 4)
        .long(Length::Whole { octets: 4, mask: 0x04, equal: 0 })
        .fields(&[
            bits("SessionDoesNotExist", 0, 1, 2, 2, kind::FLAG),
            bits("MICError", 0, 1, 1, 1, kind::FLAG),
            bits("MemoryError", 0, 1, 0, 0, kind::FLAG),
            bits("FragIndex", 1, 2, 15, 14, kind::NUMBER),
            bits("NbFragReceived", 1, 2, 13, 0, kind::NUMBER),
            whole("MissingFrag", 3, 1, kind::NUMBER),
        ])
        .says("How many fragments came, and how many are missing", "TS004 2.0.0"),
    down(0x02, "FragSessionSetupReq", Request, 16)
        .fields(&[
            bits("FragIndex", 0, 1, 5, 4, kind::NUMBER),
            bits("McGroupBitMask", 0, 1, 3, 0, kind::NUMBER),
            whole("NbFrag", 1, 2, kind::NUMBER),
            whole("FragSize", 3, 1, kind::NUMBER),
            bits("AckReception", 4, 1, 6, 6, kind::FLAG),
            bits("FragAlgo", 4, 1, 5, 3, kind::NUMBER),
            bits("BlockAckDelay", 4, 1, 2, 0, kind::FRAGMENT_DELAY),
            whole("Padding", 5, 1, kind::NUMBER),
            whole("Descriptor", 6, 4, kind::NUMBER),
            whole("SessionCnt", 10, 2, kind::NUMBER),
            whole("MIC", 12, 4, kind::OCTETS),
        ])
        .says("Begins a session: how many fragments of what size", "TS004 2.0.0"),
    SETUP_ANS,
    DELETE_REQ,
    DELETE_ANS,
    up(0x04, "FragDataBlockReceivedReq", Request, 1)
        .fields(&[
            bits("MICError", 0, 1, 2, 2, kind::FLAG),
            bits("FragIndex", 0, 1, 1, 0, kind::NUMBER),
        ])
        .says("The node has the complete block", "TS004 2.0.0"),
    down(0x04, "FragDataBlockReceivedAns", Answer, 1)
        .fields(&[bits("FragIndex", 0, 1, 1, 0, kind::NUMBER)])
        .says("Confirms it", "TS004 2.0.0"),
    FRAGMENT,
];

static FRAGMENTATION_1: &[Row] = &[
    VERSION_REQ,
    VERSION_ANS,
    STATUS_REQ,
    up(0x01, "FragSessionStatusAns", Answer, 4)
        .fields(&[
            bits("FragIndex", 0, 2, 15, 14, kind::NUMBER),
            bits("NbFragReceived", 0, 2, 13, 0, kind::NUMBER),
            whole("MissingFrag", 2, 1, kind::NUMBER),
            bits("MemoryError", 3, 1, 0, 0, kind::FLAG),
        ])
        .says("How many fragments came, and how many are missing", "TS004 1.0.0"),
    down(0x02, "FragSessionSetupReq", Request, 10)
        .fields(&[
            bits("FragIndex", 0, 1, 5, 4, kind::NUMBER),
            bits("McGroupBitMask", 0, 1, 3, 0, kind::NUMBER),
            whole("NbFrag", 1, 2, kind::NUMBER),
            whole("FragSize", 3, 1, kind::NUMBER),
            bits("FragAlgo", 4, 1, 5, 3, kind::NUMBER),
            bits("BlockAckDelay", 4, 1, 2, 0, kind::FRAGMENT_DELAY),
            whole("Padding", 5, 1, kind::NUMBER),
            whole("Descriptor", 6, 4, kind::NUMBER),
        ])
        .says("Begins a session: how many fragments of what size", "TS004 1.0.0"),
    SETUP_ANS,
    DELETE_REQ,
    DELETE_ANS,
    FRAGMENT,
];

static FIRMWARE: &[Row] = &[
    VERSION_REQ,
    VERSION_ANS,
    down(0x01, "DevVersionReq", Request, 0).says("Asks for firmware and hardware version", "TS006"),
    up(0x01, "DevVersionAns", Answer, 8)
        .fields(&[whole("FWversion", 0, 4, kind::NUMBER), whole("HWversion", 4, 4, kind::NUMBER)])
        .says("States firmware and hardware version", "TS006"),
    down(0x02, "DevRebootTimeReq", Request, 4)
        .fields(&[whole("RebootTime", 0, 4, kind::GPS_SECONDS)])
        .says("Has the node reboot at a time; 0 immediately, all ones never", "TS006"),
    up(0x02, "DevRebootTimeAns", Answer, 4)
        .fields(&[whole("RebootTime", 0, 4, kind::GPS_SECONDS)])
        .says("When the node reboots; 0 where it cannot", "TS006"),
    down(0x03, "DevRebootCountdownReq", Request, 3)
        .fields(&[whole("Countdown", 0, 3, kind::REBOOT_SECONDS)])
        .says("Has the node reboot after so many seconds", "TS006"),
    up(0x03, "DevRebootCountdownAns", Answer, 3)
        .fields(&[whole("Countdown", 0, 3, kind::NUMBER)])
        .says("After how many seconds the node reboots; 0 where it cannot", "TS006"),
    down(0x04, "DevUpgradeImageReq", Request, 0).says("Asks about the new image", "TS006"),
    up(0x04, "DevUpgradeImageAns", Answer, 5)
        .long(Length::Whole { octets: 5, mask: 0x03, equal: 3 })
        .fields(&[
            bits("UpImageStatus", 0, 1, 1, 0, kind::IMAGE),
            whole("nextFirmwareVersion", 1, 4, kind::NUMBER),
        ])
        .says("Whether the node has a new image, and whether it is valid", "TS006"),
    down(0x05, "DevDeleteImageReq", Request, 4)
        .fields(&[whole("firmwareToDeleteVersion", 0, 4, kind::NUMBER)])
        .says("Deletes an image", "TS006"),
    up(0x05, "DevDeleteImageAns", Answer, 1)
        .fields(&[
            bits("ErrorInvalidVersion", 0, 1, 1, 1, kind::FLAG),
            bits("ErrorNoValidImage", 0, 1, 0, 0, kind::FLAG),
        ])
        .says("The image is deleted, or there is none of that version", "TS006")
        .doubt("which bit is which is from memory"),
];

#[cfg(test)]
mod tests {
    use super::*;

    fn names(list: &Commands) -> Vec<&'static str> {
        list.commands.iter().map(super::super::Command::name).collect()
    }

    #[test]
    fn a_published_multicast_setup_is_read() {
        // A group's setup and its session in one payload, as published for FPort 200.
        let octets = hex::decode(
            "02002f49daf011fe3c120a78c11b4b769c52e45d2116000000000000000004001\
             1a2a84c0f68e28c0a",
        );
        let octets = octets.expect("hexadecimal");
        let list = decode(200, &octets, Direction::Downlink, None).expect("a list");
        assert_eq!(names(&list), ["McGroupSetupReq", "McClassCSessionReq"]);
        assert_eq!(list.commands[0].number("McAddr"), Some(0xF0DA_492F));
        assert_eq!(list.commands[1].number("SessionTime"), Some(1_286_119_953));
        assert_eq!(list.commands[1].number("DLFreq"), Some(923_300_000));
        assert_eq!(list.commands[1].number("DR"), Some(10));
        assert!(list.commands[0].row.holds_a_key());
    }

    #[test]
    fn a_carrier_of_the_certification_document_is_read() {
        // The example of TS009, p. 17: 8 s, 863.1 MHz, 14 dBm.
        let octets = [0x7D, 0x08, 0x00, 0xD8, 0xB2, 0x83, 0x0E];
        let list = decode(224, &octets, Direction::Downlink, None).expect("a list");
        assert_eq!(list.commands[0].number("Timeout"), Some(8));
        assert_eq!(list.commands[0].number("Frequency"), Some(863_100_000));
        assert_eq!(list.commands[0].number("TxPower"), Some(14));
    }

    /// Every row of every version, with a payload that has it to its last bit.
    fn every_command() -> impl Iterator<Item = (u8, u8, &'static Row, Vec<u8>)> {
        PACKAGES.iter().flat_map(|package| {
            package.versions.iter().flat_map(move |(version, rows)| {
                rows.iter().map(move |row| {
                    // Bit 0 alone in the first octet: no bit of an error that shortens an answer.
                    let mut payload: Vec<u8> =
                        (1..=64).map(|n| if n == 1 { 3 } else { n }).collect();
                    payload.truncate(match row.length {
                        Length::Rest(n) => usize::from(n) + 5,
                        length => length.needed(&payload),
                    });
                    (package.port, *version, row, payload)
                })
            })
        })
    }

    #[test]
    fn every_command_is_read_and_made_again_and_no_cut_of_it_is_one() {
        let mut seen = 0;
        for (port, version, row, payload) in every_command() {
            let octets = [&[row.cid][..], &payload].concat();
            let list = decode(port, &octets, row.direction, Some(version));
            let list = list.unwrap_or_else(|| panic!("{port} {} {payload:02x?}", row.name));
            let [command] = list.commands.as_slice() else { panic!("{}: {list:?}", row.name) };
            assert_eq!(command.name(), row.name);
            let values: Vec<_> =
                command.fields.iter().map(|field| (field.name(), field.value.clone())).collect();
            let made = super::super::compose(command.row, &values, None);
            let made = made.unwrap_or_else(|error| panic!("{}: {error}", row.name));
            let rfu = command.rfu();
            let wanted: Vec<u8> =
                command.payload().iter().zip(&rfu).map(|(octet, rfu)| octet & !rfu).collect();
            assert_eq!(made.payload(), wanted, "{}", row.name);
            let least = 1 + row.length.needed(&payload).min(payload.len());
            let rest = matches!(row.length, Length::Rest(_));
            for cut in 1..least {
                let cut = octets.get(..cut).unwrap_or_default();
                let read = decode(port, cut, row.direction, Some(version));
                // What has no end of its own may end anywhere.
                let same = read.is_some_and(|list| list.commands[0].name() == row.name);
                assert!(!same || rest, "{}: {cut:02x?}", row.name);
            }
            seen += 1;
        }
        assert!(seen > 70, "{seen}");
    }

    #[test]
    fn an_error_shortens_the_answer() {
        let list = decode(200, &[0x04, 0x08], Direction::Uplink, None).expect("a list");
        assert_eq!(list.commands[0].flag("FreqError"), Some(true));
        assert_eq!(list.commands[0].field("TimeToStart"), None);
        assert_eq!(decode(200, &[0x04, 0x00], Direction::Uplink, None), None);
        let long = decode(200, &[0x04, 0x01, 1, 2, 0], Direction::Uplink, None).expect("a list");
        assert_eq!(long.commands[0].number("TimeToStart"), Some(513));
    }

    #[test]
    fn the_length_of_a_setup_tells_the_version() {
        let v1 = [0x02, 0, 8, 0, 50, 0, 0, 0, 0, 0, 0];
        let list = decode(201, &v1, Direction::Downlink, None).expect("version 1");
        assert_eq!(list.commands[0].field("SessionCnt"), None);
        let v2 = [&v1[..], &[1, 0, 0xAA, 0xBB, 0xCC, 0xDD]].concat();
        let list = decode(201, &v2, Direction::Downlink, None).expect("version 2");
        assert_eq!(list.commands[0].number("SessionCnt"), Some(1));
        assert_eq!(decode(201, &v2, Direction::Downlink, Some(1)), None);
    }

    #[test]
    fn what_does_not_split_is_the_applications_own() {
        assert_eq!(decode(202, &[0x01, 1, 2], Direction::Uplink, None), None);
        assert_eq!(decode(202, &[], Direction::Uplink, None), None);
        assert_eq!(decode(10, &[0x00], Direction::Downlink, None), None);
    }

    #[test]
    fn a_correction_is_signed() {
        let octets = [0x01, 0xEE, 0xFF, 0xFF, 0xFF, 0x05];
        let list = decode(202, &octets, Direction::Downlink, None).expect("a list");
        assert_eq!(list.commands[0].number("TimeCorrection"), Some(-18));
    }
}
