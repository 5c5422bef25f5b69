// Production runs: which crimps good samples vouch for, which are held, settled or open, counted from the lines; and what the page
// must say of it. A sample vouches for the crimps that were counted before its first reading; a bad one holds them.

const HELD = { bad_sample: "counted since the last good sample", after_bad_sample: "counted between a bad sample and the next good one", not_sampled: "counted after the last sample that could vouch for them" };
const SETTLED = { release: "released", rework: "sent to rework", scrap: "scrapped" };
const SAYS = { good: ["pass", "✓"], bad: ["fail", "✗"], nothing: ["unsure", "?"] };

function saysOf(completed) {
  if (completed.tally?.failed > 0 || completed.looks?.bad > 0) return "bad";
  return completed.outcome === "accepted" && !completed.tally?.doubted ? "good" : "nothing";
}

// Follows the production of every station: call it with each entry, in order. What must be held is compared with what is.
function production(found, same) {
  const stations = new Map();
  const of = (entry) => stations.get(entry.station) ?? stations.set(entry.station, { run: null, sample: null, stopped: null, owed: [] }).get(entry.station);
  const hold = (station, run, series, first, last, cause) => station.owed.push({ run: run.id, series, first_crimp: first, last_crimp: last, cause });
  const take = {
    armed(entry, station) { station.sample = entry.sample ? { series: entry.seq, ...entry.sample, crimps: undefined } : null; },
    resumed(entry, station) {
      station.sample = station.stopped?.series === entry.series ? station.stopped : null;
      station.stopped = null;
    },
    reading(entry, station) { if (entry.standing === "counted" && entry.series === station.sample?.series) station.sample.crimps ??= station.run?.crimps; },
    completed(entry, station) {
      const sample = station.sample;
      if (sample?.series !== entry.series) return;
      station.sample = null;
      if (entry.resumable) station.stopped = { ...sample };
      const [says, run] = [saysOf(entry), station.run];
      if (run?.settings.id !== sample.production_run.id) {
        if (says === "good" && sample.part === "first_off" && run && run.crimps > run.decided) {
          hold(station, run, entry.series, run.decided + 1, run.crimps, "not_sampled");
          run.decided = run.crimps;
        }
        return;
      }
      let vouched;
      if (says === "bad") {
        if (run.crimps > run.decided) hold(station, run, entry.series, run.decided + 1, run.crimps, "bad_sample");
        Object.assign(run, { decided: run.crimps, isBad: true });
      } else if (says === "good") {
        const upTo = Math.max(sample.crimps ?? run.crimps, run.decided);
        const first = run.decided + 1;
        if (upTo >= first && run.isBad) hold(station, run, entry.series, first, upTo, "after_bad_sample");
        else if (upTo >= first) { vouched = [first, upTo]; run.vouched += upTo - first + 1; }
        if (sample.part === "last_off" && run.crimps > upTo) hold(station, run, entry.series, upTo + 1, run.crimps, "not_sampled");
        Object.assign(run, { decided: sample.part === "last_off" ? run.crimps : upTo, isBad: false });
      }
      run.samples.push({ series: entry.series, at: entry.at, part: sample.part, says, crimps: run.crimps, vouched });
    },
    run_opened(entry, station) {
      const samples = [{ series: entry.series, at: entry.at, part: "first_off", says: "good", crimps: 0 }];
      station.run = { id: entry.seq, at: entry.at, station: entry.station, settings: entry.production_run, crimps: 0, decided: 0, vouched: 0, isBad: false, closed: null, samples, holds: [], settlements: [], due: [] };
      found.runs.set(entry.seq, station.run);
    },
    crimped(entry, station) { if (station.run) station.run.crimps += entry.crimps; },
    sample_due(entry) { found.runs.get(entry.run)?.due.push(entry.at); },
    held(entry, station) {
      const owed = station.owed.shift();
      const run = found.runs.get(entry.run);
      if (!run) return;
      for (const name of ["run", "series", "first_crimp", "last_crimp", "cause"]) same(`${name.replace("_", " ")} of what is held`, entry[name], owed?.[name]);
      run.holds.push({ seq: entry.seq, at: entry.at, first: entry.first_crimp, last: entry.last_crimp, cause: entry.cause, series: entry.series, settled: 0 });
    },
    settled(entry) {
      const run = found.runs.get(entry.run);
      const held = run?.holds.find(({ seq }) => seq === entry.held);
      if (!run) return;
      same("crimps that are settled, of those that are left", held && entry.crimps >= 1 && entry.crimps <= leftOf(held), true);
      if (held) held.settled += entry.crimps;
      run.settlements.push(entry);
    },
    run_closed(entry, station) {
      const run = found.runs.get(entry.run);
      if (run) run.closed = entry;
      if (station.run?.id === entry.run) station.run = null;
    },
  };
  return (entry) => { if (entry.station !== undefined && Object.hasOwn(take, entry.kind)) take[entry.kind](entry, of(entry)); };
}

const sizeOf = ({ first, last }) => last + 1 - first;
const leftOf = (hold) => sizeOf(hold) - hold.settled;
const heldOf = (run) => run.holds.reduce((sum, hold) => sum + leftOf(hold), 0);
const openOf = (run) => run.crimps - run.vouched - run.holds.reduce((sum, hold) => sum + sizeOf(hold), 0);
const settledOf = (run, how) => run.settlements.reduce((sum, one) => sum + (one.settlement === how ? one.crimps : 0), 0);
const crimpsOf = (number) => `${number} crimp${number === 1 ? "" : "s"}`;

function runSentence(run) {
  const [held, open] = [heldOf(run), openOf(run)];
  if (held) return `${crimpsOf(held)} held and not settled`;
  if (open) return `${crimpsOf(open)} open: no sample has decided about them`;
  if (run.vouched === run.crimps) return `good samples vouch for all of ${crimpsOf(run.crimps)}`;
  return `good samples vouch for ${run.vouched} of ${crimpsOf(run.crimps)}; the others were held, and a person settled them`;
}

function runOutcome(run) {
  const [held, open] = [heldOf(run), openOf(run)];
  if (held) return ["fail", "✗", `${held} HELD`];
  if (open) return ["unsure", "?", `${open} OPEN`];
  return ["pass", "✓", run.vouched === run.crimps ? "VOUCHED FOR" : "SETTLED"];
}

// What the sheet of a run says.
function expectRun(run, { put, tables, pictures }, offsets) {
  const time = (at) => local(at, offsets);
  const [like, mark, word] = runOutcome(run);
  put("the outcome of the run", `${mark}${word} ${capital(runSentence(run))}.`, { like });
  put("the head, opened", `Opened: ${time(run.at)}\n`);
  const by = { last_off: "by its last-off", another_run: "by the first-off of another run" };
  put("the head, closed", `Closed: ${run.closed ? `${time(run.closed.at)} ${by[run.closed.closed_by]}, series ${run.closed.series}` : "not yet"}\n`);
  const every = [[run.settings.sample_every_crimps, "crimps"], [run.settings.sample_every_minutes, "minutes"]].filter(([number]) => number !== undefined);
  put("the head, a sample", `A sample: every ${every.map((one) => one.join(" ")).join(" or ")}\n`);
  if (run.due.length) put("the head, overdue by time", `Overdue by time: ${run.due.map(time).join(", ")}\n`);

  const table = (caption, heads, rows) => {
    tables.push(tableOf(undefined, caption, heads, rows.map(({ about }) => about)));
    for (const { about, cells, like } of rows) cells.forEach((text, nth) => put(`${about}, ${heads[nth].toLowerCase()}`, text, { like: heads[nth] === "Says" ? like : undefined }));
  };
  const counts = [run.crimps, run.vouched, heldOf(run), ...["release", "rework", "scrap"].map((how) => settledOf(run, how)), openOf(run)];
  table("The crimps of this run; each but those counted stands in one column", ["Counted", "Vouched for", "Held", "Released", "To rework", "Scrapped", "Open"], [{ about: "the counts", cells: counts.map(String) }]);
  table("The samples of this run", ["Series", "Part", "Closed", "Crimps by then", "Says", "Vouches for"], run.samples.map(({ series, part, at, crimps, says, vouched }) => ({
    about: `the samples, series ${series}`, like: SAYS[says][0], cells: [String(series), part.replace("_", "-"), time(at), String(crimps), SAYS[says][1] + says, vouched ? vouched.join(" to ") : "–"],
  })));
  table("Crimps that were held", ["Entry", "When", "Crimps", "How many", "Why", "Series", "Not settled"], run.holds.map((hold) => ({
    about: `held by entry ${hold.seq}`, cells: [String(hold.seq), time(hold.at), `${hold.first} to ${hold.last}`, String(sizeOf(hold)), HELD[hold.cause], String(hold.series), String(leftOf(hold))],
  })));
  table("What a person decided about them", ["Entry", "When", "Of those held by", "How many", "Decision", "By", "Reason"], run.settlements.map((one) => ({
    about: `the decision of entry ${one.seq}`, cells: [String(one.seq), time(one.at), String(one.held), String(one.crimps), SETTLED[one.settlement], safe(one.operator ?? "not named"), safe(one.reason)],
  })));
  if (run.crimps > 0) pictures.push({ about: "the time line", box: "timeline 0 0 720 123", shapes: timeLine(run, offsets) });
}

// The time line: spans of crimps by what became of them, and the samples over them.
function timeLine(run, offsets) {
  const vouched = run.samples.flatMap((sample) => (sample.vouched ? [{ first: sample.vouched[0], last: sample.vouched[1], like: "vouched", word: "vouched for" }] : []));
  const held = run.holds.map(({ first, last, ...hold }) => ({ first, last, ...(leftOf({ first, last, ...hold }) === 0 ? { like: "settled", word: "settled" } : { like: "held", word: "held" }) }));
  const spans = [...vouched, ...held].sort((one, other) => one.first - other.first);
  const after = spans.length ? spans.at(-1).last + 1 : 1;
  if (after <= run.crimps) spans.push({ first: after, last: run.crimps, like: "open", word: "open" });
  const scale = ruler(0, run.crimps, 200, 7000);
  const shapes = [`title: Time line of run ${run.id}`, `desc: Crimps ${spans.map(({ first, last, word }) => `${first} to ${last} ${word}`).join(", ")}`];
  for (const { first, last, like, word } of spans) {
    const [from, to] = [scale(first - 1), scale(last)];
    shapes.push(`bar ${like} at ${px(from)} 42, ${px(Math.max(10, to - from))} × 34`);
    if (to - from >= 700) shapes.push(wordAt(midpoint(from, to), 635, word, "mid"));
  }
  let [free, marked] = [-Infinity, -Infinity];
  for (const { at, crimps, says } of run.samples) {
    const x = scale(crimps);
    shapes.push(pathOf("axis", `M${px(x)} 36V80`));
    const beside = Math.max(x, marked);
    marked = beside + 130;
    shapes.push(wordAt(beside, 270, SAYS[says][1], says === "nothing" ? "mid" : `mid ${says}`));
    if (x < free) continue;
    free = x + 560;
    shapes.push(wordAt(x, 920, String(crimps), "mid"), wordAt(x, 1100, local(at, offsets).slice(11, 16), "mid"));
  }
  return shapes;
}
