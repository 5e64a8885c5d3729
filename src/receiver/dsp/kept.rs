//! Things that take longer to make than to use once, kept for whoever needs the same next.

use std::sync::{Arc, Mutex, PoisonError};

/// Those used last, at most this many.
const MOST: usize = 6;

/// Keeps what was made last.
pub struct Kept<T: ?Sized>(Mutex<Vec<Arc<T>>>);

impl<T: ?Sized> Kept<T> {
    /// Nothing yet.
    pub const fn new() -> Self {
        Self(Mutex::new(Vec::new()))
    }

    /// The one that fits, or a new one.
    pub fn get(&self, fits: impl Fn(&T) -> bool, make: impl FnOnce() -> Arc<T>) -> Arc<T> {
        // Whoever panicked while it held the lock left whole entries.
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let one = match kept.iter().position(|one| fits(one)) {
            Some(place) => kept.remove(place),
            None => make(),
        };
        kept.insert(0, Arc::clone(&one));
        kept.truncate(MOST);
        one
    }
}
