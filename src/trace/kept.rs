//! A list that may forget its middle, and what of it is forgotten.

use std::{
    collections::{BTreeMap, HashMap},
    hash::{DefaultHasher, Hash, Hasher},
    ops::Deref,
};

/// Items in order, each with a number that stays its own when others are forgotten.
///
/// As a slice it is what is kept. Once a trace is finished, numbers are places in the slice.
#[derive(Clone, Debug)]
pub struct Kept<T> {
    items: Vec<T>,
    numbers: Vec<usize>,
    pushed: usize,
}

impl<T> Default for Kept<T> {
    fn default() -> Self {
        Self { items: Vec::new(), numbers: Vec::new(), pushed: 0 }
    }
}

impl<T> Deref for Kept<T> {
    type Target = [T];

    fn deref(&self) -> &[T] {
        &self.items
    }
}

impl<'a, T> IntoIterator for &'a Kept<T> {
    type Item = &'a T;
    type IntoIter = std::slice::Iter<'a, T>;

    fn into_iter(self) -> Self::IntoIter {
        self.items.iter()
    }
}

impl<T> Kept<T> {
    /// Returns how many there were, with those that are forgotten.
    pub const fn total(&self) -> usize {
        self.pushed
    }

    /// Returns how many are forgotten.
    pub const fn forgotten(&self) -> usize {
        self.pushed - self.items.len()
    }

    /// Adds an item and returns its number.
    pub(super) fn push(&mut self, item: T) -> usize {
        let number = self.pushed;
        self.items.push(item);
        self.numbers.push(number);
        self.pushed += 1;
        number
    }

    /// Returns the item of a number, if it is kept.
    pub(super) fn at(&self, number: usize) -> Option<&T> {
        self.items.get(self.place(number)?)
    }

    pub(super) fn at_mut(&mut self, number: usize) -> Option<&mut T> {
        let place = self.place(number)?;
        self.items.get_mut(place)
    }

    pub(super) fn each_mut(&mut self) -> std::slice::IterMut<'_, T> {
        self.items.iter_mut()
    }

    /// Returns items from the newest on, with their numbers.
    pub(super) fn newest(&self) -> impl Iterator<Item = (usize, &T)> {
        self.numbers.iter().copied().zip(&self.items).rev()
    }

    /// Returns the place of a number in the slice.
    pub(super) fn place(&self, number: usize) -> Option<usize> {
        // Nearly always nothing is forgotten.
        if self.numbers.get(number) == Some(&number) {
            return Some(number);
        }
        self.numbers.binary_search(&number).ok()
    }

    /// Makes numbers places.
    pub(super) fn settle(&mut self) {
        for (place, number) in self.numbers.iter_mut().enumerate() {
            *number = place;
        }
    }

    /// Forgets what `stays` says no to, and gives it to `farewell`.
    pub(super) fn retain(
        &mut self,
        mut stays: impl FnMut(&T) -> bool,
        mut farewell: impl FnMut(T),
    ) {
        let items = std::mem::take(&mut self.items).into_iter();
        let numbers = std::mem::take(&mut self.numbers).into_iter();
        for (item, number) in items.zip(numbers) {
            if stays(&item) {
                self.items.push(item);
                self.numbers.push(number);
            } else {
                farewell(item);
            }
        }
    }

    /// Takes out what `whose` names an owner of, in lists of its own. The numbers are places, here and there.
    pub(super) fn part<K: Ord>(
        &mut self,
        mut whose: impl FnMut(&mut T) -> Option<K>,
    ) -> BTreeMap<K, Self> {
        let mut parted: BTreeMap<K, Self> = BTreeMap::new();
        for mut item in std::mem::take(&mut self.items) {
            if let Some(owner) = whose(&mut item) {
                parted.entry(owner).or_default().push(item);
                self.pushed -= 1;
            } else {
                self.items.push(item);
            }
        }
        self.numbers = (0..self.items.len()).collect();
        parted
    }

    /// Forgets what makes the list longer than `most`, out of its middle: the first quarter and the
    /// last half stay, and between them the first few of each kind. `kind` is given an item and
    /// the one before. Returns the numbers forgotten and gives each item to `farewell`.
    pub(super) fn thin(
        &mut self,
        most: usize,
        kind: impl Fn(Option<&T>, &T) -> u64,
        mut farewell: impl FnMut(usize, T),
    ) {
        let most = most.max(FEWEST);
        if self.items.len() <= most {
            return;
        }
        let (head, tail) = (most / 4, most / 2);
        let last = self.items.len() - tail;
        let mut room = most - head - tail;
        let mut seen: HashMap<u64, usize> = HashMap::new();
        let mut stays = Vec::with_capacity(self.items.len());
        for (place, item) in self.items.iter().enumerate() {
            let before = place.checked_sub(1).and_then(|before| self.items.get(before));
            let alike = seen.entry(kind(before, item)).or_default();
            *alike += 1;
            let chosen = *alike <= OF_A_KIND && room > 0;
            let middle = (head..last).contains(&place);
            room -= usize::from(middle && chosen);
            stays.push(!middle || chosen);
        }
        let items = std::mem::take(&mut self.items).into_iter();
        let numbers = std::mem::take(&mut self.numbers).into_iter();
        for ((item, number), stays) in items.zip(numbers).zip(stays) {
            if stays {
                self.items.push(item);
                self.numbers.push(number);
            } else {
                farewell(number, item);
            }
        }
        self.items.shrink_to_fit();
        self.numbers.shrink_to_fit();
    }
}

/// Hashes what makes two items of one kind.
pub(super) fn kind_of(what: impl Hash) -> u64 {
    let mut hasher = DefaultHasher::new();
    what.hash(&mut hasher);
    hasher.finish()
}

/// Kept at the least, so that first, last and what is odd between them have room.
const FEWEST: usize = 8;
/// Kept of one kind between the first and the last.
const OF_A_KIND: usize = 4;

#[cfg(test)]
mod tests {
    use super::*;

    fn list(n: usize) -> Kept<usize> {
        let mut list = Kept::default();
        for i in 0..n {
            assert_eq!(list.push(i), i);
        }
        list
    }

    #[test]
    fn the_first_the_last_and_the_odd_stay_under_their_numbers() {
        let mut all = list(1000);
        let odd = |item: usize| item == 500 || item == 700;
        let mut gone = Vec::new();
        all.thin(
            32,
            |_, item| u64::from(odd(*item)),
            |number, item| {
                assert_eq!(number, item);
                gone.push(item);
            },
        );
        assert!(all.len() <= 32 && all.len() + gone.len() == 1000);
        assert_eq!((all.total(), all.forgotten()), (1000, 1000 - all.len()));
        for number in [0, 7, 500, 700, 984, 999] {
            assert_eq!(all.at(number), Some(&number));
        }
        assert!(gone.iter().all(|number| all.at(*number).is_none()));
        assert_eq!(all.push(1000), 1000);
        all.settle();
        assert_eq!(all.at(all.len() - 1), Some(&1000));
    }

    #[test]
    fn however_many_are_odd_the_list_stays_small() {
        let mut all = list(10_000);
        all.thin(16, |_, item| *item as u64, |_, _| ());
        assert_eq!(all.len(), 16);
        all.thin(1, |_, _| 0, |_, _| ());
        assert_eq!(all.len(), FEWEST);
    }

    #[test]
    fn a_list_within_its_bound_is_left_alone() {
        let mut all = list(8);
        all.thin(0, |_, _| 0, |_, _| panic!("nothing is to go"));
        assert_eq!(all.len(), 8);
    }
}
