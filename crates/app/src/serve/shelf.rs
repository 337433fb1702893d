//! A shelf of results, each in a place of its own, each kept with the text that it came from.

use std::collections::VecDeque;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

/// Places on a shelf: more open jobs than a bench has, in both states.
const PLACES: usize = 64;

/// Results of one kind, the place used last first.
#[derive(Debug)]
pub(crate) struct Shelf<T> {
    places: Mutex<VecDeque<Place<T>>>,
    made: AtomicUsize,
}

#[derive(Debug)]
struct Place<T> {
    name: String,
    key: String,
    result: Arc<OnceLock<Arc<T>>>,
}

impl<T> Default for Shelf<T> {
    fn default() -> Self {
        Self {
            places: Mutex::default(),
            made: AtomicUsize::new(0),
        }
    }
}

impl<T> Shelf<T> {
    /// The result in a place, when it is that of this key; else it is made, and takes the place.
    ///
    /// Who asks while another makes it waits for that one; others are not held up.
    pub(crate) fn get(&self, name: &str, key: String, make: impl FnOnce() -> T) -> Arc<T> {
        let result = self.place(name, key);
        let made = result.get_or_init(|| {
            self.made.fetch_add(1, Ordering::Relaxed);
            Arc::new(make())
        });
        Arc::clone(made)
    }

    fn place(&self, name: &str, key: String) -> Arc<OnceLock<Arc<T>>> {
        let mut places = self.places.lock().unwrap_or_else(PoisonError::into_inner);
        let at = places.iter().position(|p| p.name == name);
        let mut place = match at.and_then(|i| places.remove(i)) {
            Some(place) => place,
            None => Place {
                name: name.to_owned(),
                key: key.clone(),
                result: Arc::default(),
            },
        };
        if place.key != key {
            place.key = key;
            place.result = Arc::default();
        }
        let result = Arc::clone(&place.result);
        places.push_front(place);
        places.truncate(PLACES);
        result
    }

    /// Empties a place: what comes next is made anew.
    pub(crate) fn forget(&self, name: &str) {
        let mut places = self.places.lock().unwrap_or_else(PoisonError::into_inner);
        places.retain(|p| p.name != name);
    }

    /// How often something was made.
    #[cfg(test)]
    pub(crate) fn made(&self) -> usize {
        self.made.load(Ordering::Relaxed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_result_is_made_once_for_a_text_and_anew_for_another() {
        let shelf: Shelf<String> = Shelf::default();
        let get = |place: &str, key: &str| shelf.get(place, key.to_owned(), || format!("of {key}"));
        assert_eq!(*get("42", "a"), "of a");
        assert_eq!(*get("42", "a"), "of a");
        assert_eq!(shelf.made(), 1);
        assert_eq!(*get("42", "b"), "of b");
        assert_eq!(*get("41", "a"), "of a");
        assert_eq!(shelf.made(), 3);
        // typing into one place pushes no other out
        for n in 0..500 {
            get("typing", &n.to_string());
        }
        get("42", "b");
        get("41", "a");
        assert_eq!(shelf.made(), 503);
    }

    #[test]
    fn two_that_ask_at_once_have_it_made_once() {
        let shelf: Shelf<usize> = Shelf::default();
        std::thread::scope(|scope| {
            for _ in 0..4 {
                scope.spawn(|| assert_eq!(*shelf.get("42", "a".to_owned(), || 7), 7));
            }
        });
        assert_eq!(shelf.made(), 1);
    }

    #[test]
    fn the_place_used_longest_ago_goes_first() {
        let shelf: Shelf<usize> = Shelf::default();
        for n in 0..PLACES + 1 {
            shelf.get(&n.to_string(), String::new(), || n);
        }
        shelf.get("1", String::new(), || 0);
        assert_eq!(shelf.made(), PLACES + 1);
        shelf.get("0", String::new(), || 0);
        assert_eq!(shelf.made(), PLACES + 2);
    }
}
