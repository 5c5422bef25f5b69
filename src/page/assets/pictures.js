// Pictures: the dialog that gives one, the strip of small copies under the pieces, and one of them large.
//
// What the strip shows are the small copies that the daemon made; the pictures themselves are stored unchanged.

import { $, button, capital, drawOnce, letterSize, make, open, refill, roomOf, setText, shape } from "./dom.js";
import { copyOf } from "./daemon.js";
import { language, says, t, translated } from "./texts.js";

const MOST_BYTES = 20 * 1024 * 1024; // as MOST_BYTES in src/pictures: a larger one need not be sent to be refused
const WIDE = 4.4; // a small copy in the strip, in letters of the page's size, as in page.css
const [GAP, EDGE] = [5, 3]; // px
const COPIES_MOST = 200; // that are remembered

// ---- to give one ----

let series = null; // that the picture is of: the one on the screen when the dialog was opened
let give = null; // sends a file
let name = ""; // of the file that was chosen last

const words = (piece) => (piece ? t("picture.piece", { piece }) : t("picture.whole"));

// The piece measured last is offered first. What is measured meanwhile changes nothing of it.
export function openPicture(shown) {
  series = shown.series;
  const newest = shown.readings.toSorted((a, b) => b.seq - a.seq).map((one) => one.piece);
  const pieces = [...new Set([...newest, ...shown.spent])];
  $("picture-piece").replaceChildren(...[...pieces, ""].map((piece) => make("option", { value: piece }, words(piece))));
  $("picture-camera").hidden = !matchMedia("(any-pointer: coarse)").matches;
  refused(null);
  open("picture");
  $("picture-file").focus();
}

// A name of a file stays as it is.
const sentence = (text) => (name && text.startsWith(name) ? text : capital(text));

// Why it was not taken, and what to do; false where the dialog was closed meanwhile. A sentence of the page itself needs
// no translation.
function refused(error, own = false) {
  if (error && !$("picture").open) return false;
  const lines = error ? [error.message, error.remedy].filter(Boolean).map((text) => make("p", { lang: own || translated(text) ? undefined : "en" }, sentence(says(text)))) : [];
  $("picture-answer").replaceChildren(...(lines.length > 0 ? [shape("refused"), make("div", {}, ...lines)] : []));
  return true;
}

function storing(now) {
  setText($("picture-state"), now ? t("picture.storing") : "");
  for (const id of ["picture-piece", "picture-camera", "picture-file"]) $(id).disabled = now;
}

async function chosen(event) {
  const [file] = event.target.files;
  if (!file) return;
  name = file.name;
  const piece = $("picture-piece").value;
  refused(null);
  if (file.size > MOST_BYTES) {
    const why = { key: "daemon.picture.too_large", with: { most: MOST_BYTES } };
    refused({ message: t("daemon.picture.not_taken", { name, why }), remedy: t("daemon.help.smaller_picture") }, true);
  } else {
    storing(true);
    if (await give(file, { series, ...(piece && { piece }) }, refused)) $("picture").close();
    storing(false);
  }
  event.target.value = ""; // the same file may be chosen again
  if ($("picture").open) $("picture-file").focus();
}

// ---- those that are stored ----

const copies = new Map();

function copy(shown) {
  if (copies.size > COPIES_MOST) copies.clear();
  if (!copies.has(shown)) copies.set(shown, copyOf(shown).catch((error) => { copies.delete(shown); throw error; }));
  return copies.get(shown);
}

// As many as fit, the newest; a button for those before them.
export function showStrip(pictures) {
  const strip = $("strip");
  strip.hidden = pictures.length === 0;
  if (strip.hidden) return;
  const { width } = roomOf(strip, () => showStrip(pictures));
  const most = Math.max(2, Math.floor((width - 2 * EDGE + GAP) / (WIDE * letterSize() + GAP)));
  drawOnce(strip, [language, most, pictures], () => {
    const newest = pictures.length > most ? pictures.slice(1 - most) : pictures;
    const before = pictures.length - newest.length;
    const earlier = before > 0 && button({ "data-key": "earlier", "aria-haspopup": "dialog", "aria-label": t("picture.earlier", { n: before }) }, `+${before}`, () => enlarge(pictures, before - 1));
    refill(strip, [earlier, ...newest.map((one, index) => inStrip(one, () => enlarge(pictures, before + index)))].filter(Boolean));
  });
}

function inStrip({ seq, piece, shown }, act) {
  const picture = make("img", { alt: "" });
  const made = button({ "data-key": seq, "aria-haspopup": "dialog", "aria-label": words(piece) }, picture, act);
  if (piece) made.append(make("b", {}, String(piece)));
  copy(shown).then((address) => { picture.src = address; }, () => made.classList.add("missing"));
  return made;
}

// ---- one of them, large ----

const TURNS = { ArrowLeft: -1, ArrowRight: 1 };

let [all, at] = [[], 0];

function enlarge(pictures, index) {
  [all, at] = [pictures, index];
  showLarge();
  open("large");
}

async function showLarge() {
  const { piece, shown } = all[at];
  setText($("large-heading"), t("picture.place", { of: words(piece), at: at + 1, count: all.length }));
  [$("large-before").disabled, $("large-after").disabled] = [at === 0, at === all.length - 1];
  const picture = make("img", { alt: words(piece) });
  $("large-picture").replaceChildren(picture);
  try {
    picture.src = await copy(shown);
    setText($("large-words"), t("picture.small"));
  } catch {
    setText($("large-words"), t("picture.missing"));
  }
}

function turn(by) {
  if (!all[at + by]) return;
  at += by;
  showLarge();
}

// `command` sends a file with what it is of, and has a refusal shown in the dialog.
export function listen(command) {
  give = command;
  for (const [press, from] of [["picture-camera", "from-camera"], ["picture-file", "from-file"]]) {
    $(press).addEventListener("click", () => $(from).click());
    $(from).addEventListener("change", chosen);
  }
  $("large-before").addEventListener("click", () => turn(-1));
  $("large-after").addEventListener("click", () => turn(1));
  $("large").addEventListener("keydown", ({ key }) => { if (key in TURNS) turn(TURNS[key]); });
}
