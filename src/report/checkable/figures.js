// The figures of readings: what they are together, and what they show about the limits. Sums are whole numbers; each figure
// is rounded at its end, as the program does. A number is compared in the digits that the page shows (`settled`).

const attempt = (of) => {
  try {
    return { value: of() };
  } catch (error) {
    if (error instanceof Undefined) return { reason: error.message };
    throw error;
  }
};
// Computes once, also where there is no value.
const once = (of) => {
  let kept;
  return () => {
    kept ??= attempt(of);
    return kept.reason === undefined ? kept.value : fail(kept.reason);
  };
};

// A number in a text, with its digits after the point. The page may have the next digit where it lies between two, or as far
// away as `off`: a share of random orders differs where two of them are equal but for the last bit.
const fixed = (value, places, off = 0) => `\u0001${value}\u0002${places}\u0002${off}\u0003`;
function plain(value, places) {
  const text = value.toFixed(places);
  return /^-[0.]*$/.test(text) ? text.slice(1) : text;
}

// The text with each number as the page has it, where that is near enough.
function settled(text, got) {
  let out = "";
  for (const part of text.split(/(\u0001[^\u0003]*\u0003)/)) {
    if (!part.startsWith("\u0001")) { out += part; continue; }
    const [value, places, off] = part.slice(1, -1).split("\u0002").map(Number);
    const there = got.startsWith(out) ? /^-?\d+(?:\.\d+)?/.exec(got.slice(out.length))?.[0] : undefined;
    const isNear = there !== undefined && decimalsOf(there) === places && Math.abs(Number(there) - value) <= 0.5 * 10 ** -places * (1 + 1e-6) + 1e-11 * Math.abs(value) + off;
    out += isNear ? there : plain(value, places);
  }
  return out;
}

const chance = (p, off) => (p < 0.0001 ? "under 0.0001" : fixed(p, 4, off));

function decimalsFor(step) {
  let [places, scaled] = [0, step];
  while (scaled < 0.999999 && places < 8) { scaled *= 10; places += 1; }
  return places;
}

// Readings of one axis in whole base units, in order; `step` is the coarsest resolution of their instruments.
function sampleOf(bases, unit, step) {
  const [over, under] = PER_ONE[unit].map(Number);
  const sample = { bases, unit, step, n: bases.length, inUnit: (value) => value * under / over };
  const deviations = bases.map((value) => BigInt(value) - BigInt(bases[0]));
  const add = (of) => deviations.reduce((sum, value, nth) => sum + of(value, nth), 0n);
  sample.sorted = [...bases].sort((one, other) => one - other);
  sample.sum = add((value) => value);
  sample.squares = BigInt(sample.n) * add((value) => value * value) - sample.sum * sample.sum;
  sample.lagged = add((value, nth) => (nth > 0 ? value * deviations[nth - 1] : 0n));
  sample.last = deviations.at(-1) ?? 0n;
  sample.total = bases.length ? sample.sum + BigInt(bases[0]) * BigInt(sample.n) : 0n;
  sample.counts = [...new Set(sample.sorted)].map((value) => [value, 0]);
  const of = new Map(sample.counts.map((pair) => [pair[0], pair]));
  for (const value of bases) of.get(value)[1] += 1;
  return sample;
}

const stepOf = (all) => (all.step > 0 ? all.step : fail("the resolution of the instrument is not known"));
const places = (all) => decimalsFor(all.step > 0 ? all.inUnit(all.step) : 0.001) + 2;
const meanOf = (all) => { atLeast(all.n, 1); return all.inUnit(Number(all.total) / all.n); };
const sdOf = (all) => { atLeast(all.n, 2); return all.inUnit(Math.sqrt(Number(all.squares) / (all.n * (all.n - 1)))); };
function spreadOf(all) {
  const sd = sdOf(all);
  return all.sorted[0] === all.sorted.at(-1) ? fail(`all ${all.n} readings are equal`) : sd;
}

function meanBounds(all, confidence = CONFIDENCE) {
  const [mean, sd] = [meanOf(all), spreadOf(all)];
  const reach = studentT(all.n - 1).quantile(0.5 + confidence / 2) * sd / Math.sqrt(all.n);
  return [mean - reach, mean + reach];
}

function spreadFactors(nu, confidence = CONFIDENCE) {
  const spread = chiSquared(nu);
  return [0.5 + confidence / 2, 0.5 - confidence / 2].map((p) => Math.sqrt(nu / spread.quantile(p)));
}

function correctedOf(all) {
  const [sd, step] = [spreadOf(all), all.inUnit(stepOf(all))];
  const square = sd * sd - step * step / 12;
  return square <= 0 ? fail("the resolution accounts for all of the spread") : Math.sqrt(square);
}

function correctedBounds(all) {
  const bounds = sdBounds(all);
  const rounding = all.inUnit(stepOf(all)) ** 2 / 12;
  const [low, high] = bounds.map((bound) => Math.sqrt(Math.max(0, bound * bound - rounding)));
  return high <= 0 ? fail("the resolution accounts for all of the spread") : [low, high];
}

function sdBounds(all) {
  const sd = spreadOf(all);
  return spreadFactors(all.n - 1).map((factor) => sd * factor);
}

// Quartile by definition 7: linear between the sorted readings.
function quartileOf(all, parts, of = 4) {
  atLeast(all.n, 1);
  const [rank, rest] = [Math.floor(((all.n - 1) * parts) / of), ((all.n - 1) * parts) % of];
  const low = BigInt(all.sorted[rank]);
  const high = rest === 0 ? low : BigInt(all.sorted[rank + 1]);
  return Number(low * BigInt(of) + (high - low) * BigInt(rest)) / of;
}

function lag1Of(all) {
  atLeast(all.n, 2);
  if (all.squares === 0n) fail(`all ${all.n} readings are equal`);
  const [n, sum] = [BigInt(all.n), all.sum];
  return Number(n * n * all.lagged - n * sum * (2n * sum - all.last) + sum * sum * (n - 1n)) / (Number(all.squares) * all.n);
}

const DESCRIBED = [
  ["n", "readings", "count", (all) => all.n],
  ["mean", "mean", "reading", meanOf],
  ["mean_low", "", "reading", (all) => meanBounds(all)[0]],
  ["mean_high", "", "reading", (all) => meanBounds(all)[1]],
  ["sd", "standard deviation", "reading", sdOf],
  ["sd_low", "", "reading", (all) => sdBounds(all)[0]],
  ["sd_high", "", "reading", (all) => sdBounds(all)[1]],
  ["sd_corrected", "standard deviation, corrected for resolution", "reading", correctedOf],
  ["sd_corrected_low", "", "reading", (all) => correctedBounds(all)[0]],
  ["sd_corrected_high", "", "reading", (all) => correctedBounds(all)[1]],
  ["min", "minimum", "reading", (all) => all.inUnit(all.sorted[0])],
  ["q1", "first quartile", "reading", (all) => all.inUnit(quartileOf(all, 1))],
  ["median", "median", "reading", (all) => all.inUnit(quartileOf(all, 2))],
  ["q3", "third quartile", "reading", (all) => all.inUnit(quartileOf(all, 3))],
  ["max", "maximum", "reading", (all) => all.inUnit(all.sorted.at(-1))],
  ["lag1", "lag-1 autocorrelation", "ratio", lag1Of],
];

// The value of a figure as text, in the digits of its kind.
function figureText(all, kind, value, off) {
  if (kind === "reading") return `${fixed(value, places(all))} ${all.unit}`;
  if (kind === "ratio") return fixed(value, 3);
  if (kind === "probability") return chance(value, off);
  if (kind === "ppm") return value < 0.1 ? "under 0.1" : fixed(value, 1);
  return kind === "percent" ? `${fixed(value, 1)} %` : fixed(value, 0);
}

// A figure of a table: its words, and either its text with its bounds, or why it has none.
function figureLines(figures, subject, all) {
  const found = new Map(figures.map(([name, words, kind, of]) => [name, { name, words, kind, ...attempt(() => of(subject)) }]));
  const isBound = (name) => /_(low|high)$/.test(name) && found.has(name.replace(/_(low|high)$/, ""));
  const text = ({ kind, value }) => (value.p === undefined ? figureText(all, kind, value) : figureText(all, kind, value.p, value.off));
  return [...found.values()].filter(({ name }) => !isBound(name)).map((figure) => {
    if (figure.reason !== undefined) return { words: figure.words, reason: figure.reason };
    const bounds = ["low", "high"].map((end) => found.get(`${figure.name}_${end}`));
    const isBounded = bounds.every((bound) => bound && bound.reason === undefined);
    return { words: figure.words, text: text(figure), bounds: isBounded ? bounds.map(text) : ["", ""] };
  });
}

// Puts the rows of a table of figures; returns the table.
function expectTable(put, sheet, caption, about, lines) {
  const table = tableOf(sheet, caption, ["Figure", "Value", "From", "To"], lines.map(({ words }) => `${about}, ${words}`));
  lines.forEach(({ words, text, bounds, reason }, nth) => {
    const row = `${about}, ${words}`;
    put(`${row}, figure`, words);
    if (reason !== undefined) {
      put(`${row}, value`, `– ${reason}`);
      table.rows[nth].cells.length = 2;
      return;
    }
    [["value", text], ["from", bounds[0]], ["to", bounds[1]]].forEach(([head, said]) => put(`${row}, ${head}`, (got) => settled(said, got)));
  });
  return table;
}

// Is the order of the readings one like any other? Two shares of 1,999 random orders.
function orderOf(all) {
  atLeast(all.n, 8);
  if (all.n > 5000) fail(`too many readings: got ${all.n}, the method takes at most 5000`);
  const deviations = all.bases.map((value) => value - all.bases[0]);
  if (deviations.every((value) => value === 0)) fail(`all ${all.n} readings are equal`);
  // Comparisons do not depend on the unit, so that the numbers can be small enough to be exact.
  const common = deviations.reduce(function divisor(a, b) { return b === 0 ? Math.abs(a) : divisor(b, a % b); }, 0);
  const values = deviations.map((value) => value / common);
  const n = all.n;
  const reach = Math.max(...values.map(Math.abs));
  if (reach * reach * 4 * n * n > Number.MAX_SAFE_INTEGER) fail("recomputed: the sums are too large for this program");
  const total = values.reduce((sum, value) => sum + value, 0);
  const expected = total * total - values.reduce((sum, value) => sum + value * value, 0);
  const sums = () => {
    let [products, distances] = [0, 0];
    for (let at = 1; at < n; at += 1) { products += values[at - 1] * values[at]; distances += Math.abs(values[at] - values[at - 1]); }
    return [Math.abs(n * products - expected), distances];
  };
  const [far, near] = sums();
  const random = randomOf(0x7a110bden);
  let [asFar, asNear] = [1, 1];
  for (let run = 0; run < 1999; run += 1) {
    for (let last = n - 1; last > 0; last -= 1) {
      const other = random.below(last + 1);
      [values[last], values[other]] = [values[other], values[last]];
    }
    const [product, distance] = sums();
    asFar += product >= far ? 1 : 0;
    asNear += distance <= near ? 1 : 0;
  }
  return { lag1: asFar / 2000, near: asNear / 2000 };
}

// Anderson and Darling's statistic of counted values.
function darling(cells, n) {
  let [before, sum] = [0, 0];
  const ln = (share) => Math.log(Math.max(share, TINY));
  for (const [z, times] of cells) {
    const to = before + times;
    sum += (to * to - before * before) * ln(below(z)) + ((n - before) ** 2 - (n - to) ** 2) * ln(above(z));
    before = to;
  }
  return (-n - sum / n) * (1 + 0.75 / n + 2.25 / (n * n));
}

// The p-value of the normality test, by readings made up on the same steps; and how many of these were equal but for rounding.
function normalityOf(all) {
  atLeast(all.n, 8);
  const [mean, sd] = [meanOf(all), spreadOf(all)];
  const observed = darling(all.counts.map(([value, times]) => [(all.inUnit(value) - mean) / sd, times]), all.n);
  if (all.n > 5000) fail(`too many readings: got ${all.n}, the method takes at most 5000`);
  if (!(all.step > 0)) return { p: unroundedP(observed), off: 0 };
  const [step, own] = [all.inUnit(all.step), correctedOf(all)];
  if (2 * 8.5 * own / step > 4096) return { p: unroundedP(observed), off: 0 };
  const p = (sigma) => madeUp(all, { mean, sigma, step, lowest: all.inUnit(all.sorted[0]), observed });
  if (own >= 0.5 * step) return p(own);
  const [one, other] = [p(own), p(0.5 * step)];
  return one.p >= other.p ? one : other;
}

function madeUp(all, { mean, sigma, step, lowest, observed }) {
  const first = lowest + Math.floor((mean - 8.5 * sigma - lowest) / step) * step;
  const cumulated = [];
  for (let edge = -Infinity; edge <= mean + 8.5 * sigma && cumulated.length <= 8192; ) {
    edge = first + (cumulated.length + 0.5) * step;
    cumulated.push(below((edge - mean) / sigma));
  }
  const random = randomOf(0x7a111a05n);
  let [asLarge, equal] = [0, 0];
  for (let run = 0; run < 1999; run += 1) {
    const counts = new Array(cumulated.length + 1).fill(0);
    for (let at = 0; at < all.n; at += 1) {
      const share = random.share();
      let [low, high] = [0, cumulated.length];
      while (low < high) {
        const middle = (low + high) >> 1;
        if (cumulated[middle] < share) low = middle + 1; else high = middle;
      }
      counts[low] += 1;
    }
    const cells = [...counts.entries()].filter(([, times]) => times > 0);
    const center = cells.reduce((sum, [cell, times]) => sum + cell * times, 0) / all.n;
    const spread = Math.sqrt(cells.reduce((sum, [cell, times]) => sum + (cell - center) * (cell - center) * times, 0) / (all.n - 1));
    if (spread <= 0) continue;
    const simulated = darling(cells.map(([cell, times]) => [(cell - center) / spread, times]), all.n);
    if (simulated >= observed) asLarge += 1;
    if (Math.abs(simulated - observed) <= 1e-9 * Math.abs(observed)) equal += 1;
  }
  return { p: (asLarge + 1) / 2000, off: equal / 2000 };
}

function unroundedP(statistic) {
  const a = Math.min(statistic, 10);
  const p = a >= 0.6 ? Math.exp(1.2937 - 5.709 * a + 0.0186 * a * a) : a > 0.34 ? Math.exp(0.9177 - 4.279 * a - 1.38 * a * a) : a > 0.2 ? 1 - Math.exp(-8.318 + 42.796 * a - 59.938 * a * a) : 1 - Math.exp(-13.436 + 101.14 * a - 223.73 * a * a);
  return Math.min(1, Math.max(0, p));
}
