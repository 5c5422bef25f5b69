//! `tallyjaw sheet import`: exit 0 if the file was understood (and written, with --out); 2 if not; 4 if it cannot be
//! read or written.

#![expect(
    clippy::disallowed_methods,
    reason = "edge: reads the maker's file and writes the sheet"
)]

use super::limits_json;
use crate::cli::columns::{Columns, count};
use crate::cli::{Context, Exit, Failure, wire};
use crate::config::Config;
use crate::config::import::{self, Ask, ColumnRule, DecimalMark, Separator, Understood, WireUnit};
use crate::durable::{Access, put};
use crate::quantity::{Dimension, Quantity, Unit, safe};
use crate::spec::{Axis, SizingSystem};
use serde_json::{Map, Value, json};
use std::fs;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

/// Maximum size of a sheet in bytes.
const LARGEST_FILE: u64 = 1 << 20;

/// Read a maker's sheet from CSV and show what was understood; --out writes it
///
/// Separator, decimal mark, encoding and units are found from the file. What can be read in two ways is never
/// guessed: it is refused, and the message names the option that decides it.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
These headings are understood: wire, AWG, mm², crimp height, insulation crimp width, \
strip length, bellmouth, cutoff tab, pull force; with tol, +, -, min or max for a part of them. Cells may be \
1.62, 1.62 ±0.05, 1.62 +0.05/-0.03, 1.57..1.67, min 90, max 0.5, with or without a unit.

Examples:
  tallyjaw sheet import maker.csv
  tallyjaw sheet import maker.csv --terminal QF-250-F --source \"rev C\" --out sheets/qf.toml
  tallyjaw sheet import maker.csv --tolerance \"core_crimp_height=±0.05 mm\"
  tallyjaw sheet import maker.csv --column \"H nom=core_crimp_height\"

Exit codes: 0 understood (and written), 2 not understood or not written, 4 reading or writing failed.")]
pub(super) struct Import {
    /// The rows of a maker's sheet, as CSV
    file: PathBuf,
    /// Write the sheet into this file
    #[arg(short, long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Replace a file that is there
    #[arg(long, requires = "out")]
    force: bool,
    /// The terminal's id; it chooses one if the file has several
    #[arg(long, value_name = "TERMINAL")]
    terminal: Option<String>,
    /// Where the values are from, such as "maker's sheet, rev C" [default: the name of the file]
    #[arg(long, value_name = "TEXT")]
    source: Option<String>,
    /// What a column is: wire, terminal, name, ignore, an axis, or AXIS.nominal, .tolerance, .plus, .minus, .lower,
    /// .upper; the heading as written, or its number from 1
    #[arg(long = "column", value_name = "HEADING=WHAT")]
    columns: Vec<String>,
    /// A tolerance that the sheet gives once for all rows, such as `core_crimp_height=±0.05 mm`
    #[arg(long = "tolerance", value_name = "AXIS=TOLERANCE")]
    tolerances: Vec<String>,
    /// The number of the line with the headings
    #[arg(long, value_name = "N")]
    header_line: Option<usize>,
    /// The separator of cells: comma, semicolon or tab
    #[arg(long, value_name = "WHICH", value_parser = separator)]
    separator: Option<Separator>,
    /// The decimal mark of numbers: point or comma
    #[arg(long, value_name = "WHICH", value_parser = decimal)]
    decimal: Option<DecimalMark>,
    /// The unit of lengths without one: mm, cm, um, in
    #[arg(long, value_name = "UNIT", value_parser = length)]
    unit: Option<Unit>,
    /// The unit of forces without one: N, kN, kgf, lbf
    #[arg(long, value_name = "UNIT", value_parser = force)]
    force_unit: Option<Unit>,
    /// The unit of wire sizes without one: mm2 or awg
    #[arg(long, value_name = "UNIT", value_parser = wire_unit)]
    wire_unit: Option<WireUnit>,
    /// The system of gauges: `sae_metric` or `awg_area`
    #[arg(long, value_name = "SYSTEM", value_parser = wire::sizing)]
    sizing: Option<SizingSystem>,
}

/// The item of `all` with this name.
fn named<T: Copy>(got: &str, all: &[T], name: fn(T) -> &'static str) -> Result<T, String> {
    let names = || all.iter().copied().map(name).collect::<Vec<_>>();
    let mut found = all.iter().copied();
    found
        .find(|one| name(*one).eq_ignore_ascii_case(got))
        .ok_or_else(|| format!("want {}", names().join(", ")))
}

fn separator(got: &str) -> Result<Separator, String> {
    let got = match got {
        ";" => "semicolon",
        "," => "comma",
        "\t" => "tab",
        other => other,
    };
    named(got, &Separator::ALL, Separator::name)
}

fn decimal(got: &str) -> Result<DecimalMark, String> {
    let got = match got {
        "." => "point",
        "," => "comma",
        other => other,
    };
    named(got, &DecimalMark::ALL, DecimalMark::name)
}

fn unit_of(got: &str, dimension: Dimension) -> Result<Unit, String> {
    let units = Unit::ALL.into_iter();
    let units: Vec<_> = units.filter(|unit| unit.dimension() == dimension).collect();
    named(got, &units, Unit::name)
}

fn length(got: &str) -> Result<Unit, String> {
    unit_of(got, Dimension::Length)
}

fn force(got: &str) -> Result<Unit, String> {
    unit_of(got, Dimension::Force)
}

fn wire_unit(got: &str) -> Result<WireUnit, String> {
    named(got, &WireUnit::ALL, WireUnit::name)
}

impl Import {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        // A sheet may be the first file of a shop. Without a valid configuration the built-in axes are known.
        let config = context.load().ok().map(|(_, config)| config);
        let axes = match &config {
            Some(config) => config.catalog.axes.clone(),
            None => Axis::built_in(),
        };
        let ask = self.ask(&axes)?;
        let bytes = read(&self.file)?;
        let understood = import::read(self.file.clone(), &bytes, &ask, &axes)
            .map_err(|faulty| not_understood(&self.file, &faulty))?;
        if context.json {
            tell_json(&understood, out)?;
        } else {
            tell(&self.file, &understood, config.is_some(), out)?;
        }
        let Some(target) = &self.out else {
            if !context.json {
                writeln!(
                    out,
                    "\nnothing was written; compare this with the maker's sheet, then add --out FILE"
                )?;
            }
            return Ok(Exit::Yes);
        };
        out.flush()?; // Shown before anything is written.
        let sheet = understood
            .sheet(&self.file, self.source.as_deref(), &axes)
            .map_err(|error| Failure::usage(error.to_string()).with_remedy(error.remedy()))?;
        self.refuse_doubles(target, &understood, config.as_ref())?;
        place(target, &sheet, self.force)?;
        if !context.json {
            tell_written(target, &understood, context, out)?;
        }
        Ok(Exit::Yes)
    }

    fn ask(&self, axes: &[Axis]) -> Result<Ask, Failure> {
        let columns = self
            .columns
            .iter()
            .map(|text| ColumnRule::parse(text, axes));
        let columns = columns.collect::<Result<_, _>>().map_err(|error| {
            Failure::usage(error).with_remedy("write it as --column \"C/H=core_crimp_height\"")
        })?;
        let tolerances = self.tolerances.iter();
        let tolerances = tolerances.map(|text| import::tolerance(text, axes));
        let tolerances = tolerances.collect::<Result<_, _>>().map_err(|error| {
            Failure::usage(error)
                .with_remedy("write it as --tolerance \"core_crimp_height=±0.05 mm\"")
        })?;
        Ok(Ask {
            tolerances,
            terminal: self.terminal.clone(),
            separator: self.separator,
            decimal: self.decimal,
            unit: self.unit,
            force_unit: self.force_unit,
            wire_unit: self.wire_unit,
            sizing: self.sizing,
            header_line: self.header_line,
            columns,
        })
    }

    /// Refuses a terminal that another sheet already has.
    fn refuse_doubles(
        &self,
        target: &Path,
        understood: &Understood,
        config: Option<&Config>,
    ) -> Result<(), Failure> {
        let Some(config) = config else { return Ok(()) };
        let replaced = if self.force {
            fs::read_to_string(target).unwrap_or_default() // A file that does not exist replaces nothing.
        } else {
            String::new()
        };
        let replaced = import::terminals_of(&replaced, &config.catalog.axes);
        let ids = understood
            .terminals
            .iter()
            .filter_map(|terminal| terminal.id.as_deref());
        for id in ids {
            if config.catalog.terminal(id).is_some() && !replaced.iter().any(|known| known == id) {
                let message = format!("terminal {id} is already in a sheet of the configuration");
                let remedy = "replace that sheet: --out ITS_FILE --force; or give this one another id: --terminal";
                return Err(Failure::usage(message).with_remedy(remedy));
            }
        }
        Ok(())
    }
}

fn read(path: &Path) -> Result<Vec<u8>, Failure> {
    let failed = |error: io::Error| {
        let message = format!("cannot read {}", path.display());
        if error.kind() == io::ErrorKind::NotFound {
            Failure::usage(message).because(&error)
        } else {
            Failure::io(message).because(&error)
        }
    };
    let not_this = |what: &str| {
        let message = format!("{} is {what}, want a CSV file", path.display());
        Failure::usage(message).with_remedy("save the maker's sheet as CSV, one table a file")
    };
    if !fs::metadata(path).map_err(failed)?.is_file() {
        return Err(not_this("no plain file")); // Reading a pipe could wait for ever.
    }
    let mut bytes = Vec::new();
    let file = fs::File::open(path).map_err(failed)?;
    let most = LARGEST_FILE + 1;
    file.take(most).read_to_end(&mut bytes).map_err(failed)?;
    if u64::try_from(bytes.len()).is_ok_and(|length| length > LARGEST_FILE) {
        return Err(not_this("larger than 1 MiB"));
    }
    if bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(b"%PDF") {
        return Err(not_this("a workbook or a PDF"));
    }
    Ok(bytes)
}

fn not_understood(path: &Path, faulty: &crate::config::Faulty) -> Failure {
    let colour = anstream::AutoStream::choice(&io::stderr()) != anstream::ColorChoice::Never;
    let found = count(faulty.diagnostics.len(), "error");
    Failure::usage(format!(
        "{found} in {}; nothing was written",
        path.display()
    ))
    .with_details(faulty.rendered(colour))
    .with_remedy(
        "decide each error by an option, or correct the file: tallyjaw sheet import --help",
    )
}

fn tell(
    path: &Path,
    understood: &Understood,
    configured: bool,
    out: &mut dyn Write,
) -> Result<(), Failure> {
    let mark = understood
        .decimal
        .map_or("no decimal mark".to_owned(), |mark| {
            format!("decimal {mark}")
        });
    writeln!(
        out,
        "{}: {}, separator {}, {mark}, headings in line {}\n",
        path.display(),
        understood.encoding,
        understood.separator,
        understood.header_line
    )?;
    let mut columns = Columns::new(&["heading", "is"]);
    for (heading, meaning) in &understood.columns {
        let shown = safe(heading);
        let meaning = meaning.as_deref().unwrap_or("not used");
        columns.row(vec![shown, meaning.to_owned()]);
    }
    columns.write(out)?;
    for terminal in &understood.terminals {
        let id = terminal
            .id
            .as_deref()
            .unwrap_or("(no terminal named: --terminal ID)");
        match &terminal.name {
            Some(name) => writeln!(out, "\n{id}, {}\n", safe(name))?,
            None => writeln!(out, "\n{id}\n")?,
        }
        let mut columns = Columns::new(&["line", "wire", "axis", "limits", "lower", "upper"]);
        for row in &terminal.rows {
            for (axis, limits) in &row.limits {
                let end =
                    |end: Option<Quantity>| end.map(|end| end.to_string()).unwrap_or_default();
                columns.row(vec![
                    row.line.to_string(),
                    row.sizes().to_string(),
                    axis.to_string(),
                    limits.to_string(),
                    end(limits.lower()),
                    end(limits.upper()),
                ]);
            }
        }
        columns.write(out)?;
        writeln!(out)?;
        for row in &terminal.rows {
            for wire in std::iter::once(&row.wire).chain(&row.up_to) {
                match wire.gauge {
                    Some(_) => writeln!(out, "{wire}")?,
                    None => writeln!(out, "{}", wire::near(wire.area))?,
                }
            }
        }
    }
    let mut notes = understood.notes.clone();
    if !configured {
        notes.push("no usable configuration: only the built-in axes are known".to_owned());
    }
    if !notes.is_empty() {
        writeln!(out)?;
    }
    for note in notes {
        writeln!(out, "note: {}", safe(&note))?;
    }
    Ok(())
}

fn tell_json(understood: &Understood, out: &mut dyn Write) -> Result<(), Failure> {
    let columns: Vec<Value> = understood
        .columns
        .iter()
        .map(|(heading, meaning)| json!({"heading": heading, "is": meaning}))
        .collect();
    let head = json!({
        "kind": "import",
        "encoding": understood.encoding.name(),
        "separator": understood.separator.name(),
        "decimal": understood.decimal.map(DecimalMark::name),
        "header_line": understood.header_line,
        "columns": columns,
        "notes": understood.notes,
    });
    writeln!(out, "{head}")?;
    for terminal in &understood.terminals {
        for row in &terminal.rows {
            let axes = row.limits.iter();
            let axes: Map<String, Value> = axes
                .map(|(axis, limits)| (axis.to_string(), limits_json(limits)))
                .collect();
            let line = json!({
                "kind": "row",
                "terminal": terminal.id,
                "line": row.line,
                "wire_mm2": wire::number(row.wire.area.mm2()),
                "wire": row.wire.to_string(),
                "axes": axes,
            });
            let mut line = line;
            wire::add_up_to(&mut line, row.sizes());
            if let (Some(name), Some(object)) = (&terminal.name, line.as_object_mut()) {
                object.insert("name".to_owned(), json!(name));
            }
            writeln!(out, "{line}")?;
        }
    }
    Ok(())
}

/// Writes the sheet as a whole. An existing file is replaced only with --force.
fn place(target: &Path, sheet: &str, force: bool) -> Result<(), Failure> {
    put(target, sheet.as_bytes(), force, Access::Usual).map_err(|error| {
        if error.kind() == io::ErrorKind::AlreadyExists {
            let there = format!("{} is there already; nothing was written", target.display());
            Failure::usage(there).with_remedy("name another file, or add --force to replace it")
        } else {
            Failure::io(format!("cannot write {}", target.display())).because(&error)
        }
    })
}

/// Says where the sheet was written, and what to do next.
fn tell_written(
    target: &Path,
    understood: &Understood,
    context: &Context,
    out: &mut dyn Write,
) -> Result<(), Failure> {
    let rows = understood
        .terminals
        .iter()
        .map(|terminal| terminal.rows.len())
        .sum();
    writeln!(
        out,
        "\n{} of {} written to {}",
        count(rows, "row"),
        count(understood.terminals.len(), "terminal"),
        target.display()
    )?;
    let ids = || {
        understood
            .terminals
            .iter()
            .filter_map(|terminal| terminal.id.as_deref())
    };
    let next = match context.load() {
        Ok((_, config)) if ids().all(|id| config.catalog.terminal(id).is_some()) => {
            "the configuration has it, without errors; compare it with the maker's sheet".to_owned()
        }
        Ok((path, _)) => format!(
            "no pattern in `sheets` of {} fits this file yet: add it, then tallyjaw check",
            path.display()
        ),
        Err(_) => "name it in `sheets` of the configuration, then: tallyjaw check".to_owned(),
    };
    writeln!(out, "{next}")?;
    Ok(())
}
