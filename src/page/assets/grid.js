// The pieces of a series in columns. Each cell has the number of the piece, and shape and value of each axis.

import { $, drawOnce, letterSize, make, roomOf, setText, settle, shape, toneOf } from "./dom.js";
import { axisName, language, limitsWords, number, t } from "./texts.js";

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
    readings: closed.readings, doubted: closed.doubted, bad: (closed.bad_looks ?? []).map((one) => one.piece), next: [], filled: closed.readings.length, slots: closed.pieces * closed.axes.length,
  };
}

// The cells on the screen by what they are drawn from: most stay the same from one reading to the next.
let cells = new Map();

export function showGrid(series) {
  const box = $("grid");
  const list = $("pieces");
  box.hidden = !series;
  if (!series) return;
  drawOnce($("legend"), [language, series.axes], () => showLegend(series));
  setText($("grid-count"), t("grid.measured", { filled: series.filled, slots: series.slots }));
  const laid = layout(series, roomOf(list, () => showGrid(series)));
  list.style.setProperty("--columns", laid.columns);
  list.style.setProperty("--rows", laid.rows);
  list.style.setProperty("--cell", `${laid.text}px`);
  list.classList.toggle("marks", laid.marks);
  const found = new Map(series.readings.map((one) => [`${one.piece} ${one.axis}`, one]));
  const doubted = new Map(series.doubted.map((one) => [`${one.piece} ${one.axis}`, one]));
  const pieces = numbers(laid, series);
  const contents = pieces.map((piece) => contentOf(piece, series, found, doubted));
  // Where not all have room, the ends say so.
  if (pieces[0] > 1) contents[0] = { beyond: `1 … ${pieces[0]}` };
  if (pieces.at(-1) < series.pieces) contents[contents.length - 1] = { beyond: `… ${series.pieces}` };
  const before = cells;
  cells = new Map(contents.map((content) => [JSON.stringify([language, content]), content]));
  for (const [key, content] of cells) cells.set(key, before.get(key) ?? cell(content));
  settle(list, [...cells.values()]);
}

function showLegend(series) {
  const many = series.axes.length > 1;
  const items = series.axes.map(({ axis, limits }, index) => make("li", {}, many && make("b", {}, `${letter(index)} `), axisName(axis), limits && make("span", {}, ` ${limitsWords(limits)}`)));
  $("legend").replaceChildren(...items);
}

// Chooses the columns with the largest text. If no value fits, only marks are drawn; if those do not fit, only the
// pieces around the next one.
function layout(series, { width, height }) {
  const longest = Math.max(4, ...series.readings.map((one) => number(one.value).replace(/ .*/, "").length));
  const largest = LARGEST * letterSize();
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

// What a cell says.
function contentOf(piece, series, found, doubted) {
  const slots = series.axes.map(({ axis }) => {
    const [reading, doubt] = [found.get(`${piece} ${axis}`), doubted.get(`${piece} ${axis}`)];
    const next = series.next.some((one) => one.piece === piece && one.axis === axis);
    return { axis, tone: reading ? toneOf(reading.verdict) : doubt && "doubted", value: (reading ?? doubt)?.value, next: next && !reading };
  });
  const verdicts = series.readings.filter((one) => one.piece === piece).map((one) => toneOf(one.verdict));
  const worst = series.bad?.includes(piece) || verdicts.some((one) => one.startsWith("fail")) ? "bad" : verdicts.includes("unsure") && "unsure";
  return { piece, slots, worst, spent: series.spent.includes(piece), now: series.next.some((one) => one.piece === piece) };
}

function cell({ beyond, piece, slots, worst, spent, now }) {
  if (beyond) return make("li", { class: "beyond" }, beyond);
  const lines = slots.map(({ axis, tone, value, next }, index) => {
    const label = slots.length > 1 && make("i", { "aria-hidden": "true" }, letter(index));
    const name = make("span", { class: "unseen" }, `${axisName(axis)} `);
    const drawn = tone ?? (next && "next");
    return make("span", { class: next ? "slot next" : "slot", "data-tone": tone }, label, name, drawn && shape(drawn),
      value && make("span", { class: "figure" }, number(value).replace(/ .*/, "")), make("span", { class: "unseen" }, ` ${t(`slot.${drawn || "empty"}`)}`));
  });
  return make("li", { class: [spent && "spent", worst, now && "now"].filter(Boolean).join(" ") || undefined, "data-piece": piece }, make("b", {}, String(piece), spent && make("small", {}, ` ${t("slot.spent")}`)), ...lines);
}
