//! Reads `[shop]`: the letterhead of reports and labels, and the time zone of all times that people read.
//!
//! This module opens no file: [`Shop::logo`] names the file of the logo, and [`logo`] takes its bytes.

use super::ShopConfig;
use super::care::said;
use super::faults::{At, Fault, Faults, quoted};
use super::table::Table;
use crate::letterhead::{Letterhead, Logo, PageSize};
use crate::spec::job::{LONGEST_WORDS, words};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// No address has more lines.
const MOST_LINES: usize = 8;

/// The section, before the files and names in it were looked up; without the section nothing is set.
#[derive(Debug, Default)]
pub(super) struct Shop {
    pub(super) config: ShopConfig,
    /// The name of the time zone.
    pub(super) zone: Option<At<String>>,
    /// The file of the logo.
    pub(super) logo: Option<At<PathBuf>>,
}

pub(super) fn read(root: &mut Table<'_>, faults: &mut Faults, base: &Path) -> Shop {
    let Some(mut table) = root.table(faults, "shop", "[shop]") else {
        return Shop::default();
    };
    let name = said(&mut table, faults, "name");
    let lines = table.texts(faults, "address");
    let address = address(lines, faults);
    let sizes = PageSize::ALL.map(PageSize::name);
    let page_size = table.one_of(faults, "page_size", &sizes, PageSize::from_name);
    let zone = table.text(faults, "time_zone");
    let logo = table.text(faults, "logo").map(|file| At {
        value: base.join(file.value),
        place: file.place,
    });
    table.finish(faults);
    let letterhead = Letterhead {
        name,
        address,
        logo: None,
        page_size: page_size.map(|size| size.value),
    };
    Shop {
        config: ShopConfig {
            letterhead: Arc::new(letterhead),
            zone: None,
        },
        zone,
        logo,
    }
}

/// The logo in the bytes of its file; `Err` is why they could not be read.
pub(super) fn logo(
    file: &At<PathBuf>,
    bytes: Result<Vec<u8>, String>,
    faults: &mut Faults,
) -> Option<Logo> {
    let name = file.value.display();
    let fault = match bytes.map(|bytes| Logo::of_file(&bytes)) {
        Ok(Ok(logo)) => return Some(logo),
        Ok(Err(bad)) => {
            let fault = Fault::new(format!("the logo {name} cannot be used"), bad.to_string());
            fault.help(bad.remedy())
        }
        Err(why) => Fault::new(
            format!("cannot read the logo {name}: {why}"),
            "want an SVG or PNG file",
        ),
    };
    faults.add(&file.place, fault);
    None
}

fn address(lines: Vec<At<String>>, faults: &mut Faults) -> Vec<String> {
    if let Some(surplus) = lines.get(MOST_LINES) {
        let got = format!("{} lines in address", lines.len());
        faults.add(
            &surplus.place,
            Fault::new(got, format!("want at most {MOST_LINES}")),
        );
    }
    let line = |line: At<String>| match words(&line.value, LONGEST_WORDS) {
        Ok(words) => Some(words),
        Err(why) => {
            let got = format!("address has {}", quoted(&line.value));
            faults.add(&line.place, Fault::new(got, why.to_string()));
            None
        }
    };
    lines.into_iter().filter_map(line).collect()
}
