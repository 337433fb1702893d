//! Who may come in over the network: a passcode that the bench set, and a code that works once.
//!
//! The desk page shows an address with a one-time code, also as a picture to scan. Whoever opens
//! it and knows the passcode gets a key in a cookie; the code is then used up. Wrong tries slow
//! everybody down, so guessing takes years.
//!
//! What this protects from: others on the same network who open the address. What it does not:
//! the connection is not encrypted, so whoever can listen on the network can read it and take
//! the key. It is for a network of your own.

use argon2::Argon2;
use argon2::password_hash::{PasswordHash, PasswordHasher as _, PasswordVerifier as _, SaltString};
use shop::{At, Hash};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// Shortest passcode.
pub(crate) const SHORTEST: usize = 6;
/// How long a one-time code may be used, in milliseconds.
const CODE_LIVES_MS: i64 = 10 * 60_000;
/// Wrong tries before waiting begins.
const FREE_TRIES: u32 = 5;
/// Longest wait after a wrong try: about an hour.
const LONGEST_WAIT_MS: i64 = (1 << 12) * 1000;
/// Devices at a time.
const MOST_DEVICES: usize = 16;

/// A device that came in.
#[derive(Debug, Clone)]
pub(crate) struct Device {
    /// Hash of its key; the key itself is only in the device.
    key: Hash,
    /// The name it gave itself.
    pub(crate) name: String,
    /// Since when.
    pub(crate) since: At,
}

#[derive(Debug, Default)]
struct Inner {
    code: Option<(String, At)>,
    devices: Vec<Device>,
    wrong: u32,
    wait_until: Option<At>,
}

/// The gate's memory. Nothing of it outlives the program: after a restart every device comes in anew.
#[derive(Debug, Default)]
pub(crate) struct Access {
    /// `http://192.168.1.7:8642` when the network is let in.
    pub(crate) address: Option<String>,
    inner: Mutex<Inner>,
}

/// How a try to come in ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Entered {
    /// With this key.
    Key(String),
    /// Passcode or code is wrong, or the code is used up.
    Wrong,
    /// Too many wrong tries; again after so many seconds.
    Wait(i64),
}

impl Access {
    /// A gate for this address.
    pub(crate) fn new(address: Option<String>) -> Self {
        Self {
            address,
            inner: Mutex::default(),
        }
    }

    /// The code that works now; a new one when the last one is used or old.
    pub(crate) fn code(&self, now: At) -> Option<String> {
        let mut inner = self.held();
        match &inner.code {
            Some((code, made)) if lives(*made, now) => Some(code.clone()),
            _ => {
                let code = new_code()?;
                inner.code = Some((code.clone(), now));
                Some(code)
            }
        }
    }

    /// Tries to come in. `stored` is the passcode as kept.
    pub(crate) fn enter(
        &self,
        code: &str,
        passcode: &str,
        stored: &str,
        name: &str,
        now: At,
    ) -> Entered {
        {
            let mut inner = self.held();
            if let Some(until) = inner.wait_until
                && now < until
            {
                // a clock that was set back must not shut the door for longer than was said
                let until = At(until.0.min(now.0 + LONGEST_WAIT_MS));
                inner.wait_until = Some(until);
                return Entered::Wait((until.0 - now.0 + 999) / 1000);
            }
            // counted before it is checked, so that many tries at once are all counted
            inner.wrong += 1;
            if inner.wrong > FREE_TRIES {
                let wait = 1000_i64 << (inner.wrong - FREE_TRIES).min(12);
                inner.wait_until = Some(At(now.0 + wait.min(LONGEST_WAIT_MS)));
            }
        }
        let right_passcode = matches(passcode, stored);
        let mut inner = self.held();
        let typed = plain(code);
        let right_code = matches!(&inner.code, Some((c, made))
            if lives(*made, now) && same(&plain(c), &typed));
        if !(right_passcode && right_code) {
            return Entered::Wrong;
        }
        let Some(key) = new_key() else {
            return Entered::Wrong;
        };
        inner.code = None;
        inner.wrong = 0;
        inner.wait_until = None;
        if inner.devices.len() >= MOST_DEVICES {
            inner.devices.remove(0);
        }
        inner.devices.push(Device {
            key: Hash::of(key.as_bytes()),
            name: name.to_owned(),
            since: now,
        });
        Entered::Key(key)
    }

    /// Is this the key of a device that came in?
    pub(crate) fn knows(&self, key: &str) -> bool {
        let hash = Hash::of(key.as_bytes());
        self.held().devices.iter().any(|d| d.key == hash)
    }

    /// The devices that are in.
    pub(crate) fn devices(&self) -> Vec<Device> {
        self.held().devices.clone()
    }

    /// Sends every device out.
    pub(crate) fn close(&self) {
        let mut inner = self.held();
        inner.devices.clear();
        inner.code = None;
    }

    fn held(&self) -> MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// A passcode as it is kept: slow to try, with a salt of its own.
pub(crate) fn kept(passcode: &str) -> Option<String> {
    let mut salt = [0u8; 16];
    getrandom::fill(&mut salt).ok()?;
    let salt = SaltString::encode_b64(&salt).ok()?;
    Some(
        Argon2::default()
            .hash_password(passcode.as_bytes(), &salt)
            .ok()?
            .to_string(),
    )
}

fn matches(passcode: &str, stored: &str) -> bool {
    PasswordHash::new(stored).is_ok_and(|hash| {
        Argon2::default()
            .verify_password(passcode.as_bytes(), &hash)
            .is_ok()
    })
}

/// Letters and digits that cannot be taken for each other; 8 of them, about 39 bits, for ten minutes.
fn new_code() -> Option<String> {
    const SIGNS: &[u8; 30] = b"abcdefghjkmnpqrstuvwxyz3456789";
    let mut code = String::new();
    while code.len() < 9 {
        let mut byte = [0u8; 1];
        getrandom::fill(&mut byte).ok()?;
        // 240 is the largest multiple of 30 in a byte: no sign is likelier than another
        if byte[0] < 240 {
            if code.len() == 4 {
                code.push('-');
            }
            code.push(char::from(*SIGNS.get(usize::from(byte[0]) % SIGNS.len())?));
        }
    }
    Some(code)
}

fn new_key() -> Option<String> {
    let mut bytes = [0u8; 32];
    getrandom::fill(&mut bytes).ok()?;
    Some(bytes.iter().map(|b| format!("{b:02x}")).collect())
}

/// Does a code made then still work? Not one of the future: the clock was set back, and it would live too long.
fn lives(made: At, now: At) -> bool {
    (0..CODE_LIVES_MS).contains(&(now.0 - made.0))
}

fn plain(code: &str) -> String {
    code.chars()
        .filter(char::is_ascii_alphanumeric)
        .map(|c| c.to_ascii_lowercase())
        .collect()
}

/// Compares without telling by its time how much was right.
fn same(a: &str, b: &str) -> bool {
    Hash::of(a.as_bytes()) == Hash::of(b.as_bytes())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_works_once_and_only_with_the_passcode() {
        let stored = kept("long enough").unwrap();
        assert!(!stored.contains("long enough"));
        let gate = Access::new(None);
        let now = At(1_000_000);
        let code = gate.code(now).unwrap();
        assert_eq!(gate.code(now).unwrap(), code, "the same until it is used");
        let enter = |code: &str, pass: &str| gate.enter(code, pass, &stored, "Phone", now);
        assert_eq!(enter(&code, "wrong"), Entered::Wrong);
        assert_eq!(enter("aaaa-aaaa", "long enough"), Entered::Wrong);
        let Entered::Key(key) = enter(&code.to_uppercase().replace('-', " "), "long enough") else {
            panic!("the right code and passcode");
        };
        assert!(gate.knows(&key));
        assert!(!gate.knows("") && !gate.knows(&key[1..]));
        assert_eq!(enter(&code, "long enough"), Entered::Wrong, "used up");
        assert_ne!(gate.code(now).unwrap(), code);
        gate.close();
        assert!(!gate.knows(&key));
    }

    #[test]
    fn a_code_grows_old() {
        let stored = kept("long enough").unwrap();
        let gate = Access::new(None);
        let code = gate.code(At(0)).unwrap();
        let late = At(CODE_LIVES_MS);
        assert_eq!(
            gate.enter(&code, "long enough", &stored, "", late),
            Entered::Wrong
        );
    }

    #[test]
    fn a_clock_set_back_neither_lengthens_a_code_nor_shuts_the_door() {
        let stored = kept("long enough").unwrap();
        let gate = Access::new(None);
        let day = 24 * 3_600_000;
        let code = gate.code(At(day)).unwrap();
        assert_ne!(gate.code(At(0)).unwrap(), code, "one of the future");
        let mut now = At(day);
        for _ in 0..30 {
            if let Entered::Wait(seconds) = gate.enter("bbbb-bbbb", "guess", &stored, "", now) {
                now.0 += seconds * 1000;
            }
        }
        let Entered::Wait(seconds) = gate.enter("bbbb-bbbb", "guess", &stored, "", At(0)) else {
            panic!("it waits");
        };
        assert_eq!(seconds * 1000, LONGEST_WAIT_MS);
        let later = At(LONGEST_WAIT_MS);
        let code = gate.code(later).unwrap();
        let enter = gate.enter(&code, "long enough", &stored, "Phone", later);
        assert!(matches!(enter, Entered::Key(_)), "{enter:?}");
    }

    #[test]
    fn guessing_is_slowed_down_for_everybody() {
        let stored = kept("long enough").unwrap();
        let gate = Access::new(None);
        let mut now = At(0);
        let mut tries = 0;
        // a day of guessing
        while now.0 < 24 * 3_600_000 {
            match gate.enter("bbbb-bbbb", "guess", &stored, "", now) {
                Entered::Wait(seconds) => now.0 += seconds * 1000,
                Entered::Wrong => tries += 1,
                Entered::Key(_) => panic!("guessed"),
            }
        }
        assert!(tries < 50, "{tries} tries in a day");
    }
}
