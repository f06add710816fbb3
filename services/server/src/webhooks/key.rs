//! The key that the secrets of webhooks are made with: a file beside the keys of the sessions, for the same servers.

use std::fs::{self, OpenOptions};
use std::io::{self, Write as _};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::Path;

use crate::hex::hex;

/// The file's name.
const NAME: &str = "webhooks.key";
/// Bytes of the key.
const BYTES: usize = 32;

/// The key in a folder; makes it where there is none.
///
/// # Errors
/// If the folder cannot be read or written, or the file holds something else.
pub fn read_or_make(folder: &Path) -> io::Result<[u8; BYTES]> {
    let path = folder.join(NAME);
    match read(&path) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            make(folder, &path)?;
            read(&path)
        }
        read => read,
    }
}

/// Whole or not at all, and never over another: servers may start together.
fn make(folder: &Path, path: &Path) -> io::Result<()> {
    let mut key = [0; BYTES];
    let mut mark = [0; 8];
    getrandom::fill(&mut key).and_then(|()| getrandom::fill(&mut mark)).map_err(io::Error::other)?;
    let draft = folder.join(format!("{NAME}.{}", hex(&mark)));
    let mut file = OpenOptions::new().write(true).create_new(true).mode(0o600).open(&draft)?;
    file.write_all(hex(&key).as_bytes()).and_then(|()| file.sync_all())?;
    let linked = fs::hard_link(&draft, path);
    fs::remove_file(&draft)?;
    match linked {
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists => Ok(()),
        linked => linked,
    }
}

fn read(path: &Path) -> io::Result<[u8; BYTES]> {
    let text = fs::read_to_string(path)?;
    let text = text.trim();
    let no_key = || io::Error::new(io::ErrorKind::InvalidData, format!("{} holds no key", path.display()));
    if text.len() != 2 * BYTES || !text.is_ascii() {
        return Err(no_key());
    }
    let mut key = [0; BYTES];
    for (index, byte) in key.iter_mut().enumerate() {
        *byte = u8::from_str_radix(&text[2 * index..2 * index + 2], 16).map_err(|_| no_key())?;
    }
    Ok(key)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_key_stays_the_same_and_is_for_nobody_else() {
        use std::os::unix::fs::PermissionsExt as _;
        let folder = tempfile::tempdir().expect("a folder");
        let first = read_or_make(folder.path()).expect("a key");
        assert_eq!(read_or_make(folder.path()).expect("the key"), first);
        let mode = fs::metadata(folder.path().join(NAME)).expect("the file").permissions().mode();
        assert_eq!(mode & 0o777, 0o600);
        assert_eq!(fs::read_dir(folder.path()).expect("the folder").count(), 1, "no draft is left");
        fs::write(folder.path().join(NAME), "no key").expect("it can be written");
        assert!(read_or_make(folder.path()).is_err(), "it is not written over");
    }

    #[test]
    fn servers_that_start_together_have_one_key() {
        let folder = tempfile::tempdir().expect("a folder");
        let keys: Vec<_> = std::thread::scope(|scope| {
            let threads: Vec<_> = (0..8).map(|_| scope.spawn(|| read_or_make(folder.path()).expect("a key"))).collect();
            threads.into_iter().map(|thread| thread.join().expect("no panic")).collect()
        });
        assert!(keys.iter().all(|key| *key == keys[0]));
    }
}
