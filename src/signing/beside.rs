//! Signatures of files: `FILE.sig` beside FILE, in the form of `ssh-keygen -Y verify`.
//!
//! An old signature is removed before its file is replaced, and the new one is written once the file is durable. So
//! after a crash a file may lack its signature, but never has that of another content.

#![expect(clippy::disallowed_methods, reason = "edge: signatures are files")]

use super::{Key, KeyError, Public, Signature, SignatureError};
use crate::durable::{Access, Failed, failed, put};
use crate::entry::seal::check_by_hand;
use sha2::{Digest as _, Sha512};
use std::fs::{self, File};
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

/// A longer file is not a signature.
const MOST: u64 = 4096;

/// The name of the signature of `file`.
pub fn name(file: &Path) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push(".sig");
    name.into()
}

/// Removes an old signature, before its file is replaced. A file of that name that is not a signature stays.
pub fn withdraw(file: &Path) -> Result<(), Failed> {
    let beside = name(file);
    if !matches!(read(&beside), Ok(Some(text)) if Signature::from_text(&text).is_ok()) {
        return Ok(());
    }
    fs::remove_file(&beside).map_err(failed("remove", &beside))
}

/// Signs a file that is durable. Returns the name of the signature.
pub fn sign(key: &Key, file: &Path) -> Result<PathBuf, KeyError> {
    let text = key.sign_hash(&hash(file)?)?.to_text()?;
    let beside = name(file);
    put(&beside, text.as_bytes(), true, Access::Usual).map_err(failed("write", &beside))?;
    Ok(beside)
}

/// The key that has signed the file; `None` if there is no signature.
pub fn check(file: &Path) -> Result<Option<Result<Public, SignatureError>>, Failed> {
    let beside = name(file);
    let Some(text) = read(&beside).map_err(failed("read", &beside))? else {
        return Ok(None);
    };
    let hash = hash(file)?;
    let signature = Signature::from_text(&text);
    Ok(Some(signature.and_then(|signature| {
        signature.check_hash(&hash)?;
        Ok(signature.by().clone())
    })))
}

/// The command that checks the signature without tallyjaw; `allowed` is the file with the public key.
pub fn command(file: &Path, allowed: &str) -> String {
    let signature = name(file).display().to_string();
    check_by_hand(&file.display().to_string(), &signature, allowed)
}

fn read(path: &Path) -> io::Result<Option<String>> {
    let mut text = String::new();
    match File::open(path) {
        Ok(file) => file
            .take(MOST)
            .read_to_string(&mut text)
            .map(|_| Some(text)),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(error) => Err(error),
    }
}

fn hash(file: &Path) -> Result<[u8; 64], Failed> {
    let failed = failed("read", file);
    let mut open = File::open(file).map_err(&failed)?;
    let (mut hash, mut bytes) = (Sha512::new(), vec![0; 128 * 1024]);
    loop {
        match open.read(&mut bytes) {
            Ok(0) => return Ok(hash.finalize().into()),
            Ok(read) => hash.update(bytes.get(..read).unwrap_or_default()),
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(failed(error)),
        }
    }
}
