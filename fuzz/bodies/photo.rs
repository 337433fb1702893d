//! Whatever is sent as a photo: it is made small, or refused in words.

#[path = "../../crates/app/src/serve/photo.rs"]
#[allow(dead_code, unreachable_pub, reason = "taken as it is")]
mod taken_in;

pub(crate) fn run(bytes: &[u8]) {
    match taken_in::ready(bytes) {
        Ok(ready) => {
            assert!(ready.width > 0 && ready.height > 0);
            assert!(
                ready.shown.starts_with(&[0xff, 0xd8])
                    && ready.thumbnail.starts_with(&[0xff, 0xd8])
            );
        }
        Err((what, remedy)) => assert!(!what.is_empty() && !remedy.is_empty()),
    }
    let _ = taken_in::recording(bytes);
}
