// What stands in which table, in what order, under which heads: a row that was moved says something else in its new place.

// The heads of tables that every report has; a table of ours is made by `tableOf`.
const HEADS = {
  overview: ["Every series of this report", "Series Opened Of_what Tool Outcome Readings"],
  times: ["Every reading in the order of its entry", "Entry Time Piece Axis Value Verdict By Instrument"],
  fallen: ["Readings that do not count, and why", "Entry Time Piece Value Became Why"],
  zeros: ["Every zero", "Entry Time Instrument Zero Shown Result"],
  looks: ["Visual checks, by the operator's eye", "Check Question Good Bad"],
  pulls: ["How the pulls failed", "Failure Pieces Minimum Share 95_%_interval"],
  instruments: ["Instruments, as configured when the series was opened", "Instrument Resolution Maximum_permissible_error Calibrated Valid_until Last_verification"],
};

// A table with a row for each name, and a cell for each head. `sheet` is its series, `undefined` on a cover.
function tableOf(sheet, caption, heads, names) {
  const rows = names.map((about) => ({ about, cells: heads.map((head) => `${about}, ${head.toLowerCase()}`) }));
  return { sheet: sheet === undefined ? undefined : String(sheet), caption, heads: [heads], rows };
}

function known(name, sheet, names) {
  const [caption, heads] = HEADS[name];
  return tableOf(sheet, caption, heads.split(" ").map((head) => head.replaceAll("_", " ")), names);
}

// The tables of a series, but those of its readings.
function tablesOf(series, readings, zeros, isFull) {
  const { spec, id } = series;
  const about = `series ${id}`;
  const guarded = spec.axes.some(({ guards }) => guards.some((guard) => base(guard, "width") > 0));
  const sources = new Set(spec.axes.map((axis) => sourceOf(axis, spec)));
  const heads = ["Axis", "Nominal", "Lower limit", "Upper limit", ...(guarded ? ["Unsure within"] : []), "Test uncertainty ratio", ...(hasBudget(spec) ? ["Uncertainty budget"] : []), ...(sources.size > 1 ? ["From"] : [])];
  return [
    tableOf(id, "Limits", heads, spec.axes.map((axis) => `${about}, limits of ${axisWords(axis.axis)}`)),
    known("fallen", id, readings.filter((one) => !one.counts).map((one) => `${about}, reading ${one.seq} that does not count`)),
    known("instruments", id, spec.instruments.map(({ name }) => `${about}, instrument ${safe(name)}`)),
    known("looks", id, (spec.looks ?? []).map((look, nth) => `${about}, visual check ${nth + 1}`)),
    known("pulls", id, Object.keys(PULLED).filter((mode) => readings.some((one) => one.counts && series.pulled.get(one.seq) === mode)).map((mode) => `${about}, pulls, ${PULLED[mode]}`)),
    ...(isFull ? [known("times", id, readings.map((one) => `${about}, reading ${one.seq} in the appendix`)), known("zeros", id, zeros.map((zero) => `${about}, zero ${zero.seq} in the appendix`))] : []),
    ...readingsOf(series, readings.filter((one) => one.counts)),
  ].filter(({ rows }) => rows.length > 0);
}

// The tables of readings: a row for each piece with up to four axes beside each other, in blocks.
function readingsOf(series, counting) {
  const about = `series ${series.id}`;
  const table = (heads, rows, caption) => ({ sheet: String(series.id), heads, rows, caption, isOfBlocks: true });
  const whoHeads = (column) => (hasWho(series, column) ? ["By"] : []);
  const unitOf = (column) => (column.length > 0 && column.every((one) => one.unit === column[0].unit) ? `, ${column[0].unit}` : "");
  if (series.spec.blocks) {
    const rows = series.spec.axes.flatMap(({ axis }) => counting.filter((one) => one.axis === axis)).map((one) => {
      const [words, row] = [axisWords(one.axis), `${about}, piece ${axisWords(one.axis)}, time ${one.piece}`];
      const cell = (what) => `${about}, ${words}, time ${one.piece} (entry ${one.seq}), ${what}`;
      return { about: row, head: words, cells: [undefined, `${row}, which time`, cell("value"), cell("error"), cell("verdict"), ...whoHeads(counting).map(() => cell("by"))] };
    });
    return [table([["Block", "Time", `What was shown${unitOf(counting)}`], ["Value", "Error", "Verdict", ...whoHeads(counting)]], rows, () => "What was shown for each gauge block")];
  }
  const all = [];
  for (let from = 0; from < series.spec.axes.length; from += 4) {
    const columns = series.spec.axes.slice(from, from + 4).map(({ axis }) => ({ words: axisWords(axis), of: counting.filter((one) => one.axis === axis) }));
    const last = Math.max(0, ...columns.flatMap(({ of }) => of.map((one) => one.piece)));
    const rows = Array.from({ length: last }, (_, nth) => {
      const row = `${about}, piece ${nth + 1}`;
      const cells = columns.flatMap(({ words, of }) => {
        const one = of.find(({ piece }) => piece === nth + 1);
        const cell = (what) => `${row}, ${words} (entry ${one.seq}), ${what}`;
        return one ? [cell("value"), cell("deviation"), cell("verdict"), ...whoHeads(of).map(() => cell("by"))] : [`${row}, ${words}`];
      });
      return { about: row, head: String(nth + 1), cells: [undefined, ...cells] };
    });
    const names = columns.map(({ words, of }) => capital(words) + unitOf(of));
    const parts = columns.flatMap(({ of }) => ["Value", "Deviation", "Verdict", ...whoHeads(of)]);
    all.push(table([["Piece", ...names], parts], rows, (shown) => `Readings of pieces ${shown[0].head} to ${shown.at(-1).head}`));
  }
  return all;
}

function hasWho(series, column) {
  return new Set(series.operators.map(([, operator]) => operator).filter((who) => who)).size > 1 || new Set(column.map((one) => one.instrument)).size > 1;
}

// The line of the zeros of each instrument; without its text where that of a zero is not among the lines.
function zerosOf(series, zeros, texts) {
  return series.spec.instruments.flatMap(({ name }) => {
    const all = zeros.filter(({ instrument }) => instrument === name);
    const off = all.filter((zero) => !zero.isBefore && !isGood(zero)).length;
    const [said, shown] = all.length > 6 ? [`${all.length} zeros, ${off} off, the first and the last of them: `, [all[0], all.at(-1)]] : ["", all];
    const text = all.some((zero) => zero.isBefore) ? undefined : `Zeros of ${safe(name)}: ${said}${shown.map(({ seq }) => texts.get(seq)).join("; ")}`;
    return all.length > 0 ? [{ sheet: String(series.id), text }] : [];
  });
}

// Compares the tables of the page with those that the lines give; `puts` what differs.
function compareTables(page, tables, differs) {
  const owners = new Map(tables.flatMap((table) => table.rows.map((row) => [row.about, table])));
  const met = new Map(tables.map((table) => [table, 0]));
  const differ = (about, reported, recomputed, place) => differs.push({ about, reported, recomputed, place });
  const texts = (heads) => heads.map(({ cells }) => cells.map(({ text }) => text).join(" | ")).join(" / ");
  for (const got of page.tables) {
    const place = got.rows[0]?.place;
    const of = got.rows.map((row) => owners.get(row.about)).find((table) => table);
    if (!of) {
      // Not recomputed; but each cell has the name of its row, and of the head above it.
      const heads = got.heads.at(-1)?.cells.map(({ text }) => text.toLowerCase()) ?? [];
      for (const row of got.rows) row.cells.forEach(({ about }, nth) => { if (about !== `${row.about}, ${heads[nth]}`) differ(`${row.about}, its cells`, about ?? "no name", `${row.about}, ${heads[nth] ?? "nothing"}`, row.place); });
      const entries = got.rows.map(({ about }) => Number(/\bentry (\d+)/.exec(about)?.[1]));
      got.rows.forEach((row, nth) => { if (entries[nth] <= entries[nth - 1]) differ(`${row.about}, its place`, `behind entry ${entries[nth - 1]}`, "before it", row.place); });
      continue;
    }
    const from = met.get(of);
    const rows = of.rows.slice(from, of.isOfBlocks ? from + got.rows.length : undefined);
    met.set(of, from + got.rows.length);
    got.rows.forEach((row, nth) => {
      const want = rows[nth];
      if (row.about !== want?.about) return differ(`${row.about}, its place`, `row ${from + nth + 1} of its table`, want ? `there stands ${want.about}` : "nothing", row.place);
      if (want.head !== undefined && row.cells[0]?.text !== want.head) differ(`${row.about}, its head`, row.cells[0]?.text ?? "nothing", want.head, row.place);
      const names = row.cells.map(({ about }) => about);
      const wrong = Array.from({ length: Math.max(names.length, want.cells.length) }, (_, at) => at).find((at) => names[at] !== want.cells[at]);
      if (wrong !== undefined) differ(`${row.about}, its cells`, names[wrong] ?? "nothing", want.cells[wrong] ?? "nothing", row.place);
    });
    if (got.sheet !== of.sheet) differ(`${got.rows[0].about}, its table`, got.sheet ? `on the sheet of series ${got.sheet}` : "on no sheet of a series", of.sheet ? `on that of series ${of.sheet}` : "on the cover", place);
    const heads = of.heads.map((row) => row.join(" | ")).join(" / ");
    if (texts(got.heads) !== heads) differ(`${got.rows[0].about}, the heads of its table`, texts(got.heads), heads, place);
    const caption = typeof of.caption === "function" ? rows.length > 0 && of.caption(rows) : of.caption;
    if (caption && got.caption !== caption) differ(`${got.rows[0].about}, the caption of its table`, got.caption ?? "nothing", caption, place);
  }
  for (const [table, rows] of met) for (const { about } of table.rows.slice(rows)) differ(`${about}, its row`, "nothing", "a row");
}

// What is about a series stands on its sheet or in its appendix, and the sheets in the order of the report.
function compareSheets(page, series, zeros, differs) {
  const wanted = series.map(String);
  const got = page.sheets.filter((id) => id !== undefined);
  if (got.join() !== wanted.join()) differs.push({ about: "the sheets of the series", reported: got.join(", "), recomputed: wanted.join(", ") });
  for (const { about, sheet, at } of page.places) {
    const of = /^series (\d+), /.exec(about)?.[1];
    if (of !== undefined && of !== sheet) differs.push({ about: `${about}, its sheet`, reported: sheet ? `on the sheet of series ${sheet}` : "on no sheet of a series", recomputed: `on that of series ${of}`, place: at });
  }
  for (let nth = 0; nth < Math.max(zeros.length, page.zeros.length); nth += 1) {
    const [reported, recomputed] = [page.zeros, zeros].map((lines) => lines[nth] && `series ${lines[nth].sheet}: ${zeros[nth]?.text === undefined ? "a line of zeros" : lines[nth].text}`);
    if (reported !== recomputed) differs.push({ about: "a line of zeros", reported: reported ?? "nothing", recomputed: recomputed ?? "nothing", place: page.zeros[nth]?.place });
  }
}
