//! The sources that the tables name by their keys.
//!
//! These are documents of the standard. What comes from a device stack, a network or a vendor says
//! so in words and names nobody; `vectors/regions.toml` has the exact source next to the value.

/// Key and title of every document.
pub const SOURCES: &[(&str, &str)] = &[
    ("R5", "LoRa Alliance RP002-1.0.5 (2025), published pages 30, 80, 91"),
    (
        "T5",
        "a public transcription of RP002-1.0.5 with its table numbers (secondary; agreed with every R5 page seen)",
    ),
    ("R4", "LoRa Alliance RP002-1.0.4 (2022), published pages 27, 28"),
    ("R4E", "LoRa Alliance errata CR to RP002-1.0.4, ChMaskCntl 5 in US915/AU915 (2023-05-08)"),
    ("R1", "LoRa Alliance RP002-1.0.1 (Feb 2020), full text"),
    (
        "R103",
        "LoRaWAN 1.0.3 Regional Parameters revision A (2018), published pages 14,16,24,26,33,34,51,54,65,67",
    ),
    ("R11", "LoRaWAN 1.1 Regional Parameters, AU915 section"),
    ("R102", "LoRaWAN 1.0.2 Regional Parameters revision B (2017), full text"),
    ("R10", "LoRaWAN Regional Parameters V1.0 (July 2016, companion of LoRaWAN 1.0.2)"),
    ("L101", "LoRaWAN Specification V1.0.1 (Feb 2016) chapter 7 (EU868/US915/CN779 part)"),
];
