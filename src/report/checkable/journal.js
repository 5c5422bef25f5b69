// The journal's lines of a checkable report: each digest, and the state that follows from the entries, series by series, from
// nothing but the lines. Verdicts are judged by comparing integers: whole nanometres and millinewtons.
//
// Not recomputed: whether a value is what its bytes say, alerts, reservations.

"use strict";

// SHA-256 (FIPS 180-4) of bytes, as hex. A page that was opened as a file may have no `crypto.subtle`.
const ROOTS = (() => {
  const primes = [];
  for (let n = 2; primes.length < 64; n += 1) if (primes.every((prime) => n % prime)) primes.push(n);
  const part = (root) => Math.floor((root - Math.floor(root)) * 2 ** 32);
  return { start: primes.slice(0, 8).map((prime) => part(Math.sqrt(prime))), each: primes.map((prime) => part(Math.cbrt(prime))) };
})();

function sha256(bytes) {
  const padded = new Uint8Array(Math.ceil((bytes.length + 9) / 64) * 64);
  padded.set(bytes);
  padded[bytes.length] = 0x80;
  const view = new DataView(padded.buffer);
  view.setUint32(padded.length - 8, Math.floor(bytes.length / 2 ** 29));
  view.setUint32(padded.length - 4, bytes.length * 8);
  const state = Uint32Array.from(ROOTS.start);
  const words = new Uint32Array(64);
  const turned = (word, by) => (word >>> by) | (word << (32 - by));
  for (let block = 0; block < padded.length; block += 64) {
    for (let n = 0; n < 16; n += 1) words[n] = view.getUint32(block + 4 * n);
    for (let n = 16; n < 64; n += 1) {
      const [early, late] = [words[n - 15], words[n - 2]];
      words[n] = words[n - 16] + words[n - 7] + (turned(early, 7) ^ turned(early, 18) ^ (early >>> 3)) + (turned(late, 17) ^ turned(late, 19) ^ (late >>> 10));
    }
    let [a, b, c, d, e, f, g, h] = state;
    for (let n = 0; n < 64; n += 1) {
      const one = (h + (turned(e, 6) ^ turned(e, 11) ^ turned(e, 25)) + ((e & f) ^ (~e & g)) + ROOTS.each[n] + words[n]) | 0;
      const two = ((turned(a, 2) ^ turned(a, 13) ^ turned(a, 22)) + ((a & b) ^ (a & c) ^ (b & c))) | 0;
      [h, g, f, e, d, c, b, a] = [g, f, e, (d + one) | 0, c, b, a, (one + two) | 0];
    }
    [a, b, c, d, e, f, g, h].forEach((word, n) => { state[n] += word; });
  }
  return Array.from(state, (word) => word.toString(16).padStart(8, "0")).join("");
}

const bytesOf = (text) => new TextEncoder().encode(text);
const fromBase64 = (text) => Uint8Array.from(atob(text), (char) => char.charCodeAt(0));

const COUNT_OF = { pass: "passed", fail: "failed", unsure: "unsure", measured: "measured" };
const COUNTS = ["passed", "failed", "unsure", "measured", "doubted", "retracted", "not_counted"];

// A quantity in nanometres or millinewtons; `undefined` if it is not there.
function base(fields, name) {
  const value = fields[`${name}_nm`] ?? fields[`${name}_mn`];
  if (value !== undefined && !Number.isSafeInteger(value)) throw new Error(`${name} is no whole number`);
  return value;
}

function judged(value, axis, guard) {
  const limits = [[base(axis, "upper"), 1, "high"], [base(axis, "lower"), -1, "low"]].filter(([limit]) => limit !== undefined);
  if (limits.length === 0) return "measured";
  const [worst, side] = limits.map(([limit, sign, of]) => [sign * (value - limit), of]).reduce((most, one) => (one[0] > most[0] ? one : most));
  if (worst > guard) return `fail_${side}`;
  return guard > 0 && worst > -guard ? `unsure_${side}` : "pass";
}

function newSeries(entry) {
  const series = { id: entry.seq, at: entry.at, spec: entry, readings: new Map(), zeros: [], opening: [], pictures: [], operators: [[entry.seq, entry.operator]] };
  Object.assign(series, { last: new Map(), looks: new Map(), pulled: new Map(), spent: new Set(), retracted: null, completed: null });
  for (const zero of entry.opening_zeros ?? []) series.last.set(zero.instrument, { good: zero.zeroed, off: false, closed: false });
  return series;
}

const counted = (series) => [...series.readings.values()].filter((reading) => reading.became === "counted");

function tallyOf(series) {
  const tally = Object.fromEntries(COUNTS.map((name) => [name, 0]));
  for (const { became, entry } of series.readings.values()) tally[became === "counted" ? COUNT_OF[entry.verdict.split("_")[0]] : became] += 1;
  return tally;
}

const countedLooks = (series) => [...series.looks.values()].filter(({ piece }) => !series.spent.has(piece));

function looksOf(series) {
  const answers = countedLooks(series).map(({ answer }) => answer);
  return series.spec.looks && { good: answers.filter((one) => one === "good").length, bad: answers.filter((one) => one === "bad").length };
}

function outcomeOf(series) {
  const tally = tallyOf(series);
  if (tally.failed || looksOf(series)?.bad) return "rejected";
  return tally.unsure ? "undecided" : tally.measured ? "measured" : "accepted";
}

// The digits of the value as the instrument showed them: in numbers, JavaScript forgets zeros at the end.
const shownIn = (line) => /"value":(-?[\d.]+),"unit":"\w+"/.exec(line)?.[1] ?? "0";

// Replays the lines. Series that were opened before the first line are of others, and are left alone.
function replay(lines) {
  const found = { series: new Map(), runs: new Map(), texts: new Map(), digests: new Map(), zeroed: new Map(), seals: [], faults: [], verdicts: 0, zeros: 0, outcomes: 0, first: null, last: null };
  const open = new Map();
  let [before, seq] = [null, null];
  const fault = (what, reported, recomputed) => found.faults.push({ about: `entry ${seq}, its line${what && `: ${what}`}`, of: `entry ${seq}, its line`, reported, recomputed });
  const same = (what, got, want) => { if (JSON.stringify(got) !== JSON.stringify(want)) fault(what, JSON.stringify(got) ?? "nothing", JSON.stringify(want) ?? "nothing"); };
  const produced = production(found, same);
  const zeroOf = (series, by) => series.last.get(by) ?? { good: 0, off: false, closed: false };
  const vouched = (series) => {
    for (const { entry } of counted(series)) {
      const zero = zeroOf(series, entry.instrument);
      if (zero.off && entry.seq > zero.good) fault(`reading ${entry.seq} counts`, "counted", "in doubt by a zero that was off");
    }
  };
  const takenOut = (series, reading, entry) => {
    const known = series.readings.get(reading);
    if (known?.became !== "counted") return fault(`reading ${reading}`, entry.kind, "it does not count");
    Object.assign(known, { became: entry.kind, by: entry });
    return known;
  };
  const take = {
    armed(entry, line) {
      same("series that is open while the next is armed", open.get(entry.station)?.id, undefined);
      const series = Object.assign(newSeries(entry), { area: areaIn(line) });
      // The line of a zero that opened the first series may be before these.
      series.opening = (entry.opening_zeros ?? []).map(({ zeroed, instrument }) => found.zeroed.get(zeroed) ?? { seq: zeroed, instrument, isBefore: true });
      found.series.set(entry.seq, series);
      open.set(entry.station, series);
    },
    operator_said(entry) { found.series.get(entry.series)?.operators.push([entry.seq, entry.operator]); },
    adapter_said(entry) { open.get(entry.station)?.last.delete(entry.instrument); },
    zeroed(entry, line) {
      entry.shown = shownIn(line);
      found.zeroed.set(entry.seq, entry);
      const series = open.get(entry.station);
      if (!series || (entry.series ?? series.id) !== series.id) return;
      series.zeros.push(entry);
      if (entry.series === undefined) return;
      found.zeros += 1;
      vouched(series);
      const by = series.spec.instruments.find(({ name }) => name === entry.instrument);
      // The page does not know the resolution of an instrument that is not the series'.
      const most = by ? base(by, "resolution") * series.spec.zero.limit_counts : Infinity;
      if (entry.ok && Math.abs(base(entry, "value")) > most) fault("a zero", "good", "off: it shows more than its limit");
      const good = entry.ok ? entry.seq : zeroOf(series, entry.instrument).good;
      series.last.set(entry.instrument, { good, off: !entry.ok, closed: entry.ok && entry.role === "closing" });
    },
    reading(entry, line) {
      const series = open.get(entry.station);
      if (!series || (entry.series ?? series.id) !== series.id) return;
      entry.shown = shownIn(line);
      same("value", base(entry, "value"), Number(inBase(entry.shown, entry.unit)));
      const counts = entry.standing === "counted";
      series.readings.set(entry.seq, { entry, became: counts ? "counted" : "not_counted" });
      if (entry.series === undefined) return same("a counted reading of no series", counts, false);
      const axis = series.spec.axes.find((one) => one.axis === entry.axis);
      if (!axis) return fault("axis", entry.axis, "none of its series");
      for (const name of ["nominal", "lower", "upper"]) same(`${name} of the reading`, base(entry, name), base(axis, name));
      const isOfAxis = LENGTHS.includes(entry.unit) === LENGTHS.includes(axis.unit);
      const off = base(axis, "nominal") === undefined || !isOfAxis ? undefined : base(entry, "value") - base(axis, "nominal");
      same("deviation", base(entry, "deviation"), off);
      if (!counts) return same("verdict of a reading that does not count", entry.verdict, undefined);
      found.verdicts += 1;
      const guard = axis.guards.find(({ instrument }) => instrument === entry.instrument);
      if (!guard) return fault("instrument", entry.instrument, `it does not measure ${entry.axis}`);
      same("verdict", entry.verdict, judged(base(entry, "value"), axis, base(guard, "width")));
      if (!(entry.piece >= 1 && entry.piece <= series.spec.pieces + series.spent.size) || series.spent.has(entry.piece)) fault("piece", entry.piece, "none that is to be measured");
      const others = counted(series).filter(({ entry: other }) => other !== entry && other.piece === entry.piece && other.axis === entry.axis);
      if (others.length > 0) fault("piece", entry.piece, `it has a ${entry.axis} already`);
      const zero = zeroOf(series, entry.instrument);
      if (zero.off || (series.spec.zero.before_first && !zero.good)) fault("standing", "counted", `the last zero of ${entry.instrument} is not good`);
      series.last.set(entry.instrument, { ...zero, closed: false });
    },
    doubted(entry, line, series) { for (const reading of entry.readings) takenOut(series, reading, entry); },
    retracted(entry, line, series) {
      const known = takenOut(series, entry.reading, entry);
      series.retracted = entry.reading;
      if (known && entry.spent) series.spent.add(known.entry.piece);
    },
    restored(entry, line, series) {
      same("restored reading", entry.reading, series.retracted);
      const known = series.readings.get(entry.reading);
      if (known) Object.assign(known, { became: "counted", by: undefined });
      series.spent.delete(known?.entry.piece);
      series.retracted = null;
    },
    looked(entry, line, series) { series.looks.set(`${entry.piece} ${entry.look}`, entry); },
    pulled(entry, line, series) { series.pulled.set(entry.reading, entry.mode); },
    pictured(entry, line, series) { series.pictures.push(entry); },
    resumed(entry, line, series) {
      same("series that is open while another is resumed", open.get(entry.station)?.id, undefined);
      series.completed = null;
      series.operators.push([entry.seq, entry.operator]);
      open.set(entry.station, series);
    },
    completed(entry, line, series) {
      same("series that is completed", open.get(entry.station)?.id, series.id);
      vouched(series);
      open.delete(entry.station);
      series.completed = entry;
      found.outcomes += 1;
      const tally = { ...Object.fromEntries(COUNTS.map((name) => [name, 0])), ...entry.tally };
      same("tally", COUNTS.map((name) => `${tally[name]} ${name}`), COUNTS.map((name) => `${tallyOf(series)[name]} ${name}`));
      same("visual checks", entry.looks, looksOf(series));
      if (entry.outcome === "cut_short") return;
      same("outcome", entry.outcome, outcomeOf(series));
      same("readings that count", counted(series).length, series.spec.pieces * series.spec.axes.length);
      if (!series.spec.zero.closing) return;
      for (const by of new Set(counted(series).map(({ entry: reading }) => reading.instrument))) same(`a good closing zero of ${by}`, zeroOf(series, by).closed, true);
    },
    sealed(entry) {
      const covered = found.digests.get(entry.up_to);
      if (covered !== undefined) same("digest that is sealed", entry.digest, covered);
      found.seals.push({ ...entry, covers: covered !== undefined });
    },
  };
  const ofSeries = ["doubted", "retracted", "restored", "looked", "pulled", "pictured", "resumed", "completed"];
  for (const line of lines) {
    const digest = sha256(bytesOf(line));
    try {
      const entry = JSON.parse(line);
      const jumps = seq === null || (["damage_accepted", "rolled_back"].includes(entry.kind) && entry.seq > seq);
      const wanted = seq === null ? null : seq + 1;
      seq = entry.seq;
      if (!jumps) {
        if (seq !== wanted) fault("its number", seq, wanted);
        if (entry.prev !== before) fault("the digest of the line before it", entry.prev, before);
      }
      found.first ??= seq;
      found.last = seq;
      found.texts.set(seq, line);
      found.digests.set(seq, digest);
      const series = found.series.get(entry.series);
      if (Object.hasOwn(take, entry.kind) && (series || !ofSeries.includes(entry.kind))) take[entry.kind](entry, line, series);
      produced(entry);
    } catch (error) {
      fault("", line.slice(0, 120), `an entry that can be read (${error.message})`);
    }
    before = digest;
  }
  return found;
}

// Units.

const PER_ONE = { mm: [1000000n, 1n], kN: [1000000n, 1n], cm: [10000000n, 1n], um: [1000n, 1n], N: [1000n, 1n], in: [25400000n, 1n], kgf: [980665n, 100n], lbf: [44482216152605n, 10000000000n] };
const LENGTHS = ["mm", "cm", "um", "in"];
const nearest = (over, under) => (over < 0n ? -((-over + under / 2n) / under) : (over + under / 2n) / under); // ties away from zero

// The digits of a value, in nanometres or millinewtons.
function inBase(digits, unit) {
  const [over, under] = PER_ONE[unit];
  return nearest(BigInt(digits.replace(".", "")) * over, under * 10n ** BigInt(digits.split(".")[1]?.length ?? 0));
}

// The value in a unit with the fewest decimals that give it exactly; `undefined` if nine do not.
function inUnit(value, unit, fewest) {
  const [over, under] = PER_ONE[unit];
  for (let decimals = fewest; decimals <= 9; decimals += 1) {
    const digits = nearest(BigInt(value) * under * 10n ** BigInt(decimals), over);
    const text = String(digits < 0n ? -digits : digits).padStart(decimals + 1, "0");
    const signed = (digits < 0n ? "-" : "") + (decimals ? `${text.slice(0, -decimals)}.${text.slice(-decimals)}` : text);
    if (inBase(signed, unit) === BigInt(value)) return signed;
  }
  return undefined;
}

function quantity(value, unit, fewest) {
  const own = LENGTHS.includes(unit) ? ["mm", 2] : ["N", 0];
  const digits = inUnit(value, unit, fewest);
  return digits === undefined ? `${inUnit(value, ...own)} ${own[0]}` : `${digits} ${unit}`;
}
