//! A wire by its make-up: its area, the nearest sizes, and whether it may be the printed size.

use super::number;
use crate::cli::columns::Columns;
use crate::cli::{Context, Exit, Failure};
use crate::spec::WireSize;
use crate::spec::wire::strands::{near as near_sizes, percent, two_decimals};
use crate::spec::wire::{CONSTRUCTIONS, Constructions, Doubt, Strands};
use serde_json::json;
use std::io::Write;

const MADE_UP: &str = "\
The area is count · π/4 · d². Sizes in mm² are nominal (IEC 60228 and ISO 6722-1, from memory) and need not be the
area of their strands. None of these sizes is chosen: the print on the wire decides.";

/// Writes the area of a make-up, and the nearest sizes; none of them is chosen.
pub(super) fn show(
    strands: Strands,
    printed: Option<&WireSize>,
    context: &Context,
    out: &mut dyn Write,
) -> Result<Exit, Failure> {
    let doubt = printed.and_then(|printed| strands.doubt(printed));
    let exit = if doubt.is_some() { Exit::No } else { Exit::Yes };
    let area = strands.area();
    let near = near_sizes(area);
    let (least, most) = strands.possible();
    let listed: Vec<(&str, &str)> = CONSTRUCTIONS.iter().flat_map(listed_as(&strands)).collect();
    if context.json {
        let near = near.iter().map(|near| {
            json!({
                "size": near.name,
                "mm2": number(near.area.mm2()),
                "difference_permille": near.difference_permille,
            })
        });
        let listed = listed
            .iter()
            .map(|(size, table)| json!({"size": size, "table": table}));
        let line = json!({
            "kind": "strands",
            "strands": strands.count(),
            "diameter_nm": strands.diameter().nanometres(),
            "mm2": number(area.mm2()),
            "least_mm2": number(least.mm2()),
            "most_mm2": number(most.mm2()),
            "near": near.collect::<Vec<_>>(),
            "listed": listed.collect::<Vec<_>>(),
        });
        let mut line = line;
        if let (Some(printed), Some(object)) = (printed, line.as_object_mut()) {
            object.insert("printed".to_owned(), json!(printed.to_string()));
            object.insert("is_printed_size".to_owned(), json!(doubt.is_none()));
            let says = doubt.as_ref().map(|doubt| json!(doubt.to_string()));
            object.extend(says.map(|says| ("doubt".to_owned(), says)));
        }
        writeln!(out, "{line}")?;
        return Ok(exit);
    }
    writeln!(out, "{strands} is {area}")?;
    writeln!(
        out,
        "the rounding of the diameter leaves {} to {} possible\n",
        two_decimals(least),
        two_decimals(most)
    )?;
    let mut columns = Columns::new(&["size near to it", "its area", "this is"]);
    for near in &near {
        let by = percent(near.difference_permille);
        columns.row(vec![near.name.clone(), two_decimals(near.area), by]);
    }
    columns.write(out)?;
    if !listed.is_empty() {
        writeln!(out)?;
    }
    for (size, table) in listed {
        writeln!(out, "listed as {size}: {table}")?;
    }
    writeln!(out, "\n{MADE_UP}")?;
    match (printed, doubt) {
        (None, _) => {}
        (Some(printed), None) => {
            writeln!(
                out,
                "\nno size is nearer to {strands} than the printed {printed}"
            )?;
        }
        (Some(_), Some(doubt @ Doubt::Either { .. })) => {
            writeln!(out, "\n{doubt}\nmeasure a strand to 0.001 mm to decide")?;
        }
        (Some(_), Some(doubt @ (Doubt::Nearer { .. } | Doubt::Far { .. }))) => {
            writeln!(out, "\n{doubt}\n{}", doubt.remedy())?;
        }
    }
    Ok(exit)
}

/// The sizes that a table lists for a make-up, with its title.
fn listed_as(
    strands: &Strands,
) -> impl Fn(&'static Constructions) -> Vec<(&'static str, &'static str)> {
    let (count, diameter) = (strands.count(), strands.diameter().nanometres());
    move |table| {
        let rows = table.rows();
        let of_it = rows.filter(|(strands, hundredths, _)| {
            *strands == count && i64::from(*hundredths) * 10_000 == diameter
        });
        of_it.map(|(_, _, size)| (size, table.title)).collect()
    }
}
