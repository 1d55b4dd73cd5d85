//! The fixed lists of frequencies that a CFListType 1 counts in dynamic plans.

/// A list of numbered frequencies.
#[derive(Debug)]
pub struct FixedList {
    /// Its name.
    pub name: &'static str,
    /// How many frequencies are at equal steps.
    pub regular: u16,
    /// The first of them.
    pub start_hz: u32,
    /// The step.
    pub step_hz: u32,
    /// The frequencies that follow.
    pub extra_hz: &'static [u32],
    /// Keys of [`super::SOURCES`].
    pub source: &'static str,
}

impl FixedList {
    /// Returns the frequency of a number.
    pub fn frequency(&self, number: u16) -> Option<u32> {
        match number.checked_sub(self.regular) {
            None => Some(self.start_hz + u32::from(number) * self.step_hz),
            Some(n) => self.extra_hz.get(usize::from(n)).copied(),
        }
    }

    /// Returns all frequencies with their numbers, in order.
    pub fn iter(&self) -> impl Iterator<Item = (u16, u32)> + '_ {
        (0..).map_while(|n| Some((n, self.frequency(n)?)))
    }

    /// Returns the number of a frequency.
    pub fn number(&self, freq_hz: u32) -> Option<u16> {
        self.iter().find(|&(_, f)| f == freq_hz).map(|(n, _)| n)
    }
}

/// The list of the bands around 866 MHz: EU868, IN865, RU864.
pub static LIST_800: FixedList = FixedList {
    name: "list 800",
    regular: 35,
    start_hz: 863_100_000,
    step_hz: 200_000,
    extra_hz: &[865_062_500, 865_402_500, 865_602_500, 865_785_000, 865_985_000],
    source: "T5 (RP002-1.0.5 3.3.1.1)",
};

/// The list of the bands around 920 MHz: AS923 of every group, KR920.
pub static LIST_900: FixedList = FixedList {
    name: "list 900",
    regular: 96,
    start_hz: 915_100_000,
    step_hz: 100_000,
    extra_hz: &[],
    source: "T5 (RP002-1.0.5 3.3.1.2)",
};
