//! The story of the demo: reference pieces, own pieces, a bad crimp, a slip, a moved zero, a repair-class tool.

use super::super::{Exit, Failure};
use super::stage::Stage;
use crate::entry::{Entry, Outcome, SeriesEntry, Stamped, Standing};
use crate::spec::Verdict;
use crate::virtual_caliper::{CrimpTool, VirtualCaliper};

const FACTORY: CrimpTool = CrimpTool {
    bias_nm: 3_000,
    spread_nm: 6_000,
    seed: 20,
};
const PRODUCTION: CrimpTool = CrimpTool {
    bias_nm: 8_000,
    spread_nm: 8_000,
    seed: 7,
};
const REPAIR: CrimpTool = CrimpTool {
    bias_nm: 26_000,
    spread_nm: 9_000,
    seed: 3,
};

const FIRST: usize = 0;
const SECOND: usize = 1;

pub(super) fn play(stage: &mut Stage<'_>) -> Result<Exit, Failure> {
    stage.say(
        "A workshop for irrigation pumps crimps QF-250-F terminals for a pump's motor. The maker's sheet asks for a\n\
         core crimp height of 1.62 ±0.05 mm and a width of 2.40 ±0.10 mm on 2.0 mm² wire. Two benches, a caliper each.",
    )?;
    stage.wait_for_calipers()?;
    let page = stage.answer(&["page"])?;
    stage.print(&format!(
        "  The bench page, with the right to command: {page}"
    ))?;
    reference(stage)?;
    bad_crimp(stage)?;
    own_pieces(stage)?;
    moved_zero(stage)?;
    repair_tool(stage)?;
    other_wire(stage)?;
    ending(stage)
}

fn reference(stage: &mut Stage<'_>) -> Result<(), Failure> {
    stage.say("1. bench-1 measures pieces cut out of a known-good factory harness first: does the sheet fit them?")?;
    stage.take_tool(FACTORY);
    stage.command(&[
        "arm",
        "pump-ref",
        "--station",
        "bench-1",
        "--operator",
        "mara",
    ])?;
    stage.zero(FIRST)?;
    pieces(stage, FIRST, 3, "1.62 mm")?;
    pieces(stage, FIRST, 3, "2.40 mm")?;
    stage.zero(FIRST)?;
    completed(stage, "bench-1", Outcome::Accepted)
}

fn bad_crimp(stage: &mut Stage<'_>) -> Result<(), Failure> {
    stage.say("2. Own pieces, crimped with the production tool T-07. The operator forgets the zero, and the second\n   piece was crimped with strands outside the barrel.")?;
    stage.take_tool(PRODUCTION);
    stage.command(&["arm", "pump-own", "--station", "bench-1"])?;
    let early = stage.measure(FIRST, "1.62 mm")?;
    stage.expect(
        "a reading before the zero not to count",
        !counted(&early),
        early.seq,
    )?;
    stage.zero(FIRST)?;
    stage.measure(FIRST, "1.62 mm")?;
    let bad = stage.measure_exactly(FIRST, "1.75 mm")?;
    let caught = verdict(&bad) == Some(Verdict::FailHigh);
    stage.expect("the bad crimp to fail", caught, bad.seq)?;
    stage.say(
        "   It is caught. The operator says why, closes the series and sets the tool up again.",
    )?;
    stage.command(&[
        "note",
        "strands outside the barrel, stripping length corrected",
        "--station",
        "bench-1",
    ])?;
    stage.command(&["disarm", "--station", "bench-1"])?;
    completed(stage, "bench-1", Outcome::CutShort)
}

fn own_pieces(stage: &mut Stage<'_>) -> Result<(), Failure> {
    stage.say("3. Once more. On the third piece the jaws slip off the indentation, and the slip is retracted; and\n   the first width is pressed while the jaws are still on a height.")?;
    stage.command(&["arm", "pump-own", "--station", "bench-1"])?;
    stage.zero(FIRST)?;
    pieces(stage, FIRST, 2, "1.62 mm")?;
    let slip = stage.measure_exactly(FIRST, "1.48 mm")?;
    stage.expect(
        "the slip to fail",
        verdict(&slip) == Some(Verdict::FailLow),
        slip.seq,
    )?;
    stage.command(&["retract", "--station", "bench-1"])?;
    pieces(stage, FIRST, 3, "1.62 mm")?;
    let mixed_up = stage.measure(FIRST, "1.62 mm")?;
    stage.expect(
        "a height among widths not to count",
        !counted(&mixed_up),
        mixed_up.seq,
    )?;
    pieces(stage, FIRST, 5, "2.40 mm")?;
    stage.zero(FIRST)?;
    completed(stage, "bench-1", Outcome::Accepted)
}

fn moved_zero(stage: &mut Stage<'_>) -> Result<(), Failure> {
    stage.say("4. bench-2, RB-090-M for a valve on 0.5 mm² wire. A chip gets between the jaws, so the closing zero is off: what was\n   measured since the last good zero is in doubt, and is measured again.")?;
    stage.take_tool(PRODUCTION);
    stage.command(&[
        "arm",
        "valve-own",
        "--station",
        "bench-2",
        "--operator",
        "jonas",
    ])?;
    stage.zero(SECOND)?;
    pieces(stage, SECOND, 2, "0.98 mm")?;
    stage.handle(SECOND, |caliper| caliper.slip_origin(2));
    stage.measure(SECOND, "0.98 mm")?;
    stage.zero(SECOND)?;
    stage.wait_for("bench-2", &["doubted"])?;
    stage.say("   The jaws are cleaned and zeroed.")?;
    stage.handle(SECOND, VirtualCaliper::set_origin);
    stage.zero(SECOND)?;
    pieces(stage, SECOND, 3, "0.98 mm")?;
    stage.zero(SECOND)?;
    completed(stage, "bench-2", Outcome::Accepted)
}

fn repair_tool(stage: &mut Stage<'_>) -> Result<(), Failure> {
    stage.say("5. The same terminal with the repair-class tool R-02, judged by the guarded rule: near a limit the caliper\n   cannot tell good from bad, and the verdict says so.")?;
    stage.take_tool(REPAIR);
    stage.command(&["arm", "pump-repair", "--station", "bench-2"])?;
    stage.zero(SECOND)?;
    pieces(stage, SECOND, 4, "1.62 mm")?;
    let near = stage.measure_exactly(SECOND, "1.66 mm")?;
    let unsure = verdict(&near) == Some(Verdict::UnsureHigh);
    stage.expect("a value near the limit to be unsure", unsure, near.seq)?;
    stage.zero(SECOND)?;
    completed(stage, "bench-2", Outcome::Undecided)
}

fn other_wire(stage: &mut Stage<'_>) -> Result<(), Failure> {
    stage.say("6. bench-1 goes on with 5.0 mm² wire, known on the bench as 10 gauge; and the cable is pulled in mid-frame.")?;
    stage.take_tool(PRODUCTION);
    stage.command(&["arm", "pump-10ga", "--station", "bench-1"])?;
    stage.zero(FIRST)?;
    stage.measure(FIRST, "2.30 mm")?;
    stage.handle(FIRST, |caliper| {
        let half = caliper.send(b"+2.3");
        debug_assert!(half.is_ok());
    });
    stage.wait_a_moment();
    stage.handle(FIRST, VirtualCaliper::unplug);
    stage.wait_for("bench-1", &["detached"])?;
    stage.say("   The half frame is kept as unread, the series stays open. The cable is plugged in again.")?;
    let mut plugged = Ok(());
    stage.handle(FIRST, |caliper| plugged = caliper.plug());
    plugged
        .map_err(|error| Failure::io("the virtual caliper cannot be plugged in").because(&error))?;
    stage.wait_for("bench-1", &["attached"])?;
    pieces(stage, FIRST, 2, "2.30 mm")?;
    stage.zero(FIRST)?;
    completed(stage, "bench-1", Outcome::Accepted)
}

fn ending(stage: &mut Stage<'_>) -> Result<Exit, Failure> {
    stage.say("What was measured:")?;
    let table = stage.answer(&["series"])?;
    stage.print(&table)?;
    let folder = stage.folder();
    let config = stage.config();
    stage.say("And as a page to read, to print and to hand on, which anyone can compare with the journal:")?;
    let page = format!("{folder}/report.html");
    stage.command(&["report", "--out", &page])?;
    stage.command(&["verify", &page])?;
    let said = stage.answer(&["verify", &page])?;
    let said = said.lines().next().unwrap_or_default();
    stage.print(&format!(
        "    {}",
        said.trim_start_matches(&folder).trim_start_matches('/')
    ))?;
    stage.print(&format!(
        "\nEverything lies in {folder}\n  \
         report        report.html (open it in a browser)\n  \
         journal       state/journal/00000001.jsonl\n  \
         verdict log   state/verdicts.log\n  \
         feed socket   run/feed.sock (while the daemon runs)\n  \
         control       run/control.sock (likewise)\n\n\
         Look around:\n  \
         tallyjaw --config {config} series\n  \
         tallyjaw --config {config} verify\n\n\
         These figures prove nothing about a real crimp: the maker's sheet decides, pull test included."
    ))?;
    Ok(Exit::Yes)
}

fn pieces(stage: &mut Stage<'_>, bench: usize, count: usize, nominal: &str) -> Result<(), Failure> {
    for _ in 0..count {
        let stamped = stage.measure(bench, nominal)?;
        stage.expect("the reading to count", counted(&stamped), stamped.seq)?;
    }
    Ok(())
}

fn completed(stage: &mut Stage<'_>, station: &str, outcome: Outcome) -> Result<(), Failure> {
    let stamped = stage.wait_for(station, &["completed"])?;
    let as_told = matches!(&stamped.entry, Entry::Series(SeriesEntry::Completed(done)) if done.outcome == outcome);
    stage.expect(
        &format!("the series {}", outcome.name()),
        as_told,
        stamped.seq,
    )
}

fn counted(stamped: &Stamped) -> bool {
    let reading = stamped.entry.reading();
    reading.is_some_and(|reading| reading.standing == Standing::Counted)
}

fn verdict(stamped: &Stamped) -> Option<Verdict> {
    stamped.entry.reading()?.verdict()
}
