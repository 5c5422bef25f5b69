// Checkable reports in real browsers, as files, both without a network: each recomputes itself, and agrees; then every kind of
// forgery, which the page must name and mark, or say that only a seal finds it.
//
//     tests/browser/setup && node tests/browser/checkable.mjs SEEN FOLDER [FILE…]
//
// FOLDER has the pages that `cargo test` leaves in target/tmp/report/checkable. In Chromium, and in Firefox where there is
// one; with Node alone, the same check over every page.

import { createHash, webcrypto } from "node:crypto";
import { once } from "node:events";
import { mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { createServer } from "node:http";
import { tmpdir } from "node:os";
import { basename, join } from "node:path";
import { pathToFileURL } from "node:url";
import { check as expect, faults, PATIENCE, run, same } from "./expect.mjs";
import { browser, faultsByAxe, firefoxOffline, watched } from "./look.mjs";
import { check, seals, sha256 } from "./recompute.mjs";

const SIZES = { telephone: { width: 390, height: 844 }, desktop: { width: 1280, height: 900 } };
const [seen, folder, ...more] = process.argv.slice(2);
mkdirSync(seen, { recursive: true });
const work = mkdtempSync(join(tmpdir(), "checkable-"));
const page = (name) => readFileSync(join(folder, name), "utf8");
const digest = (line) => createHash("sha256").update(line).digest("hex");

// The lines of a page, and the page with others in their place; with `fits`, each names the digest of the one before.
const escaped = (text) => text.replaceAll("&", "&amp;").replaceAll("<", "&lt;").replaceAll(">", "&gt;");
const unescaped = (text) => text.replaceAll("&lt;", "<").replaceAll("&gt;", ">").replaceAll("&amp;", "&");
const PRE = /(<pre id="journal-lines"[^>]*>)([^]*?)(<\/pre>)/;
const linesOf = (html) => unescaped(PRE.exec(html)[2].replace(/<[^>]*>/g, "")).trimEnd().split("\n");
function withLines(html, change, fits = true) {
  const lines = change(linesOf(html));
  if (fits) for (let nth = 1; nth < lines.length; nth += 1) lines[nth] = lines[nth].replace(/"prev":"\w{64}"/, `"prev":"${digest(lines[nth - 1])}"`);
  const coded = lines.map((line) => `<code data-about="entry ${JSON.parse(line).seq}, its line">${escaped(line)}</code>\n`).join("");
  return html.replace(PRE, (all, before, old, behind) => before + coded + behind);
}
const inLines = (from, to, fits) => (html) => withLines(html, (lines) => {
  const at = lines.findIndex((line) => line.includes(from));
  if (at < 0) throw new Error(`no line has ${from}`);
  return lines.with(at, lines[at].replace(from, to));
}, fits);
const text = (from, to) => (html) => {
  if (!html.includes(from)) throw new Error(`the page has no ${from}`);
  return html.replace(from, to);
};

// What the page does not recompute, with digests that fit: only a seal finds it.
const otherBytes = (html) => withLines(html, (lines) => lines.map((line) => line.replace(/"raw":"(\w)/, (all, one) => `"raw":"${one === "3" ? "2" : "3"}`)));

// The last digit of the text of a place, or of one of its attributes, is another one.
const digitOf = (about, attribute) => (html) => {
  const at = html.indexOf(` data-about="${html.includes(`"${about}`) ? about : `series 5, ${about}`}`);
  const [, before, text] = (attribute ? new RegExp(`^([^>]* ${attribute}=")([^"]*)`) : /^([^>]*>)([^<]*)/).exec(html.slice(at)) ?? [];
  if (at < 0 || !text) throw new Error(`the page has no ${about}`);
  const other = text.replace(/\d(?=\D*$)/, (digit) => (Number(digit) + 1) % 10);
  return html.slice(0, at) + before + other + html.slice(at + before.length + text.length);
};

// A row or two of the page: `change` gets the text of the first and the second and what is between.
const rows = (first, second, change) => (html) => {
  const row = (about) => new RegExp(`<tr data-about="${about.replace(/[()]/g, "\\$&")}">[^]*?</tr>\\n`).exec(html)?.[0];
  const [one, other] = [row(first), row(second)];
  if (!one || !other) throw new Error(`the page has no rows ${first} and ${second}`);
  const [before, behind] = html.split(one);
  return change(before, one, other, behind);
};
const exchanged = (before, one, other, behind) => before + other + behind.replace(other, one);

// What is changed, in which page, and of what the page must say so; `marked` says that it stands in a place of the page.
const FORGERIES = {
  "a cell": ["two_axes_by_piece.html", text(">1.63</td>", ">1.62</td>"), /piece 1, core crimp height \(entry 19\), value/],
  "a verdict in a table": ["everything_failed.html", text("FAIL: too high</td>", "pass</td>"), /\(entry \d+\), verdict/],
  "the colour of a verdict": ["everything_failed.html", text("class=\"v fail\"", "class=\"v pass\""), /\(entry \d+\), verdict/],
  "the outcome": ["everything_failed.html", text("<strong>REJECTED</strong>", "<strong>ACCEPTED</strong>"), /the outcome/],
  "the outcomes of all": ["several_series.html", (html) => html.replace(/(<p data-about="the outcomes"[^>]*><strong>)\d+/, "$19"), /the outcomes/],
  "the heading of a sheet": ["several_series.html", (html) => html.replace(/(data-about="series 5, the heading"><bdi>[^<]*<\/bdi> on )/, "$11"), /series 5, the heading/],
  "who measured": ["two_axes_by_piece.html", (html) => html.replace(/(<dt>Measured by<\/dt><dd><bdi>)/, "$1not "), /the head, measured by/],
  "the tool of a sheet": ["several_series.html", text(", production class", ", repair class"), /series \d+, tool/],
  "the decision rule": ["two_axes_by_piece.html", text("<dd>simple: ", "<dd>guarded: "), /what was required, decision rule/],
  "the size of a wire": ["two_axes_by_piece.html", (html) => html.replace(/(data-about="the head, wire">[^]*?)2\.0 mm²/, "$12.5 mm²"), /the head, wire/],
  "a sentence that is put in": ["several_series.html", text("</h1>", "</h1><p>Every crimp is good.</p>"), /a text that our pages do not have/],
  "a sentence that is put into a sheet": ["several_series.html", (html) => html.replace(/(data-about="series 5, the heading">[^]*?<\/h2>)/, "$1<p>Every crimp is good.</p>"), /a text that our pages do not have/],
  "words in the heading of a part": ["several_series.html", text("<h2>Series</h2>", "<h2>Good series</h2>"), /a text that our pages do not have/],
  "a row that is hidden": ["everything_failed.html", text("<tr data-about=\"series 5, piece 3\"", "<tr hidden data-about=\"series 5, piece 3\""), /hidden/],
  "a row that is moved": ["two_axes_by_piece.html", rows("series 5, piece 1", "series 5, piece 2", exchanged), /series 5, piece [12], its place/],
  "a row that is moved to another series": ["several_series.html", rows("series 5, piece 1", "series 15, piece 1", (before, one, other, behind) => before + behind.replace(other, other + one)), /series 5, piece 1, its place/],
  "the number of a piece": ["two_axes_by_piece.html", text("<th scope=\"row\">1</th>", "<th scope=\"row\">2</th>"), /series 5, piece 1, its head/],
  "a row of the appendix that is moved": ["two_axes_by_piece.full.html", rows("series 5, reading 7 in the appendix", "series 5, reading 8 in the appendix", exchanged), /reading [78] in the appendix, its place/],
  "heads that are exchanged": ["two_axes_by_piece.html", text("<th scope=\"col\">Lower limit</th><th scope=\"col\">Upper limit</th>", "<th scope=\"col\">Upper limit</th><th scope=\"col\">Lower limit</th>"), /the heads of its table/],
  "sheets that are exchanged": ["several_series.html", (html) => html.replace(/(<article[^>]*id="s5">[^]*?<\/article>)([^]*?)(<article[^>]*id="s15">[^]*?<\/article>)/, "$3$2$1"), /the sheets of the series/],
  "a zero under another instrument": ["two_axes_by_piece.html", text("<strong>Zeros of <bdi>caliper-1", "<strong>Zeros of <bdi>caliper-2"), /a line of zeros/],
  "a rule in the style sheet that hides a row": ["two_axes_by_piece.html", text("</style>", "tr:nth-child(2) { display: none }</style>"), /the style sheet/],
  "a style sheet besides": ["two_axes_by_piece.html", text("</head>", "<style>.fail { color: green }</style></head>"), /the style sheet/],
  "a row within what is not seen": ["two_axes_by_piece.html", rows("series 5, piece 2", "series 5, piece 3", (before, one, other, behind) => `${before}<template>${one}</template>${behind}`), /an element template, which our pages do not have/],
  "a mark that is moved by an attribute": ["two_axes_by_piece.html", text("<circle data-about", "<circle transform=\"translate(20)\" data-about"), /an element circle with transform/],
  "a mean": ["two_axes_by_piece.html", text("mean 1.6200 mm", "mean 1.6201 mm"), /series 5, core crimp height/],
  "a mean of a table of figures": ["twenty_five_pieces.full.html", text("mean</th><td data-about=\"series 5, figures of core crimp height, mean, value\" class=\"n\">1.6", "mean</th><td data-about=\"series 5, figures of core crimp height, mean, value\" class=\"n\">1.7"), /figures of core crimp height, mean, value/],
  "a bound of Ppk": ["twenty_five_pieces.full.html", digitOf("figures of core crimp height, Ppk, lower confidence bound (95 %, one-sided), value"), /Ppk, lower confidence bound \(95 %, one-sided\), value/],
  "what is shown about the limits": ["twenty_five_pieces.html", text("is not demonstrated", "is demonstrated"), /capability of core crimp height/],
  "a precondition": ["twenty_five_pieces.full.html", text("<li>fails: ", "<li>holds: "), /figures of \w+ \w+ \w+, preconditions/],
  "a point of a control chart": ["twenty_five_pieces.full.html", digitOf("point 7 of &quot;single readings&quot;", "cy"), /point 7 of "single readings"/],
  "a control limit": ["twenty_five_pieces.full.html", digitOf("the line of upper control limit ", "d"), /the line of upper control limit/],
  "the value of a control limit": ["twenty_five_pieces.full.html", (html) => html.replace(/(centre line<\/text>\n<text [^>]*>1\.6)(\d)/, (all, before, one) => before + (Number(one) + 1) % 10), /a shape in the picture "Control chart of core crimp height"/],
  "a false-alarm rate": ["twenty_five_pieces.full.html", (html) => html.replace(/(these rules signal in )(\d)/, (all, before, one) => before + (Number(one) + 1) % 10), /what stands under the picture "Control chart/],
  "a bar of a histogram": ["twenty_five_pieces.full.html", digitOf("the bar of 1.6", "height"), /the bar of 1\.6.* in the picture "Histogram of core crimp height"/],
  "a count of a production run": ["production_run.html", digitOf("the counts, vouched for"), /the counts, vouched for/],
  "the outcome of a production run": ["open_run.html", (html) => html.replace(/(<p data-about="the outcome of the run"[^]*?<span>)[^<]*/, "$1Good samples vouch for all of 270 crimps."), /the outcome of the run/],
  "a span of the time line": ["production_run.html", digitOf("the time line, crimps 1 to ", "width"), /the time line, crimps 1 to \d+ in the time line/],
  "a count of crimps in a line, with digests that fit": ["production_run.html", inLines("\"crimps\":100", "\"crimps\":200"), /its line: last crimp of what is held/],
  "held crimps in a line, with digests that fit": ["production_run.html", inLines("\"first_crimp\":101", "\"first_crimp\":111"), /its line: first crimp of what is held/],
  "an axis of a picture": ["two_axes_by_piece.html", text("<path class=\"axis\" d=\"M12 56H348\"/>", "<path class=\"axis\" d=\"M12 56H300\"/>"), /a shape in the picture "Core crimp height and its limits"/],
  "a zone of a picture": ["unsure.html", (html) => html.replace(/(<rect class="zone" x=")(\d)/, (all, before, one) => before + (Number(one) % 9 + 1)), /a shape in the picture/],
  "a share of pulls": ["pull_modes.html", digitOf("pulls, wire pulled out, share"), /pulls, wire pulled out, share/],
  "a test uncertainty ratio": ["two_axes_by_piece.html", text("<bdi>2.04, under", "<bdi>4.04, under"), /limits of core crimp height, test uncertainty ratio/],
  "groups side by side": ["two_tools.html", digitOf("core crimp height side by side, R-02, mean"), /core crimp height side by side, R-02, mean/],
  "the sentence of a comparison": ["two_tools.html", (html) => html.replace(/(data-about="the sentence on core crimp height"[^]*?confidence interval: -?\d\.)(\d)/, (all, before, one) => before + (Number(one) + 1) % 10), /the sentence on core crimp height/],
  "when a series was opened": ["one_piece.html", text("Opened</dt><dd>2025-11-24", "Opened</dt><dd>2025-11-21"), /the head, opened/],
  "the journal that is named": ["sealed.html", (html) => html.replaceAll(/(Journal<\/dt><dd><code>|"journal":")(\w)(?=\w{31}(<\/code>|","last"))/g, (all, before, one) => before + (one === "0" ? "1" : "0")), /the data for programs, journal/],
  "a mark of a chart": ["two_axes_by_piece.html", text("cx=\"159.8\"", "cx=\"170.8\""), /the mark of piece \d \(entry \d+\)/],
  "a limit on the page": ["two_axes_by_piece.html", text(">1.57 mm</td>", ">1.55 mm</td>"), /limits of core crimp height, lower limit/],
  "a picture": ["pictures.html", (html) => html.replace(/(;base64,)([^"]+)("[^]*?;base64,)([^"]+)/, "$1$4$3$2"), /picture of piece \d \(entry \d+\)/],
  "a digit of a line": ["two_axes_by_piece.html", inLines("\"value\":1.63", "\"value\":1.64", false), /entry 7, its line: value/],
  "a digest": ["two_axes_by_piece.html", (html) => html.replace(/"prev":"(\w)(\w{63})"(?=[^]*"seq":9)/, (all, first, rest) => `"prev":"${first === "0" ? "1" : "0"}${rest}"`), /its line: the digest of the line before it/],
  "a line that is removed": ["two_axes_by_piece.html", (html) => withLines(html, (lines) => lines.toSpliced(3, 1), false), /its line: its number/],
  "a line that is removed, with digests that fit": ["two_axes_by_piece.html", (html) => withLines(html, (lines) => lines.toSpliced(3, 1)), /its line: its number/],
  "lines that are exchanged": ["two_axes_by_piece.html", (html) => withLines(html, (lines) => lines.with(3, lines[4]).with(4, lines[3]), false), /its line: its number/],
  "a verdict in a line, with digests that fit": ["everything_failed.html", inLines("\"verdict\":\"fail_high\"", "\"verdict\":\"pass\""), /its line: verdict/],
  "a limit in a line, with digests that fit": ["everything_failed.html", inLines("\"upper_nm\":1670000", "\"upper_nm\":1770000"), /its line: upper of the reading/],
  "an outcome in a line, with digests that fit": ["everything_failed.html", inLines("\"outcome\":\"rejected\"", "\"outcome\":\"accepted\""), /its line: outcome/],
  "a zero that was off, with digests that fit": ["two_axes_by_piece.html", inLines("\"role\":\"unasked\",\"ok\":false", "\"role\":\"unasked\",\"ok\":true"), /its line: a zero/],
  "a guarded verdict, with digests that fit": ["unsure.html", inLines("\"verdict\":\"unsure_high\"", "\"verdict\":\"pass\""), /its line: verdict/],
  "bytes of a sealed line, with digests that fit": ["sealed.html", otherBytes, /its line: digest that is sealed/],
  "a seal, with digests that fit": ["sealed.html", (html) => withLines(html, (lines) => lines.map((line) => line.replace(/("signature":"[^"]{160})(.)/, (all, before, one) => before + (one === "A" ? "B" : "A")))), /the signature of the seal/],
};

async function opened(engine, html, size) {
  const file = join(work, "report.html");
  writeFileSync(file, html);
  const tab = await engine.newPage();
  await tab.setViewport(size);
  if (engine.isChromium) await tab.setOfflineMode(true);
  const url = pathToFileURL(file).href;
  const live = watched(tab, url);
  await tab.goto(url);
  return { tab, live };
}

const states = (tab) => tab.waitForSelector(".recomputed.agrees, .recomputed.differs", { timeout: PATIENCE });
const panelOf = (tab) => tab.$eval("#recomputed", (panel) => panel.innerText);

async function agrees(engine, name, html) {
  for (const [size, viewport] of Object.entries(SIZES)) {
    const { tab, live } = await opened(engine, html, viewport);
    await states(tab);
    const said = await panelOf(tab);
    expect(`${engine.name}, ${name}: it agrees`, said.startsWith("All that was recomputed agrees"), said);
    const wide = await tab.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    expect(`${engine.name}, ${name}, ${size}: nothing reaches out of the page`, wide <= 1, wide);
    await tab.evaluate(() => document.querySelectorAll("details").forEach((one) => { one.open = true; }));
    if (engine.isChromium) same(`${name}, ${size}: faults by axe`, await faultsByAxe(tab), []);
    await tab.screenshot({ path: `${seen}/checkable-${engine.name}-${basename(name, ".html")}-${size}.png` });
    same(`${engine.name}, ${name}: what went wrong`, live.filter((fault) => !fault.startsWith("asks for data:")), []);
    await tab.close();
  }
}

async function findsForgeries(engine) {
  for (const [what, [name, change, named]] of Object.entries(FORGERIES)) {
    const whole = page(name);
    const html = change(whole);
    expect(`${what}: the page is another`, html !== whole, what);
    const { tab } = await opened(engine, html, SIZES.telephone);
    await states(tab);
    const said = await panelOf(tab);
    expect(`${engine.name}, ${what}: it is found and named`, /^\d+ differences? found/.test(said) && named.test(said), said.slice(0, 400));
    const marked = await tab.$$eval(".differs-here", (all) => all.length);
    const hasPlace = !/signature of the seal/.test(said);
    expect(`${engine.name}, ${what}: it is marked`, marked > 0 || !hasPlace, marked);
    if (what === "a cell") await tab.screenshot({ path: `${seen}/checkable-${engine.name}-forged.png`, fullPage: true });
    const node = check(html);
    expect(`Node, ${what}: it is found and named`, node.differs.some(({ about }) => named.test(about)) || (await seals(node, webcrypto.subtle)).some(({ holds }) => holds === false), node.differs);
    await tab.close();
  }
}

async function saysWhatItCannotKnow(engine) {
  const whole = page("one_piece.html");
  const [before, after] = [whole, otherBytes(whole)].map((html) => digest(linesOf(html).at(-1)));
  const html = otherBytes(whole).replaceAll(before, after); // also where the page names the digest of its last entry
  expect("the page is another", html !== page("one_piece.html"));
  const { tab } = await opened(engine, html, SIZES.desktop);
  await states(tab);
  await tab.evaluate(() => document.querySelectorAll("details").forEach((one) => { one.open = true; }));
  const said = await panelOf(tab);
  for (const part of ["All that was recomputed agrees", "No seal is among the lines", "Whether this script was exchanged", "Whether these lines are the ones that the bench wrote", "Whether a value is what the bytes of the instrument say", "tallyjaw verify"]) expect(`${engine.name}: it says ${part}`, said.includes(part), said);
  await tab.close();
}

async function runsNothingElse(engine) {
  const exchanged = page("one_piece.html").replace("function check(html) {", "function check(html) { ");
  const { tab } = await opened(engine, exchanged, SIZES.desktop);
  await tab.waitForSelector("#recomputed");
  const said = await panelOf(tab);
  expect(`${engine.name}: a script that was changed alone does not run`, said.startsWith("This page has not recomputed itself"), said);
  const put = await tab.$$eval(".differs-here", (all) => all.length);
  same(`${engine.name}: and marks nothing`, put, 0);
  await tab.close();
}

// A page that does ask, of a server that is there: offline means that nothing comes. In a browser that is not offline, it comes.
async function isOffline(engines) {
  const asked = [];
  const server = createServer((request, answer) => { asked.push(request.url); answer.end(); });
  await once(server.listen(0, "127.0.0.1"), "listening");
  const asks = (who) => `<!DOCTYPE html><title>asks</title><script>const picture = new Image(); picture.onerror = () => { document.title = "no picture"; }; picture.src = "http://127.0.0.1:${server.address().port}/${who}";</script>`;
  for (const engine of engines) {
    const { tab } = await opened(engine, asks(engine.name), SIZES.desktop);
    await tab.waitForFunction(() => document.title === "no picture", { timeout: PATIENCE });
    await tab.close();
  }
  const [online] = engines;
  const tab = await online.newPage();
  writeFileSync(join(work, "asks.html"), asks("online"));
  await tab.goto(pathToFileURL(join(work, "asks.html")).href);
  await tab.waitForFunction(() => document.title === "no picture", { timeout: PATIENCE });
  await tab.close();
  same("who reached a server", asked, ["/online"]);
  server.close();
}

async function onPaper(engine) {
  const { tab } = await opened(engine, page("two_axes_by_piece.html"), SIZES.desktop);
  await states(tab);
  await tab.emulateMediaType("print");
  const hidden = await tab.evaluate(() => [...document.body.querySelectorAll("*")].filter((one) => getComputedStyle(one).display === "none" && getComputedStyle(one.parentElement).display !== "none").map((one) => one.className || one.localName));
  same("on paper: what is not seen", hidden, ["recomputed agrees", "journal-lines", "script", "script"]);
  await tab.close();
}

const names = readdirSync(folder).filter((name) => name.endsWith(".html"));
const LOOKED_AT = ["two_axes_by_piece.html", "sealed.html", "pictures.html", "several_series.html", "unsure.html", "hostile_names.html"];
const engines = [];

await run("checkable", {
  async node() {
    const bytes = new TextEncoder().encode("abc");
    same("SHA-256 of abc (FIPS 180-4, from memory)", sha256(bytes), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    for (let size = 0; size < 300; size += 1) {
      const all = Uint8Array.from({ length: size }, (_, nth) => (nth * 31) & 255);
      if (sha256(all) !== digest(all)) faults.push(`SHA-256 of ${size} bytes`);
    }
    for (const name of names) {
      const found = check(page(name));
      same(`Node, ${name}: what differs`, found.differs, []);
      expect(`Node, ${name}: something was compared`, found.counts.compared > 10 && found.counts.marks > 0, found.counts);
    }
    for (const file of more) same(`Node, ${file}: what differs`, check(readFileSync(file, "utf8")).differs, []);
    const kept = await seals(check(page("sealed.html")), webcrypto.subtle);
    expect("Node: the seal in the sealed page holds", kept.length > 0 && kept.every(({ holds, covers }) => holds && covers), kept);
  },
  async start() {
    engines.push(Object.assign(await browser(), { isChromium: true, name: "chromium" }));
    const second = await firefoxOffline();
    if (second) engines.push(Object.assign(second, { name: "firefox" }));
    else console.log("checkable: SKIPPED in a second engine: there is no Firefox");
  },
  async agree() {
    for (const engine of engines) {
      for (const name of LOOKED_AT) await agrees(engine, name, page(name));
      for (const file of more) await agrees(engine, basename(file), readFileSync(file, "utf8"));
    }
  },
  async forged() { for (const engine of engines) await findsForgeries(engine); },
  async honest() { for (const engine of engines) { await saysWhatItCannotKnow(engine); await runsNothingElse(engine); } },
  async offline() { await isOffline(engines); },
  async paper() { await onPaper(engines[0]); },
}, async () => {
  for (const engine of engines) await engine.close();
  rmSync(work, { recursive: true, force: true });
});
