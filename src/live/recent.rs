//! A table with so many rows: who was not met for the longest time makes room.

use std::{
    collections::{BTreeMap, HashMap},
    hash::Hash,
};

#[derive(Clone, Debug)]
pub(super) struct Recent<K, V> {
    rows: HashMap<K, (u64, V)>,
    order: BTreeMap<u64, K>,
    clock: u64,
    room: usize,
}

impl<K: Clone + Eq + Hash, V> Recent<K, V> {
    /// Returns an empty table for so many rows.
    pub(super) fn new(room: usize) -> Self {
        Self { rows: HashMap::new(), order: BTreeMap::new(), clock: 0, room: room.max(1) }
    }

    pub(super) fn len(&self) -> usize {
        self.rows.len()
    }

    pub(super) fn get(&self, key: &K) -> Option<&V> {
        self.rows.get(key).map(|(_, value)| value)
    }

    /// Returns a row without counting it as met.
    pub(super) fn get_mut(&mut self, key: &K) -> Option<&mut V> {
        self.rows.get_mut(key).map(|(_, value)| value)
    }

    /// Returns a row, which counts as met now.
    pub(super) fn meet(&mut self, key: &K) -> Option<&mut V> {
        let (met, value) = self.rows.get_mut(key)?;
        self.order.remove(met);
        self.clock += 1;
        *met = self.clock;
        self.order.insert(self.clock, key.clone());
        Some(value)
    }

    /// Adds a row; gives back the one that made room.
    pub(super) fn add(&mut self, key: K, value: V) -> Option<(K, V)> {
        self.clock += 1;
        self.order.insert(self.clock, key.clone());
        if let Some((met, _)) = self.rows.insert(key, (self.clock, value)) {
            self.order.remove(&met);
        }
        if self.rows.len() > self.room { self.forget_oldest() } else { None }
    }

    /// Takes a row out.
    pub(super) fn remove(&mut self, key: &K) -> Option<V> {
        let (met, value) = self.rows.remove(key)?;
        self.order.remove(&met);
        Some(value)
    }

    /// Returns the row that was not met for the longest time.
    pub(super) fn oldest(&self) -> Option<(&K, &V)> {
        let key = self.order.values().next()?;
        Some((key, self.get(key)?))
    }

    /// Forgets the row that was not met for the longest time.
    pub(super) fn forget_oldest(&mut self) -> Option<(K, V)> {
        let (_, key) = self.order.pop_first()?;
        let (_, value) = self.rows.remove(&key)?;
        Some((key, value))
    }

    /// Returns the rows, the one met last first.
    pub(super) fn newest(&self) -> impl Iterator<Item = (&K, &V)> {
        self.order.values().rev().filter_map(|key| Some((key, self.get(key)?)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_row_not_met_for_longest_makes_room() {
        let mut table = Recent::new(2);
        assert_eq!(table.add('a', 1), None);
        assert_eq!(table.add('b', 2), None);
        assert_eq!(table.meet(&'a'), Some(&mut 1));
        assert_eq!(table.add('c', 3), Some(('b', 2)));
        assert_eq!(table.add('a', 4), None);
        assert_eq!(table.newest().collect::<Vec<_>>(), [(&'a', &4), (&'c', &3)]);
        assert_eq!((table.len(), table.order.len()), (2, 2));
    }
}
