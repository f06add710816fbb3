//! The keys that sessions are signed with: a folder of Ed25519 keys, one file each, named after its id.

use std::collections::BTreeMap;
use std::fs::{self, OpenOptions};
use std::io::Write as _;
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use ed25519_dalek::SigningKey;
use ed25519_dalek::pkcs8::spki::der::pem::LineEnding;
use ed25519_dalek::pkcs8::{DecodePrivateKey, EncodePrivateKey};
use jsonwebtoken::{DecodingKey, EncodingKey};
use parking_lot::RwLock;

/// An unknown key may be one that another process has added; the folder is looked at for it this often at most.
const LOOK_AGAIN: Duration = Duration::from_secs(5);

/// Why the keys cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum KeyError {
    /// The folder or a file in it cannot be read or written.
    #[error("{path}: {cause}")]
    Folder {
        /// Where.
        path: String,
        /// Why.
        cause: std::io::Error,
    },
    /// A file holds no key.
    #[error("{path} is no Ed25519 key in PKCS#8 PEM: {cause}")]
    NoKey {
        /// Which file.
        path: String,
        /// Why.
        cause: String,
    },
    /// The system gives no random numbers.
    #[error("no random numbers: {0}")]
    Random(getrandom::Error),
}

/// One key.
pub struct Key {
    /// Its id: the file's name without `.pem`.
    pub id: String,
    pub(super) signs: EncodingKey,
    pub(super) verifies: DecodingKey,
}

/// Every key of a folder. All of them verify; the last in order of name signs.
pub struct Keys {
    folder: PathBuf,
    held: RwLock<Held>,
}

struct Held {
    keys: BTreeMap<String, Arc<Key>>,
    newest: Arc<Key>,
    looked: Instant,
}

impl Keys {
    /// Reads the folder; makes it, and a first key in it, if there is none.
    pub fn open(folder: &Path) -> Result<Self, KeyError> {
        let held = if let Some(held) = read(folder)? {
            held
        } else {
            add(folder)?;
            read(folder)?.ok_or_else(|| no_key(folder, "it was there a moment ago"))?
        };
        Ok(Self { folder: folder.to_owned(), held: RwLock::new(held) })
    }

    /// Reads the folder again; if that fails, all stays as it was.
    pub fn reload(&self) -> Result<usize, KeyError> {
        let held = read(&self.folder)?.ok_or_else(|| no_key(&self.folder, "there is none in the folder"))?;
        let count = held.keys.len();
        *self.held.write() = held;
        Ok(count)
    }

    /// The key that signs.
    pub fn newest(&self) -> Arc<Key> {
        Arc::clone(&self.held.read().newest)
    }

    /// Whether a key is there, as the folder was last read.
    pub fn holds(&self, id: &str) -> bool {
        self.held.read().keys.contains_key(id)
    }

    /// A key by id, which may have come into the folder since it was read.
    pub fn find(&self, id: &str) -> Option<Arc<Key>> {
        let (found, looked) = {
            let held = self.held.read();
            (held.keys.get(id).cloned(), held.looked)
        };
        if found.is_some() || looked.elapsed() < LOOK_AGAIN {
            return found;
        }
        self.held.write().looked = Instant::now();
        if let Err(error) = self.reload() {
            tracing::error!(%error, "the keys could not be read again");
        }
        self.held.read().keys.get(id).cloned()
    }
}

/// Adds a key that sorts after every other: from the next reading on it signs. Returns its id.
pub fn add(folder: &Path) -> Result<String, KeyError> {
    let at = |path: &Path| {
        let path = path.display().to_string();
        move |cause| KeyError::Folder { path, cause }
    };
    fs::DirBuilder::new().recursive(true).mode(0o700).create(folder).map_err(at(folder))?;
    let mut secret = [0; 32];
    getrandom::fill(&mut secret).map_err(KeyError::Random)?;
    let key = SigningKey::from_bytes(&secret);
    let id = chrono::Utc::now().format("%Y%m%dT%H%M%S%3fZ").to_string();
    let path = folder.join(format!("{id}.pem"));
    let pem = key.to_pkcs8_pem(LineEnding::LF).map_err(|error| no_key(&path, &error.to_string()))?;
    let mut file = OpenOptions::new().write(true).create_new(true).mode(0o600).open(&path).map_err(at(&path))?;
    file.write_all(pem.as_bytes()).and_then(|()| file.sync_all()).map_err(at(&path))?;
    Ok(id)
}

fn read(folder: &Path) -> Result<Option<Held>, KeyError> {
    let at = |cause| KeyError::Folder { path: folder.display().to_string(), cause };
    let entries = match fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(at(error)),
    };
    let mut keys = BTreeMap::new();
    for entry in entries {
        let path = entry.map_err(at)?.path();
        if path.extension().is_some_and(|extension| extension == "pem") {
            let key = Arc::new(read_key(&path)?);
            keys.insert(key.id.clone(), key);
        }
    }
    let Some(newest) = keys.values().next_back().cloned() else { return Ok(None) };
    Ok(Some(Held { keys, newest, looked: Instant::now() }))
}

fn read_key(path: &Path) -> Result<Key, KeyError> {
    let at = |cause| KeyError::Folder { path: path.display().to_string(), cause };
    if fs::metadata(path).map_err(at)?.permissions().mode() & 0o007 != 0 {
        tracing::warn!(path = %path.display(), "everybody on this machine can read this key; chmod 600 it");
    }
    let text = fs::read_to_string(path).map_err(at)?;
    let key = SigningKey::from_pkcs8_pem(&text).map_err(|error| no_key(path, &error.to_string()))?;
    let der = key.to_pkcs8_der().map_err(|error| no_key(path, &error.to_string()))?;
    let id = path.file_stem().and_then(|stem| stem.to_str()).ok_or_else(|| no_key(path, "its name is not UTF-8"))?;
    Ok(Key {
        id: id.to_owned(),
        signs: EncodingKey::from_ed_der(der.as_bytes()),
        verifies: DecodingKey::from_ed_der(key.verifying_key().as_bytes()),
    })
}

fn no_key(path: &Path, cause: &str) -> KeyError {
    KeyError::NoKey { path: path.display().to_string(), cause: cause.to_owned() }
}
