// The fields of a form: each shows one key of an entry as the file has it, and gives back what the file would have.
// What is wrong with a value is said by the daemon, never here.

import { button, capital, make, plain, setText } from "./dom.js";
import { axisName, language, named, says, t, translated, wireWords } from "./texts.js";

let numbers = 0;
const fresh = (key) => `setup-${key}-${(numbers += 1)}`;

// A label above, the field, and below it how it was understood and what is wrong with it.
function around(key, label, help, control, changed) {
  const id = control.id || (control.id = fresh(key));
  const read = make("output", { class: "reads", for: id });
  const fault = make("p", { class: "fault", id: `${id}-fault` });
  control.setAttribute("aria-describedby", fault.id);
  const field = {
    key, control, touched: false,
    element: make("div", { class: "field", "data-key": key }, make("label", { for: id }, label, help && make("small", {}, help)), control, read, fault),
    setRead: (text) => setText(read, text ? wireWords(text) : ""),
    setFaults(faults) {
      control.setAttribute("aria-invalid", String(faults.some((one) => !one.unlikely)));
      fault.classList.toggle("unlikely", faults.length > 0 && faults.every((one) => one.unlikely));
      fault.replaceChildren(...faults.map((one) => make("span", {}, ...faultWords(one, key))));
    },
  };
  control.addEventListener("input", () => { field.touched = true; changed(); });
  return field;
}

// A fault in one line. What was got and what is wanted may be one sentence of the table.
const bothOf = ({ message, want }) => [message, want].filter(Boolean).join(", ");
// A message about a value may say what is wanted, too.
const halvesOf = ({ message, want }) => (message.includes(", want ") ? [message] : [message, want].filter(Boolean));
const joined = (fault, words) => {
  const { remedy } = fault;
  const both = translated(bothOf(fault)) ? words(bothOf(fault)) : halvesOf(fault).map(words).join(", ");
  return [both, remedy && capital(words(remedy))].filter(Boolean).join(". ");
};

// A fault in the language that was chosen. What the table of texts lacks a part of is quoted as the daemon says it.
export function faultWords(fault, key) {
  const halves = translated(bothOf(fault)) ? [] : halvesOf(fault);
  const parts = [...halves, fault.remedy].filter(Boolean);
  if (language === "en" || parts.every(translated)) return [withoutKey(joined(fault, says), key)];
  return [`${t("setup.in_english")} `, make("q", { lang: "en" }, joined(fault, String))];
}

// Beside its field a key need not be named.
const withoutKey = (words, key) => (key && words.startsWith(`${key}: `) ? capital(words.slice(key.length + 2)) : words);

const orNull = (text) => (text.trim() === "" ? null : text.trim());

export function text(key, label, old, changed, { help, required, ...more } = {}) {
  const control = make("input", { type: "text", autocomplete: "off", autocapitalize: "off", spellcheck: "false", maxlength: 400, required, ...more });
  control.value = old ?? "";
  return Object.assign(around(key, label, help, control, changed), { value: () => orNull(control.value) });
}

// A number is kept as it was written where it is none: the daemon says so.
export function count(key, label, old, changed, more = {}) {
  const field = text(key, label, old === undefined ? "" : String(old), changed, { inputmode: "numeric", ...more });
  const value = () => {
    const typed = orNull(field.control.value);
    return typed !== null && /^[0-9]{1,9}$/.test(typed) ? Number(typed) : typed;
  };
  return Object.assign(field, { value });
}

export function choice(key, label, old, changed, pairs, { help } = {}) {
  const known = pairs.some(([value]) => value === (old ?? ""));
  const all = known ? pairs : [...pairs, [old ?? "", plain(old) ?? "–"]];
  const control = make("select", {}, ...all.map(([value, words]) => make("option", { value }, words)));
  control.value = old ?? "";
  return Object.assign(around(key, label, help, control, changed), { value: () => orNull(control.value), offer: (others) => offer(control, others) });
}

function offer(control, pairs) {
  const chosen = control.value;
  const all = pairs.some(([value]) => value === chosen) ? pairs : [...pairs, [chosen, chosen]];
  control.replaceChildren(...all.map(([value, words]) => make("option", { value }, words)));
  control.value = chosen;
}

export function yes(key, label, old, changed, usual = false) {
  const control = make("input", { type: "checkbox", id: fresh(key) });
  control.checked = old ?? usual;
  const field = around(key, "", null, control, changed);
  field.element.classList.add("choice");
  field.element.replaceChildren(control, make("label", { for: control.id }, label), ...[...field.element.children].slice(2));
  return Object.assign(field, { value: () => (control.checked === usual ? (old === undefined ? null : control.checked) : control.checked) });
}

const MANY = 6; // names that need a row of their own

// Several of some names, in the order in which they were chosen.
export function several(key, label, old, changed, names, words, { help, none } = {}) {
  let chosen = [...(old ?? [])];
  const box = make("div", { class: "several", role: "group", "aria-label": label, id: fresh(key), tabindex: "-1" });
  const field = around(key, label, help, box, changed);
  const draw = () => box.replaceChildren(...[...new Set([...names, ...chosen])].map((name) => {
    const at = chosen.indexOf(name);
    return button({ class: "toggle", "aria-pressed": String(at >= 0), "data-name": name }, at >= 0 && chosen.length > 1 ? `${at + 1} · ${words(name)}` : words(name), () => {
      chosen = at >= 0 ? chosen.filter((one) => one !== name) : [...chosen, name];
      field.touched = true;
      draw();
      changed();
      box.querySelector(`[data-name="${CSS.escape(name)}"]`)?.focus();
    });
  }));
  field.element.classList.toggle("wide", names.length > MANY);
  const group = make("p", { class: "label" }, label, help && make("small", {}, help));
  field.element.querySelector("label").replaceWith(group);
  draw();
  // Offers others; `one` of them is chosen, or what is chosen stays.
  const only = (others, one) => {
    names = others;
    if (one !== undefined) chosen = others.includes(one) ? [one] : [];
    draw();
  };
  return Object.assign(field, { only, value: () => (chosen.length === 0 && none ? null : chosen) });
}

// A heading within a form, of no key.
export const part = (heading) => ({ key: "", element: make("h4", { class: "field wide" }, heading), setRead() {}, setFaults() {}, value: () => null });

// Texts with commas between them, as a list.
export function list(key, label, old, changed, more = {}) {
  const field = text(key, label, (old ?? []).join(", "), changed, more);
  const value = () => {
    const parts = field.control.value.split(/[,;]/).map((one) => one.trim()).filter(Boolean);
    return parts.length === 0 ? null : parts;
  };
  return Object.assign(field, { value });
}

const SIZINGS = ["sae_metric", "awg_area"];

// The wire and the system of a gauge.
export function wire(old, changed, prefix = "") {
  return [
    text("wire", t("setup.field.wire"), old.wire, changed, { help: t("setup.help.wire"), class: "typed" }),
    sizing(old.sizing, changed),
  ].map((field) => Object.assign(field, { pointer: prefix + field.key }));
}

const sizing = (old, changed) => choice("sizing", t("setup.field.sizing"), old, changed, [["", t("setup.sizing.none")], ...SIZINGS.map((name) => [name, t(`setup.sizing.${name}`)])], { help: t("setup.help.sizing") });

// A row of a sheet: the wire, and the limits of each axis.
export function row(old, changed, axes, prefix = "") {
  const limits = axes.map(({ axis, dimension }) => {
    const placeholder = dimension === "force" ? "≥ … N" : "… ± … mm"; // no figures: they would be taken for limits
    const field = text(axis, capital(axisName(axis)), old[axis], changed, { class: "typed", placeholder });
    return Object.assign(field, { pointer: prefix + axis, value: () => asWritten(field.control.value) });
  });
  return [...wire(old, changed, prefix), ...limits];
}

// The file has these signs in ASCII.
const asWritten = (typed) => orNull(typed)?.replace("≥", ">=").replace("≤", "<=").replace(/\+\/-(?=\s*[\d.])/, "±") ?? null;

// The nests of a tool: each a box of its own.
export function nests(old, changed) {
  const box = make("div", { class: "nests" });
  let all = [];
  const field = {
    key: "nest", touched: false, control: box, below: () => all.flatMap((one, at) => one.fields.map((below) => Object.assign(below, { pointer: `nest/${at}/${below.key}` }))),
    element: make("div", { class: "field wide", "data-key": "nest" }, make("p", { class: "label" }, t("setup.field.nest"), make("small", {}, t("setup.help.nest"))), box,
      button({}, t("setup.nest.add"), () => { add({}); changed(); all.at(-1).fields[0].control.focus(); })),
    setRead() {},
    setFaults() {},
    value: () => (all.length === 0 ? null : all.map((one) => Object.fromEntries(one.fields.map((below) => [below.key, below.value() ?? (below.key === "wires" ? [] : null)]).filter(([, value]) => value !== null)))),
  };
  function add(nest) {
    const fields = [
      text("id", t("setup.field.nest_id"), nest.id, changed),
      list("wires", t("setup.field.wires"), nest.wires, changed, { help: t("setup.help.wires") }),
      sizing(nest.sizing, changed),
    ];
    const one = { fields };
    const made = make("div", { class: "nest" }, ...fields.map((below) => below.element), button({ class: "out" }, t("setup.nest.remove"), () => {
      all = all.filter((other) => other !== one);
      made.remove();
      field.touched = true;
      changed();
    }));
    all.push(one);
    box.append(made);
  }
  (old ?? []).forEach(add);
  return field;
}

export const optionsOf = (kind, names) => names.map((name) => [name, named(kind, name)]);
