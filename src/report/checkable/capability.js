// What readings show about the limits: indices with their bounds, and the claim with its preconditions.

const ASKED = 1.33;

// Limits of a sample in base units; `isMixed` where they are forces and the readings lengths, or the other way round.
function limitsOf(axis, all) {
  return { lower: base(axis, "lower"), upper: base(axis, "upper"), isMixed: LENGTHS.includes(axis.unit) !== LENGTHS.includes(all.unit) };
}

// The readings against the limits: what its tables and sentences need, each computed once.
function capabilityOf(all, limits) {
  const mixed = () => (limits.isMixed ? fail("lengths and forces are mixed") : undefined);
  const lower = () => (limits.lower === undefined ? fail("there is no lower limit") : mixed() ?? all.inUnit(limits.lower));
  const upper = () => (limits.upper === undefined ? fail("there is no upper limit") : mixed() ?? all.inUnit(limits.upper));
  const both = () => {
    if (limits.lower === undefined && limits.upper === undefined) fail("there are no limits");
    mixed();
    return limits.lower === undefined || limits.upper === undefined ? fail("both limits are needed, and there is one") : undefined;
  };
  const within = once(() => ({ sigma: all.inUnit(movingRange(all.bases)) / d2OfTwo(), nu: movingRangeFreedom(all.n) }));
  const overall = once(() => ({ sigma: spreadOf(all), nu: all.n - 1 }));
  const positive = ({ sigma }) => (sigma > 0 ? sigma : fail("a standard deviation is out of range"));
  const potential = (spread) => { both(); return (upper() - lower()) / (6 * positive(spread)); };
  const potentialBounds = (spread) => {
    const index = potential(spread);
    const [low, high] = spreadFactors(spread.nu);
    return [index / high, index / low];
  };
  const centered = (spread) => {
    if (limits.lower !== undefined || limits.upper !== undefined) mixed();
    const mean = meanOf(all);
    const sigma = positive(spread);
    const sides = [limits.lower === undefined ? [] : [mean - lower()], limits.upper === undefined ? [] : [upper() - mean]].flat();
    return sides.length ? Math.min(...sides) / (3 * sigma) : fail("there is no lower limit");
  };
  const centeredBounds = (spread) => {
    const index = centered(spread);
    const reach = normalQuantile(0.5 + CONFIDENCE / 2) * Math.sqrt(1 / (9 * all.n) + index * index / (2 * spread.nu));
    return [index - reach, index + reach];
  };
  const lowest = once(() => {
    const spread = overall();
    const index = centered(spread);
    const scale = 3 * Math.sqrt(all.n);
    return increasingRoot((candidate) => CONFIDENCE - noncentralT(spread.nu, scale * candidate).below(scale * index), index - (Math.abs(index) + 10), index + Math.abs(index) + 10);
  });
  const tolerance = once(() => toleranceOf(all, limits));
  const outside = once(() => {
    if (limits.lower === undefined && limits.upper === undefined) fail("there are no limits");
    mixed();
    return all.bases.filter((value) => value < limits.lower || value > limits.upper).length;
  });
  const outsideMost = once(() => upperBound(outside(), all.n));
  const beyondLimit = (end) => {
    const { sigma } = overall();
    return end === "lower" ? 1e6 * below((lower() - meanOf(all)) / sigma) : 1e6 * above((upper() - meanOf(all)) / sigma);
  };
  const needed = once(() => neededOf(centered(overall())));
  const normality = once(() => normalityOf(all));
  const order = once(() => orderOf(all));
  const counts = {
    tolerance: () => { both(); return (limits.upper - limits.lower) / stepOf(all); },
    spread: () => 6 * spreadOf(all) / all.inUnit(stepOf(all)),
  };
  return { all, limits, within, overall, potential, potentialBounds, centered, centeredBounds, lowest, tolerance, outside, outsideMost, beyondLimit, needed, normality, order, counts };
}

// The mean distance of neighbours, in base units.
function movingRange(bases) {
  atLeast(bases.length, 2);
  let sum = 0n;
  for (let at = 1; at < bases.length; at += 1) sum += BigInt(Math.abs(bases[at] - bases[at - 1]));
  return sum > 0n ? Number(sum) / (bases.length - 1) : fail(`all ${bases.length} readings are equal`);
}

const d2OfTwo = () => 2 / Math.sqrt(Math.PI);
const d3OfTwo = () => Math.sqrt(2 - 4 / Math.PI);

function movingRangeFreedom(n) {
  const [m, square] = [n - 1, 4 / Math.PI];
  const covariance = square * (Math.sqrt(0.75) + Math.PI / 12) - square;
  return square * m * m / (2 * (m * (2 - square) + 2 * (m - 1) * covariance));
}

function upperBound(count, n, confidence = CONFIDENCE) {
  atLeast(n, 1);
  if (count >= n) return 1;
  const f = fisherF(2 * (count + 1), 2 * (n - count)).quantile(confidence);
  return (count + 1) * f / (n - count + (count + 1) * f);
}

// The smallest number of pieces whose bound reaches the required index.
function neededOf(index) {
  if (index <= ASKED) fail("does not apply: the index is not above the required one");
  const shows = (n) => noncentralT(n - 1, 3 * Math.sqrt(n) * ASKED).below(3 * Math.sqrt(n) * index) >= CONFIDENCE;
  let enough = 2;
  while (!shows(enough)) {
    enough *= 2;
    if (enough > 1000000) fail(`too many readings: got ${enough}, the method takes at most 1000000`);
  }
  let short = Math.floor(enough / 2);
  while (enough - short > 1) {
    const middle = short + Math.floor((enough - short) / 2);
    if (shows(middle)) enough = middle; else short = middle;
  }
  return enough > 999 ? fail("does not apply: Ppk is too near to the required index") : enough;
}

// The interval that holds 99 % of all pieces, with 95 % confidence.
function toleranceOf(all, { lower, upper }) {
  const [mean, sd] = [meanOf(all), spreadOf(all)];
  const isOneSided = (lower === undefined) !== (upper === undefined);
  const factor = isOneSided ? noncentralT(all.n - 1, normalQuantile(0.99) * Math.sqrt(all.n)).quantile(CONFIDENCE) / Math.sqrt(all.n) : twoSidedFactor(all.n);
  return { factor, low: upper !== undefined && isOneSided ? undefined : mean - factor * sd, high: lower !== undefined && isOneSided ? undefined : mean + factor * sd };
}

function twoSidedFactor(n) {
  atLeast(n, 2);
  const spread = chiSquared(n - 1);
  const inner = normalQuantile(0.5 + 0.99 / 2);
  const places = [];
  for (let z = 0; z < 9; z += 0.2) {
    const off = z / Math.sqrt(n);
    const reach = increasingRoot((r) => 1 - 0.99 - (above(off + r) + below(off - r)), Math.min(inner, off), off + inner + 1);
    places.push([reach, (z > 0 ? 2 : 1) * 0.2 * density(z)]);
  }
  const short = (log) => places.reduce((sum, [reach, weight]) => sum + weight * spread.shares((n - 1) * reach * reach / Math.exp(log) ** 2)[1], 0) - CONFIDENCE;
  return Math.exp(increasingRoot(short, Math.log(1e-3), Math.log(1e5)));
}

const SHARED = [
  ["ppk_low", "", "ratio", (of) => of.centeredBounds(of.overall())[0]],
  ["ppk_high", "", "ratio", (of) => of.centeredBounds(of.overall())[1]],
  ["ppk_least", "Ppk, lower confidence bound (95 %, one-sided)", "ratio", (of) => of.lowest()],
  ["pieces_needed", "pieces to demonstrate the required Ppk, by this bound alone", "count", (of) => of.needed()],
  ["ppm_below", "expected below the lower limit, per million", "ppm", (of) => of.beyondLimit("lower")],
];
const TAIL = [
  ["outside", "pieces outside the limits", "count", (of) => of.outside()],
  ["outside_percent_most", "share outside, any distribution, upper confidence bound (95 %)", "percent", (of) => 100 * of.outsideMost()],
  ["lag1", "lag-1 autocorrelation", "ratio", (of) => lag1Of(of.all)],
  ["normality_p", "p of the normality test, resolution allowed for", "probability", (of) => of.normality()],
];
const TOLERANCE_LOW = (of) => of.tolerance().low ?? fail("there is no lower limit");

const CAPABILITY = [
  ["sigma_within", "short-term standard deviation", "reading", (of) => of.within().sigma],
  ["cp", "Cp (short term, if centred)", "ratio", (of) => of.potential(of.within())],
  ["cp_low", "", "ratio", (of) => of.potentialBounds(of.within())[0]],
  ["cp_high", "", "ratio", (of) => of.potentialBounds(of.within())[1]],
  ["cpk", "Cpk (short term)", "ratio", (of) => of.centered(of.within())],
  ["cpk_low", "", "ratio", (of) => of.centeredBounds(of.within())[0]],
  ["cpk_high", "", "ratio", (of) => of.centeredBounds(of.within())[1]],
  ["pp", "Pp (all readings, if centred)", "ratio", (of) => of.potential(of.overall())],
  ["pp_low", "", "ratio", (of) => of.potentialBounds(of.overall())[0]],
  ["pp_high", "", "ratio", (of) => of.potentialBounds(of.overall())[1]],
  ["ppk", "Ppk (all readings)", "ratio", (of) => of.centered(of.overall())],
  ...SHARED,
  ["ppm_above", "expected above the upper limit, per million", "ppm", (of) => of.beyondLimit("upper")],
  ["tolerance_k", "tolerance interval (99 % of pieces, 95 % confidence), factor k", "ratio", (of) => of.tolerance().factor],
  ["tolerance_low", "tolerance interval, lower end", "reading", TOLERANCE_LOW],
  ["tolerance_high", "tolerance interval, upper end", "reading", (of) => of.tolerance().high ?? fail("there is no upper limit")],
  ["counts_in_tolerance", "tolerance over resolution", "ratio", (of) => of.counts.tolerance()],
  ["counts_in_spread", "six standard deviations over resolution", "ratio", (of) => of.counts.spread()],
  ...TAIL,
];
const PULL = [
  ["ppk", "Ppk against the lower limit", "ratio", (of) => of.centered(of.overall())],
  ...SHARED,
  ["tolerance_k", "tolerance bound (99 % of pieces, 95 % confidence), factor k", "ratio", (of) => of.tolerance().factor],
  ["tolerance_low", "tolerance bound, lower", "reading", TOLERANCE_LOW],
  ...TAIL,
];

// The preconditions of a claim about an index, each tested.
function groundsOf(of) {
  const { all } = of;
  const [normal, signals, order] = [attempt(() => of.normality()), attempt(() => signalsOf(all)), attempt(() => of.order())];
  const more = (reason) => /^too few readings/.test(reason);
  const lag1 = attempt(() => lag1Of(all));
  const lag = lag1.reason === undefined ? ` ${fixed(lag1.value, 2)}` : "";
  const indices = [of.within, of.overall].map((spread) => attempt(() => of.centered(spread())));
  const both = indices.every(({ reason }) => reason === undefined) ? `Cpk ${fixed(indices[0].value, 2)} and Ppk ${fixed(indices[1].value, 2)}` : "Cpk and Ppk";
  const isNormal = normal.reason === undefined && normal.value.p >= 0.05;
  const [near, far] = [order.value?.near, order.value?.lag1];
  const enough = all.n >= 20;
  return [
    { holds: enough, finding: enough ? `${all.n} pieces` : `too few pieces to test distribution and stability: got ${all.n}, want at least 20`, remedy: "measure more pieces" },
    {
      holds: isNormal,
      finding: normal.reason !== undefined ? `normality cannot be tested: ${normal.reason}` : isNormal ? `normality is not rejected (p = ${fixed(normal.value.p, 2, normal.value.off)})` : `the distribution is not normal (p = ${fixed(normal.value.p, 4, normal.value.off)})`,
      remedy: normal.reason === undefined ? "look for the cause: two nests, tools or lots mixed, an outlier, a mechanical stop" : more(normal.reason) ? "measure more pieces" : /^(the resolution accounts|all \d+ readings)/.test(normal.reason) ? "measure with a finer instrument" : "use the share outside the limits instead",
    },
    {
      holds: signals.value === 0,
      finding: signals.reason !== undefined ? `stability cannot be tested: ${signals.reason}` : signals.value === 0 ? "no signal in the control chart" : signals.value === 1 ? "1 signal in the control chart" : `${signals.value} signals in the control chart`,
      remedy: signals.reason === undefined ? "find out what changed: tallyjaw study chart" : more(signals.reason) ? "measure more pieces" : "study fewer pieces, in the order of production",
    },
    {
      holds: near >= 0.025,
      finding: near === undefined ? `the agreement of Cpk and Ppk cannot be tested: ${order.reason}` : near >= 0.025 ? `${both} agree` : `${both} differ, so the process is not stable (p = ${fixed(near, 4)})`,
      remedy: near === undefined && more(order.reason) ? "measure more pieces" : "find out what changed: tallyjaw study chart",
    },
    {
      holds: far >= 0.025,
      finding: far === undefined ? `independence of the pieces cannot be tested: ${order.reason}` : far >= 0.025 ? `lag-1 autocorrelation${lag}, not significant (p = ${fixed(far, 2)})` : `lag-1 autocorrelation${lag}, significant (p = ${fixed(far, 4)})`,
      remedy: far === undefined && more(order.reason) ? "measure more pieces" : "take pieces further apart, and look for a drift",
    },
  ];
}

// Index, bound, confidence and preconditions in one sentence; and the preconditions that are worth stating.
function claimOf(of) {
  const grounds = groundsOf(of);
  const worth = grounds[0].holds ? grounds : grounds.slice(0, 1);
  const [index, lowest] = [attempt(() => of.centered(of.overall())), attempt(() => of.lowest())];
  const reason = index.reason ?? lowest.reason;
  if (reason !== undefined) return { worth, sentence: `Ppk has no value: ${reason}` };
  const bound = `Ppk ${fixed(index.value, 2)}; with ${of.all.n} pieces the lower 95 % confidence bound is ${fixed(lowest.value, 2)}`;
  if (lowest.value < ASKED) return { worth, sentence: `${bound}, so 1.33 is not demonstrated. ${adviceOf(of, index.value)}` };
  if (grounds.every(({ holds }) => holds)) return { worth, sentence: `${bound}, so 1.33 is demonstrated` };
  const failing = worth.filter(({ holds }) => !holds);
  const remedies = failing.map(({ remedy }) => remedy).filter((remedy, nth, all) => remedy !== all[nth - 1]);
  const [outside, most] = [attempt(() => of.outside()), attempt(() => of.outsideMost())];
  const share = outside.reason === undefined && most.reason === undefined ? `. For any distribution: ${outside.value} of ${of.all.n} are outside the limits, so at most ${fixed(100 * most.value, 1)} % of all are (upper 95 % confidence bound, pieces taken at random)` : "";
  return { worth, sentence: `${bound}, but 1.33 is not demonstrated: ${failing.map(({ finding }) => finding).join("; ")}. What to do: ${remedies.join("; ")}${share}` };
}

function adviceOf(of, index) {
  if (index <= ASKED) return "Ppk itself is not above 1.33: centre the process or reduce its spread";
  if (of.all.n < 25) return "Measure 25 or more";
  const needed = attempt(() => of.needed());
  return needed.reason === undefined ? `If Ppk stays as it is, ${needed.value} pieces demonstrate it` : "Ppk is too near to 1.33: centre the process or reduce its spread";
}

function warningsOf(of) {
  const coarse = attempt(() => of.counts.tolerance());
  const spread = attempt(() => spreadOf(of.all));
  const isDominated = of.all.n >= 2 && of.all.step > 0 && (spread.reason !== undefined || spread.value < of.all.inUnit(of.all.step));
  return [
    ...(coarse.value < 10 ? ["The tolerance is under 10 times the resolution: measure with a finer instrument"] : []),
    ...(isDominated ? ["The standard deviation is smaller than the resolution: it describes the instrument more than the crimps"] : []),
  ];
}

// The figures of an axis in the appendix, its pictures, and the sentence about capability on the sheet.
function expectFigures(series, axis, rows, { put, tables, pictures }) {
  const words = axisWords(axis.axis);
  const about = `series ${series.id}, figures of ${words}`;
  const of = capabilityOfAxis(series, axis, rows);
  const { all } = of;
  const claim = of.claim();
  put(`${about}, the sentence`, (got) => settled(`${capital(claim.sentence)}.`, got));
  put(`${about}, preconditions`, (got) => settled(claim.worth.map(({ holds, finding }) => `${holds ? "holds" : "fails"}: ${finding}\n`).join(""), got));
  const described = figureLines(DESCRIBED, all, all);
  const names = new Set([...DESCRIBED.map(([name]) => name), "min", "max"]);
  const besides = figureLines((isPull(axis) ? PULL : CAPABILITY).filter(([name]) => !names.has(name)), of, all);
  tables.push(expectTable(put, series.id, `Figures of ${words}`, about, [...described, ...besides]));
  const warnings = warningsOf(of);
  if (warnings.length) put(`${about}, remarks`, warnings.map((text) => `${text}\n`).join(""));
  pictures.push(...figurePictures(String(series.id), words, all, of.limits));
}

const isPull = (axis) => !LENGTHS.includes(axis.unit) && base(axis, "upper") === undefined;

// Readings as a sample; each with the settings of its series.
function poolOf(rows) {
  const [first] = rows;
  if (rows.some(({ entry }) => LENGTHS.includes(entry.unit) !== LENGTHS.includes(first.entry.unit))) fail("lengths and forces are mixed");
  const steps = rows.flatMap(({ entry, spec }) => spec.instruments.filter(({ name }) => name === entry.instrument).map((one) => base(one, "resolution")));
  return sampleOf(rows.map(({ entry }) => base(entry, "value")), first?.entry.unit ?? "mm", steps.length ? Math.max(...steps) : undefined);
}

// Of an axis of a series, once: tests of order and shape take time.
function capabilityOfAxis(series, axis, rows) {
  series.known ??= new Map();
  if (!series.known.has(axis)) {
    const all = poolOf(rows.map((entry) => ({ entry, spec: series.spec })));
    const of = capabilityOf(all, limitsOf(axis, all));
    series.known.set(axis, Object.assign(of, { claim: once(() => claimOf(of)) }));
  }
  return series.known.get(axis);
}

// What the sheet says about capability.
function expectCapability(series, rowsOf, put) {
  const about = `series ${series.id}, capability`;
  const samples = series.spec.axes.map((axis) => ({ axis, rows: rowsOf(axis) })).filter(({ rows }) => rows.length > 0);
  const most = Math.max(0, ...samples.map(({ rows }) => rows.length));
  if (most === 0) return;
  if (most < 20) return put(about, `Capability (Ppk) is not stated: it takes 20 pieces or more, and here are ${most}.`);
  for (const { axis, rows } of samples) {
    const words = axisWords(axis.axis);
    const said = rows.length < 20 ? `${capital(words)}: capability is not stated.` : `${capital(words)}: ${capabilityOfAxis(series, axis, rows).claim().sentence.split(". ")[0]}.`;
    put(`${about} of ${words}`, (got) => settled(said, got));
  }
}
