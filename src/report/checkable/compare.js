// Groups of readings side by side: tool against tool, day against day. Sentences, tables and histograms, as the program makes them.

const groupName = (series, one, by, offsets) => {
  const { spec } = series;
  const unnamed = spec.purpose === "reference" ? "factory pieces" : "not named";
  const time = by === "day" ? local(one.at, offsets) : "";
  return { tool: spec.tool?.id, nest: spec.tool?.nest, operator: series.operators.findLast(([from]) => from <= one.seq)?.[1], instrument: one.instrument, station: spec.station, series: String(series.id), day: `${time.slice(0, 10)} ${time.slice(20)}` }[by] ?? unnamed;
};

// The groups of an axis, the one that the others are compared with first.
function groupsOf(series, name, { by, reference }, offsets) {
  const pools = new Map();
  const limits = [];
  const crimps = new Set();
  for (const one of series) {
    const axis = one.spec.axes.find((known) => known.axis === name);
    if (!axis) continue;
    for (const { entry } of counted(one).filter(({ entry }) => entry.axis === name)) {
      const group = groupName(one, entry, by, offsets);
      pools.set(group, [...(pools.get(group) ?? []), { entry, spec: one.spec }]);
    }
    limits.push(axis);
    crimps.add(one.spec.terminal === undefined ? "" : `${one.spec.terminal} ${one.spec.wire_mm2}`);
  }
  const names = [...pools.keys()];
  if (pools.has(reference)) names.unshift(...names.splice(names.indexOf(reference), 1));
  const ends = (axis) => JSON.stringify(["nominal", "lower", "upper"].map((end) => base(axis, end) ?? null).concat(axis.unit));
  const centre = (axis) => base(axis, "nominal") ?? (base(axis, "lower") === undefined || base(axis, "upper") === undefined ? undefined : base(axis, "lower") + Math.trunc((base(axis, "upper") - base(axis, "lower")) / 2));
  const isOfOneLimit = new Set(limits.map(ends)).size === 1;
  return {
    groups: names.map((name) => [name, poolOf(pools.get(name))]),
    axis: isOfOneLimit ? limits[0] : undefined,
    isOfOneNominal: new Set(limits.map(centre)).size === 1,
    isMixed: crimps.size > 1,
  };
}

const sameUnit = (first, second) => (first.unit === second.unit ? undefined : fail("lengths and forces are mixed"));

function differenceOf(first, second, square, nu) {
  sameUnit(first, second);
  if (square <= 0) fail(`all ${first.n + second.n} readings are equal`);
  const difference = meanOf(first) - meanOf(second);
  const error = Math.sqrt(square);
  return { difference, error, nu, t: difference / error };
}

function welch(first, second) {
  const [one, other] = [first, second].map((all) => sdOf(all) ** 2 / all.n);
  const square = one + other;
  return differenceOf(first, second, square, square * square / (one * one / (first.n - 1) + other * other / (second.n - 1)));
}

function pooledT(first, second) {
  const [n1, n2] = [first.n, second.n];
  const [s1, s2] = [sdOf(first), sdOf(second)];
  const nu = n1 + n2 - 2;
  const variance = ((n1 - 1) * s1 * s1 + (n2 - 1) * s2 * s2) / nu;
  return differenceOf(first, second, variance * (1 / n1 + 1 / n2), nu);
}

const boundsOf = ({ difference, error, nu }, confidence) => {
  const reach = studentT(nu).quantile(0.5 + confidence / 2) * error;
  return [difference - reach, difference + reach];
};

function anovaOf(groups) {
  if (groups.length < 2) fail(`too few groups: got ${groups.length}, want at least 2`);
  if (groups.some(({ unit }) => unit !== groups[0].unit)) fail("lengths and forces are mixed");
  const count = groups.reduce((sum, { n }) => sum + n, 0);
  atLeast(Math.min(...groups.map(({ n }) => n)), 1);
  atLeast(count, groups.length + 1);
  const pivot = groups.reduce((sum, { total }) => sum + total, 0n) / BigInt(count);
  let [between, within, sum] = [0, 0, 0n];
  for (const { n, total, squares } of groups) {
    const own = total - pivot * BigInt(n);
    sum += own;
    between += Number(own) * Number(own) / n;
    within += Number(squares) / n;
  }
  between -= Number(sum) * Number(sum) / count;
  if (within <= 0) fail(`all ${count} readings are equal`);
  const [betweenNu, withinNu] = [groups.length - 1, count - groups.length];
  const f = (between / betweenNu) / (within / withinNu);
  const square = (squares) => groups[0].inUnit(groups[0].inUnit(squares));
  return { betweenNu, withinNu, between: square(between), within: square(within), f, lowest: f, p: fisherF(betweenNu, withinNu).shares(f)[1] };
}

// The same with the lowest F that means have which rounding may have moved.
function lessRounding(table, groups) {
  const half = ({ step, inUnit }) => (step > 0 ? inUnit(step) / 2 : 0);
  const ofOne = (all) => (Math.sqrt(table.within / table.withinNu) < half(all) ? half(all) : 0);
  const means = groups.map((all) => [all.n, meanOf(all), all.n > 1 ? meanMayBeOff(all) : ofOne(all)]);
  if (means.every(([, , off]) => off <= 0)) return table;
  const away = ([, mean, off], at) => Math.max(at - (mean + off), 0) + Math.min(at - (mean - off), 0);
  let low = Math.min(...means.map(([, mean, off]) => mean - off));
  let high = Math.max(...means.map(([, mean, off]) => mean + off));
  for (let nth = 0; nth < 100; nth += 1) {
    const middle = (low + high) / 2;
    const pull = means.reduce((sum, of) => sum + of[0] * away(of, middle), 0);
    if (pull > 0) high = middle;
    else low = middle;
  }
  const at = (low + high) / 2;
  const between = means.reduce((sum, of) => sum + of[0] * away(of, at) ** 2, 0);
  const lowest = (between / table.betweenNu) / (table.within / table.withinNu);
  return { ...table, lowest, p: fisherF(table.betweenNu, table.withinNu).shares(lowest)[1] };
}

// Brown and Forsythe: the analysis of variance of the distances from the median.
function brownForsythe(groups) {
  const distances = groups.map((all) => {
    const twice = quartileOf(all, 1, 2) * 2;
    return sampleOf(all.bases.map((value) => Math.abs(2 * value - twice)), all.unit, undefined);
  });
  const found = attempt(() => anovaOf(distances));
  if (found.reason === undefined) return found.value;
  const isSpread = groups.some((all) => attempt(() => spreadOf(all)).reason === undefined);
  return fail(isSpread && /^all \d+ readings/.test(found.reason) ? "does not apply: all readings of a group are equally far from its median" : found.reason);
}

const ratioOf = (first, second) => (spreadOf(first) / spreadOf(second)) ** 2;
function ratioBounds(first, second, confidence) {
  const ratio = ratioOf(first, second);
  const f = fisherF(first.n - 1, second.n - 1);
  return [ratio / f.quantile(0.5 + confidence / 2), ratio / f.quantile(0.5 - confidence / 2)];
}

const CORRELATED = "does not apply: readings of a group have a lag-1 autocorrelation, which makes intervals too narrow; look for a drift";
function isCorrelated(all) {
  if (all.n > 5000) return attempt(() => lag1Of(all)).value * Math.sqrt(all.n) > 1.959963984540054;
  const order = attempt(() => orderOf(all));
  return order.reason === undefined && order.value.lag1 < 0.025 && order.value.near < 0.025;
}
const ofIndependent = (groups) => { if (groups.some(isCorrelated)) fail(CORRELATED); };

// How far rounding may have moved the mean.
function meanMayBeOff(all) {
  if (!(all.step > 0)) return 0;
  const step = all.inUnit(all.step);
  return sdOf(all) < step / 2 ? step / 2 : 0;
}

// A group against the first one; `among` is the number of such comparisons, which share 5 %.
function comparisonOf([firstName, first], [secondName, second], { margin, limits, among }) {
  const confidence = 1 - (1 - CONFIDENCE) / Math.max(1, among);
  const alpha = 1 - confidence;
  const wanders = once(() => [first, second].findIndex(isCorrelated));
  const independent = () => { if (wanders() >= 0) fail(CORRELATED); };
  // How much of the difference rounding alone may make.
  const rounding = once(() => meanMayBeOff(first) + meanMayBeOff(second));
  const difference = once(() => {
    independent();
    return welch(second, first);
  });
  const outside = (all) => {
    independent();
    const count = capabilityOf(all, { ...limits, isMixed: limits.isForce !== undefined && limits.isForce === LENGTHS.includes(all.unit) }).outside();
    return [count, 100 * upperBound(count, all.n, confidence)];
  };
  const equivalenceP = () => {
    if (margin === undefined) fail("does not apply: no margin was given");
    const left = margin - rounding();
    if (left <= 0) fail("does not apply: the readings spread by less than half of the resolution, so rounding alone may make a difference as large as the margin");
    const { nu, error, difference: off } = difference();
    const t = studentT(nu);
    return Math.max(t.over((off + left) / error), t.over(-(off - left) / error));
  };
  const boundsAt = (confidence) => {
    const [low, high] = boundsOf(difference(), confidence);
    return [low - rounding(), high + rounding()];
  };
  return {
    names: [firstName, secondName], first, second, margin, confidence, alpha, difference, outside, equivalenceP, wanders,
    pooled: () => { independent(); return pooledT(second, first); },
    spread: () => { independent(); return brownForsythe([first, second]); },
    rounding,
    bounds: () => boundsAt(confidence),
    equivalenceBounds: () => boundsAt(1 - 2 * alpha),
    ratio: () => Math.sqrt(ratioOf(second, first)),
    varianceBounds: (confidence) => { independent(); return ratioBounds(second, first, confidence); },
    ratioBounds() { return this.varianceBounds(confidence).map(Math.sqrt); },
  };
}

const percentOf = (share) => `${(100 * share).toFixed(4).replace(/\.?0+$/, "")} %`;

function comparisonSentence(of) {
  const { first, second, confidence, alpha, margin } = of;
  const [one, other] = of.names;
  const { unit } = first;
  const digits = (value) => fixed(value, decimalsFor(first.step > 0 ? first.inUnit(first.step) : 1e-3) + 1);
  const sure = percentOf(confidence);
  const said = [];
  if (of.wanders() >= 0) {
    said.push(`the means and standard deviations of ${one} and ${other} are not compared: readings of ${of.names[of.wanders()]} have a lag-1 autocorrelation, which makes the intervals too narrow; look for a drift`);
    if (margin !== undefined) said.push(equivalenceWords(of, digits));
    return said.join("; ");
  }
  const [found, bounds] = [attempt(of.difference), attempt(of.bounds)];
  const reason = found.reason ?? bounds.reason;
  if (reason !== undefined) said.push(`the means cannot be compared: ${reason}`);
  else {
    const [{ difference }, [low, high]] = [found.value, bounds.value];
    const interval = `${sure} confidence interval${of.rounding() > 0 ? ", rounding allowed for" : ""}`;
    if (low <= 0 && high >= 0) said.push(`no significant difference of the means of ${one} and ${other}: ${digits(difference)} ${unit} (${interval}: ${digits(low)} to ${digits(high)} ${unit})`);
    else {
      const [side, near, far] = difference > 0 ? ["above", low, high] : ["below", -high, -low];
      said.push(`the mean of ${other} lies ${digits(Math.abs(difference))} ${unit} ${side} that of ${one} (${interval}: ${digits(near)} to ${digits(far)} ${unit})`);
    }
  }
  const [ratio, ends] = [attempt(of.ratio), attempt(() => of.ratioBounds())];
  const spread = ratio.reason === undefined && ends.reason === undefined ? `the standard deviation of ${other} is ${fixed(ratio.value, 2)} times that of ${one} (${sure} confidence interval for normal readings: ${fixed(ends.value[0], 2)} to ${fixed(ends.value[1], 2)})` : "their ratio has no value";
  const p = attempt(() => of.spread().p);
  said.push(p.reason !== undefined ? `the standard deviations cannot be compared: ${p.reason}` : p.value < alpha ? spread : `no significant difference of the standard deviations: ${spread}`);
  if (margin !== undefined) said.push(equivalenceWords(of, digits));
  const outside = [first, second].map((all) => attempt(() => of.outside(all)));
  if (outside.every(({ reason }) => reason === undefined)) {
    const words = outside.map(({ value: [count, most] }, nth) => `${count} of ${[first, second][nth].n} of ${of.names[nth]} (at most ${fixed(most, 1)} %)`);
    said.push(`outside the limits: ${words.join(", ")} (upper confidence bounds, ${sure})`);
  }
  return said.join("; ");
}

function equivalenceWords(of, digits) {
  const { first, second, alpha, margin } = of;
  const within = `within ±${digits(margin)} ${first.unit}`;
  const wanders = of.wanders();
  if (wanders >= 0) return `equivalence of the means ${within} is not claimed: readings of ${of.names[wanders]} have a lag-1 autocorrelation, which makes the interval too narrow; look for a drift`;
  const [p, bounds] = [attempt(of.equivalenceP), attempt(of.equivalenceBounds)];
  const reason = p.reason ?? bounds.reason;
  if (reason !== undefined) return `equivalence of the means ${within} cannot be tested: ${reason}`;
  const interval = `${percentOf(1 - 2 * alpha)} confidence interval of the difference: ${digits(bounds.value[0])} to ${digits(bounds.value[1])} ${first.unit}`;
  return p.value < alpha ? `the means are equivalent ${within} (${interval}); equivalent means say nothing about spread or single pieces` : `equivalence of the means ${within} is not shown (${interval})`;
}

const COMPARED = [
  ["n_first", "readings of the first", "count", (of) => of.first.n],
  ["n_second", "readings of the second", "count", (of) => of.second.n],
  ["mean_first", "mean of the first", "reading", (of) => meanOf(of.first)],
  ["mean_second", "mean of the second", "reading", (of) => meanOf(of.second)],
  ["sd_first", "standard deviation of the first", "reading", (of) => sdOf(of.first)],
  ["sd_second", "standard deviation of the second", "reading", (of) => sdOf(of.second)],
  ["difference", "difference of means", "reading", (of) => welch(of.second, of.first).difference],
  ["difference_low", "", "reading", (of) => of.bounds()[0]],
  ["difference_high", "", "reading", (of) => of.bounds()[1]],
  ["welch_t", "Welch's t", "ratio", (of) => of.difference().t],
  ["welch_df", "Welch's degrees of freedom", "ratio", (of) => of.difference().nu],
  ["welch_p", "p of Welch's test (difference of means)", "probability", (of) => studentT(of.difference().nu).twoSided(of.difference().t)],
  ["pooled_t", "pooled t", "ratio", (of) => of.pooled().t],
  ["pooled_p", "p of the pooled t test", "probability", (of) => { const { nu, t } = of.pooled(); return studentT(nu).twoSided(t); }],
  ["variance_ratio", "ratio of variances, second to first", "ratio", (of) => ratioOf(of.second, of.first)],
  ["variance_ratio_low", "", "ratio", (of) => of.varianceBounds(CONFIDENCE)[0]],
  ["variance_ratio_high", "", "ratio", (of) => of.varianceBounds(CONFIDENCE)[1]],
  ["brown_forsythe_w", "Brown-Forsythe's W", "ratio", (of) => of.spread().f],
  ["brown_forsythe_p", "p of Brown-Forsythe's test (standard deviations)", "probability", (of) => of.spread().p],
  ["margin", "margin of equivalence", "reading", (of) => of.margin ?? fail("does not apply: no margin was given")],
  ["equivalence_p", "p of the equivalence test (two one-sided)", "probability", (of) => of.equivalenceP()],
  ["equivalence_low", "equivalence interval (90 % for two groups), lower end", "reading", (of) => of.equivalenceBounds()[0]],
  ["equivalence_high", "equivalence interval (90 % for two groups), upper end", "reading", (of) => of.equivalenceBounds()[1]],
  ["sd_ratio", "ratio of standard deviations, second to first", "ratio", (of) => of.ratio()],
  ["sd_ratio_low", "", "ratio", (of) => of.ratioBounds()[0]],
  ["sd_ratio_high", "", "ratio", (of) => of.ratioBounds()[1]],
  ["outside_first", "outside the limits, first", "count", (of) => of.outside(of.first)[0]],
  ["outside_first_percent_most", "share outside, first, upper confidence bound", "percent", (of) => of.outside(of.first)[1]],
  ["outside_second", "outside the limits, second", "count", (of) => of.outside(of.second)[0]],
  ["outside_second_percent_most", "share outside, second, upper confidence bound", "percent", (of) => of.outside(of.second)[1]],
];
const ANOVA = [
  ["anova_f", "F of the analysis of variance", "ratio", (of) => of.f],
  ["anova_f_lowest", "F less what rounding may make of it", "ratio", (of) => of.lowest],
  ["anova_df_between", "degrees of freedom between groups", "count", (of) => of.betweenNu],
  ["anova_df_within", "degrees of freedom within groups", "count", (of) => of.withinNu],
  ["anova_p", "p of the analysis of variance", "probability", (of) => of.p],
  ["r_squared", "R², share of the variation between groups", "ratio", (of) => of.between / (of.between + of.within)],
  ["residual_sd", "standard deviation within groups", "reading", (of) => Math.sqrt(of.within / of.withinNu)],
];

// `1.62 ±0.05 mm`: limits as people write them.
function limitsWords(axis) {
  const [nominal, lower, upper] = ["nominal", "lower", "upper"].map((end) => base(axis, end));
  const digits = (value) => inUnit(value, axis.unit, { mm: 2, cm: 3, in: 3 }[axis.unit] ?? 0) ?? String(value);
  if (lower === undefined && upper === undefined) return "no limit";
  if (upper === undefined) return `>= ${digits(lower)} ${axis.unit}`;
  if (lower === undefined) return `<= ${digits(upper)} ${axis.unit}`;
  if (nominal === undefined) return `${digits(lower)}..${digits(upper)} ${axis.unit}`;
  const [over, under] = [upper - nominal, nominal - lower];
  return over === under ? `${digits(nominal)} ±${digits(over)} ${axis.unit}` : `${digits(nominal)} +${digits(over)}/-${digits(under)} ${axis.unit}`;
}

// What the cover says of groups side by side.
function expectComparison(series, data, { put, tables, pictures }) {
  const only = data.query?.find(([option]) => option === "--axis")?.[1];
  const names = [...new Set(series.flatMap(({ spec }) => spec.axes.map(({ axis }) => axis)))].filter((name) => only === undefined || only === name);
  let isFirst = true;
  for (const name of names) {
    const found = attempt(() => groupsOf(series, name, data.compare, data.offsets));
    if (found.reason !== undefined || found.value.groups.length < 2) continue;
    if (isFirst) put("the heading", safe(`Compared by ${data.compare.by}: ${found.value.groups.map(([group]) => group).join(", ")}`));
    isFirst = false;
    expectGroups(axisWords(name), found.value, data, { put, tables, pictures });
  }
}

function expectGroups(words, { groups, axis, isOfOneNominal, isMixed }, data, { put, tables, pictures }) {
  const limits = { lower: axis && base(axis, "lower"), upper: axis && base(axis, "upper"), isMixed: axis ? LENGTHS.includes(axis.unit) !== LENGTHS.includes(groups[0][1].unit) : false };
  const about = `${words} side by side`;
  const heads = ["Group", "Readings", "Mean", "Standard deviation", "Minimum", "Maximum", "Ppk", "Lower confidence bound (95 %)"];
  tables.push(tableOf(undefined, `Groups of ${words}${axis ? `; limits ${limitsWords(axis)}` : ""}`, heads, groups.map(([name]) => `${about}, ${safe(name)}`)));
  for (const [name, all] of groups) {
    const of = capabilityOf(all, limits);
    const row = `${about}, ${safe(name)}`;
    put(`${row}, group`, safe(name));
    put(`${row}, readings`, String(all.n));
    const figures = { "mean": ["reading", () => meanOf(all)], "standard deviation": ["reading", () => sdOf(all)], "minimum": ["reading", () => all.inUnit(all.sorted[0])], "maximum": ["reading", () => all.inUnit(all.sorted.at(-1))], "ppk": ["ratio", () => of.centered(of.overall())], "lower confidence bound (95 %)": ["ratio", () => of.lowest()] };
    for (const [head, [kind, value]] of Object.entries(figures)) {
      const { reason, value: own } = attempt(value);
      put(`${row}, ${head}`, (got) => (reason === undefined ? settled(figureText(all, kind, own), got) : `– ${reason}`));
    }
  }
  const remarks = [
    ...(isMixed ? ["These readings are of different terminals or wires: a difference may be theirs."] : []),
    ...(isOfOneNominal ? [] : ["They are of different nominals, so their means are not compared; tallyjaw study compare --deviation compares deviations from nominal."]),
    ...(axis ? [] : ["They were judged by different limits, so limits are left out here."]),
  ];
  for (const remark of remarks) put(`${about}, remarks`, remark);
  if (!isOfOneNominal) return;
  const margin = marginOf(data.compare.margin, groups[0][1]);
  const comparisons = groups.slice(1).map((other) => comparisonOf(...[groups[0], other].map(([name, all]) => [safe(name), all]), { margin, limits, among: groups.length - 1 }));
  for (const of of comparisons) put(`the sentence on ${words}`, (got) => settled(`${capital(words)} ${capital(comparisonSentence(of))}.`, got));
  const many = groups.filter(([, all]) => all.n >= 5);
  const shapes = histogramShapes(many.map(([, all]) => all), limits);
  many.forEach(([name, all], nth) => pictures.push({ title: safe(`${name}: histogram of ${words}`), box: " 0 0 720 206", shapes: [`title: ${safe(name)}: histogram of ${words}`, ...shapes[nth]], caption: `${safe(name)}, ${all.n} reading${all.n === 1 ? "" : "s"}` }));
  if (!data.full) return;
  const [, first] = groups[0];
  if (comparisons.length === 1) {
    const [one, other] = comparisons[0].names;
    tables.push(expectTable(put, undefined, `${other} (second) against ${one} (first)`, about, figureLines(COMPARED, comparisons[0], first)));
    return;
  }
  const anova = attempt(() => {
    ofIndependent(groups.map(([, all]) => all));
    return lessRounding(anovaOf(groups.map(([, all]) => all)), groups.map(([, all]) => all));
  });
  if (anova.reason === undefined) tables.push(expectTable(put, undefined, "All groups at once, by analysis of variance", about, figureLines(ANOVA, anova.value, first)));
}

// A margin as it was given, `0.02 mm`, in the unit of the readings.
function marginOf(text, all) {
  if (text === undefined) return undefined;
  const [digits, unit] = text.split(" ");
  if (LENGTHS.includes(unit) !== LENGTHS.includes(all.unit)) fail("lengths and forces are mixed");
  return all.inUnit(Number(inBase(digits, unit)));
}
