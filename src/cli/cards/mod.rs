//! `tallyjaw cards`: exit 0, 2 for an unknown plan or a text that no card can carry, 4 if the file cannot be
//! written.

mod html;
mod qr;
mod sheet;

use super::columns::count;
use super::html_file::HtmlFile;
use super::{Context, Exit, Failure};
use html::Paper;
use serde_json::json;
use sheet::{Sheet, Wanted};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

const PAGE: HtmlFile = HtmlFile {
    head: html::HEAD,
    other: "is not a sheet of cards",
    example: FILE,
};

/// Where the sheet goes if nothing is said.
const FILE: &str = "cards.html";

/// Make a sheet of scan cards to print: plans, commands, tools, operators, notes
///
/// One HTML file that needs nothing else: open it in a browser and print it, at 100 %. Each card has a QR code
/// and says the same in letters. A scanner at the bench reads them: `kind = "scanner"` in the configuration.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw cards
  tallyjaw cards --operator mara --operator 'Li Wei' --note 'strands nicked, stripped again'
  tallyjaw cards pump-own valve-own --paper letter --out two.html
  tallyjaw cards --text

With plans named, only their cards are made, and those of --operator and --note.
A card names its plan. If the plan changes, print its card anew: what is written on it is for the eye.")]
pub(super) struct Cards {
    /// Only these plans, without commands and tools [default: everything]
    #[arg(value_name = "PLAN")]
    plans: Vec<String>,
    /// The file [default: cards.html]
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// The paper; if not said, what the printer has, A4 or Letter
    #[arg(long)]
    paper: Option<Paper>,
    /// A card for this operator; several times
    #[arg(long = "operator", value_name = "NAME")]
    operators: Vec<String>,
    /// A card for this remark; several times
    #[arg(long = "note", value_name = "TEXT")]
    notes: Vec<String>,
    /// Print what the cards say, a line each; no file is made unless --out is given
    #[arg(long)]
    text: bool,
}

impl Cards {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let catalog = context.load()?.1.catalog;
        let wanted = Wanted {
            plans: &self.plans,
            operators: &self.operators,
            notes: &self.notes,
        };
        let sheet = sheet::sheet(&catalog, &wanted)?;
        for remark in &sheet.remarks {
            anstream::eprintln!("note: {remark}");
        }
        let page = html::page(&sheet, self.paper)?;
        if context.json {
            list_json(&sheet, out)?;
        } else if self.text {
            list(&sheet, out)?;
        }
        let is_listed = context.json || self.text;
        let file = match self.out {
            Some(file) => file,
            None if is_listed => return Ok(Exit::Yes),
            None => PathBuf::from(FILE),
        };
        PAGE.put(&file, &page)?;
        let file = std::path::absolute(&file).unwrap_or(file);
        let cards = sheet.cards().count();
        if context.json {
            let line = json!({ "kind": "file", "file": file, "cards": cards });
            writeln!(out, "{line}")?;
        } else if !self.text {
            tell(&sheet, cards, &file, out)?;
        }
        Ok(Exit::Yes)
    }
}

fn tell(sheet: &Sheet, cards: usize, file: &Path, out: &mut dyn Write) -> io::Result<()> {
    for group in &sheet.groups {
        let cards = count(group.cards.len(), "card");
        writeln!(
            out,
            "{}: {cards}",
            crate::entry::words::safe(&group.heading)
        )?;
    }
    let cards = count(cards, "card");
    writeln!(
        out,
        "{cards} in {}\nOpen it in a browser and print it at 100 %.",
        file.display()
    )
}

fn list(sheet: &Sheet, out: &mut dyn Write) -> io::Result<()> {
    sheet
        .cards()
        .try_for_each(|card| writeln!(out, "{}", card.text))
}

fn list_json(sheet: &Sheet, out: &mut dyn Write) -> io::Result<()> {
    for group in &sheet.groups {
        for card in &group.cards {
            let line = json!({
                "kind": "card",
                "card": card.text,
                "group": group.heading,
                "title": card.title,
            });
            writeln!(out, "{line}")?;
        }
    }
    Ok(())
}
