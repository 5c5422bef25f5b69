//! `tallyjaw label`: exit 0 once it is made; 2 if there is no such job or series, or if the label is too small; 4 if the
//! journal cannot be read or the file cannot be written.

mod gather;
mod html;
mod layout;
mod words;

pub(in crate::cli) use gather::Gathering;
pub(in crate::cli) use words::of;

use super::html_file::HtmlFile;
use super::pdf::Files;
use super::qr::Code;
use super::query::indexed;
use super::{Context, Exit, Failure, signed};
use crate::clock;
use crate::config::ShopConfig;
use crate::entry::Seq;
use crate::entry::line::Digest;
use crate::index::Index;
use crate::message::label::LabelOf;
use crate::spec::job::{self, WrongWords};
use crate::texts::Language;
use html::Drawn;
use layout::{Dots, LabelSize};
use serde_json::json;
use std::collections::BTreeSet;
use std::io::{self, IsTerminal as _, Write};
use std::path::{Path, PathBuf};
use words::{LEFT_OUT, Words};

const PAGE: HtmlFile = HtmlFile {
    head: html::HEAD,
    other: "has no labels of tallyjaw",
    example: "label.html",
};

/// Make a label of a job or of series to print: outcome, what it is of, and a QR code that `verify` checks
///
/// It makes one HTML file with a page of the label's size for each: print it at 100 %, without margins. The code
/// contains, as plain text, the series or job, its outcome, and the digest of the entry that proves it; `tallyjaw
/// verify --label` compares a scanned text with the journal. A job is accepted if all its series are; any other outcome
/// is printed in white on black.
///
/// A small label leaves lines out in this order: shop, plan, customer, item, date, terminal and wire, serial number,
/// counts. Job or series, outcome and reservations are on every label; where they do not fit, the smallest size that
/// does is named.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw label --job 4711                     job-4711.html
  tallyjaw label --job 4711 --serial 0007       the series of one harness of the job
  tallyjaw label --series 37 --series 52        a label for each
  tallyjaw label --job 4711 --size 50x25 --dots 12 -o label.html --pdf
  tallyjaw verify --label 'TJ1 JOB 4711 ACCEPTED ENTRY 412 5F3A…'

Exit codes: 0 made, 2 no such job or series, or the label is too small, 4 the journal cannot be read or the file not be \
written.")]
pub(super) struct Label {
    /// The label of this job, of all its series together
    #[arg(long, value_name = "JOB", required_unless_present = "series", value_parser = job_id)]
    job: Option<String>,
    /// Only the series of this serial number
    #[arg(long, value_name = "SERIAL", requires = "job")]
    serial: Option<String>,
    /// A label of this series; can be repeated
    #[arg(long, value_name = "SERIES", conflicts_with = "job")]
    series: Vec<u64>,
    /// Width and height in millimetres
    #[arg(long, value_name = "WIDTHxHEIGHT", default_value = "62x29")]
    size: LabelSize,
    /// Dots of the printer in a millimetre: 8 (203 dpi), 12 (300 dpi) or 24 (600 dpi). A module of the code is whole dots
    #[arg(long, value_name = "NUMBER", default_value_t = 8, value_parser = clap::value_parser!(u32).range(4..=48))]
    dots: u32,
    /// The language of what is printed: en, de or es
    #[arg(long, value_name = "LANGUAGE", default_value = "en", value_parser = super::cards::language)]
    language: Language,
    /// Also print it as PDF, beside the HTML file, with an installed Chromium
    #[arg(long)]
    pdf: bool,
    /// The file; `-` is standard output [default: a name with the job or series; standard output if that is no
    /// terminal]
    #[arg(short, long, value_name = "FILE")]
    out: Option<PathBuf>,
}

/// The series that the labels may include.
fn of_labels(index: &mut Index, labels: &[Gathering]) -> BTreeSet<Seq> {
    let mut series = BTreeSet::new();
    for label in labels {
        match label.of() {
            LabelOf::Series(id) => {
                series.insert(*id);
            }
            LabelOf::Job { id, .. } => {
                index.each_row(|row| {
                    if row.facts.job.as_ref() == Some(id) {
                        series.insert(row.id);
                    }
                });
                series.extend(index.unknown());
            }
        }
    }
    series
}

fn job_id(text: &str) -> Result<String, String> {
    job::job_id(text).map_err(|wrong: WrongWords| wrong.to_string())
}

impl Label {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        if self.pdf && self.out.as_ref().is_some_and(|out| out.as_os_str() == "-") {
            return Err(Failure::usage("--pdf needs a file, not standard output")
                .with_remedy("name one: --out label.html; the PDF is written beside it"));
        }
        let config = context.load()?.1;
        let mut gathered: Vec<Gathering> = self.wanted().into_iter().map(Gathering::new).collect();
        let mut index = indexed::index(&config.daemon);
        let series = of_labels(&mut index, &gathered);
        indexed::each(&config.daemon, &index.plan(&series), |stamped, line| {
            let digest = Digest::of(line.bytes);
            for one in &mut gathered {
                one.take(stamped, digest);
            }
        })?;
        let drawn = gathered.iter().map(|one| self.drawn(one, &config.shop));
        let drawn = drawn.collect::<Result<Vec<_>, _>>()?;
        let texts: Vec<&str> = drawn.iter().map(|label| label.text.as_str()).collect();
        let page = html::page(&drawn, self.size, self.language, &texts.join(", "));
        let Some(file) = self.file(context) else {
            out.write_all(page.as_bytes())?;
            return Ok(Exit::Yes);
        };
        let files = Files::named(file, self.pdf)?;
        let state_dir = &config.daemon.state_dir;
        let signature = files.put(&PAGE, (&page, &page), state_dir)?;
        self.tell(context, &drawn, &files, out)?;
        signed::tell(context, out, files.first(), signature.as_deref())?;
        Ok(Exit::Yes)
    }

    /// The subjects of the requested labels, each once.
    fn wanted(&self) -> Vec<LabelOf> {
        if let Some(id) = &self.job {
            let (id, serial) = (id.clone(), self.serial.clone());
            return vec![LabelOf::Job { id, serial }];
        }
        let mut wanted: Vec<LabelOf> = Vec::new();
        for id in &self.series {
            let of = LabelOf::Series(Seq(*id));
            if !wanted.contains(&of) {
                wanted.push(of);
            }
        }
        wanted
    }

    fn drawn(&self, gathered: &Gathering, shop: &ShopConfig) -> Result<Drawn, Failure> {
        let Some(label) = gathered.text() else {
            let what = match gathered.of() {
                LabelOf::Series(id) => format!("the journal has no series {id}"),
                of @ LabelOf::Job { .. } => {
                    format!("the journal has no series of {}", words::of(of))
                }
            };
            return Err(
                Failure::usage(what).with_remedy("list them: tallyjaw jobs, tallyjaw series")
            );
        };
        let text = label.to_string();
        let code = Code::new(&text).map_err(|error| {
            Failure::usage(format!("no code can carry {text:?}")).because(&error)
        })?;
        let zone = clock::zone();
        let words = Words {
            language: self.language,
            shop,
            zone: &zone,
        };
        let paragraphs = words.paragraphs(gathered, &label);
        let dots = Dots(self.dots);
        let across = u32::try_from(code.side()).unwrap_or(u32::MAX);
        let layout = layout::arranged(self.size, dots, across, &paragraphs).ok_or_else(|| {
            let what = format!(
                "{} mm is too small for {} with its outcome and its code",
                self.size,
                words::of(gathered.of())
            );
            let smallest = layout::smallest(self.size, dots, across, &paragraphs);
            let remedy = smallest.map(|size| format!("want at least --size {size}"));
            Failure::usage(what).with_remedy_of(remedy)
        })?;
        Ok(Drawn { text, code, layout })
    }

    /// The file to write; `None` is standard output.
    fn file(&self, context: &Context) -> Option<PathBuf> {
        match &self.out {
            Some(file) if file.as_os_str() == "-" => None,
            Some(file) => Some(file.clone()),
            None if self.pdf || context.json || io::stdout().is_terminal() => {
                Some(self.name().into())
            }
            None => None,
        }
    }

    /// `job-4711.html`, `label-37-52.html`; `job.html` if the id is not valid in a file name.
    fn name(&self) -> String {
        const NAMED: usize = 3;
        let is_plain = |text: &&String| {
            let mut letters = text.chars();
            letters.all(|letter| letter.is_ascii_alphanumeric() || letter == '-')
        };
        match &self.job {
            Some(id) => match [Some(id), self.serial.as_ref()] {
                [Some(id), None] if is_plain(&id) => format!("job-{id}.html"),
                [Some(id), Some(serial)] if is_plain(&id) && is_plain(&serial) => {
                    format!("job-{id}-{serial}.html")
                }
                _ => "job.html".to_owned(),
            },
            None if self.series.len() <= NAMED => {
                let ids: Vec<String> = self.series.iter().map(ToString::to_string).collect();
                format!("label-{}.html", ids.join("-"))
            }
            None => "labels.html".to_owned(),
        }
    }

    fn tell(
        &self,
        context: &Context,
        drawn: &[Drawn],
        files: &Files,
        out: &mut dyn Write,
    ) -> Result<(), Failure> {
        let whole = |file: &Path| std::path::absolute(file).unwrap_or_else(|_| file.to_owned());
        let first = whole(files.first());
        if context.json {
            let labels = drawn.iter().map(|label| {
                let (module_dots, module_um) = label.module(Dots(self.dots));
                json!({
                    "text": label.text,
                    "left_out": label.left_out(),
                    "modules": label.code.side(),
                    "module_dots": module_dots,
                    "module_um": module_um,
                })
            });
            let labels: Vec<_> = labels.collect();
            let line = json!({
                "kind": "labels", "file": first, "size": self.size.to_string(), "dots": self.dots,
                "labels": labels,
            });
            writeln!(out, "{line}")?;
            return Ok(());
        }
        for label in drawn {
            let (dots, micrometres) = label.module(Dots(self.dots));
            writeln!(out, "{}", crate::entry::words::safe(&label.text))?;
            let module = format!("{}.{:03} mm", micrometres / 1_000, micrometres % 1_000);
            let side = label.code.side();
            writeln!(
                out,
                "  code of {side} × {side} modules with its white margin, each {module}: {dots} dots of the printer"
            )?;
            let left_out = label.left_out();
            if !left_out.is_empty() {
                writeln!(out, "  no room for: {}", left_out.join(", "))?;
            }
        }
        if let Some(pdf) = files.beside() {
            writeln!(out, "{}", whole(pdf).display())?;
        }
        writeln!(
            out,
            "{}\nPrint it at 100 % on {} mm, without margins.",
            first.display(),
            self.size
        )?;
        Ok(())
    }
}

impl Drawn {
    /// The paragraphs for which the label has no room, in the order in which they were left out.
    fn left_out(&self) -> Vec<&'static str> {
        let all = LEFT_OUT.into_iter();
        all.filter(|name| self.layout.left_out.contains(name))
            .collect()
    }
}
