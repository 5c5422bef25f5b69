// What must stand on the page: a name, and what may stand there (`text`, or how a mark is drawn; `like` is a class).

const seen = ({ name, text, class: like = "", ...mark }) => {
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
function expectSeries(series, { put, tables, zeros, pictures }, { offsets, isFull, isAlone, isRun }) {
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
    put(`${about}, limits of ${words}, test uncertainty ratio`, safe(ratiosOf(axis)));
    if (hasBudget(spec)) put(`${about}, limits of ${words}, uncertainty budget`, safe(budgetsOf(axis)));
    if (new Set(spec.axes.map((one) => sourceOf(one, spec))).size > 1) put(`${about}, limits of ${words}, from`, safe(sourceOf(axis, spec)));
    if (spec.axes.some((one) => guardOf(one) > 0)) put(`${about}, limits of ${words}, unsure within`, `±${quantity(twoDigitsUp(guardOf(axis)), axis.unit, 2)} of a limit`);
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
      const lane = { title: `${capital(words)} and its limits`, box: "lane 0 0 360 83", shapes: laneShapes(rows, axis, words) };
      if (lane.shapes) pictures.push({ ...lane, sheet: String(id) }, ...(isAlone ? [] : [{ ...lane, figure: `the cover, series ${id}, ${words}`, rare: true }]));
    }
    if (isFull && !isOfBlocks && on(axis).length > 0) pictures.push({ sheet: String(id), title: `${capital(words)} against its limits`, box: " 0 0 720 240", shapes: readingShapes(on(axis), axis, series, words), caption: legendOf(on(axis), axis) });
    if (isFull && !isOfBlocks && rows.length > 0) expectFigures(series, axis, rows, { put, tables, pictures });
  }
  if (!isOfBlocks) expectCapability(series, (axis) => on(axis).filter((one) => one.counts), put);

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

  (spec.looks ?? []).forEach((look, nth) => {
    const row = `${about}, visual check ${nth + 1}`;
    put(`${row}, check`, String(nth + 1));
    put(`${row}, question`, safe(look.question));
    for (const want of ["good", "bad"]) {
      const pieces = countedLooks(series).filter((one) => one.look === nth + 1 && one.answer === want).map(({ piece }) => piece ?? 0).sort((one, other) => one - other);
      put(`${row}, ${want}`, pieces.map((piece) => piece || "the series").join(", ") || "none");
    }
  });

  expectPulls(series, readings.filter((one) => one.counts), put);

  const lines = new Map();
  const all = [...series.opening, ...series.zeros];
  for (const zero of all) {
    if (zero.isBefore) continue;
    const shown = `${zero.shown} ${zero.unit}`;
    const time = timeOfDay(zero.at, series, offsets);
    const result = isGood(zero) ? "good" : base(zero, "opening") === undefined ? "OFF" : `OFF: set with the jaws open by ${quantity(base(zero, "opening"), "mm", 2)}`;
    // Of more than a line has room for, the first and the last stand there; none of an instrument that is not the series'.
    const rare = all.filter((other) => other.instrument === zero.instrument).length > 6 || !spec.instruments.some(({ name }) => name === zero.instrument);
    lines.set(zero.seq, `${ROLES[zero.role]} ${time}, ${shown}, ${result}`);
    put(`${about}, zero ${zero.seq}`, lines.get(zero.seq), { like: isGood(zero) ? undefined : "fail", rare });
    put(`${about}, zero ${zero.seq}, shown`, shown, { rare });
    if (!isFull) continue;
    const row = `${about}, zero ${zero.seq} in the appendix`;
    put(`${row}, entry`, String(zero.seq));
    put(`${row}, time`, time);
    put(`${row}, instrument`, safe(zero.instrument));
    put(`${row}, zero`, ROLES[zero.role]);
    put(`${row}, shown`, shown);
    put(`${row}, result`, result, { like: isGood(zero) ? "pass" : "fail" });
  }
  zeros.push(...zerosOf(series, all, lines));
  tables.push(...tablesOf(series, readings, all, isFull));
}

// How the pulls failed: by kind, with the share of each.
function expectPulls(series, forces, put) {
  const about = `series ${series.id}`;
  const answered = forces.filter((one) => series.pulled.has(one.seq));
  if (answered.length === 0) return;
  const lowestOf = (all) => all.reduce((lowest, one) => (base(one, "value") < base(lowest, "value") ? one : lowest));
  const n = answered.length;
  for (const [mode, words] of Object.entries(PULLED)) {
    const own = answered.filter((one) => series.pulled.get(one.seq) === mode);
    if (own.length === 0) continue;
    const row = `${about}, pulls, ${words}`;
    const share = (value) => `${fixed(100 * value, 1)} %`;
    put(`${row}, failure`, words);
    put(`${row}, pieces`, own.map(({ piece }) => piece).join(", "));
    put(`${row}, minimum`, valueOf(lowestOf(own)));
    put(`${row}, share`, (got) => settled(share(own.length / n), got));
    put(`${row}, 95 % interval`, (got) => settled(`${share(1 - upperBound(n - own.length, n, 0.975))} to ${share(upperBound(own.length, n, 0.975))}`, got));
  }
  const mode = series.pulled.get(lowestOf(forces).seq);
  const inWire = answered.filter((one) => series.pulled.get(one.seq) === "broke_in_wire").length;
  const unanswered = forces.length - n;
  const often = inWire === n && unanswered === 0 ? "in every pull" : `in ${inWire} of ${n} pulls`;
  const said = [
    mode ? `Mode of the lowest force: ${PULLED[mode]}` : "The mode of the lowest force was not given",
    ...(inWire ? [`${often} the wire broke away from the crimp, so these crimps held more than was measured`] : []),
    ...(unanswered ? [`the mode of ${unanswered === 1 ? "1 more pull" : `${unanswered} more pulls`} was not given`] : []),
  ];
  put(`${about}, how the pulls failed`, `${said.join("; ")}. Intervals of shares: 95 % confidence, by Clopper and Pearson; they hold for pieces that are taken at random from one process.`);
}

const isGood = (zero) => zero.ok && base(zero, "opening") === undefined;

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

// The readings of an axis stacked over their values, between the limits; nothing without a limit, or a reading beside only one.
function laneShapes(rows, axis, words) {
  const [lower, upper] = [base(axis, "lower"), base(axis, "upper")];
  const values = rows.map((one) => base(one, "value"));
  const only = lower ?? upper;
  if (only === undefined || (values.length === 0 && (lower === undefined || upper === undefined))) return undefined;
  const isBoth = lower !== undefined && upper !== undefined;
  const [lowest, most] = isBoth ? [lower, upper] : [Math.min(only, ...values), Math.max(only, ...values)];
  const air = Math.max(1, Math.floor((most - lowest) / (isBoth ? 3 : 5)));
  const [from, to] = [lowest - air, most + air];
  const at = ruler(from, to, 120, 3480);
  const width = guardOf(axis);
  const shapes = [`title: ${capital(words)} and its limits: ${rows.length} reading${rows.length === 1 ? "" : "s"}; limits ${limitsWords(axis)}`];
  if (width > 0) for (const limit of [lower, upper].filter((end) => end !== undefined)) {
    const [left, right] = [at(Math.max(from, limit - width)), at(Math.min(to, limit + width))];
    shapes.push(`bar zone at ${px(left)} 3, ${px(Math.max(1, right - left))} × 53`);
  }
  shapes.push(pathOf("axis", "M12 56H348"));
  for (const [, like, limit, text] of endsOf(axis)) shapes.push(pathOf(like, `M${px(at(limit))} 3V61`), wordAt(at(limit), 780, text, "mid"));
  const stacks = new Map();
  for (const one of rows) {
    const x = at(Math.min(to, Math.max(from, base(one, "value"))));
    stacks.set(x, [...(stacks.get(x) ?? []), one]);
  }
  const highest = Math.max(1, ...[...stacks.values()].map((stack) => stack.length));
  const half = Math.min(58, Math.floor(Math.floor(470 / highest) / 2));
  for (const [x, stack] of [...stacks].sort(([one], [other]) => one - other)) {
    const height = Math.floor((stack.length * 412) / highest);
    if (highest <= 12) shapes.push(...stack.map((one, nth) => markOf(one.verdict, x, 560 - half - 2 * half * nth, Math.floor((half * 3) / 4))));
    else shapes.push(`bar bar at ${px(x - 29)} ${px(560 - height)}, 5.8 × ${px(Math.max(1, height))}`, markOf(stack[0].verdict, x, 560 - height - 29, 29));
  }
  return shapes;
}

const sourceOf = (axis, spec) => axis.limits_from ?? spec.source ?? (spec.blocks ? "maximum permissible error of the instrument" : "the sheet of this shop");

function ratiosOf({ guards }) {
  const said = guards.map(({ instrument, test_uncertainty_ratio: ratio }) => {
    const text = ratio === undefined ? "not known" : `${ratio.toFixed(2)}${ratio < 4 ? ", under the usual 4" : ""}`;
    return guards.length === 1 ? text : `${text} by ${instrument}`;
  });
  return said.join("; ") || "–";
}

const hasBudget = (spec) => spec.axes.some(({ guards }) => guards.some(({ budget }) => budget !== undefined));

// The budgets that guard bands and ratios are from.
function budgetsOf({ guards }) {
  const named = guards.filter(({ budget }) => budget !== undefined);
  return named.map(({ instrument, budget }) => (guards.length === 1 ? budget : `${budget} of ${instrument}`)).join("; ") || "–";
}

// A guard band is never shown smaller than it is.
function twoDigitsUp(width) {
  const step = 10 ** Math.max(0, String(width).length - 2);
  return Math.ceil(width / step) * step;
}

const guardOf = (axis) => Math.max(0, ...axis.guards.map((guard) => base(guard, "width")));

// The limits that there are: name, how it is drawn, value, text.
function endsOf(axis, order = ["lower", "nominal", "upper"]) {
  const known = order.filter((end) => base(axis, end) !== undefined);
  return known.map((end) => [end === "nominal" ? end : `${end} limit`, end === "nominal" ? "centre" : "limit", base(axis, end), quantity(base(axis, end), axis.unit, 2)]);
}

// The readings of an axis in the order of the pieces, with those that do not count.
function readingShapes(rows, axis, { spec }, words) {
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
  const pieces = Math.max(spec.pieces, ...rows.map((one) => one.piece));
  const [up, across] = [ruler(from, to, 2160, 280), ruler(0, 2 * pieces, LEFT, RIGHT)];
  const counting = rows.filter(({ counts }) => counts);
  const inOrder = [...counting].sort((one, other) => base(one, "value") - base(other, "value"));
  const number = (...of) => counting.filter(({ verdict }) => of.includes(verdict)).length;
  const spread = counting.length ? ` between ${valueOf(inOrder[0])} and ${valueOf(inOrder.findLast((one) => base(one, "value") === base(inOrder.at(-1), "value")))}` : "";
  const shapes = [
    `title: ${capital(words)} against its limits`,
    `desc: ${counting.length} reading${counting.length === 1 ? "" : "s"} that count${spread}, over ${spec.pieces} pieces; limits ${limitsWords(axis)}; ${number("pass")} pass, ${number("fail_low", "fail_high")} fail, ${number("unsure_low", "unsure_high")} unsure; ${rows.length - counting.length} that do not count`,
  ];
  const width = guardOf(axis);
  if (width > 0) for (const limit of [lower, upper].filter((end) => end !== undefined)) {
    const [top, foot] = [up(Math.min(to, limit + width)), up(Math.max(from, limit - width))];
    shapes.push(`bar zone at ${px(LEFT)} ${px(top)}, ${px(RIGHT - LEFT)} × ${px(Math.max(1, foot - top))}`);
  }
  const unit = counting[0]?.unit ?? axis.unit;
  const [over, under] = PER_ONE[unit].map(Number);
  const inOne = (value) => value * under / over;
  const grid = Math.max(1, ...axis.guards.flatMap(({ instrument }) => spec.instruments.filter(({ name }) => name === instrument).map((one) => base(one, "resolution"))));
  const ticks = ticksOf(from, to, grid, leadOf(inOne(grid)), 9).places.map((value) => [value, plain(inOne(value), decimalsFor(inOne(grid)))]);
  shapes.push(wordAt(140, 170, `value in ${unit}`), ...valueAxis(up, [2160, 280], ticks));
  const limits = endsOf(axis, ["upper", "nominal", "lower"]);
  for (const [, like, limit] of limits) shapes.push(pathOf(like, `M${px(LEFT)} ${px(up(limit))}H${px(RIGHT)}`));
  shapes.push(...besideOf(limits.map(([name, , limit, text]) => [up(limit), [`${name} ${text}`]]), 2230));
  for (const one of rows) {
    const value = base(one, "value");
    const drawn = Math.min(to, Math.max(from, value));
    const [x, y] = [across(2 * one.piece - 1), up(drawn)];
    if (drawn !== value) shapes.push(wordAt(x, drawn === from ? y - 60 : y + 130, valueOf(one), "mid"));
    shapes.push(markOf(one.counts ? one.verdict : undefined, x, y, rows.length > 150 ? 22 : 42));
  }
  shapes.push(wordAt(RIGHT + 80, 2330, "piece"));
  const step = Math.max(1, Math.floor((pieces + 9) / 10));
  for (let piece = 1; piece <= pieces; piece = piece === 1 && step > 1 ? step : piece + step) shapes.push(wordAt(across(2 * piece - 1), 2330, String(piece), "mid"));
  return shapes;
}

// The shapes that stand in the picture, in words.
function legendOf(rows, axis) {
  const known = ["pass", "fail_low", "fail_high", "unsure_low", "unsure_high", "measured"].filter((verdict) => rows.some((one) => one.counts && one.verdict === verdict));
  const words = known.map((verdict) => `${SHAPES[verdict]} ${verdictWords({ axis: axis.axis, unit: axis.unit, verdict })}`);
  return [...words, ...(rows.some((one) => !one.counts) ? ["× does not count"] : []), ...(guardOf(axis) > 0 ? ["grey: unsure within"] : [])].join("   ");
}
