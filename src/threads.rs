//! Work shared between threads where the feature `threads` is on; the same work in the same order where it is off, or where the
//! target has none. Results do not depend on it.

/// Runs both, at once where there are threads.
#[cfg(feature = "threads")]
pub(crate) use rayon::join;

/// Runs both, one after the other.
#[cfg(not(feature = "threads"))]
pub(crate) fn join<A, B>(first: impl FnOnce() -> A, second: impl FnOnce() -> B) -> (A, B) {
    (first(), second())
}

/// Runs `work` on the pool from the beginning, so that its parts need not be handed over one by one.
pub(crate) fn on_pool<R: Send>(work: impl FnOnce() -> R + Send) -> R {
    #[cfg(feature = "threads")]
    return rayon::scope(|_| work());
    #[cfg(not(feature = "threads"))]
    work()
}

/// What `each` makes of every item, in the items' order.
pub(crate) fn map<T: Sync, R: Send>(items: &[T], each: impl Fn(&T) -> R + Sync + Send) -> Vec<R> {
    #[cfg(feature = "threads")]
    {
        use rayon::prelude::*;
        items.par_iter().map(each).collect()
    }
    #[cfg(not(feature = "threads"))]
    items.iter().map(each).collect()
}
