// Recomputes the page that it stands in, marks what differs at its place, and says at the head of the page what it found and
// what it cannot know.

const CANNOT_KNOW = [
  "Whether these lines are the ones that the bench wrote. Who writes all of them again, with digests that fit, is found by a seal and a key that you were given another way, or by tallyjaw verify beside the journal.",
  "Whether this script was exchanged. Who changes this file can change the script and what it says here too: check the signature of the file, or use tallyjaw verify.",
  "When anything happened, and what the caliper touched.",
  "Whether a value is what the bytes of the instrument say, and whether lines before the first or after the last of these say more.",
];

const many = (count, what, more = `${what}s`) => `${count} ${count === 1 ? what : more}`;

function put(name, text, ...children) {
  const element = document.createElement(name);
  element.append(...[text].filter(Boolean), ...children);
  return element;
}

const list = (items) => put("ul", "", ...items.map((item) => put("li", "", ...[item].flat())));

function recomputed({ counts, first, last }) {
  return [
    `${many(counts.lines, "line")} of the journal, entries ${first} to ${last}: that each names the SHA-256 of the one before`,
    `${many(counts.verdicts, "verdict")} against the limits of the series, ${many(counts.zeros, "zero")} and what they leave in doubt`,
    `tally and outcome of ${many(counts.outcomes, "closed series", "closed series")}`,
    `${many(counts.compared, "text")} of headings, heads of sheets, tables and sentences against these`,
    ...(counts.statistics ? [`${many(counts.statistics, "text")} of statistics and what they show about the limits, by the formulas of the program`] : []),
    ...(counts.groups ? [`${many(counts.groups, "text")} of groups side by side, by the same formulas`] : []),
    ...(counts.crimps ? [`${many(counts.crimps, "text")} of a production run: which crimps good samples vouch for, and which were held`] : []),
    ...(counts.drawn ? [`${many(counts.marks, "shape")} in ${many(counts.drawn, "chart")}, each at its place`] : []),
    "that each row of a table with readings, limits, zeros, visual checks, pulls, instruments or series stands in its place, under its heads and on the sheet of its series",
    "that no text stands beside these but the words that all our pages have",
    "that the style sheet is the one of this release, and that nothing is hidden by an element or an attribute that our pages do not have",
    ...(counts.pictures ? [`${many(counts.pictures, "picture")} against the SHA-256 in their entries`] : []),
  ];
}

function sealed(all, last) {
  if (all.length === 0) return "No seal is among the lines, so nothing shows that the bench wrote them.";
  const of = (holds) => all.filter((seal) => seal.covers && seal.holds === holds);
  if (of(true).length === 0) return all.some((seal) => seal.covers) ? "The seals were not checked: this browser cannot check Ed25519 signatures." : "The seals among the lines are of lines before these.";
  const newest = of(true).at(-1);
  const rest = last > newest.seq ? ` Nothing protects the ${many(last - newest.seq, "line")} after it.` : "";
  return [`${many(of(true).length, "seal")} checked: entries up to ${newest.up_to} were sealed by who had the key `, put("code", newest.key), `. Compare this with the fingerprint that you were given another way.${rest}`];
}

function shows(found, all, panel) {
  const broken = all.filter((seal) => seal.holds === false).map((seal) => ({ about: `entry ${seal.seq}, its line: the signature of the seal`, reported: "a signature", recomputed: "it is not by the key that it names, or of other lines" }));
  const differs = [...found.differs, ...broken];
  const word = differs.length ? `${many(differs.length, "difference")} found` : "All that was recomputed agrees";
  const how = put("details", "", put("summary", "What was recomputed, and what this cannot show"), list(recomputed(found)), put("p", "", ...[sealed(all, found.last)].flat()),
    put("p", `Not recomputed: ${many(found.counts.others, "other place")} of this page, such as lots, what was required of zeros, instruments and their papers, and remarks. tallyjaw verify compares every word.`),
    put("p", "This page cannot know:"), list(CANNOT_KNOW));
  panel.replaceChildren(put("p", "", put("strong", word), ` — recomputed in this browser, from the ${many(found.counts.lines, "line")} of the journal in this file, without a network.`));
  if (differs.length) panel.append(list(differs.map(({ about, reported, recomputed }) => [put("strong", about), `: the page has “${reported}”, the lines give “${recomputed}”`])));
  panel.append(how);
  panel.className = differs.length ? "recomputed differs" : "recomputed agrees";
}

async function recompute() {
  const panel = document.getElementById("recomputed");
  const places = document.querySelectorAll("[data-about]");
  const found = check(document.documentElement.outerHTML);
  const all = await seals(found, globalThis.crypto?.subtle);
  for (const { place } of found.differs) places[place]?.classList.add("differs-here");
  shows(found, all, panel);
}

recompute();
