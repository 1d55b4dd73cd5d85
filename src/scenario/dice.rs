//! Chance that comes out the same every time: the same seed, the same world.

/// A generator of numbers that look random (SplitMix64: a counter, and three rounds of mixing).
///
/// Good enough to vary a world; nothing here is a secret, not even the keys that it makes.
#[derive(Clone, Debug)]
pub struct Dice(u64);

impl Dice {
    /// Returns the dice of a seed.
    pub const fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// Returns dice of their own for one part of the world, so that a change elsewhere does not
    /// change that part.
    pub fn of(seed: u64, part: &str) -> Self {
        let mixed = part.bytes().fold(seed, |acc, octet| Self(acc ^ u64::from(octet)).roll());
        Self(mixed)
    }

    /// Returns 64 bits.
    pub fn roll(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Returns a number below `n`; 0 when there is none.
    pub fn below(&mut self, n: u32) -> u32 {
        let n = u64::from(n).max(1);
        // The bias is below 2^-32: nothing here notices it.
        u32::try_from(self.roll() % n).unwrap_or_default()
    }

    /// Returns a number from `least` to `most`.
    pub fn between(&mut self, least: u32, most: u32) -> u32 {
        least + self.below(most.saturating_sub(least).saturating_add(1))
    }

    /// Returns true once in `n` times.
    pub fn once_in(&mut self, n: u32) -> bool {
        self.below(n) == 0
    }

    /// Returns one of the list; `None` when it is empty.
    pub fn pick<T: Copy>(&mut self, list: &[T]) -> Option<T> {
        list.get(self.below(u32::try_from(list.len()).ok()?) as usize).copied()
    }

    /// Returns 16 octets, for a key.
    pub fn key(&mut self) -> [u8; 16] {
        let mut out = [0; 16];
        let octets = self.roll().to_be_bytes().into_iter().chain(self.roll().to_be_bytes());
        out.iter_mut().zip(octets).for_each(|(to, octet)| *to = octet);
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_seed_makes_the_same_numbers() {
        // the first numbers of SplitMix64 for the seed 0, as its authors print them
        let mut dice = Dice::new(0);
        assert_eq!(dice.roll(), 0xE220_A839_7B1D_CDAF);
        assert_eq!(dice.roll(), 0x6E78_9E6A_A1B9_65F4);
        assert_eq!(Dice::of(7, "probe").roll(), Dice::of(7, "probe").roll());
        assert_ne!(Dice::of(7, "probe").roll(), Dice::of(7, "other").roll());
    }

    #[test]
    fn a_number_stays_within_its_bounds() {
        let mut dice = Dice::new(3);
        assert!((0..1_000).all(|_| (5..=9).contains(&dice.between(5, 9))));
        assert_eq!(dice.below(0), 0);
        assert_eq!(dice.pick::<u8>(&[]), None);
    }
}
