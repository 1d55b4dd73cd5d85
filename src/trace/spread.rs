//! A sample of bounded size, spread evenly over all that there was.

/// Items that are kept at the most: enough for a median and for a line through them.
const MOST: usize = 256;

/// The first item, every n-th after it, and the last. However many come, no more than 256 are kept.
#[derive(Clone, Debug)]
pub struct Spread<T> {
    kept: Vec<T>,
    step: u64,
    seen: u64,
    last: Option<T>,
}

impl<T> Default for Spread<T> {
    fn default() -> Self {
        Self { kept: Vec::new(), step: 1, seen: 0, last: None }
    }
}

impl<T: Clone> Spread<T> {
    /// Returns how many items there were.
    pub const fn total(&self) -> u64 {
        self.seen
    }

    /// Returns whether there was none.
    pub const fn is_empty(&self) -> bool {
        self.seen == 0
    }

    /// Returns the items that are kept, in order.
    pub fn iter(&self) -> impl DoubleEndedIterator<Item = &T> + Clone {
        self.kept.iter().chain(&self.last)
    }

    pub(super) fn push(&mut self, item: T) {
        let chosen = self.seen.is_multiple_of(self.step);
        self.seen += 1;
        if !chosen {
            self.last = Some(item);
            return;
        }
        self.last = None;
        self.kept.push(item);
        if self.kept.len() > MOST {
            let mut place = 0;
            self.last = self.kept.last().cloned();
            self.kept.retain(|_| {
                place += 1;
                place % 2 == 1
            });
            self.step *= 2;
            // The last one stayed in its own right.
            if (self.seen - 1).is_multiple_of(self.step) {
                self.last = None;
            }
        }
    }
}

impl<T: Copy + Ord> Spread<T> {
    /// Returns the item in the middle.
    pub fn median(&self) -> Option<T> {
        let mut all: Vec<T> = self.iter().copied().collect();
        all.sort_unstable();
        all.get(all.len() / 2).copied()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sample_keeps_the_first_the_last_and_an_even_share() {
        for n in [1_usize, 2, 256, 257, 258, 513, 514, 10_000, 10_001] {
            let mut all = Spread::default();
            (0..n).for_each(|i| all.push(i));
            let kept: Vec<usize> = all.iter().copied().collect();
            assert_eq!(all.total(), n as u64);
            assert!(kept.len() <= MOST + 1, "{n}: {}", kept.len());
            assert_eq!((kept.first(), kept.last()), (Some(&0), Some(&(n - 1))), "{n}");
            assert!(kept.windows(2).all(|pair| pair[0] < pair[1]), "{n}: each once, in order");
            let median = all.median().unwrap();
            assert!(median.abs_diff(n / 2) <= n / 50 + 1, "{n}: {median}");
        }
    }
}
