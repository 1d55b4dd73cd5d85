//! The text of `read`, as it stands on a screen of 80 columns.

use handfast::{
    frame::decode,
    key::Aes128Key,
    reading::{Context, KeyRing, KeyRole, Source, read},
    show::{
        Input, Style,
        text::{Heading, reading},
    },
};

fn shown(frame: &str, keys: &[(KeyRole, &str)], source: &Source) -> String {
    let mut ring = KeyRing::default();
    for (role, key) in keys {
        ring.push(source.clone(), role.of(key.parse::<Aes128Key>().unwrap()));
    }
    let octets = hex::decode(frame.replace(' ', "")).unwrap();
    let found = read(decode(&octets), &ring, &Context::default());
    let mut out = String::new();
    reading(&mut out, Heading::None, &found, Style::PLAIN).unwrap();
    for line in out.lines() {
        assert!(line.chars().count() <= 80 && line == line.trim_end(), "{line:?}");
    }
    out
}

const APP_KEY: (KeyRole, &str) = (KeyRole::App, "2B7E151628AED2A6ABF7158809CF4F3C");
const WRONG_KEY: (KeyRole, &str) = (KeyRole::App, "00112233445566778899AABBCCDDEEFF");
const REQUEST: &str = "00 01000BFEFF000002 3C2B1AFEFF000002 0201 2E269CF5";
const ACCEPT: &str = "20D94ACFD06540984F241461506659C3AAADB5152AAFF250202FBA28E71693051D";
const UPLINK: &str = "40 DABB0102 80 0200 02 2721029D AEAF9EE9";

#[test]
fn a_join_request_whose_mic_holds() {
    assert_eq!(
        shown(REQUEST, &[APP_KEY], &Source::new("probe-07", "firmware")),
        "\
Join-Request, up, DevEUI 02-00-00-FF-FE-1A-2B-3C, 23 bytes
  byte  as sent                  field     what it says [TS001-1.0.4; 1.1]
     0  00                       MHDR      Join-Request  LoRaWAN R1
                                           [1.0.4 p. 16-17; 1.1 4.2.1]
        bits 7-5  000            FType     Join-Request
        bits 4-2  000            RFU       reserved: sent as 0
        bits 1-0  00             Major     LoRaWAN R1
   1-8  01 00 0B FE FF 00 00 02  JoinEUI   02-00-00-FF-FE-0B-00-01  join server
                                           [1.0.4 p. 45; 1.1 6.2.2]
        02 00 00 FF FE 0B 00 01  written   sent last byte first
  9-16  3C 2B 1A FE FF 00 00 02  DevEUI    02-00-00-FF-FE-1A-2B-3C  node
                                           [1.0.4 p. 45; 1.1 6.2.2]
        02 00 00 FF FE 1A 2B 3C  written
 17-18  02 01                    DevNonce  258 (0x0102)  the node's nonce
                                           [1.0.4 p. 45; 1.1 6.2.2]
        01 02                    written
 19-22  2E 26 9C F5              MIC       holds
                                           under AppKey (firmware of probe-07)
                                           [1.0.4 p. 45; 1.1 6.2.2]
"
    );
}

#[test]
fn a_join_request_whose_mic_fails() {
    let text = shown(REQUEST, &[WRONG_KEY], &Source::new("probe-07", "record"));
    assert!(text.ends_with(
        "\
 19-22  2E 26 9C F5              MIC       FAILS  [1.0.4 p. 45; 1.1 6.2.2]
        8A FB F7 74              expected  under AppKey (record of probe-07)
"
    ));
}

#[test]
fn a_join_accept_that_its_key_opens() {
    assert_eq!(
        shown(ACCEPT, &[APP_KEY], &Source::default()),
        "\
Join-Accept, down, 33 bytes
  byte  as sent                  field        what it says [TS001-1.0.4; 1.1]
     0  20                       MHDR         Join-Accept  LoRaWAN R1
                                              [1.0.4 p. 16-17; 1.1 4.2.1]
        bits 7-5  001            FType        Join-Accept
        bits 4-2  000            RFU          reserved: sent as 0
        bits 1-0  00             Major        LoRaWAN R1
  1-32  D9 4A CF D0 65 40 98 4F  encrypted    32 bytes  all fields and the MIC
        24 14 61 50 66 59 C3 AA               [1.0.4 p. 46; 1.1 6.2.3]
        AD B5 15 2A AF F2 50 20
        2F BA 28 E7 16 93 05 1D
  Turned round under AppKey: each 16 bytes after MHDR encrypted once more, since
  the server sealed them by decrypting. The same bytes in clear:
   1-3  B2 A1 00                 JoinNonce    41394 (0x00a1b2)
                                              the server's nonce
                                              [1.0.4 p. 46; 1.1 6.2.3]
        00 A1 B2                 written      sent last byte first
   4-6  01 00 00                 NetID        000001  network
                                              [1.0.4 p. 45-47; 1.1 6.2.3]
        00 00 01                 written
  7-10  DA BB 01 02              DevAddr      0201BBDA  address of the session
                                              [1.0.4 p. 45-47; 1.1 6.2.3]
        02 01 BB DA              written
    11  03                       DLSettings   receive windows of the session and
                                              the rule of its keys
                                              [1.0.4 p. 47; 1.1 6.2.3]
        bit 7     0              OptNeg       the server speaks 1.0.x
        bits 6-4  000            RX1DROffset  0  from uplink rate to RX1 rate
        bits 3-0  0011           RX2DataRate  3  RX2 at DR3
    12  01                       RxDelay      1 s  from uplink to RX1
                                              [1.0.4 p. 47; 1.1 5.8]
        bits 7-4  0000           RFU          reserved: sent as 0
        bits 3-0  0001           Del          1  1 s
 13-28  18 4F 84 E8 56 84 B8 5E  CFList       867.1 867.3 867.5 867.7 867.9
        84 88 66 84 58 6E 84 00               MHz: further channels
                                              [RP002-1.0.5 p. 30-31, 3.3.1]
 13-15  18 4F 84                 channel N    867.1 MHz  8671000 x 100 Hz
        84 4F 18                 written
 16-18  E8 56 84                 channel N+1  867.3 MHz  8673000 x 100 Hz
        84 56 E8                 written
 19-21  B8 5E 84                 channel N+2  867.5 MHz  8675000 x 100 Hz
        84 5E B8                 written
 22-24  88 66 84                 channel N+3  867.7 MHz  8677000 x 100 Hz
        84 66 88                 written
 25-27  58 6E 84                 channel N+4  867.9 MHz  8679000 x 100 Hz
        84 6E 58                 written
    28  00                       CFListType   0  frequencies
 29-32  9C DB 46 F3              MIC          holds
                                              under AppKey, rule of LoRaWAN 1.0
                                              [1.0.4 p. 46; 1.1 6.2.3]
"
    );
}

#[test]
fn a_join_accept_that_nothing_opens_shows_no_noise() {
    assert_eq!(
        shown(ACCEPT, &[WRONG_KEY], &Source::default()),
        "\
Join-Accept, down, 33 bytes
 byte  as sent                  field      what it says [TS001-1.0.4; 1.1]
    0  20                       MHDR       Join-Accept  LoRaWAN R1
                                           [1.0.4 p. 16-17; 1.1 4.2.1]
       bits 7-5  001            FType      Join-Accept
       bits 4-2  000            RFU        reserved: sent as 0
       bits 1-0  00             Major      LoRaWAN R1
 1-32  D9 4A CF D0 65 40 98 4F  encrypted  32 bytes  all fields and the MIC
       24 14 61 50 66 59 C3 AA             [1.0.4 p. 46; 1.1 6.2.3]
       AD B5 15 2A AF F2 50 20
       2F BA 28 E7 16 93 05 1D
       F2 11 8F BF              MIC        FAILS  as decrypted under AppKey
       FB 6F 74 F1              expected
"
    );
}

#[test]
fn an_uplink_without_keys_shows_all_that_is_in_clear() {
    assert_eq!(
        shown(UPLINK, &[], &Source::default()),
        "\
Unconfirmed data up, DevAddr 0201BBDA, 17 bytes
  byte  as sent         field       what it says [TS001-1.0.4; 1.1]
     0  40              MHDR        unconfirmed data up  LoRaWAN R1
                                    [1.0.4 p. 16-17; 1.1 4.2.1]
        bits 7-5  010   FType       unconfirmed data up
        bits 4-2  000   RFU         reserved: sent as 0
        bits 1-0  00    Major       LoRaWAN R1
   1-4  DA BB 01 02     DevAddr     0201BBDA  address of the session
                                    [1.0.4 p. 17; 1.1 4.3.1]
        02 01 BB DA     written     sent last byte first
     5  80              FCtrl       frame control: ADR, acknowledgement, length
                                    of FOpts  [1.0.4 p. 17-18; 1.1 4.3.1]
        bit 7     1     ADR         adaptive data rate on
        bit 6     0     ADRACKReq   asks for no downlink
        bit 5     0     ACK         acknowledges nothing
        bit 4     0     ClassB      opens no ping slots
        bits 3-0  0000  FOptsLen    0  no FOpts follow
   6-7  02 00           FCnt        2  16 bits of 32
                                    [1.0.4 p. 22-23; 1.1 4.3.1.5]
        00 02           written
     8  02              FPort       2  application  [1.0.4 p. 23-24; 1.1 4.3.2]
  9-12  27 21 02 9D     FRMPayload  4 bytes  encrypted under AppSKey
                                    [1.0.4 p. 24-25; 1.1 4.3.3]
 13-16  AE AF 9E E9     MIC         unchecked
                                    needs NwkSKey (1.0.x), or SNwkSIntKey and
                                    FNwkSIntKey (1.1), of this session
                                    [1.0.4 p. 24-25; 1.1 4.4.1-2]
"
    );
}

#[test]
fn an_uplink_with_keys_shows_what_was_hidden() {
    let keys = [
        (KeyRole::NwkS, "4BFD96BCE7BDA8054D563C80486C0390"),
        (KeyRole::AppS, "4C4ADDCE1783C8B89B98C1B43AD17E09"),
    ];
    let text = shown(UPLINK, &keys, &Source::default());
    assert!(text.ends_with(
        "\
   6-7  02 00           FCnt        2  full counter 65538 (0x00010002)
                                    [1.0.4 p. 22-23; 1.1 4.3.1.5]
        00 02           written
     8  02              FPort       2  application  [1.0.4 p. 23-24; 1.1 4.3.2]
  9-12  27 21 02 9D     FRMPayload  4 bytes  encrypted under AppSKey
                                    [1.0.4 p. 24-25; 1.1 4.3.3]
        01 67 00 E1     in clear    under AppSKey
 13-16  AE AF 9E E9     MIC         holds  under NwkSKey, rule of LoRaWAN 1.0
                                    [1.0.4 p. 24-25; 1.1 4.4.1-2]
  * Found by search: the upper half of the counter is 1.
"
    ));
}

#[test]
fn a_frame_cut_short_shows_its_beginning_and_where_it_ends() {
    assert_eq!(
        shown("0001000BFEFF0000023C2B1AFE", &[], &Source::default()),
        "\
Join-Request, up, cut short, 13 bytes
 byte  as sent                  field    what it says [TS001-1.0.4; 1.1]
    0  00                       MHDR     Join-Request  LoRaWAN R1
                                         [1.0.4 p. 16-17; 1.1 4.2.1]
       bits 7-5  000            FType    Join-Request
       bits 4-2  000            RFU      reserved: sent as 0
       bits 1-0  00             Major    LoRaWAN R1
  1-8  01 00 0B FE FF 00 00 02  JoinEUI  02-00-00-FF-FE-0B-00-01  join server
                                         [1.0.4 p. 45; 1.1 6.2.2]
       02 00 00 FF FE 0B 00 01  written  sent last byte first
 9-12  3C 2B 1A FE              ?        DevEUI begins here and is incomplete
  ! byte 9, DevEUI: cut short: 8 bytes needed (by the layout of the message), 4
    left
"
    );
}

#[test]
fn the_longest_frame_fits_its_columns() {
    let frame = format!("40DABB01028002 0002{}AEAF9EE9", "5A".repeat(242));
    let text = shown(&frame, &[], &Source::default());
    assert_eq!(text.lines().filter(|line| line.contains("5A 5A")).count(), 31);
}

#[test]
fn one_of_several_frames_has_a_name() {
    let found = read(decode(&[0xE0]), &KeyRing::default(), &Context::default());
    let mut out = String::new();
    let input = Input { name: "orchard.txt", index: 2, ..Input::default() };
    reading(&mut out, Heading::Of(input), &found, Style::PLAIN).unwrap();
    assert!(out.starts_with("orchard.txt, frame 3: Proprietary frame, 1 byte\n"), "{out}");
}
