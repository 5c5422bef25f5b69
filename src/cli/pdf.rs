//! Prints a page as PDF, with an installed Chromium that shows no window.
//!
//! The browser gets a folder of its own that is removed afterwards, keeps its sandbox, and reaches no network: the page
//! refers to nothing outside, and no name can be resolved.
#![expect(clippy::disallowed_methods, reason = "edge: runs a browser")]

use super::html_file::HtmlFile;
use super::{Failure, signed};
use crate::durable::{Access, put};
use crate::system::make_private_folder;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// Names of Chromium programs, in the order of searching.
const NAMES: &[&str] = &[
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
];

/// The files that a page is written to.
#[derive(Debug)]
pub(super) enum Files {
    Page(PathBuf),
    PageAndPdf(PathBuf, PathBuf),
    Pdf(PathBuf),
}

impl Files {
    /// The files for a given name: HTML with PDF beside it, or the PDF alone.
    ///
    /// # Errors
    ///
    /// If HTML would be written into a file with the name of a PDF.
    pub(super) fn named(file: PathBuf, is_printed: bool) -> Result<Self, Failure> {
        let ending = file.extension();
        let is_named_pdf = ending.is_some_and(|ending| ending.eq_ignore_ascii_case("pdf"));
        match (is_named_pdf, is_printed) {
            (true, true) => Ok(Self::Pdf(file)),
            (true, false) => {
                let what = format!("{} is named as a PDF, and the page is HTML", file.display());
                let html = file.with_extension("html");
                Err(Failure::usage(what).with_remedy(format!(
                    "print it as PDF: --pdf; or name an HTML file: --out {}",
                    html.display()
                )))
            }
            (false, true) => {
                let pdf = file.with_extension("pdf");
                Ok(Self::PageAndPdf(file, pdf))
            }
            (false, false) => Ok(Self::Page(file)),
        }
    }

    /// Writes and signs them; returns the signature of [`Self::first`]. Nothing is written if the page cannot be
    /// printed.
    pub(super) fn put(
        &self,
        kind: &HtmlFile,
        (page, on_paper): (&str, &str),
        state_dir: &Path,
    ) -> Result<Option<PathBuf>, Failure> {
        let printed = match self.pdf() {
            Some(file) => Some((file, printed(on_paper, file)?)),
            None => None,
        };
        let mut signature = None;
        if let Some(page_file) = self.page() {
            kind.put(page_file, page)?;
            signature = signed::sign(state_dir, page_file)?;
        }
        if let Some((file, printed)) = printed {
            signed::withdraw(file)?;
            put(file, &printed, true, Access::Usual).map_err(|error| {
                Failure::io(format!("cannot write {}: {error}", file.display()))
            })?;
            let of_pdf = signed::sign(state_dir, file)?;
            signature = signature.or(of_pdf);
        }
        Ok(signature)
    }

    /// The HTML file, or the PDF if there is no HTML file.
    pub(super) fn first(&self) -> &Path {
        match self {
            Self::Page(file) | Self::PageAndPdf(file, _) | Self::Pdf(file) => file,
        }
    }

    /// The PDF beside the page.
    pub(super) fn beside(&self) -> Option<&Path> {
        self.page().and(self.pdf())
    }

    /// The HTML file.
    pub(super) fn page(&self) -> Option<&Path> {
        match self {
            Self::Page(file) | Self::PageAndPdf(file, _) => Some(file),
            Self::Pdf(_) => None,
        }
    }

    fn pdf(&self) -> Option<&Path> {
        match self {
            Self::Page(_) => None,
            Self::PageAndPdf(_, pdf) | Self::Pdf(pdf) => Some(pdf),
        }
    }
}

/// The PDF of the page on the paper that its style sheet names; `file` is the file that it is for.
fn printed(page: &str, file: &Path) -> Result<Vec<u8>, Failure> {
    let browser = browser().ok_or_else(|| {
        Failure::usage("no Chromium was found on PATH, which prints the PDF").with_remedy(
            "install chromium, or leave out --pdf and print the HTML file from any browser",
        )
    })?;
    refuse_other(file)?;
    let folder = Folder::new()?;
    let (html, pdf) = (folder.0.join("report.html"), folder.0.join("report.pdf"));
    let failed =
        |what: &str, error: &dyn std::fmt::Display| Failure::io(format!("{what}: {error}"));
    std::fs::write(&html, page)
        .map_err(|error| failed("cannot write the page for the browser", &error))?;
    let output = Command::new(&browser)
        .args(["--headless", "--disable-gpu", "--disable-dev-shm-usage"])
        .args(["--no-first-run", "--no-pdf-header-footer"])
        .arg("--host-resolver-rules=MAP * ~NOTFOUND")
        .arg(format!(
            "--user-data-dir={}",
            folder.0.join("data").display()
        ))
        .arg(format!("--print-to-pdf={}", pdf.display()))
        .arg(format!("file://{}", html.display()))
        .stdin(Stdio::null())
        .output()
        .map_err(|error| failed(&format!("cannot run {}", browser.display()), &error))?;
    let printed = std::fs::read(&pdf)
        .ok()
        .filter(|bytes| bytes.starts_with(b"%PDF"));
    let Some(printed) = printed.filter(|_| output.status.success()) else {
        let said = String::from_utf8_lossy(&output.stderr);
        let last = said.lines().rev().find(|line| !line.trim().is_empty());
        let last = last.unwrap_or("it said nothing").to_owned();
        let as_root = said.contains("--no-sandbox");
        let failure = Failure::io(format!("{} printed no PDF: {last}", browser.display()));
        return Err(failure.with_remedy(if as_root {
            "run tallyjaw as a user who is not root: the browser keeps its sandbox"
        } else {
            "leave out --pdf and print the HTML file from any browser"
        }));
    };
    Ok(printed)
}

/// Refuses to replace a file that is not a PDF.
fn refuse_other(file: &Path) -> Result<(), Failure> {
    let is_other = |bytes: Vec<u8>| !bytes.is_empty() && !bytes.starts_with(b"%PDF");
    if std::fs::read(file).is_ok_and(is_other) {
        let what = format!("{} is there, and is no PDF", file.display());
        return Err(Failure::usage(what).with_remedy("name another file: --out FILE"));
    }
    Ok(())
}

fn browser() -> Option<PathBuf> {
    let path = std::env::var_os("PATH")?;
    let folders: Vec<PathBuf> = std::env::split_paths(&path).collect();
    let mut named = NAMES
        .iter()
        .flat_map(|name| folders.iter().map(move |folder| folder.join(name)));
    named.find(|file| file.is_file())
}

/// A folder that is removed when this is dropped.
struct Folder(PathBuf);

impl Folder {
    fn new() -> Result<Self, Failure> {
        let base = std::env::temp_dir();
        let name = format!("tallyjaw-page-{}", std::process::id());
        let path = base.join(name);
        make_private_folder(&path).map_err(|error| {
            Failure::io(format!("cannot make {}", path.display())).because(&error)
        })?;
        Ok(Self(path))
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        // Files that cannot be removed are in the folder for temporary files.
        let _ = std::fs::remove_dir_all(&self.0);
    }
}
