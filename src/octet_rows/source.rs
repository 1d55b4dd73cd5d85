//! Where the standard lays a field down: TS001-1.0.4 by page, LoRaWAN 1.1 by section.

use crate::frame::{FType, Field};

/// Returns the places of a field in a message; empty where the standard has nothing to say.
pub(super) const fn of(field: Field, message: Option<FType>) -> &'static str {
    let rejoin = matches!(message, Some(FType::RejoinRequest));
    match field {
        Field::Mhdr => "1.0.4 p. 16-17; 1.1 4.2.1",
        _ if rejoin => "1.1 6.2.4",
        Field::JoinEui | Field::DevEui | Field::DevNonce => "1.0.4 p. 45; 1.1 6.2.2",
        Field::Sealed | Field::JoinNonce => "1.0.4 p. 46; 1.1 6.2.3",
        Field::NetId => "1.0.4 p. 45-47; 1.1 6.2.3",
        Field::DlSettings => "1.0.4 p. 47; 1.1 6.2.3",
        Field::RxDelay => "1.0.4 p. 47; 1.1 5.8",
        Field::CfList => "RP002-1.0.5 p. 30-31, 3.3.1",
        Field::DevAddr if matches!(message, Some(FType::JoinAccept)) => "1.0.4 p. 45-47; 1.1 6.2.3",
        Field::DevAddr => "1.0.4 p. 17; 1.1 4.3.1",
        Field::RejoinType | Field::RjCount0 | Field::RjCount1 => "1.1 6.2.4",
        Field::FCtrl => "1.0.4 p. 17-18; 1.1 4.3.1",
        Field::FCnt => "1.0.4 p. 22-23; 1.1 4.3.1.5",
        Field::FOpts => "1.0.4 p. 23; 1.1 4.3.1.6",
        Field::FPort => "1.0.4 p. 23-24; 1.1 4.3.2",
        Field::FrmPayload => "1.0.4 p. 24-25; 1.1 4.3.3",
        Field::Mic => match message {
            Some(FType::JoinRequest) => "1.0.4 p. 45; 1.1 6.2.2",
            Some(FType::JoinAccept) => "1.0.4 p. 46; 1.1 6.2.3",
            _ => "1.0.4 p. 24-25; 1.1 4.4.1-2",
        },
        Field::Surplus | Field::Proprietary => "",
    }
}

/// Returns whether a field is a number of several octets, least significant first on the air.
pub(super) const fn is_reversed(field: Field) -> bool {
    matches!(
        field,
        Field::JoinEui
            | Field::DevEui
            | Field::DevNonce
            | Field::JoinNonce
            | Field::NetId
            | Field::DevAddr
            | Field::RjCount0
            | Field::RjCount1
            | Field::FCnt
    )
}
