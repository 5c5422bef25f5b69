// Recomputes a report from the journal's lines that it holds (`journal.js`), and compares what the page says with that.
// It runs in the reader's browser without a network (`show.js`), and in Node, where tests/browser/recompute.mjs loads it:
//
//     import { check, seals } from "./tests/browser/recompute.mjs";
//     const found = check(readFileSync("series-37.html", "utf8"));
//     found.differs     [{ about, reported, recomputed, place }]: every difference; empty if there is none
//     found.counts      how many of what were recomputed and compared
//     await seals(found, crypto.subtle)     of each seal { seq, key, covers, holds }; `holds` is true, false, or null: not checked
//
// In: the text of the page, as the file has it, or as a browser writes its elements down (`outerHTML`): both give the same.
// Nothing is changed. `place` is the number of an element with `data-about` in the order of the page, where there is one.
//
// What a page shows is named by `data-about`. The same names are made here from the lines, each with what must stand
// there. What has a name that is not made here is counted as not recomputed.

// The page as text: what has a name, with what stands in it; the lines; the data for programs.

const NAMED = { lt: "<", gt: ">", quot: "\"", apos: "'", amp: "&", nbsp: "\u00a0" };
const unescaped = (text) => text.replace(/&(?:#(\d+)|(\w+));/g, (all, code, name) => (code ? String.fromCodePoint(Math.min(code, 0x10ffff)) : NAMED[name] ?? all));

function parse(html) {
  const page = { places: [], faults: [], lines: "", data: "" };
  const token = /<!--[^]*?-->|<(\/?)([a-z][^\s/>]*)((?:\s+[^\s=">]+(?:="[^"]*")?)*)\s*(\/?)>|[^<]+|</gi;
  const open = [];
  for (let found; (found = token.exec(html)); ) {
    const [all, closes, name, attributes, alone] = found;
    if (!name) {
      const said = all.startsWith("<!--") ? "" : unescaped(all);
      for (const element of open) element.text += said;
    } else if (closes) {
      const at = open.findLastIndex((element) => element.name === name);
      if (at < 0) continue;
      for (const element of open.splice(at)) if (element.id === "journal-lines") page.lines += element.text;
    } else {
      const element = { name, text: "", pictures: [] };
      for (const [, key, value] of attributes.matchAll(/\s([^\s=">]+)(?:="([^"]*)")?/g)) element[key] = unescaped(value ?? "");
      element.cells = open.some((around) => around.name === "tbody");
      if (element["data-about"] !== undefined) page.places.push(Object.assign(element, { about: element["data-about"], at: page.places.length }));
      // Our pages hide nothing, and have no style but the one at their head.
      if ("hidden" in element || "style" in element) page.faults.push({ about: `an element ${name} that is hidden, or has a style of its own`, reported: all, place: page.places.length - 1 });
      if (name === "td" && element.cells && element.about === undefined) page.faults.push({ about: "a cell of a table without a name", reported: all, place: page.places.length - 1 });
      if (name === "img") for (const around of open) around.pictures.push(element.src ?? "");
      if (name === "script" || name === "style") {
        const end = html.indexOf(`</${name}`, token.lastIndex);
        const raw = html.slice(token.lastIndex, end < 0 ? html.length : end);
        if (element.id === "tallyjaw-report") page.data += raw;
        token.lastIndex += raw.length;
      }
      if (!alone && !["meta", "br", "img"].includes(name)) open.push(element);
    }
  }
  return page;
}

// Numbers and words as the page has them.

const decimalsOf = (digits) => digits.split(".")[1]?.length ?? 0;
const valueOf = (entry) => `${entry.shown ?? entry.value} ${entry.unit}`;
// What could change the reading direction stands on the page as an escape.
const safe = (text) => text.replace(/[\u0000-\u001f\u007f-\u009f\u061c\u200e\u200f\u2028-\u202e\u2066-\u206f\ufff9-\ufffb]/g, (char) => ({ "\t": "\\t", "\n": "\\n", "\r": "\\r" })[char] ?? `\\u{${char.charCodeAt(0).toString(16)}}`);
const axisWords = (name) => safe(name.replaceAll("_", " "));
const capital = (words) => words.slice(0, 1).toUpperCase() + words.slice(1);
const SHAPES = { pass: "●", fail_low: "▼", fail_high: "▲", unsure_low: "◇", unsure_high: "◇", measured: "○" };
const OUTCOMES = { accepted: ["ACCEPTED", "pass", "●"], rejected: ["REJECTED", "fail", "▲"], undecided: ["UNDECIDED", "unsure", "◇"], cut_short: ["STOPPED EARLY", "unsure", "◇"], measured: ["MEASURED", "measured", "○"], open: ["STILL OPEN", "unsure", "◇"] };
const RESERVED = { uncertainty_ratio_low: "test uncertainty ratio under 2", repair_class_tool: "repair-class tool", not_makers_sheet: "not a maker's sheet" };
const ROLES = { opening: "opening", periodic: "in between", closing: "closing", unasked: "when none was due" };

function beyond(entry) {
  if (entry.unit && !LENGTHS.includes(entry.unit)) return ["too weak", "too strong"];
  for (const [end, words] of Object.entries({ width: ["too narrow", "too wide"], height: ["too low", "too high"], length: ["too short", "too long"] })) if (entry.axis.endsWith(end)) return words;
  return ["too small", "too large"];
}

function verdictWords(entry) {
  const [below, above] = beyond(entry);
  return { pass: "PASS", fail_low: `FAIL: ${below}`, fail_high: `FAIL: ${above}`, unsure_low: "UNSURE: near the lower limit", unsure_high: "UNSURE: near the upper limit", measured: "measured" }[entry.verdict];
}

function tallyWords(tally) {
  const said = COUNTS.filter((name) => tally[name] > 0).map((name) => `${tally[name]} ${name.replace("_", " ")}`);
  return said.join(", ") || "no readings";
}

// Local time by the offsets that the page lists: `2026-11-29 16:04:11 +01:00`.
function local(at, offsets) {
  const moment = Date.parse(`${at.slice(0, 19)}Z`);
  const holds = offsets.findLast(([from]) => from <= at) ?? offsets[0];
  const away = Math.abs(holds[1]);
  const two = (number) => String(Math.floor(number)).padStart(2, "0");
  return `${new Date(moment + holds[1] * 1000).toISOString().slice(0, 19).replace("T", " ")} ${holds[1] < 0 ? "-" : "+"}${two(away / 3600)}:${two((away % 3600) / 60)}`;
}

function timeOfDay(at, series, offsets) {
  const [text, opened] = [local(at, offsets), local(series.at, offsets)];
  return text.slice(0, 10) === opened.slice(0, 10) && text.slice(19) === opened.slice(19) ? text.slice(11, 19) : text;
}

// What must stand on the page: a name, and what may stand there (`text`, or how a mark is drawn; `like` is a class).

const seen = ({ name, text, class: like, ...mark }) => {
  if (name === "circle") return `● ${like} at ${mark.cx} ${mark.cy}, ${mark.r}`;
  if (name === "path") return `path ${like} ${mark.d}`;
  if (name === "rect") return `bar ${like} at ${mark.x} ${mark.y}, ${mark.width} × ${mark.height}`;
  return text;
};
const px = (tenths) => String(tenths / 10);

// How the mark of a verdict is drawn; a cross without one. All lengths are in tenths of a pixel.
function markOf(verdict, x, y, size) {
  if (verdict === "pass" || verdict === "measured") return `● ${verdict} at ${px(x)} ${px(y)}, ${px(size)}`;
  const [wide, high, across] = [px(size + 14), px(2 * size + 10), px(2 * size + 28)];
  if (verdict === "fail_high") return `path fail M${px(x)} ${px(y - size - 5)}l${wide} ${high}h-${across}z`;
  if (verdict === "fail_low") return `path fail M${px(x)} ${px(y + size + 5)}l${wide} -${high}h-${across}z`;
  const [r, two] = [px(size + 12), px(2 * size)];
  if (verdict) return `path unsure M${px(x)} ${px(y - size - 12)}l${r} ${r}l-${r} ${r}l-${r} -${r}z`;
  return `path out M${px(x - size)} ${px(y - size)}l${two} ${two}m0 -${two}l-${two} ${two}`;
}

// Maps values to tenths of a pixel, in whole numbers.
function ruler(from, to, begin, end) {
  const span = BigInt(Math.max(1, to - from));
  return (value) => begin + Number((BigInt(value - from) * BigInt(end - begin)) / span);
}

// A series as the page shows it, in `put(name, what must stand there, { like, often, rare })`: `often` may stand there more
// than once, `rare` need not.
function expectSeries(series, put, { offsets, isFull, isAlone, isRun }) {
  const { spec, id } = series;
  const about = `series ${id}`;
  const isOfBlocks = spec.blocks !== undefined;
  const readings = [...series.readings.values()].map(({ entry, became, by }) => ({ ...entry, became, by, counts: became === "counted" }));
  const on = (axis) => readings.filter((one) => one.axis === axis.axis);
  const operatorOf = (seq) => series.operators.findLast(([from]) => from <= seq)?.[1];
  const tally = tallyOf(series);
  const outcome = series.completed?.outcome ?? "open";
  const [word, like, shape] = OUTCOMES[outcome];
  const reserved = (series.completed?.reservations ?? []).map((name) => RESERVED[name] ?? name.replaceAll("_", " "));
  const beside = reserved.length ? `with reservations: ${reserved.join(", ")} ` : "";
  put(isAlone ? "the outcome" : `${about}, the outcome`, `${shape}${word} ${beside}${sentence(series, tally, outcome, isOfBlocks)}`, { like });
  const row = `the overview, series ${id}`;
  const rare = isAlone || isRun;
  put(`${row}, outcome`, `${shape}${word} ${beside}`, { like, rare });
  put(`${row}, readings`, tallyWords(tally), { rare });
  put(`${row}, opened`, local(series.at, offsets).replace(/:\d\d /, " "), { rare });

  for (const axis of spec.axes) {
    const words = axisWords(axis.axis);
    put(`${about}, limits of ${words}, axis`, words);
    for (const [end, head] of [["nominal", "nominal"], ["lower", "lower limit"], ["upper", "upper limit"]]) {
      const limit = base(axis, end);
      put(`${about}, limits of ${words}, ${head}`, limit === undefined ? "–" : quantity(limit, axis.unit, 2));
    }
    const rows = on(axis).filter((one) => one.counts);
    const column = isOfBlocks ? readings.filter((one) => one.counts) : rows;
    const unit = column.every((one) => one.unit === column[0].unit) ? column[0]?.unit : undefined;
    const most = Math.max(0, ...column.map((one) => decimalsOf(one.shown)));
    const aligned = (text) => {
      if (!unit) return text;
      const digits = text.endsWith(` ${unit}`) ? text.slice(0, -unit.length - 1) : text;
      const decimals = decimalsOf(digits);
      return digits + (decimals === 0 && most > 0 ? "\u2008" : "") + "\u2007".repeat(Math.max(0, most - decimals));
    };
    for (const one of rows) {
      if (isOfBlocks) put(`${about}, piece ${words}, time ${one.piece}, which time`, String(one.piece));
      const cell = isOfBlocks ? `${about}, ${words}, time ${one.piece} (entry ${one.seq})` : `${about}, piece ${one.piece}, ${words} (entry ${one.seq})`;
      put(`${cell}, value`, aligned(valueOf(one)));
      put(`${cell}, ${isOfBlocks ? "error" : "deviation"}`, aligned(deviationOf(one)));
      const said = one.verdict.startsWith("fail") ? verdictWords(one) : one.verdict.startsWith("unsure") ? "UNSURE" : one.verdict;
      put(`${cell}, verdict`, SHAPES[one.verdict] + said, { like: one.verdict.split("_")[0] });
      put(`${cell}, by`, safe([operatorOf(one.seq), one.instrument].filter((who) => who).join(", ")), { rare: true });
    }
    if (!isOfBlocks) {
      put(`${about}, ${words}`, (shown) => caption(shown, rows, axis, words));
      expectLane(rows, axis, capital(words), put);
    }
    if (isFull && !isOfBlocks && on(axis).length > 0) expectPicture(on(axis), axis, capital(words), spec.pieces, put);
  }

  for (const one of readings) {
    const time = timeOfDay(one.at, series, offsets);
    const words = one.axis && axisWords(one.axis);
    const became = one.became.replace("_", " ");
    if (!one.counts) {
      const row = `${about}, reading ${one.seq} that does not count`;
      put(`${row}, entry`, String(one.seq));
      put(`${row}, time`, time);
      put(`${row}, piece`, words && one.piece ? `${one.piece}, ${words}` : "–");
      put(`${row}, value`, valueOf(one));
      put(`${row}, became`, `× ${became}${one.verdict ? `, was ${verdictWords(one)}` : ""}`);
    }
    if (!isFull) continue;
    const row = `${about}, reading ${one.seq} in the appendix`;
    put(`${row}, entry`, String(one.seq));
    put(`${row}, time`, time);
    put(`${row}, piece`, one.piece ? String(one.piece) : "–");
    put(`${row}, axis`, words ?? "–");
    put(`${row}, value`, valueOf(one));
    put(`${row}, verdict`, one.counts ? SHAPES[one.verdict] + verdictWords(one) : became, { like: one.counts ? one.verdict.split("_")[0] : undefined });
    put(`${row}, by`, safe(operatorOf(one.seq) ?? "–"));
    put(`${row}, instrument`, safe(one.instrument));
  }

  for (const zero of series.zeros) {
    const shown = `${zero.shown} ${zero.unit}`;
    const time = timeOfDay(zero.at, series, offsets);
    const isOpen = base(zero, "opening") !== undefined;
    const isGood = zero.ok && !isOpen;
    const result = isGood ? "good" : isOpen ? `OFF: set with the jaws open by ${quantity(base(zero, "opening"), "mm", 2)}` : "OFF";
    // Of more than a line has room for, the first and the last stand there.
    const often = series.zeros.filter((other) => other.instrument === zero.instrument).length > 5;
    put(`${about}, zero ${zero.seq}`, `${ROLES[zero.role]} ${time}, ${shown}, ${result}`, { like: isGood ? undefined : "fail", rare: often });
    put(`${about}, zero ${zero.seq}, shown`, shown, { rare: often });
    if (!isFull) continue;
    const row = `${about}, zero ${zero.seq} in the appendix`;
    put(`${row}, entry`, String(zero.seq));
    put(`${row}, time`, time);
    put(`${row}, instrument`, safe(zero.instrument));
    put(`${row}, zero`, ROLES[zero.role]);
    put(`${row}, shown`, shown);
    put(`${row}, result`, result, { like: isGood ? "pass" : "fail" });
  }
}

function deviationOf(one) {
  const off = base(one, "deviation");
  if (off === undefined) return "–";
  const text = quantity(off, one.unit, decimalsOf(one.shown));
  return off > 0 ? `+${text}` : text.replace("-", "−");
}

// `All 10 readings of 5 pieces passed.`
function sentence(series, tally, outcome, isOfBlocks) {
  const all = tally.passed + tally.failed + tally.unsure + tally.measured;
  const { pieces, axes } = series.spec;
  const of = isOfBlocks ? "" : pieces === 1 ? " of 1 piece" : ` of ${pieces} pieces`;
  const some = (count, verb) => `${count} of ${all} readings${of} ${verb}`;
  const soFar = `${all} of ${axes.length * pieces} readings count`;
  const said = {
    accepted: all === 1 ? `The one reading${of} passed` : `All ${all} readings${of} passed`,
    rejected: tally.failed === all ? `All ${all} readings${of} failed` : some(tally.failed, "failed"),
    undecided: `None failed, but ${some(tally.unsure, tally.unsure === 1 ? "lies" : "lie")} so near to a limit that the instrument cannot tell good from bad`,
    measured: `${all} readings${of} were measured: no sheet gives limits to judge them by`,
    cut_short: `It was closed before it was full: ${soFar}; nothing is known of the others`,
    open: `It is not closed: ${soFar} so far, and later zeros may still make them doubtful`,
  }[outcome];
  const failed = ["cut_short", "open"].includes(outcome) && tally.failed > 0 ? `; ${tally.failed} failed` : "";
  const { retracted } = tally;
  const after = retracted === 0 ? "" : ` after ${retracted === 1 ? "1 reading was" : `${retracted} readings were`} retracted`;
  return `${said}${failed}${after}.`;
}

// `5 readings, 1.61 mm to 1.63 mm, mean 1.6200 mm, standard deviation 0.0079 mm`. The page may round mean and deviation as it
// likes, but not to another number.
function caption(shown, rows, axis, words) {
  const name = `${capital(words)}: `;
  if (rows.length === 0) return `${name}no reading counts`;
  if (rows.length === 1) return `${name}1 reading, ${valueOf(rows[0])}`;
  const values = rows.map((one) => base(one, "value"));
  const [low, high] = [valueOf(rows[values.indexOf(Math.min(...values))]), valueOf(rows[values.lastIndexOf(Math.max(...values))])];
  const isPull = !LENGTHS.includes(axis.unit) && base(axis, "upper") === undefined;
  const ends = isPull ? `minimum ${low}, maximum ${high}` : `${low} to ${high}`;
  const { unit } = rows[0];
  const [over, under] = PER_ONE[unit];
  const off = values.map((value) => value - values[0]);
  const mean = off.reduce((sum, value) => sum + value, 0) / values.length;
  const spread = Math.sqrt(off.reduce((sum, value) => sum + (value - mean) ** 2, 0) / (values.length - 1));
  const inOne = (value) => (value * Number(under)) / Number(over);
  const figures = { "mean": inOne(values[0] + mean), "standard deviation": inOne(spread) };
  const said = Object.entries(figures).map(([figure, value]) => {
    const digits = new RegExp(`, ${figure} (-?[\\d.]+) ${unit}(?:,|$)`).exec(shown)?.[1] ?? "";
    const isNear = digits.includes(".") && Math.abs(Number(digits) - value) <= 0.5001 * 10 ** -decimalsOf(digits);
    return `${figure} ${isNear ? digits : value.toFixed(4)} ${unit}`;
  });
  return `${name}${rows.length} readings, ${ends}, ${said.join(", ")}`;
}

// The readings of an axis stacked over their values, between the limits.
function expectLane(rows, axis, name, put) {
  const title = `${name} and its limits`;
  const [lower, upper] = [base(axis, "lower"), base(axis, "upper")];
  const values = rows.map((one) => base(one, "value"));
  const only = lower ?? upper;
  if (only === undefined || (values.length === 0 && (lower === undefined || upper === undefined))) return;
  const isBoth = lower !== undefined && upper !== undefined;
  const [lowest, most] = isBoth ? [lower, upper] : [Math.min(only, ...values), Math.max(only, ...values)];
  const air = Math.max(1, Math.floor((most - lowest) / (isBoth ? 3 : 5)));
  const [from, to] = [lowest - air, most + air];
  const at = ruler(from, to, 120, 3480);
  expectLimits(axis, put, (value) => `${px(at(value))} 3V61`);
  const stacks = new Map();
  for (const one of rows) {
    const x = at(Math.min(to, Math.max(from, base(one, "value"))));
    stacks.set(x, [...(stacks.get(x) ?? []), one]);
  }
  const highest = Math.max(1, ...[...stacks.values()].map((stack) => stack.length));
  const half = Math.min(58, Math.floor(Math.floor(470 / highest) / 2));
  for (const [x, stack] of stacks) {
    if (highest <= 12) {
      stack.forEach((one, nth) => put(`the mark of piece ${one.piece} (entry ${one.seq}) in "${title}"`, markOf(one.verdict, x, 560 - half - 2 * half * nth, Math.floor((half * 3) / 4)), { often: true }));
    } else {
      const height = Math.floor((stack.length * 412) / highest);
      const bar = `the bar of ${stack.length === 1 ? "1 reading" : `${stack.length} readings`} at ${valueOf(stack[0])} in "${title}"`;
      put(bar, `bar bar at ${px(x - 29)} ${px(560 - height)}, 5.8 × ${px(Math.max(1, height))}`, { often: true });
      put(bar, markOf(stack[0].verdict, x, 560 - height - 29, 29), { often: true });
    }
  }
}

function expectLimits(axis, put, place) {
  for (const [end, head, like] of [["nominal", "nominal", "centre"], ["lower", "lower limit", "limit"], ["upper", "upper limit", "limit"]]) {
    const limit = base(axis, end);
    if (limit === undefined) continue;
    const text = quantity(limit, axis.unit, 2);
    put(`the line of ${head} ${text}`, `path ${like} M${place(limit)}`, { often: true });
    put(`the line of ${head} ${text}`, text, { often: true, rare: true });
  }
}

// The readings of an axis in the order of the pieces, with those that do not count.
function expectPicture(rows, axis, name, planned, put) {
  const [lower, upper] = [base(axis, "lower"), base(axis, "upper")];
  const values = rows.map((one) => base(one, "value"));
  const ends = [...values, lower, upper].filter((value) => value !== undefined);
  let [lowest, most] = [Math.min(...ends), Math.max(...ends)];
  if (lower !== undefined && upper !== undefined) {
    const half = Math.floor((upper - lower) / 2);
    const reach = Math.max(1, half) * 3;
    [lowest, most] = [Math.max(lowest, lower + half - reach), Math.min(most, lower + half + reach)];
  }
  const air = Math.max(1, Math.floor((most - lowest) / 10));
  const [from, to] = [lowest - air, most + air];
  const [up, across] = [ruler(from, to, 2160, 280), ruler(0, 2 * Math.max(planned, ...rows.map((one) => one.piece)), 660, 5780)];
  expectLimits(axis, put, (value) => `66 ${px(up(value))}H578`);
  for (const one of rows) {
    const about = `the mark of piece ${one.piece} (entry ${one.seq}) in "${name} against its limits"`;
    const value = base(one, "value");
    const drawn = Math.min(to, Math.max(from, value));
    put(about, markOf(one.counts ? one.verdict : undefined, across(2 * one.piece - 1), up(drawn), rows.length > 150 ? 22 : 42), { often: true });
    if (drawn !== value) put(about, valueOf(one), { often: true });
  }
}

// What is named so is recomputed, so the page may have no more of it than the lines give.
const OURS = [
  /^series \d+, .* \(entry \d+\), (value|deviation|error|verdict|by)$/,
  /^series \d+, reading \d+ (in the appendix|that does not count), (entry|time|piece|axis|value|verdict|by|instrument|became)$/,
  /^series \d+, zero \d+(, shown| in the appendix, \w+)?$/,
  /^series \d+, limits of .*, (axis|nominal|lower limit|upper limit)$/,
  /^series \d+, picture of .* \(entry \d+\)$/,
  /^(series \d+, )?the outcome$/,
  /^the mark of piece \d+ \(entry \d+\) in "/,
  /^the bar of \d+ readings? at .* in "/,
  /^entry \d+, its line$/,
];

// What must stand at a place, or that a changed line gives nothing that could.
function wordsOf(text, got) {
  try {
    return typeof text === "function" ? text(got) : text;
  } catch (error) {
    return `nothing (${error.message})`;
  }
}

// Everything that differs, and how many of what were compared. Never an error: what cannot be read is a difference.
function check(html) {
  const page = parse(html);
  const differs = [...page.faults];
  let data = { series: [], offsets: [["", 0]] };
  try {
    const read = JSON.parse(page.data);
    if (!read.series.every((one) => Number.isInteger(one.series)) || !read.offsets.every(([from, by]) => typeof from === "string" && Number.isInteger(by)) || read.offsets.length === 0) throw new Error("they are not whole");
    data = read;
  } catch (error) {
    differs.push({ about: "the data for programs", reported: page.data.slice(0, 60), recomputed: `what can be read (${error.message})` });
  }
  const lines = page.lines.split("\n");
  if (lines.pop() !== "" || lines.length === 0) differs.push({ about: "the journal's lines", reported: "nothing, or no end", recomputed: "whole lines" });
  const found = replay(lines);
  const must = new Map();
  const put = (about, text, more = {}) => {
    const all = must.get(about) ?? must.set(about, []).get(about);
    if (!more.often || !all.some((one) => one.text === text)) all.push({ text, ...more });
  };
  const isAlone = data.series.length === 1 && !data.compare && !data.run;
  const how = { offsets: data.offsets, isFull: data.full === true, isAlone, isRun: Boolean(data.run) };
  for (const [seq, line] of found.texts) put(`entry ${seq}, its line`, line);
  for (const reported of data.series) {
    const series = found.series.get(reported.series);
    try {
      if (!series) throw new Error("its lines are not there");
      expectSeries(series, put, how);
      compareData(series, reported, differs);
    } catch (error) {
      differs.push({ about: `series ${reported.series}`, reported: "a series", recomputed: `nothing (${error.message})` });
    }
  }
  const counts = { lines: lines.length, verdicts: found.verdicts, zeros: found.zeros, outcomes: found.outcomes, compared: 0, marks: 0, pictures: 0, others: 0 };
  const pictures = new Map([...found.series.values()].flatMap((series) => series.pictures).map((entry) => [entry.seq, entry]));
  const met = new Map();
  for (const place of page.places) {
    const picture = /, picture of .* \(entry (\d+)\)$/.exec(place.about);
    const wanted = must.get(place.about);
    if (picture && place.name === "figure") {
      comparePicture(place, pictures.get(Number(picture[1])), differs, counts);
    } else if (wanted) {
      const got = seen(place);
      const words = wanted.map(({ text }) => wordsOf(text, got));
      const nth = words.indexOf(got);
      const isTwice = nth >= 0 && !wanted[nth].often && met.get(place.about)?.has(nth);
      const isLike = nth < 0 || wanted[nth].like === undefined || (place.class ?? "").split(" ").includes(wanted[nth].like);
      if (nth < 0 || isTwice || !isLike) differs.push({ about: place.about, reported: isTwice ? `${got}, twice` : isLike ? got : `${got}, drawn as ${place.class}`, recomputed: words[Math.max(0, nth)], place: place.at });
      met.set(place.about, (met.get(place.about) ?? new Set()).add(nth));
      counts[["circle", "path", "rect"].includes(place.name) ? "marks" : "compared"] += 1;
    } else if (OURS.some((form) => form.test(place.about)) && !isBefore(place.about, found)) {
      differs.push({ about: place.about, reported: seen(place), recomputed: "nothing", place: place.at });
    } else {
      counts.others += 1;
    }
  }
  for (const [about, wanted] of must) {
    wanted.forEach(({ text, rare }, nth) => {
      const here = met.get(about);
      if (!rare && !here?.has(nth) && !here?.has(-1)) differs.push({ about, reported: "nothing", recomputed: wordsOf(text, "") });
    });
  }
  const placeOf = new Map(page.places.map((place) => [place.about, place.at]));
  for (const { of, ...fault } of found.faults) differs.push({ ...fault, place: placeOf.get(of) });
  return { differs, counts, seals: found.seals, first: found.first, last: found.last };
}

// A zero that opened the first series may have been the last of a series before: its line is not in the page.
function isBefore(about, found) {
  const zero = /^series \d+, zero (\d+)/.exec(about);
  return zero && Number(zero[1]) < found.first;
}

function comparePicture(place, entry, differs, counts) {
  const got = place.pictures.map((source) => {
    try {
      return source.startsWith("data:image/jpeg;base64,") ? sha256(fromBase64(source.slice(23))) : "no picture of ours";
    } catch {
      return "no picture that can be read";
    }
  });
  const isMissing = got.length === 0 && place.text.startsWith("The picture is missing at the time of the report.");
  if (!entry || (!isMissing && got.join() !== entry.shown)) differs.push({ about: place.about, reported: got.join() || "nothing", recomputed: entry?.shown ?? "nothing", place: place.at });
  counts.pictures += isMissing ? 0 : 1;
}

function compareData(series, reported, differs) {
  const about = `the data for programs, series ${series.id}`;
  const same = (what, got, want) => { if (got !== want) differs.push({ about: `${about}, ${what}`, reported: String(got), recomputed: String(want) }); };
  same("outcome", reported.outcome, series.completed?.outcome ?? "open");
  same("number of readings", reported.readings.length, series.readings.size);
  for (const one of reported.readings) {
    const known = series.readings.get(one.seq);
    for (const name of ["value", "verdict", "piece", "axis"]) same(`reading ${one.seq}, ${name}`, name === "value" ? base(one, name) : one[name], known && (name === "value" ? base(known.entry, name) : known.entry[name]));
    same(`reading ${one.seq}, standing`, one.standing, known?.became);
  }
}

// Of each seal whether its signature holds: true, false, or null where this program cannot check it.
async function seals(found, subtle) {
  const text = (seal) => bytesOf(`tallyjaw seal 1\njournal ${seal.journal}\nentry ${seal.up_to}\nsha256 ${seal.digest}\n`);
  const all = found.seals.map(async (seal) => ({ seq: seal.seq, key: seal.key, up_to: seal.up_to, covers: seal.covers, holds: await holds(seal, text(seal), subtle) }));
  return Promise.all(all);
}

// The form of OpenSSH: a key, the namespace, and an Ed25519 signature over both and the SHA-512 of the text.
async function holds(seal, text, subtle) {
  const packed = (...parts) => parts.flatMap((part) => [0, 0, part.length >> 8, part.length & 255, ...part]);
  let key, signature;
  try {
    const bytes = fromBase64(seal.signature);
    let at = 10; // behind SSHSIG and its version
    const part = (of = bytes) => { const size = new DataView(of.buffer, of.byteOffset + at).getUint32(0); at += 4 + size; return of.slice(at - size, at); };
    const [form, space, , hash, signed] = [part(), part(), part(), part(), part()];
    if (`SHA256:${btoa(String.fromCharCode(...bytesOfHex(sha256(form)))).replace("=", "")}` !== seal.key) return false;
    if (new TextDecoder().decode(space) !== "tallyjaw" || new TextDecoder().decode(hash) !== "sha512" || form.length !== 51 || signed.length !== 83) return false;
    [key, signature] = [form.slice(-32), signed.slice(-64)];
  } catch {
    return false;
  }
  try {
    const hash = new Uint8Array(await subtle.digest("SHA-512", text));
    const message = Uint8Array.from([...bytesOf("SSHSIG"), ...packed(bytesOf("tallyjaw"), [], bytesOf("sha512"), hash)]);
    return await subtle.verify("Ed25519", await subtle.importKey("raw", key, "Ed25519", false, ["verify"]), signature, message);
  } catch {
    return null;
  }
}

const bytesOfHex = (hex) => Uint8Array.from(hex.match(/../g), (byte) => parseInt(byte, 16));
