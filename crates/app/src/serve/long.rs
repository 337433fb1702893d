//! Work that takes longer than a page may wait: begun when somebody asks for it, told while it goes on, stopped by a press.
//!
//! Each place holds the work of one text; another text stops it and begins anew. One after the other,
//! so that the other pages stay quick.

use shop::At;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Condvar, Mutex, PoisonError};
use std::time::Duration;

/// Places that are kept, the one used last first.
const PLACES: usize = 16;
/// A page waits so long for the result before it says what is going on.
const PATIENCE: Duration = Duration::from_millis(300);

/// How a work stands.
#[derive(Debug)]
pub(crate) enum Standing<T> {
    /// It is there.
    Done {
        /// The result.
        made: Arc<T>,
        /// It was stopped before its end.
        stopped: bool,
    },
    /// It goes on.
    Going {
        /// What is being worked out, in words; empty while another one is in turn.
        said: String,
        /// Since when.
        since: At,
    },
    /// It broke off inside the program.
    Failed,
}

/// Works of one kind.
#[derive(Debug)]
pub(crate) struct Long<T> {
    works: Mutex<Vec<Work<T>>>,
    turn: Arc<Mutex<()>>,
    begun: AtomicUsize,
}

#[derive(Debug)]
struct Work<T> {
    name: String,
    key: String,
    since: At,
    state: Arc<State<T>>,
}

#[derive(Debug)]
struct State<T> {
    stop: AtomicBool,
    now: Mutex<Now<T>>,
    changed: Condvar,
}

#[derive(Debug)]
struct Now<T> {
    said: String,
    /// The result; none inside where it failed.
    result: Option<Option<Arc<T>>>,
}

impl<T> Default for Long<T> {
    fn default() -> Self {
        Self {
            works: Mutex::default(),
            turn: Arc::default(),
            begun: AtomicUsize::new(0),
        }
    }
}

impl<T> State<T> {
    fn lock(&self) -> std::sync::MutexGuard<'_, Now<T>> {
        self.now.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// What is being done, from within; false when it shall stop.
    fn say(&self, words: &str) -> bool {
        let mut now = self.lock();
        if now.said != words {
            words.clone_into(&mut now.said);
        }
        !self.stop.load(Ordering::Relaxed)
    }
}

impl<T: Send + Sync + 'static> Long<T> {
    /// How the work in a place stands, for this key; begun where it was not. Waits a moment for a quick one.
    pub(crate) fn ask(
        &self,
        name: &str,
        key: &str,
        now: At,
        work: impl FnOnce(&mut dyn FnMut(&str) -> bool) -> T + Send + 'static,
    ) -> Standing<T> {
        self.ask_for(PATIENCE, name, key, now, work)
    }

    /// The same with another patience.
    pub(crate) fn ask_for(
        &self,
        patience: Duration,
        name: &str,
        key: &str,
        now: At,
        work: impl FnOnce(&mut dyn FnMut(&str) -> bool) -> T + Send + 'static,
    ) -> Standing<T> {
        let (state, since, new) = self.place(name, key, now);
        if new {
            self.begun.fetch_add(1, Ordering::Relaxed);
            let (of, turn) = (Arc::clone(&state), Arc::clone(&self.turn));
            std::thread::spawn(move || {
                let in_turn = turn.lock().unwrap_or_else(PoisonError::into_inner);
                let made = catch_unwind(AssertUnwindSafe(|| work(&mut |words| of.say(words))));
                drop(in_turn);
                of.lock().result = Some(made.ok().map(Arc::new));
                of.changed.notify_all();
            });
        }
        let now = state.lock();
        let waited = state
            .changed
            .wait_timeout_while(now, patience, |now| now.result.is_none());
        let (now, _) = waited.unwrap_or_else(PoisonError::into_inner);
        match &now.result {
            Some(Some(made)) => Standing::Done {
                made: Arc::clone(made),
                stopped: state.stop.load(Ordering::Relaxed),
            },
            Some(None) => Standing::Failed,
            None => Standing::Going {
                said: now.said.clone(),
                since,
            },
        }
    }

    /// What stands in a place for this key, if it is there; begins nothing.
    pub(crate) fn there(&self, name: &str, key: &str) -> Option<Arc<T>> {
        let works = self.works.lock().unwrap_or_else(PoisonError::into_inner);
        let work = works.iter().find(|w| w.name == name && w.key == key)?;
        let now = work.state.lock();
        now.result.clone().flatten()
    }

    fn place(&self, name: &str, key: &str, now: At) -> (Arc<State<T>>, At, bool) {
        let mut works = self.works.lock().unwrap_or_else(PoisonError::into_inner);
        let found = works.iter().position(|w| w.name == name);
        let old = found.map(|at| works.remove(at));
        let (work, new) = match old {
            Some(work) if work.key == key => (work, false),
            other => {
                if let Some(other) = other {
                    other.state.stop.store(true, Ordering::Relaxed);
                }
                let state = State {
                    stop: AtomicBool::new(false),
                    now: Mutex::new(Now {
                        said: String::new(),
                        result: None,
                    }),
                    changed: Condvar::new(),
                };
                let work = Work {
                    name: name.to_owned(),
                    key: key.to_owned(),
                    since: now,
                    state: Arc::new(state),
                };
                (work, true)
            }
        };
        let (state, since) = (Arc::clone(&work.state), work.since);
        works.insert(0, work);
        let most = PLACES.min(works.len());
        for late in works.drain(most..) {
            late.state.stop.store(true, Ordering::Relaxed);
        }
        (state, since, new)
    }

    /// Stops the work in a place: what is there so far becomes its result.
    pub(crate) fn stop(&self, name: &str) {
        let works = self.works.lock().unwrap_or_else(PoisonError::into_inner);
        for work in works.iter().filter(|w| w.name == name) {
            work.state.stop.store(true, Ordering::Relaxed);
        }
    }

    /// Empties a place: who asks next has it worked out anew.
    pub(crate) fn forget(&self, name: &str) {
        self.stop(name);
        let mut works = self.works.lock().unwrap_or_else(PoisonError::into_inner);
        works.retain(|w| w.name != name);
    }

    /// How often something was begun.
    #[cfg(test)]
    pub(crate) fn begun(&self) -> usize {
        self.begun.load(Ordering::Relaxed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::mpsc::channel;

    fn done(standing: &Standing<usize>) -> Option<usize> {
        match standing {
            Standing::Done { made, .. } => Some(**made),
            _ => None,
        }
    }

    #[test]
    fn quick_work_is_there_at_once_and_is_done_once() {
        let long: Long<usize> = Long::default();
        assert_eq!(done(&long.ask("1", "a", At(0), |_| 7)), Some(7));
        assert_eq!(done(&long.ask("1", "a", At(0), |_| 8)), Some(7));
        assert_eq!(done(&long.ask("1", "b", At(0), |_| 9)), Some(9));
        assert_eq!(long.begun(), 2);
        assert_eq!(long.there("1", "b").as_deref(), Some(&9));
        assert!(long.there("1", "a").is_none());
        long.forget("1");
        assert!(long.there("1", "b").is_none());
    }

    #[test]
    fn long_work_tells_what_it_does_and_stops_with_what_it_has() {
        let long: Long<usize> = Long::default();
        let (go, wait) = channel::<()>();
        let work = move |say: &mut dyn FnMut(&str) -> bool| {
            let mut n = 0;
            while say("counting") {
                n += 1;
                let _ = wait.recv();
            }
            n
        };
        match long.ask("1", "a", At(5), work) {
            Standing::Going { said, since } => {
                assert_eq!((said.as_str(), since), ("counting", At(5)));
            }
            other => panic!("{other:?}"),
        }
        long.stop("1");
        go.send(()).unwrap();
        let standing = long.ask("1", "a", At(6), |_| 0);
        assert_eq!(done(&standing), Some(1));
        assert!(matches!(standing, Standing::Done { stopped: true, .. }));
    }

    #[test]
    fn another_text_stops_the_one_before_and_a_failure_is_told() {
        let long: Long<usize> = Long::default();
        let first = |say: &mut dyn FnMut(&str) -> bool| {
            let mut n = 0;
            while say("first") {
                n += 1;
                std::thread::yield_now();
            }
            n
        };
        assert!(matches!(
            long.ask("1", "a", At(0), first),
            Standing::Going { .. }
        ));
        assert_eq!(done(&long.ask("1", "b", At(0), |_| 3)), Some(3));
        let broken = || long.ask("2", "a", At(0), |_| panic!("inside"));
        // the panic is written out first, which takes its time
        while matches!(broken(), Standing::Going { .. }) {}
        assert!(matches!(broken(), Standing::Failed));
        assert_eq!(done(&long.ask("3", "a", At(0), |_| 4)), Some(4));
    }
}
