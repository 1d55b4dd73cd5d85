//! Mistakes with keys: on record, or built in.

use crate::{
    frame::MacVersion,
    key::{Aes128Key, AppKey, AppSKey, NwkKey, NwkSKey},
    roster::Activation,
    scenario::{Mistake, life::Life},
};

/// Returns a key as somebody types it who slips once.
fn slipped_key(key: &Aes128Key, whim: u32) -> Aes128Key {
    let mut octets = *key.expose();
    let place = (whim / 64 % 16) as usize;
    for octet in octets.iter_mut().skip(place).take(1) {
        // Two digits of one octet exchanged, where they differ; or one digit wrong.
        if whim.is_multiple_of(3) && *octet >> 4 != *octet & 0x0F {
            *octet = octet.rotate_left(4);
        } else {
            *octet ^= u8::try_from(whim % 15 + 1).unwrap_or(1) << (whim / 16 % 2 * 4);
        }
    }
    Aes128Key::new(octets)
}

fn reversed_key(key: &Aes128Key) -> Aes128Key {
    let mut octets = *key.expose();
    octets.reverse();
    Aes128Key::new(octets)
}

pub(super) fn key(mistake: Mistake, life: &mut Life) -> bool {
    let whim = life.whim;
    let of_1_1 = life.node.version == MacVersion::V1_1;
    let fresh = Aes128Key::new(life.dice.key());
    match mistake {
        Mistake::AppKeyReversed => life.on_record(reversed_key(&life.node.app_key)),
        Mistake::NwkKeyReversed => life.on_record(reversed_key(&life.node.nwk_key)),
        Mistake::AppKeyTyped => life.on_record(slipped_key(&life.node.app_key, whim)),
        Mistake::NwkKeyTyped => life.on_record(slipped_key(&life.node.nwk_key, whim)),
        Mistake::KeyUnrelated | Mistake::KeyOfAnother => life.on_record(fresh),
        Mistake::KeyTransformed => {
            let own = if of_1_1 { &life.node.nwk_key } else { &life.node.app_key };
            let mut octets = *own.expose();
            if whim.is_multiple_of(2) {
                octets = octets.map(|octet| !octet);
            } else {
                // Eight would swap the halves, which is another order.
                octets.rotate_left(1 + (whim / 2 % 7) as usize);
            }
            life.on_record(Aes128Key::new(octets));
        }
        Mistake::KeyPlaceholder => {
            let filler = if whim.is_multiple_of(2) { 0 } else { 0xFF };
            life.on_record(Aes128Key::new([filler; 16]));
        }
        Mistake::KeyText => {
            let text = hex::encode(life.node.app_key.expose());
            let text = if whim.is_multiple_of(2) { text.to_uppercase() } else { text };
            let mut octets = [0; 16];
            octets.iter_mut().zip(text.bytes()).for_each(|(to, octet)| *to = octet);
            life.built_in(Aes128Key::new(octets));
        }
        Mistake::SampleKey => {
            let counting = |n: usize| u8::try_from(n).unwrap_or_default();
            life.built_in(Aes128Key::new(match whim % 3 {
                0 => std::array::from_fn(counting),
                1 => [0; 16],
                _ => std::array::from_fn(|n| counting(n + 1)),
            }));
        }
        Mistake::WrongSlot if of_1_1 => {
            // AppKey and NwkKey in each other's field on record.
            life.record.app_key = Some(AppKey::from(life.node.nwk_key.clone()));
            life.record.nwk_key = Some(NwkKey::from(life.node.app_key.clone()));
        }
        Mistake::WrongSlot => {
            // The stack signs with what stands in its field NwkKey.
            if let Some(firmware) = &mut life.firmware {
                firmware.nwk_key = Some(NwkKey::from(fresh.clone()));
            }
            life.node.app_key = fresh;
        }
        Mistake::SessionKeyAsRoot => {
            if let Some(firmware) = &mut life.firmware {
                firmware.app_s_key = Some(AppSKey::from(fresh.clone()));
            }
            life.on_record(fresh);
        }
        Mistake::RecordIsAbp => {
            let [a, b] = [life.dice.key(), life.dice.key()];
            life.record.dev_addr = Some(life.dev_addr());
            life.record.activation = Some(Activation::Abp);
            life.record.app_key = None;
            life.record.nwk_key = None;
            life.record.nwk_s_key = Some(NwkSKey::from(a));
            life.record.app_s_key = Some(AppSKey::from(b));
        }
        _ => return false,
    }
    true
}

impl Life {
    /// Puts a key on record where the one belongs that signs.
    fn on_record(&mut self, key: Aes128Key) {
        if self.record.mac_version == Some(MacVersion::V1_1) {
            self.record.nwk_key = Some(NwkKey::from(key));
        } else {
            self.record.app_key = Some(AppKey::from(key));
        }
    }

    /// Builds a key into the node where the one belongs that signs.
    fn built_in(&mut self, key: Aes128Key) {
        if self.node.version == MacVersion::V1_1 {
            self.node.nwk_key = key;
        } else {
            self.node.app_key = key;
        }
    }
}
