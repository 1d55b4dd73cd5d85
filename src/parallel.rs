//! Work on all cores whose results stay in their order.

/// Returns what each item gives, in the order of the items; on all cores with the feature `parallel`.
#[cfg(feature = "parallel")]
pub(crate) fn in_order<T: Sync, R: Send>(
    items: &[T],
    of: impl Fn(usize, &T) -> R + Sync + Send,
) -> Vec<R> {
    use rayon::iter::{IndexedParallelIterator, IntoParallelRefIterator, ParallelIterator};
    items.par_iter().enumerate().map(|(place, item)| of(place, item)).collect()
}

/// Returns what each item gives, in the order of the items.
#[cfg(not(feature = "parallel"))]
pub(crate) fn in_order<T, R>(items: &[T], of: impl Fn(usize, &T) -> R) -> Vec<R> {
    items.iter().enumerate().map(|(place, item)| of(place, item)).collect()
}
