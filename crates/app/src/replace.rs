//! Putting a complete new file in place of an old one, so that at every moment one of the two is whole.
//!
//! The new text goes to a temporary file in the same folder, is synced to the disk, takes the
//! old file's permissions, and is renamed over it; then the folder is synced. A file that
//! changed since it was read is left alone.

use crate::outcome::Failure;
use std::fs::{self, File};
use std::io::{self, Write as _};
use std::path::Path;

/// Replaces the file, which held `before` when it was read, by `after`.
pub(crate) fn replace(path: &Path, before: &[u8], after: &str) -> Result<(), Failure> {
    let failed = |e: io::Error| {
        Failure::outside(
            format!("{} could not be replaced: {e}.", path.display()),
            "The file is as it was. Look at the disk and at the folder's permissions.",
        )
    };
    // Through a link, the file it points to is replaced; the link stays.
    let target = fs::canonicalize(path).map_err(failed)?;
    let folder = target.parent().ok_or_else(|| {
        Failure::misuse(
            format!("{} is no file in a folder.", path.display()),
            "Name a wiring file.",
        )
    })?;
    let permissions = fs::metadata(&target).map_err(failed)?.permissions();
    // The temporary file removes itself when anything below fails.
    let mut new = tempfile::Builder::new()
        .prefix(".tubewright-")
        .tempfile_in(folder)
        .map_err(failed)?;
    new.write_all(after.as_bytes()).map_err(failed)?;
    new.as_file().set_permissions(permissions).map_err(failed)?;
    new.as_file().sync_all().map_err(failed)?;
    if fs::read(&target).map_err(failed)? != before {
        return Err(Failure::outside(
            format!("{} changed while it was read.", path.display()),
            "It was left alone. Save it in the editor, then try again.",
        ));
    }
    new.persist(&target).map_err(|e| failed(e.error))?;
    // A folder cannot be synced everywhere; the file itself already is.
    if let Ok(folder) = File::open(folder) {
        let _ = folder.sync_all();
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_that_changed_meanwhile_is_left_alone_and_nothing_else_stays() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("a.wiring");
        fs::write(&path, "newer\n").expect("written");
        assert!(replace(&path, b"older\n", "tidy\n").is_err());
        assert_eq!(fs::read_to_string(&path).expect("there"), "newer\n");
        assert_eq!(fs::read_dir(folder.path()).expect("there").count(), 1);
        assert!(replace(&path, b"newer\n", "tidy\n").is_ok());
        assert_eq!(fs::read_to_string(&path).expect("there"), "tidy\n");
        assert_eq!(fs::read_dir(folder.path()).expect("there").count(), 1);
    }
}
