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

// What is named so is recomputed, so the page may have no more of it than the lines give.
const OURS = [
  /^series \d+, .* \(entry \d+\), (value|deviation|error|verdict|by)$/,
  /^series \d+, reading \d+ (in the appendix|that does not count), (entry|time|piece|axis|value|verdict|by|instrument|became)$/,
  /^series \d+, zero \d+(, shown| in the appendix, \w+)?$/,
  /^series \d+, limits of .*, (axis|nominal|lower limit|upper limit|unsure within|test uncertainty ratio|uncertainty budget|from)$/,
  /^series \d+, picture of .* \(entry \d+\)$/,
  /^(series \d+, )?the outcome$/,
  /^series \d+, figures of .*, (figure|value|from|to|the sentence|preconditions|remarks)$/,
  /^series \d+, capability\b/,
  /^(the sentence on |.* side by side, .*, (group|readings|mean|standard deviation|minimum|maximum|ppk|lower confidence bound \(95 %\)|figure|value|from|to)$)/,
  /^(the (outcome of the run|counts, .*|samples, series \d+, .*|decision of entry \d+, .*)|held by entry \d+, .*)$/,
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
  const [tables, zeros, pictures] = [[], [], []];
  const isAlone = data.series.length === 1 && !data.compare && !data.run;
  const how = { offsets: data.offsets, isFull: data.full === true, isAlone, isRun: Boolean(data.run) };
  for (const [seq, line] of found.texts) put(`entry ${seq}, its line`, line);
  for (const reported of data.series) {
    const series = found.series.get(reported.series);
    try {
      if (!series) throw new Error("its lines are not there");
      expectSeries(series, { put, tables, zeros, pictures }, how);
      expectSubject(series, put, data.offsets, isAlone);
      compareData(series, reported, differs);
    } catch (error) {
      differs.push({ about: `series ${reported.series}`, reported: "a series", recomputed: `nothing (${error.message})` });
    }
  }
  const ours = data.series.map(({ series }) => found.series.get(series)).filter((series) => series);
  expectChecked(data, found, put, differs);
  try {
    if (data.compare) expectComparison(ours, data, { put, tables, pictures });
    else if (!isAlone && !data.run && ours.length > 0) expectHeadline(ours, put);
    const run = data.run && found.runs.get(data.run.run);
    if (data.run && !run) throw new Error(`the lines of run ${data.run.run} are not there`);
    if (run) expectRun(run, { put, tables, pictures }, data.offsets);
    if (run) compareRun(run, data.run, differs);
  } catch (error) {
    differs.push({ about: "the cover", reported: "groups or a production run", recomputed: `nothing (${error.message})` });
  }
  const counts = { lines: lines.length, verdicts: found.verdicts, zeros: found.zeros, outcomes: found.outcomes, compared: 0, statistics: 0, groups: 0, crimps: 0, marks: 0, drawn: 0, pictures: 0, others: 0 };
  const copies = new Map([...found.series.values()].flatMap((series) => series.pictures).map((entry) => [entry.seq, entry]));
  comparePictures(page, pictures, differs);
  const met = new Map();
  for (const place of page.places) {
    const picture = /, picture of .* \(entry (\d+)\)$/.exec(place.about);
    const wanted = must.get(place.about);
    if (picture && place.name === "figure") {
      compareCopy(place, copies.get(Number(picture[1])), differs, counts);
    } else if (wanted) {
      const got = seen(place);
      const words = wanted.map(({ text }) => wordsOf(text, got));
      const nth = words.indexOf(got);
      const isTwice = nth >= 0 && !wanted[nth].often && met.get(place.about)?.has(nth);
      const isLike = nth < 0 || wanted[nth].like === undefined || (place.class ?? "").split(" ").includes(wanted[nth].like);
      if (nth < 0 || isTwice || !isLike) differs.push({ about: place.about, reported: isTwice ? `${got}, twice` : isLike ? got : `${got}, drawn as ${place.class}`, recomputed: words[Math.max(0, nth)], place: place.at });
      met.set(place.about, (met.get(place.about) ?? new Set()).add(nth));
      counts[kindOf(place.about)] += 1;
    } else if (place.svg?.isCompared || place.isCompared) {
      // It was compared shape by shape, also those without a name.
      counts.drawn += place.isCompared ? 1 : 0;
      counts.marks += place.isCompared ? place.shapes.length : 0;
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
  if (!isAlone && !data.run && data.series.length > 0) tables.push(known("overview", undefined, data.series.map(({ series }) => `the overview, series ${series}`)));
  compareTables(page, tables, differs);
  compareSheets(page, data.series.map(({ series }) => series), zeros, differs);
  differs.push(...styleFaults(page, data.journal));
  const placeOf = new Map(page.places.map((place) => [place.about, place.at]));
  for (const { of, ...fault } of found.faults) differs.push({ ...fault, place: placeOf.get(of) });
  return { differs, counts, seals: found.seals, first: found.first, last: found.last };
}

// When the page was made, and of which journal: the page and its data say the same, and what the lines say of it.
function expectChecked(data, found, put, differs) {
  for (const head of ["the head", ...data.series.map(({ series }) => `series ${series}`)]) put(`${head}, report made`, () => pairOf("report made", local(data.made, data.offsets)), { rare: true });
  for (const [word, says] of [["Journal", data.journal], ["Entries", `${data.first} to ${data.last}`], [`SHA-256 of entry ${data.last}`, data.digest]]) put(`how to check it, ${word.toLowerCase()}`, `${word}: ${says}\n`);
  const digest = found.digests.get(data.last) ?? data.digest;
  if (data.digest !== digest) differs.push({ about: `the data for programs, SHA-256 of entry ${data.last}`, reported: String(data.digest), recomputed: digest });
  for (const { journal, seq } of found.seals) if (journal !== data.journal) differs.push({ about: "the data for programs, journal", reported: String(data.journal), recomputed: `${journal}, by the seal of entry ${seq}` });
}

// What a place is counted as: a text of a table, or a figure by a formula, of groups side by side, or a count of crimps.
function kindOf(about) {
  if (/^series \d+, (figures of|capability)/.test(about)) return "statistics";
  if (/^the sentence on | side by side, /.test(about)) return "groups";
  return /^(the (outcome of the run|counts|samples|decision of)|held by entry)/.test(about) ? "crimps" : "compared";
}

// A zero that opened the first series may have been the last of a series before: its line is not in the page.
function isBefore(about, found) {
  const zero = /^series \d+, zero (\d+)/.exec(about);
  return zero && Number(zero[1]) < found.first;
}

function compareCopy(place, entry, differs, counts) {
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

function compareRun(run, reported, differs) {
  const counts = { crimps: run.crimps, vouched: run.vouched, held: heldOf(run), released: settledOf(run, "release"), reworked: settledOf(run, "rework"), scrapped: settledOf(run, "scrap"), open: openOf(run) };
  for (const [name, count] of Object.entries(counts)) if (reported[name] !== count) differs.push({ about: `the data for programs, run ${run.id}, ${name}`, reported: String(reported[name]), recomputed: String(count) });
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
