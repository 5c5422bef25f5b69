//! `tallyjaw cards`: exit 0; 2 for an unknown plan, or a text that no card can carry; 4 if the file cannot be written.

mod html;
mod questions;
mod sheet;
mod words;

use super::columns::count;
use super::html_file::HtmlFile;
use super::{Context, Exit, Failure};
use crate::texts::Language;
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

/// Name of the file without --out.
const FILE: &str = "cards.html";

/// Make a sheet of scan cards to print: plans, visual checks, commands, tools, jobs, lots, operators, notes
///
/// It makes one HTML file: open it in a browser and print it at 100 %. Each card has a QR code and the same text in
/// letters. A scanner at the bench reads them: `kind = "scanner"` in the configuration.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw cards
  tallyjaw cards --operator mara --operator 'Li Wei' --note 'strands nicked, stripped again'
  tallyjaw cards pump-own valve-own --paper letter -o two.html
  tallyjaw cards --language de
  tallyjaw cards --text

If plans are named, only their cards (start, visual checks, pull tests) and those of --operator, --terminal-lot, --wire-lot and --note are made. The code of a card only names \
its plan. After a change of the plan print the card again, since the limits on it are then old.")]
pub(super) struct Cards {
    /// Only these plans, without commands and tools [default: everything]
    #[arg(value_name = "PLAN")]
    plans: Vec<String>,
    /// Write the cards into this file [default: cards.html]
    #[arg(short, long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// The paper size [default: that of the printer, A4 or Letter]
    #[arg(long)]
    paper: Option<Paper>,
    /// The language of what is printed: en, de or es
    #[arg(long, value_name = "LANGUAGE", default_value = "en", value_parser = language)]
    language: Language,
    /// A card for this operator; can be repeated
    #[arg(long = "operator", value_name = "OPERATOR")]
    operators: Vec<String>,
    /// A card for this lot of terminals; can be repeated
    #[arg(long = "terminal-lot", value_name = "LOT")]
    terminal_lots: Vec<String>,
    /// A card for this lot of wire; can be repeated
    #[arg(long = "wire-lot", value_name = "LOT")]
    wire_lots: Vec<String>,
    /// A card for this remark; can be repeated
    #[arg(long = "note", value_name = "TEXT")]
    notes: Vec<String>,
    /// Print the text of each card, one per line; a file is made only with --out
    #[arg(long)]
    text: bool,
}

pub(super) fn language(name: &str) -> Result<Language, String> {
    Language::from_name(name).ok_or_else(|| {
        let known = Language::ALL.map(Language::name);
        format!("got {name:?}, want {}", known.join(", "))
    })
}

impl Cards {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let catalog = context.load()?.1.catalog;
        let wanted = Wanted {
            plans: &self.plans,
            operators: &self.operators,
            notes: &self.notes,
            terminal_lots: &self.terminal_lots,
            wire_lots: &self.wire_lots,
            language: self.language,
        };
        let sheet = sheet::sheet(&catalog, &wanted)?;
        for remark in &sheet.remarks {
            anstream::eprintln!("note: {remark}");
        }
        let page = html::page(&sheet, self.paper, self.language)?;
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
