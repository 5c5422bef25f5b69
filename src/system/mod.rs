//! What the operating system does beyond the standard library: folders whose names are durable, files that are
//! opened without following a link, owners and permissions.
//!
//! `linux` is the bench, and has all of it. `elsewhere` is an office computer, on which a copied journal is read: it has
//! what reading and writing of files for people need, and says of everything else that it is not known.

#![expect(clippy::disallowed_methods, reason = "edge: files and folders")]

#[cfg(not(target_os = "linux"))]
mod elsewhere;
#[cfg(target_os = "linux")]
mod linux;

#[cfg(not(target_os = "linux"))]
pub(crate) use elsewhere::*;
#[cfg(target_os = "linux")]
pub(crate) use linux::*;

use std::ffi::{OsStr, OsString};
use std::fs::File;
use std::path::Path;

/// Permissions of a new file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Access {
    /// The default of the process.
    Usual,
    /// Only the owner may read and write it.
    Private,
    /// Those of the file that it replaces, if there is one.
    Kept,
}

/// A file of a person, with what the system says of who else may use it.
#[derive(Debug)]
pub(crate) struct Guarded {
    pub(crate) file: File,
    /// Permission bits, as `stat` has them.
    pub(crate) mode: u32,
    /// Its owner.
    pub(crate) owner: u32,
}

/// The folder that contains a name.
fn above(path: &Path) -> &Path {
    let parent = path.parent();
    let named = parent.filter(|parent| !parent.as_os_str().is_empty());
    named.unwrap_or(Path::new("."))
}

/// `.NAME.PROCESS.part`
fn hidden_name(name: &OsStr) -> OsString {
    let mut hidden = OsString::from(".");
    hidden.push(name);
    hidden.push(format!(".{}.part", std::process::id()));
    hidden
}
