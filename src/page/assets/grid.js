// The pieces of a series in columns. Each cell has the number of the piece, and shape and value of each axis.

import { $, make, shape, toneOf } from "./dom.js";
import { axisName, number, t } from "./texts.js";

const CELL_MOST = 400; // of more pieces only those around the next one are drawn
const LARGEST = 3; // of the text in a cell, in letters of the page's size
const SMALLEST = 12; // the same in px
const GAP = 5;

// An axis in a cell, for pieces with numbers.
const letter = (index) => String.fromCharCode(65 + index);

// The open series, or the last closed one, from `bench` and `here`.
export function seriesOf(here, bench) {
  const armed = here.armed;
  if (armed) {
    return {
      series: armed.series, open: true, pieces: armed.pieces + (armed.spent ?? []).length, spent: armed.spent ?? [],
      axes: armed.axes.map(({ axis, limits }) => ({ axis, limits })), readings: bench.readings, doubted: bench.doubted ?? [],
      next: bench.asks, filled: armed.filled, slots: armed.slots,
    };
  }
  const closed = bench.closed;
  if (!closed) return null;
  return {
    series: closed.series, open: false, pieces: closed.pieces, spent: [], axes: closed.axes.map((axis) => ({ axis })),
    readings: closed.readings, doubted: closed.doubted, next: [], filled: closed.readings.length, slots: closed.pieces * closed.axes.length,
  };
}

export function showGrid(series) {
  const box = $("grid");
  const list = $("pieces");
  box.hidden = !series;
  if (!series) return list.replaceChildren();
  showLegend(series);
  const room = { width: list.clientWidth, height: list.clientHeight };
  const laid = layout(series, room);
  list.style.setProperty("--columns", laid.columns);
  list.style.setProperty("--rows", laid.rows);
  list.style.setProperty("--cell", `${laid.text}px`);
  list.classList.toggle("marks", laid.marks);
  const found = new Map(series.readings.map((one) => [`${one.piece} ${one.axis}`, one]));
  const doubted = new Map(series.doubted.map((one) => [`${one.piece} ${one.axis}`, one]));
  const drawn = numbers(laid, series);
  const cells = drawn.map((piece) => cell(piece, series, found, doubted));
  // Where not all have room, the ends say so.
  if (drawn[0] > 1) cells[0] = beyond(`1 … ${drawn[0]}`);
  if (drawn.at(-1) < series.pieces) cells[cells.length - 1] = beyond(`… ${series.pieces}`);
  list.replaceChildren(...cells);
}

const beyond = (numbers) => make("li", { class: "beyond" }, numbers);

function showLegend(series) {
  const many = series.axes.length > 1;
  const items = series.axes.map(({ axis, limits }, index) => make("li", {}, many && make("b", {}, `${letter(index)} `), axisName(axis), limits && make("span", {}, ` ${number(limits)}`)));
  $("legend").replaceChildren(...items);
  $("grid-count").textContent = t("grid.measured", { filled: series.filled, slots: series.slots });
}

// Chooses the columns with the largest text. If no value fits, only marks are drawn; if those do not fit, only the
// pieces around the next one.
function layout(series, { width, height }) {
  const longest = Math.max(4, ...series.readings.map((one) => number(one.value).replace(/ .*/, "").length));
  const largest = LARGEST * parseFloat(getComputedStyle(document.documentElement).fontSize);
  const count = Math.min(series.pieces, CELL_MOST);
  const values = { across: 0.62 * longest + (series.axes.length > 1 ? 2.6 : 1.9), down: 1.3 * (series.axes.length + 0.85) + 0.5 };
  const marks = { across: Math.max(2.4, 1.2 * series.axes.length + 0.6), down: 2.9 };
  const fitting = (need, pieces) => {
    let best = { text: 0 };
    for (let columns = 1; columns <= pieces; columns += 1) {
      const rows = Math.ceil(pieces / columns);
      const text = Math.min((width - GAP * (columns - 1)) / columns / need.across, (height - GAP * (rows - 1)) / rows / need.down, largest);
      if (text > best.text + 0.01) best = { columns, rows, text: Math.floor(text * 10) / 10, pieces };
    }
    return best;
  };
  const whole = fitting(values, count);
  if (whole.text >= SMALLEST) return { ...whole, marks: false };
  const small = fitting(marks, count);
  if (small.text >= SMALLEST - 1) return { ...small, marks: true };
  let pieces = count;
  let some = small;
  while (pieces > 1 && some.text < SMALLEST) {
    pieces = Math.ceil(pieces * 0.8) - 1;
    some = fitting(values, Math.max(1, pieces));
  }
  return { ...some, marks: false };
}

// The pieces to draw: all, or those before the next one and a few after it.
function numbers({ pieces }, series) {
  const last = Math.max(0, ...series.readings.map((one) => one.piece));
  const next = series.next[0]?.piece ?? Math.min(series.pieces, last + 1);
  const first = Math.max(1, Math.min(series.pieces - pieces + 1, next - Math.ceil(pieces * 0.7)));
  return Array.from({ length: pieces }, (_, index) => first + index);
}

function cell(piece, series, found, doubted) {
  const many = series.axes.length > 1;
  const lines = series.axes.map(({ axis }, index) => {
    const key = `${piece} ${axis}`;
    const reading = found.get(key);
    const isNext = series.next.some((one) => one.piece === piece && one.axis === axis);
    const label = many && make("i", { "aria-hidden": "true" }, letter(index));
    const name = make("span", { class: "unseen" }, `${axisName(axis)} `);
    const said = (key) => make("span", { class: "unseen" }, ` ${t(key)}`);
    if (reading) return make("span", { class: "slot", "data-tone": toneOf(reading.verdict) }, label, name, shape(toneOf(reading.verdict)), make("span", { class: "figure" }, number(reading.value).replace(/ .*/, "")), said(`slot.${toneOf(reading.verdict)}`));
    if (doubted.has(key)) return make("span", { class: isNext ? "slot next" : "slot", "data-tone": "doubted" }, label, name, shape("doubted"), make("span", { class: "figure" }, number(doubted.get(key).value).replace(/ .*/, "")), said("slot.doubted"));
    if (isNext) return make("span", { class: "slot next" }, label, name, shape("next"), said("slot.next"));
    return make("span", { class: "slot" }, label, name, said("slot.empty"));
  });
  const spent = series.spent.includes(piece);
  const verdicts = series.readings.filter((one) => one.piece === piece).map((one) => toneOf(one.verdict));
  const worst = verdicts.some((one) => one.startsWith("fail")) ? "bad" : verdicts.includes("unsure") && "unsure";
  const isNext = series.next.some((one) => one.piece === piece);
  return make("li", { class: [spent && "spent", worst, isNext && "now"].filter(Boolean).join(" ") || undefined, "data-piece": piece }, make("b", {}, String(piece), spent && make("small", {}, ` ${t("slot.spent")}`)), ...lines);
}
