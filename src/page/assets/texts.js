// The texts of the page in the chosen language, from texts.json. Numbers and times follow that language.

import { plain } from "./dom.js";

export const LANGUAGES = { en: "English", de: "Deutsch", es: "Español" };
const table = await (await fetch("/texts.json")).json();

const wished = localStorage.getItem("language") ?? navigator.language.slice(0, 2);
export let language = wished in LANGUAGES ? wished : "en";

export function choose(chosen) {
  language = chosen;
  localStorage.setItem("language", chosen);
  fill();
}

// The row of a key. Where a sentence of the daemon names a command or a key of a file, a row of the page's own says what
// a finger can do.
const rowOf = (key) => table[key.replace(/^daemon\./, "page.")] ?? table[key];

// The text of a key. If the number `n` is 1, the key with `.one` is used where it exists.
export function t(key, values = {}) {
  const row = (values.n === 1 && table[`${key}.one`]) || rowOf(key);
  if (!row) return key;
  return row[language].replace(/\{(\w+)[#@*~!]?\}/g, (_, name) => part(values[name]) ?? "");
}

// What stands at a place of a text: itself, a number, or a text that has a key.
function part(value) {
  if (typeof value !== "object" || value === null) return value;
  if (value.number) return number(value.number);
  if (value.date) return new Date(`${value.date}T00:00`).toLocaleDateString(language, { dateStyle: "medium" });
  return value.list ? value.list.map(part).join(", ") : t(value.key, value.with);
}

// The sentences of the daemon that were sent last, each with its key and what stands at its places.
const sentences = { state: {}, plans: {}, error: {}, notice: {}, setup: {}, qualified: {} };

export function know(source, texts) {
  sentences[source] = texts ?? {};
}

// The key of a sentence of the daemon, with what stands at its places.
export const keyed = (sentence) => Object.values(sentences).map((texts) => texts[sentence]).find((one) => one && table[one.key]);
export const keyOf = (sentence) => keyed(sentence)?.key;

// The keys of the texts that stand at a place of a sentence.
export function keysAt(sentence, place) {
  const within = (part) => (part?.list ?? Object.values(part?.with ?? {})).flatMap((one) => [one?.key, ...within(one)]);
  return within(keyed(sentence)?.with?.[place]).filter(Boolean);
}

// A sentence of the daemon in the language that was chosen, as a whole or as what it may be joined with.
export function translated(sentence) {
  const found = keyed(sentence);
  return found && t(found.key, found.with);
}
export const says = (sentence) => translated(sentence) ?? sentence;

export const has = (key) => key in table;

// The text of a name, such as an axis or a reason. A name without a text is shown as words.
export const named = (kind, name) => (table[`${kind}.${name}`] ? t(`${kind}.${name}`) : name.replaceAll("_", " "));
const BLOCK = /^gauge_block_([\d.]+)_(\w+)$/;
export function axisName(axis) {
  const [, size, unit] = BLOCK.exec(axis) ?? [];
  return size ? t("axis.gauge_block", { size: number(`${size} ${unit}`) }) : named("axis", axis);
}

// A value or limits with the decimal sign of the language.
export function number(text) {
  const signed = text?.replace(">=", "≥").replace("<=", "≤");
  return language === "en" ? signed : signed?.replace(/(\d)\.(\d)/g, "$1,$2");
}

// Limits as the daemon has them.
export const limitsWords = (text) => (text === "no limit" ? t("limits.none") : number(text));

// A wire in words, with area and gauge.
export const wireWords = (text) => translated(text) ?? number(text);

export const clock = (at) => new Date(at).toLocaleTimeString(language, { hour: "2-digit", minute: "2-digit", second: "2-digit", hour12: false });
export const day = (at) => new Date(at).toLocaleString(language, { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit", hour12: false });

// The texts in index.html.
export function fill() {
  document.documentElement.lang = language;
  for (const element of document.querySelectorAll("[data-text]")) element.textContent = plain(t(element.dataset.text));
  for (const element of document.querySelectorAll("[data-label]")) element.setAttribute("aria-label", t(element.dataset.label));
  for (const element of document.querySelectorAll("[data-placeholder]")) element.placeholder = t(element.dataset.placeholder);
}
