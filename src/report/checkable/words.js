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
const PULLED = { pulled_out: "wire pulled out", broke_at_crimp: "wire broke at the crimp", broke_in_wire: "wire broke away from the crimp", other: "other" };
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

