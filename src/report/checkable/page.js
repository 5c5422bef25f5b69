// The page as text: what has a name, with what stands in it; its tables, row by row; the lines; the data for programs.
// What our pages never have is a fault: whatever it is, it could hide something, or make it look otherwise.

const NAMED = { lt: "<", gt: ">", quot: "\"", apos: "'", amp: "&", nbsp: "\u00a0" };
const unescaped = (text) => text.replace(/&(?:#(\d+)|(\w+));/g, (all, code, name) => (code ? String.fromCodePoint(Math.min(code, 0x10ffff)) : NAMED[name] ?? all));

const ELEMENTS = new Set("a article bdi body br caption circle code dd defs desc details div dl dt em figcaption figure g h1 h2 h3 h4 head html img li line main meta p path pattern pre rect script section span strong style summary svg table tbody td text th thead title tr ul".split(" "));
const ATTRIBUTES = new Set("alt aria-hidden aria-label aria-labelledby charset class colspan content cx cy d data-about dir height href http-equiv id lang name r role rowspan scope src tabindex type viewBox width x y patternUnits patternTransform".split(" "));
// What a drawing of a visual check has besides.
const OF_DRAWINGS = new Set("fill fill-opacity stroke stroke-dasharray stroke-linecap stroke-linejoin stroke-width transform".split(" "));
// What is in these is not seen.
const UNSEEN = ["title", "desc", "defs", "head"];
const VOID = ["meta", "br", "img"];

// Text that stands under no name: heads of parts and tables (`order.js`), what is under pictures, and our own sentences.
const UNNAMED = ["th", "caption", "figcaption"];
const HEADINGS = /^(Series|Results?|Warnings|Required|Answers|What the visual checks look for|Pictures|More pictures|Measured with|Remarks|Combinations|Crimps|Time line|Samples|Held|Times and entries|Figures of .*|Every reading of series \d+|Appendix to series \d+)$/;
const SENTENCES = new Set([
  "Of the readings that count. A dash is a figure without a value, with the reason. From and To are a 95 % confidence interval.",
  "A crimp that a good sample vouches for was counted and not measured: it was made between that sample and the good one before.",
  "No zero was taken.",
]);
const SENTENCE = /^(Too few readings for a histogram \(from \d+\) or a control chart \(from \d+\)\.|\d+ more are in the journal\.)$/;
// These are a part of the text around them.
const WITHIN = ["bdi", "strong", "em"];
const isOfPlace = ({ name, about }) => about !== undefined && name !== "article";
const isOurs = ({ name, text, class: like }) => UNNAMED.includes(name) || like === "zeros" || (/^h[234]$/.test(name) ? HEADINGS.test(text) : SENTENCES.has(text) || SENTENCE.test(text));

function parse(html) {
  const page = { places: [], tables: [], pictures: [], zeros: [], sheets: [], styles: [], faults: [], lines: "", data: "" };
  const token = /<!--[^]*?-->|<(\/?)([a-z][^\s/>]*)((?:\s+[^\s=">]+(?:="[^"]*")?)*)\s*(\/?)>|[^<]+|</gi;
  const open = [];
  let sheet; // the series whose sheet or appendix it is
  const fault = (about, reported) => page.faults.push({ about, reported: reported.slice(0, 200), recomputed: "nothing", place: Math.max(0, page.places.length - 1) });
  const inside = (...names) => open.findLast((element) => names.includes(element.name));
  for (let found; (found = token.exec(html)); ) {
    const [all, closes, name, attributes, alone] = found;
    if (!name) {
      const said = all.startsWith("<!--") ? "" : unescaped(all);
      for (const element of open) element.text += said;
      if (said.trim() && open.length > 0 && !open.some(isOfPlace)) open.at(-1).own = true;
    } else if (closes) {
      const at = open.findLastIndex((element) => element.name === name);
      if (at < 0) continue;
      for (const element of open.splice(at)) {
        if (element.own && WITHIN.includes(element.name)) (open.at(-1) ?? {}).own = true;
        else if (element.own && !isOurs(element)) fault("a text that our pages do not have", element.text.trim());
        if (element.name === "dt") for (const around of open) around.text += ": ";
        if (element.id === "journal-lines") page.lines += element.text;
        if (element.name === "figcaption" && inside("figure")?.svg) inside("figure").svg.caption = element.text;
        if (element.name === "caption") (inside("table") ?? {}).caption = element.text;
        if (name === "p" && element.class === "zeros") page.zeros.push({ sheet, text: element.text, place: Math.max(0, page.places.length - 1) });
        if (/^h\d$/.test(element.name) && inside("section")?.class === "appendix") sheet = /^Appendix to series (\d+)$/.exec(element.text)?.[1] ?? sheet;
      }
    } else {
      const element = { name, text: "", pictures: [] };
      for (const [, key, value] of attributes.matchAll(/\s([^\s=">]+)(?:="([^"]*)")?/g)) {
        element[key] = unescaped(value ?? "");
        if (!ATTRIBUTES.has(key) && !(OF_DRAWINGS.has(key) && inside("figure")?.class === "drawn")) fault(`an element ${name} with ${key}, which our pages do not have`, all);
      }
      if (!ELEMENTS.has(name)) fault(`an element ${name}, which our pages do not have`, all);
      if (name === "article") page.sheets.push(sheet = /^s(\d+)$/.exec(element.id)?.[1]);
      if (name === "section" && ["appendix", "journal-lines"].includes(element.class)) sheet = undefined;
      const svg = inside("svg");
      if (svg?.shapes && ["path", "circle", "rect", "text", "title", "desc"].includes(name) && !inside("defs")) svg.shapes.push(element);
      const rows = inside("tbody");
      const table = inside("table");
      if (element["data-about"] !== undefined) {
        page.places.push(Object.assign(element, { about: element["data-about"], at: page.places.length, sheet, svg }));
        if (inside(...UNSEEN, "details") && !["title", "style", "code"].includes(name)) fault(`${element.about}, where nobody sees it`, all);
      }
      if (name === "svg" && element.about) {
        page.pictures.push(Object.assign(element, { shapes: [], figure: inside("figure")?.about }));
        (inside("figure") ?? {}).svg = element;
      }
      if (name === "table") page.tables.push(Object.assign(element, { heads: [], rows: [], sheet, of: element }));
      if (name === "tr" && table) table[rows ? "rows" : "heads"].push(Object.assign(element, { cells: [], place: page.places.length - 1 }));
      if (name === "td" || name === "th") inside("tr")?.cells?.push(element);
      if (rows && ((name === "td" && element.about === undefined) || (name === "tr" && element.about === undefined))) fault("a row or cell of a table without a name", all);
      if (name === "img") for (const around of open) around.pictures.push(element.src ?? "");
      if (name === "script" || name === "style") {
        const end = html.indexOf(`</${name}`, token.lastIndex);
        const raw = html.slice(token.lastIndex, end < 0 ? html.length : end);
        if (name === "style") page.styles.push(raw);
        if (element.id === "tallyjaw-report") page.data += raw;
        token.lastIndex += raw.length;
      }
      if (!alone && !VOID.includes(name)) open.push(element);
    }
  }
  return page;
}

// Whether the style sheet is one of ours: parts in order, each known by its length and SHA-256 (`STYLES`), then the foot of
// the paper, and its size where the page is printed as PDF. Returns what is wrong with it.
function styleFaults(page, journal) {
  const at = page.places.find(({ about }) => about === "the style sheet")?.at;
  const wrong = (reported) => [{ about: "the style sheet: by another one, something may be hidden or look otherwise", reported: reported.trim().slice(0, 200), recomputed: "the one of this release", place: at }];
  if (page.styles.length !== 1) return wrong(`${page.styles.length} style sheets${page.styles.length > 1 ? ", perhaps by an extension of this browser" : ""}`);
  let rest = page.styles[0];
  for (const [length, digest, isAlways] of STYLES) {
    const is = sha256(bytesOf(rest.slice(0, length))) === digest;
    if (is) rest = rest.slice(length);
    else if (isAlways) return wrong(rest);
  }
  const foot = /^@page \{ (?:size: \w+; )?@bottom-left \{ content: "(?:Series \d+|Run \d+|Report of \d+ series) · made [\d-]{10} \d\d:\d\d [+-]\d\d:\d\d · journal (\w+)" \} \}\n(?:@page \{ size: \w+ \}\n)?$/.exec(rest);
  return foot && String(journal).replace(/[^0-9a-f]/gi, "").slice(0, 8) === foot[1] ? [] : wrong(rest);
}
