// Histograms and control charts: the shapes that the readings give, as text of a picture's marks, in the order in which they are
// drawn. All lengths are whole tenths of a pixel, as in the program.

const [LEFT, RIGHT] = [660, 5780];
const inMillionths = (value) => Math.sign(value) * Math.round(Math.abs(value) * 1e6);
const midpoint = (one, other) => Math.floor((one + other) / 2);

// The control chart of single readings and of moving ranges: points, levels, and where its rules signal.
function chartOf(all, step) {
  const draw = (bases) => {
    const sigma = all.inUnit(movingRange(bases)) / d2OfTwo();
    const center = all.inUnit(Number(bases.reduce((sum, value) => sum + BigInt(value), 0n)) / bases.length);
    const [range, relative] = [sigma * d2OfTwo(), d3OfTwo() / d2OfTwo()];
    const ranges = bases.slice(1).map((value, nth) => all.inUnit(Math.abs(value - bases[nth])));
    return { sigma, center, panels: [
      { words: "single readings", first: 1, isIndependent: true, values: bases.map(all.inUnit), lower: center - 3 * sigma, center, upper: center + 3 * sigma },
      { words: "moving ranges", first: 2, isIndependent: false, values: ranges, lower: Math.max(0, 1 - 3 * relative) * range, center: range, upper: (1 + 3 * relative) * range },
    ] };
  };
  const chart = draw(all.bases);
  const made = steadyCharts(all, chart, step, draw);
  const allowed = Math.max(0, Math.round(0.045 * made.length / 3 - 0.5));
  chart.panels.forEach((panel, at) => {
    const far = made.map((one) => Math.max(...one[at].map(Math.abs))).sort((one, other) => other - one)[allowed];
    const run = made.map((one) => longestRun(one[at])).sort((one, other) => other - one)[allowed];
    Object.assign(panel, { far: Math.max(3, far ?? 3), run: Math.max(9, (run ?? 8) + 1) });
    panel.signals = signalsOfPanel(panel, distancesOf(panel));
  });
  chart.alarms = made.filter((one) => chart.panels.some((panel, at) => signalsOfPanel(panel, one[at]).length > 0)).length / made.length;
  return chart;
}

// The distances of each panel in charts of a stable process like this one, with its resolution.
function steadyCharts(all, { sigma, center }, step, draw) {
  const one = all.inUnit(1);
  const rounded = sigma / one;
  const without = rounded * rounded - step * step / 12;
  const own = without > 0 ? Math.sqrt(without) : rounded;
  const points = Math.min(all.n, 2000);
  const random = randomOf(0x7a11c4a7n);
  const charts = [];
  for (let made = 0; made < Math.min(1000, Math.max(200, Math.floor(400000 / points))); made += 1) {
    const bases = Array.from({ length: points }, () => {
      const steps = (center / one + own * random.normal() - all.bases[0]) / step;
      const value = all.bases[0] + Math.sign(steps) * Math.round(Math.abs(steps)) * step;
      return Math.sign(value) * Math.round(Math.abs(value));
    });
    const drawn = attempt(() => draw(bases));
    if (drawn.reason === undefined) charts.push(drawn.value.panels.map(distancesOf));
  }
  return charts;
}

// How many thirds of the way to its limit each point lies from the centre line.
function distancesOf({ values, lower, center, upper }) {
  return values.map((value) => {
    const off = value - center;
    const width = off < 0 ? center - lower : upper - center;
    if (width <= 0) return 0;
    const thirds = 3 * off / width;
    return value > upper || value < lower ? Math.sign(thirds) * Math.max(Math.abs(thirds), 3 * (1 + Number.EPSILON)) : Math.min(3, Math.max(-3, thirds));
  });
}

function longestRun(distances) {
  let [longest, length, side] = [0, 0, 0];
  for (const z of distances) {
    const own = Math.sign(z);
    length = own * side > 0 ? length + 1 : Math.abs(own);
    side = own;
    longest = Math.max(longest, length);
  }
  return longest;
}

// Where the usual rules signal: a point far beyond a limit, or a long run on one side.
function signalsOfPanel({ first, isIndependent, far, run }, distances) {
  const found = distances.flatMap((z, at) => (Math.abs(z) > far ? [{ at: first + at, isFar: true }] : []));
  let [length, side] = [0, 0];
  if (isIndependent) distances.forEach((z, at) => {
    length = Math.sign(z) * side > 0 ? length + 1 : Math.abs(Math.sign(z));
    side = Math.sign(z);
    if (length >= run) found.push({ at: first + at, isFar: false });
  });
  return found.sort((one, other) => one.at - other.at);
}

// The number of signals among readings: what a claim needs.
function signalsOf(all) {
  atLeast(all.n, 20);
  return chartOf(all, all.step > 0 ? all.step : 1).panels.reduce((sum, { signals }) => sum + signals.length, 0);
}

// Shapes as text, as `shapesIn` reads them out of a page.

const wordAt = (x, y, text, like = "") => `text ${like} at ${px(x)} ${px(y)}: ${text}`;
const pathOf = (like, d) => `path ${like} ${d}`;
const lineThrough = (like, places) => pathOf(like, places.map(([x, y], nth) => `${nth ? "L" : "M"}${px(x)} ${px(y)}`).join(""));

// The steps of an axis: the smallest of 1, 2, 5 times a power of ten grids of which at most that number lies in it.
function ticksOf(from, to, grid, lead, most) {
  const times = { 2: [1, 5, 25], 5: [1, 2, 4] }[lead] ?? [1, 2, 5];
  let step = 0;
  const fits = () => Math.floor(to / step) - Math.floor((from - 1) / step) <= most;
  for (let decade = grid; !step || !fits(); decade *= 10) for (const one of times) { step = decade * one; if (fits()) break; }
  const first = (Math.floor((from - 1) / step) + 1) * step;
  return { step, places: Array.from({ length: Math.max(0, Math.floor((to - first) / step) + 1) }, (_, nth) => first + nth * step) };
}

const leadOf = (value) => Number(Math.abs(value).toExponential()[0]) || 1;

function valueAxis(scale, [foot, top], ticks) {
  return [pathOf("axis", `M${px(LEFT)} ${px(top)}V${px(foot)}`), ...ticks.flatMap(([value, text]) => [pathOf("axis", `M${px(LEFT - 50)} ${px(scale(value))}H${px(LEFT)}`), wordAt(LEFT - 80, scale(value) + 45, text, "end")])];
}

// Names beside the field at their heights, moved apart where they would hide each other.
function besideOf(names, foot) {
  const high = (lines) => 140 * lines.length;
  const sorted = [...names].sort(([one], [other]) => one - other).map(([y, lines]) => ({ y, lines }));
  let free = -Infinity;
  for (const one of sorted) { one.y = Math.max(free, one.y - Math.trunc(high(one.lines) / 2)); free = one.y + high(one.lines); }
  free = foot;
  for (const one of [...sorted].reverse()) { one.y = Math.min(free, one.y + high(one.lines)) - high(one.lines); free = one.y; }
  return sorted.flatMap(({ y, lines }) => lines.map((line, nth) => wordAt(RIGHT + 80, y + 140 * nth + 115, line)));
}

// Everything that is drawn in a control chart, but for its title.
function chartShapes(chart, all, places) {
  let top = 300;
  const said = chart.panels.map((panel) => {
    const signals = shownOf(panel).map(({ at, isFar }) => `point ${at}: ${isFar ? "a point beyond the control limits, which are wider for a longer chart" : "more points in a row on one side of the centre line than a stable process gives in a chart of this length"}`);
    if (panel.signals.length > SHOWN) signals.push(`${panel.signals.length - SHOWN} more signals`);
    const reduced = reducedWords(panel) ? ` (${reducedWords(panel)})` : "";
    return `${panel.words}, ${panel.values.length} points${reduced}: ${signals.join("; ") || "no signal"}`;
  });
  return [`desc: ${said.join(". ")}`, ...chart.panels.flatMap((panel) => {
    const shapes = [...panelShapes(panel, all, top, places), wordAt(midpoint(LEFT, RIGHT), top + 1300 + 320, "number of the reading", "mid")];
    if (reducedWords(panel)) shapes.push(wordAt(midpoint(LEFT, RIGHT), top + 1300 + 320 + 140, reducedWords(panel), "mid"));
    top += 2100;
    return shapes;
  })];
}

const eachOf = ({ values }) => (values.length <= 1024 ? 1 : Math.ceil(values.length / 512));
// Of more signals of a panel than this, the first are shown, and the others are counted.
const SHOWN = 1000;
const shownOf = ({ signals }) => signals.slice(0, SHOWN);

function reducedWords(panel) {
  const isCut = panel.signals.length > SHOWN;
  const marked = isCut ? `the first ${SHOWN} of ${panel.signals.length} signals are marked singly` : "signals are marked singly";
  if (eachOf(panel) > 1) return `each mark stands for ${eachOf(panel)} consecutive points: lowest, mean, highest; ${marked}`;
  return isCut ? marked : undefined;
}

function panelShapes(panel, { unit }, top, places) {
  const { values, first } = panel;
  const signals = shownOf(panel);
  const ends = [...values, panel.lower, panel.center, panel.upper].map(inMillionths);
  const [from, to] = [Math.min(...ends), Math.max(...ends)];
  const place = ruler(from, to, top + 1300, top);
  const scale = (value) => place(inMillionths(value));
  const column = ruler(0, 2 * values.length, LEFT, RIGHT);
  const nth = (at) => column(2 * at + 1);
  const each = eachOf(panel);
  const marks = Array.from({ length: Math.ceil(values.length / each) }, (_, group) => {
    const own = values.slice(group * each, (group + 1) * each);
    return { at: group * each, count: own.length, low: Math.min(...own), mean: own.length === 1 ? own[0] : own.reduce((sum, value) => sum + value, 0) / own.length, high: Math.max(...own) };
  });
  const middle = ({ at, count }) => midpoint(nth(at), nth(at + count - 1));
  const shapes = [wordAt(140, top - 110, `${panel.words} in ${unit}`)];
  for (const mark of marks.filter(({ count }) => count > 1)) shapes.push(lineThrough("run spread", [mark.low, mark.high].map((end) => [middle(mark), scale(end)])));
  const names = [];
  for (const [name, like, value] of [["upper control limit", "limit", panel.upper], ["centre line", "centre", panel.center], ["lower control limit", "limit", panel.lower]]) {
    shapes.push(pathOf(like, `M${px(LEFT)} ${px(scale(value))}H${px(RIGHT)}`));
    names.push([scale(value), [name, `${fixed(value, places)} ${unit}`]]);
  }
  for (const [name, value] of [["min", Math.min(...values)], ["max", Math.max(...values)]]) names.push([scale(value), [`${name} ${fixed(value, places)} ${unit}`]]);
  shapes.push(...besideOf(names, top + 1300 + 70));
  const ticks = ticksOf(from, to, 1, 1, 7);
  let decimals = 6;
  for (let step = ticks.step; decimals > 0 && step % 10 === 0; step /= 10) decimals -= 1;
  shapes.push(...valueAxis(place, [top + 1300, top], ticks.places.map((value) => [value, plain(value / 1e6, decimals)])));
  const size = values.length > 150 ? 16 : 30;
  shapes.push(lineThrough("run", marks.map((mark) => [middle(mark), scale(mark.mean)])));
  const signalled = new Set(signals.map(({ at }) => at));
  const square = (number) => `bar signal at ${px(nth(number - first) - size - 20)} ${px(scale(values[number - first]) - size - 20)}, ${px(2 * size + 40)} × ${px(2 * size + 40)}`;
  const numbers = stepOfNumbers(values.length);
  for (const mark of marks) {
    const number = first + mark.at;
    const dot = (r) => `● point at ${px(middle(mark))} ${px(scale(mark.mean))}, ${px(r)}`;
    if (mark.count > 1) shapes.push(dot(size / 2));
    else shapes.push(signalled.has(number) ? square(number) : dot(size));
    const shown = Math.ceil(number / numbers) * numbers;
    if (shown < number + mark.count) shapes.push(wordAt(nth(shown - first), top + 1300 + 170, String(shown), "mid"));
  }
  if (each > 1) shapes.push(...[...signalled].sort((one, other) => one - other).map(square));
  const why = signals.map(({ at, isFar }) => {
    const value = values[at - first];
    const y = scale(value) + (isFar ? 0 : value > panel.center ? -140 : 140);
    return [nth(at - first), y, isFar ? `far beyond ${value > panel.center ? "upper control limit" : "lower control limit"}` : "long run on one side"];
  });
  return [...shapes, ...reasonsOf(why, size, top + 1300)];
}

function stepOfNumbers(points) {
  for (let decade = 1; ; decade *= 10) for (const times of [1, 2, 5]) if (Math.floor(points / (decade * times)) <= 10) return decade * times;
}

// Why points are marked; a text that would hide another is moved down, or left out where the same is said there.
function reasonsOf(marks, size, foot) {
  const [placed, shapes] = [[], []];
  for (const [x, y, text] of marks) {
    const wide = 74 * [...text].length;
    const isLeft = x > midpoint(LEFT, RIGHT);
    const anchor = isLeft ? x - size - 60 : x + size + 60;
    const [from, to] = isLeft ? [anchor - wide, anchor] : [anchor, anchor + wide];
    let baseline = y + 45;
    const hides = () => placed.find((one) => Math.abs(baseline - one.baseline) < 140 && from < one.to && one.from < to);
    let other = hides();
    while (other && other.text !== text && other.baseline + 140 <= foot) { baseline = other.baseline + 140; other = hides(); }
    if (other) continue;
    shapes.push(wordAt(anchor, baseline, text, isLeft ? "why end" : "why"));
    placed.push({ baseline, from, to, text });
  }
  return shapes;
}

// The bars of groups of readings on the same edges.
function barsOf(groups, { lower, upper }) {
  const [lowest, highest] = [Math.min(...groups.map(({ sorted }) => sorted[0])), Math.max(...groups.map(({ sorted }) => sorted.at(-1)))];
  const most = Math.min(25, Math.max(8, 2 * Math.floor(Math.sqrt(Math.max(...groups.map(({ n }) => n))))));
  const steps = groups.map(({ step }) => step).filter((step) => step > 0);
  const step = steps.length ? Math.min(...steps) : Math.max(1, Math.floor((highest - lowest) / most));
  const width = step * Math.floor((Math.floor((highest - lowest) / step) + 1 + most - 1) / most);
  const remainder = (value) => ((value % step) + step) % step;
  const onGrid = (value) => { const off = remainder(value - lowest); return off === 0 ? value : value + step - off; };
  let origin = lowest;
  if (lower > lowest && lower <= highest) {
    const off = remainder(lower - lowest);
    const inside = off === 0 ? lower : lower + step - off;
    origin = inside - width * Math.floor((inside - lowest + width - 1) / width);
  }
  const past = upper === undefined ? undefined : upper + 1;
  const cut = past === undefined ? undefined : onGrid(past);
  const edges = [];
  let edge = origin;
  while (edge <= highest) {
    edges.push(edge);
    edge = edge < cut && cut < edge + width ? cut : edge + width;
  }
  edges.push(edge);
  edges.push(...[lower, past].filter((at) => at !== undefined && origin < at && at < edge));
  const sorted = [...new Set(edges)].sort((one, other) => one - other);
  sorted.length = sorted.filter((one) => one <= highest).length + 1;
  const counted = groups.map((all) => sorted.slice(0, -1).flatMap((start, nth) => {
    const next = sorted[nth + 1];
    const count = all.bases.filter((value) => value >= start && value < next).length;
    const [low, high] = [start + remainder(lowest - start), next - 1 - remainder(next - 1 - lowest)];
    if (low > high && count === 0) return [];
    return [{ low: low <= high ? low : start, high: low <= high ? high : next - 1, count, isOutside: start < lower || start > upper }];
  }));
  return { counted, width, step };
}

// Everything that is drawn in each of these histograms, but for their titles.
function histogramShapes(groups, limits) {
  if (groups.length === 0) return [];
  const { counted, width, step } = barsOf(groups, limits);
  const highest = Math.max(1, ...counted.flat().map(({ count }) => count));
  return groups.map((all, nth) => {
    const bins = counted[nth];
    const decimals = decimalsFor(all.inUnit(step));
    const ends = [limits.lower, limits.upper].filter((end) => end !== undefined);
    const from = Math.min(...bins.map(({ low }) => low), ...ends) - width;
    const to = Math.max(...bins.map(({ high }) => high), ...ends) + width;
    const [scale, up] = [ruler(from, to, LEFT, RIGHT), ruler(0, highest, 1860, 490)];
    const text = (value) => limitText(all, value, decimals);
    const said = bins.filter(({ count }) => count > 0).map(({ low, high, count }) => (low === high ? `${text(low)}: ${count}` : `${text(low)} to ${text(high)}: ${count}`));
    const shapes = [`desc: Number of readings at each value. ${said.join("; ")}`];
    bins.filter(({ count }) => count > 0).forEach(({ low, high, count, isOutside }) => {
      const wide = Math.max(10, scale(high + step) - scale(low));
      const [x, y] = [scale(low + Math.trunc((high - low) / 2)), up(count)];
      shapes.push(`bar bar${isOutside ? " beyond" : ""} at ${px(x - Math.trunc(wide * 45 / 100))} ${px(y)}, ${px(Math.trunc(wide * 9 / 10))} × ${px(1860 - y)}`, wordAt(x, y - 40, String(count), "mid"));
    });
    for (const [name, limit] of [["lower", limits.lower], ["upper", limits.upper]]) if (limit !== undefined) shapes.push(pathOf("limit", `M${px(scale(limit))} 33V186`), wordAt(scale(limit), 290, `${name} limit ${text(limit)}`, "mid"));
    shapes.push(pathOf("axis", `M${px(LEFT)} 186H${px(RIGHT)}`));
    for (const tick of ticksOf(from, to, step, leadOf(all.inUnit(step)), 9).places) shapes.push(pathOf("axis", `M${px(scale(tick))} 186v5`), wordAt(scale(tick), 2030, plain(all.inUnit(tick), decimals), "mid"));
    shapes.push(...valueAxis(up, [1860, 490], ticksOf(0, highest, 1, 1, 6).places.map((count) => [count, String(count)])));
    return [...shapes, wordAt(RIGHT + 80, 2030, `value in ${all.unit}`), wordAt(140, 120, "number of readings")];
  });
}

function limitText(all, limit, decimals) {
  const value = all.inUnit(limit);
  for (let places = decimals; places < 9; places += 1) if (Math.abs(Number(value.toFixed(places)) - value) < 1e-9) return `${plain(value, places)} ${all.unit}`;
  return `${value} ${all.unit}`;
}

// The pictures of the readings of an axis in the appendix: a histogram from 10 readings on, a control chart from 20.
function figurePictures(sheet, words, all, limits) {
  const [title, pictures] = [`Histogram of ${words}`, []];
  if (all.n >= 10) pictures.push({ sheet, title, box: " 0 0 720 206", shapes: [`title: ${title}`, ...histogramShapes([all], limits)[0]], caption: title });
  const chart = all.n >= 20 ? attempt(() => chartOf(all, 1)) : { reason: "" };
  if (chart.reason !== undefined) return pictures;
  const signals = chart.value.panels.flatMap((panel) => panel.signals);
  const said = ["no signal in", "1 signal: find out what changed there"][signals.length] ?? `${signals.length} signals: find out what changed there`;
  const rate = `false-alarm rate: these rules signal in ${all.n > 2000 ? "at least " : ""}${fixed(100 * chart.value.alarms, 1)} % of the charts of a stable process with ${all.n} points`;
  const sentence = `${capital(said)}${signals.length ? "" : ` ${all.n} points`}; ${rate}`;
  const name = `Control chart of ${words}`;
  return [...pictures, { sheet, title: name, box: " 0 0 720 410", shapes: [`title: ${name}`, ...chartShapes(chart.value, all, places(all))], caption: `${name}. ${sentence}. Control limits come from the readings, not from the sheet. ■ marks a signal of a run rule.` }];
}

const aboutOf = ({ about, title }) => about ?? `the picture "${title}"`;
const shapeOf = (shape) => (shape.name === "text" ? `text ${shape.class ?? ""} at ${shape.x} ${shape.y}: ${shape.text}` : ["title", "desc"].includes(shape.name) ? `${shape.name}: ${shape.text}` : seen(shape));

// Compares the pictures of the page with those that the lines give, shape by shape, and what stands under them.
function comparePictures(page, pictures, differs) {
  const nameOf = (picture) => `${picture.figure ?? picture.sheet ?? ""} ${aboutOf(picture)}`;
  const known = new Map(pictures.map((picture) => [nameOf(picture), picture]));
  for (const got of page.pictures) {
    const want = known.get(nameOf(got));
    if (!want) continue;
    if (want.got) differs.push({ about: got.about, reported: "twice", recomputed: "once", place: got.at });
    want.got = got;
    got.isCompared = true;
    const shapes = [`svg ${got.class ?? ""} ${got.viewBox}`, ...got.shapes.map(shapeOf)];
    const wanted = [`svg ${want.box}`, ...want.shapes];
    const at = (nth) => got.shapes[nth - 1]?.at ?? got.at;
    const about = (nth) => `${got.shapes[nth - 1]?.about ?? "a shape"} in ${got.about}`;
    for (let nth = 0; nth < Math.max(shapes.length, wanted.length); nth += 1) {
      const shape = wanted[nth] === undefined ? "nothing" : settled(wanted[nth], shapes[nth] ?? "");
      if (shape !== shapes[nth]) differs.push({ about: about(nth), reported: shapes[nth] ?? "nothing", recomputed: shape, place: at(nth) });
    }
    if (want.caption === undefined) continue;
    const caption = settled(want.caption, got.caption ?? "");
    if (got.caption !== caption) differs.push({ about: `what stands under ${got.about}`, reported: got.caption ?? "nothing", recomputed: caption, place: got.at });
  }
  for (const picture of known.values()) if (!picture.got && !picture.rare) differs.push({ about: aboutOf(picture), reported: "nothing", recomputed: "a picture" });
}
