// The view in which terminals, plans, tools, operators and jobs are set up: what there is, a form, and what the daemon says of
// it while it is typed. It writes the files that people edit; nothing is judged here.

import { confirm } from "./dialogs.js";
import { $, button, capital, keepingFocus, make, setText, shape } from "./dom.js";
import { exchange, NoAnswer } from "./daemon.js";
import { faultWords } from "./setup_fields.js";
import { entriesOf, filesFor, KINDS } from "./setup_forms.js";
import { know, says, t, translated } from "./texts.js";

const PAUSE_MS = 250; // after the last letter
const TABS = ["terminal", "plan", "tool", "operator", "job"];
const SIGNS = ["±", "..", "≥", "≤", " mm", " in", " N", " mm²", " ga"];

let setup = null; // what the daemon said
let kind = "plan";
let form = null; // what is open: { kind, entry, at, terminal, isNew, fields, said, changed }
let who = "";
let afterwards = () => {};

// Opens the view; `operator` is who is at the bench, `done` is called after a change.
export async function openSetup(operator, done) {
  [who, afterwards, form] = [operator ?? who, done, null];
  draw();
  $("setup").showModal();
  await load();
}

async function load() {
  try {
    setup = await exchange("/setup");
    draw();
  } catch (error) {
    banner(error);
  }
}

function draw() {
  const bar = make("div", { class: "setup-bar" },
    make("h2", { id: "setup-heading" }, t("setup.heading")),
    make("div", { class: "setup-tabs", role: "group", "aria-label": t("setup.kinds") }, ...TABS.map((one) =>
      button({ "aria-pressed": String(one === kind), "data-tab": one }, t(`setup.tab.${one}`), () => leave(() => { kind = one; form = null; draw(); $("setup").querySelector(`[data-tab="${one}"]`).focus(); })))),
    button({ class: "setup-close", "data-act": "close" }, t("button.close"), close));
  const view = $("setup");
  view.classList.toggle("has-form", Boolean(form));
  const body = make("div", { class: "setup-body" }, make("div", { class: "setup-list", role: "group", "aria-label": t(`setup.tab.${kind}`) }, ...listed()), make("div", { class: "setup-pane" }, ...pane()));
  // The files may come while somebody is on the way by Tab.
  keepingFocus(view, () => view.replaceChildren(bar, make("p", { id: "setup-banner", role: "alert" }), body));
  if (form) check();
}

function listed() {
  if (!setup) return [make("p", {}, t("setup.loading"))];
  const broken = setup.files.filter((file) => file.fault && file.holds.includes(kind)).map((file) => make("p", { class: "setup-fault", lang: "en" }, `${file.file}: ${file.fault}`));
  const items = entriesOf(setup, kind).map((entry) => {
    const one = KINDS[kind];
    const isOpen = form && !form.isNew && form.owner.file.file === entry.file.file && form.owner.at === entry.at;
    const made = button({ class: "setup-item", "data-key": one.name(entry.values), "aria-pressed": String(Boolean(isOpen)) }, make("b", {}, one.name(entry.values) ?? "?"), () => leave(() => openForm(kind, entry, entry)));
    if (one.more) made.append(make("small", {}, one.more(entry)));
    return made;
  });
  return [button({ class: "main setup-new", "data-act": "new" }, t(`setup.new.${kind}`), () => leave(() => openForm(kind, null, null))), ...broken, ...items];
}

// A form for an entry, or for a new one where there is none. The owner of a row is its terminal.
function openForm(which, entry, owner, row = null) {
  const isNew = which === "row" ? row === null : entry === null;
  const old = which === "row" ? (isNew ? {} : owner.rows[row]) : (entry?.values ?? {});
  const files = filesFor(setup, which === "row" ? "terminal" : which);
  form = { kind: which, owner: owner ?? { file: files.at(-1) ?? setup.files[0], at: 0, values: {} }, hasFile: files.length > 0, isNew, at: row ?? owner?.at ?? 0, terminal: which === "row" ? owner.at : 0, said: null, changed: false };
  form.fields = KINDS[which].fields(old, changed, setup, isNew);
  form.before = JSON.stringify(values());
  draw();
  const first = $("setup").querySelector(".setup-form input, .setup-form select");
  (isNew ? first : $("setup").querySelector(".setup-pane h3"))?.focus();
}

function pane() {
  if (!setup) return [];
  if (!form) return [make("p", { class: "setup-hint" }, t("setup.choose"))];
  const { fields, owner, isNew } = form;
  const one = KINDS[form.kind];
  const what = form.kind === "row" ? `${owner.values.id} · ${isNew ? t("setup.new.row") : one.name(owner.rows[form.at])}` : isNew ? t(`setup.new.${form.kind}`) : one.name(owner.values);
  const signs = one.careful ? make("div", { class: "setup-signs", role: "group", "aria-label": t("setup.signs") }, ...SIGNS.map(sign)) : null;
  const careful = one.careful && make("p", { class: "setup-careful" }, shape("alert"), make("span", {}, t("setup.careful"), form.kind === "row" && make("small", {}, owner.values.source ? t("setup.source", { source: owner.values.source }) : t("setup.no_source"))));
  const rows = form.kind === "terminal" && !isNew && make("section", { class: "setup-rows" }, make("h4", {}, t("setup.rows.heading")),
    make("div", { class: "buttons" }, ...owner.rows.map((row, at) => button({ "data-row": at }, KINDS.row.name(row) ?? "?", () => leave(() => openForm("row", owner, owner, at)))), button({ class: "main", "data-act": "new-row" }, t("setup.new.row"), () => leave(() => openForm("row", owner, owner)))));
  return [
    make("div", { class: "setup-scroll", tabindex: "-1" },
      make("div", { class: "setup-title" }, button({ class: "setup-back", "data-act": "back" }, t("button.back"), () => leave(back)), make("h3", { tabindex: "-1" }, what, make("small", {}, owner.file.file))),
      careful && make("div", { class: "setup-head" }, careful, signs), rows, make("div", { class: "setup-form" }, ...fields.map((field) => field.element))),
    make("div", { class: "setup-save" },
      make("ul", { id: "setup-elsewhere" }),
      make("div", { class: "setup-sign" }, whoField(), button({ class: "main", "data-act": "save" }, t("setup.save"), save), !isNew && button({ "data-act": "remove" }, t("setup.remove"), remove),
        make("details", { class: "setup-diff" }, make("summary", {}, t("setup.diff")), make("pre", { id: "setup-diff", tabindex: "0", "aria-label": t("setup.diff") }))),
      make("p", { id: "setup-answer", role: "status" })),
  ].filter(Boolean);
}

function whoField() {
  const input = make("input", { type: "text", id: "setup-who", autocomplete: "off", maxlength: 100 });
  input.value = who;
  input.addEventListener("input", () => { who = input.value; });
  return make("span", { class: "setup-who" }, make("label", { for: "setup-who" }, t("setup.who")), input);
}

// Puts a sign where the cursor is: on a screen's keyboard they are hard to find.
let typedIn = null;

function sign(text) {
  const made = button({}, text.trim(), () => {
    if (!typedIn?.isConnected) typedIn = $("setup").querySelector(".setup-form .typed");
    typedIn.focus();
    typedIn.setRangeText(text, typedIn.selectionStart, typedIn.selectionEnd, "end");
    typedIn.dispatchEvent(new Event("input", { bubbles: true }));
  });
  made.addEventListener("pointerdown", (event) => event.preventDefault()); // the keyboard stays
  return made;
}

export function remember(event) {
  if (event.target.matches?.(".setup-form .typed")) typedIn = event.target;
}

// ---- messages ----

const all = () => form.fields.flatMap((field) => [field, ...(field.below?.() ?? [])]);

const flat = () => Object.fromEntries(form.fields.filter((field) => field.key).map((field) => [field.key, field.value()]));

function values() {
  const said = KINDS[form.kind].values?.(flat(), form.isNew) ?? flat();
  return form.isNew ? withoutNull(said) : said;
}

const withoutNull = (said) => Object.fromEntries(Object.entries(said).filter(([, value]) => value !== null && value !== undefined));

function request(change, more = {}) {
  const { owner, hasFile, at, terminal } = form;
  return { list: form.kind, change, file: hasFile ? owner.file.file : undefined, digest: owner.file.digest, terminal, at, values: change === "remove" ? {} : values(), ...more };
}

let waiting;
let asked = 0;

function changed() {
  if (!form?.fields) return;
  form.changed = JSON.stringify(values()) !== form.before;
  clearTimeout(waiting);
  waiting = setTimeout(check, PAUSE_MS);
}

async function check() {
  if (!form) return;
  if (form.kind === "job" && form.isNew && !form.changed) return; // a row without a cell is no row
  const number = (asked += 1);
  const checked = form;
  try {
    const said = await exchange("/setup", request(form.isNew ? "add" : "set"));
    if (number === asked && form === checked) show(said);
  } catch (error) {
    if (number === asked && form === checked) banner(error);
  }
}

// The field that a pointer is about: the one with the longest beginning of it.
function fieldOf(pointer) {
  const parts = pointer.slice(1).split("/");
  for (let count = parts.length; count > 0; count -= 1) {
    const found = all().find((field) => (field.pointer ?? field.key) === parts.slice(0, count).join("/"));
    if (found) return found;
  }
  return null;
}

// Faults of a field that nobody has come to yet are not shown before somebody wants to save.
function show(said, everything = false) {
  form.said = said;
  know("setup", said.texts);
  banner(null);
  const faults = [...(said.faults ?? []), ...(said.warnings ?? []).map((one) => ({ ...one, unlikely: true }))];
  const placed = new Map();
  const elsewhere = [];
  for (const fault of faults) {
    const field = fault.pointer === undefined ? null : fieldOf(fault.pointer);
    if (field) placed.set(field.element, [...(placed.get(field.element) ?? []), fault]);
    else if (fault.pointer === undefined || everything || !form.isNew) elsewhere.push(fault);
  }
  for (const field of all()) {
    const own = placed.get(field.element) ?? [];
    field.setFaults(everything || !form.isNew || isTouched(field) ? own : []);
    const path = `/${field.pointer ?? field.key}`;
    field.setRead((said.reads ?? []).find((one) => one.pointer === path)?.text);
  }
  $("setup-elsewhere").replaceChildren(...elsewhere.slice(0, 4).map((fault) => make("li", {}, shape("alert"), make("span", {}, `${fault.before ? `${t("setup.before")} ` : ""}${fault.file}:${fault.line}: `, ...faultWords(fault)))));
  $("setup-diff").replaceChildren(...(said.diff ?? []).map((line) => make("span", { class: line.sign === "+" ? "added" : "gone" }, `${line.sign} ${line.text}`)));
}

const isTouched = (field) => form.fields.some((one) => one.element === field.element ? one.touched : one.below && one.element.contains(field.element)) || field.touched;

function banner(error) {
  const box = $("setup-banner");
  if (!error) return box.replaceChildren();
  know("error", error.texts);
  const words = error instanceof NoAnswer ? t("no_answer") : [says(error.message), error.remedy && capital(says(error.remedy))].filter(Boolean).join(". "); // it may begin with the name of a file
  box.replaceChildren(shape("refused"), make("span", { lang: error instanceof NoAnswer || translated(error.message) ? undefined : "en" }, words), button({ "data-act": "reload" }, t("setup.reload"), reload));
}

// ---- what is done ----

async function save() {
  if (!signed()) return;
  const change = form.isNew ? "add" : "set";
  if (!form.isNew && !form.changed) return answer(t("setup.unchanged"));
  await write(change);
}

async function remove() {
  if (!signed()) return;
  const name = $("setup").querySelector(".setup-title h3").firstChild.textContent;
  if (await confirm(t("setup.remove.heading", { name }), t("setup.remove.words", { file: form.owner.file.file }), t("setup.remove"), t("setup.keep"))) await write("remove");
}

// It is entered who changes something.
function signed() {
  who = $("setup-who").value.trim();
  if (who) return true;
  $("setup-who").setAttribute("aria-invalid", "true");
  $("setup-who").focus();
  answer(t("setup.who.missing"));
  return false;
}

async function write(change) {
  clearTimeout(waiting);
  asked += 1;
  const written = form;
  const name = form.fields[0].value();
  let said;
  try {
    said = await exchange("/setup", request(change, { write: true, who }));
  } catch (error) {
    return banner(error);
  }
  if (form !== written) return;
  if (!said.written) {
    show(said, true);
    answer(t("setup.not_saved"));
    $("setup").querySelector('[aria-invalid="true"]')?.focus();
    return;
  }
  const { not_in_force: refused } = said.written;
  afterwards();
  form = null;
  await load();
  const isRow = written.kind === "row";
  const owner = entriesOf(setup, isRow ? "terminal" : written.kind).find((one) => one.file.file === written.owner.file.file && (change === "add" && !isRow ? KINDS[written.kind].name(one.values) === name : one.at === written.owner.at));
  if (change !== "remove" && owner) openForm(isRow ? "terminal" : written.kind, owner, owner);
  else if (isRow && owner) openForm("terminal", owner, owner);
  else draw();
  if (refused) banner(refused);
  else say(t(change === "remove" ? "setup.removed" : "setup.saved"));
}

// An answer stands in the form, or above the list where none is open.
function say(text) {
  if ($("setup-answer")) answer(text);
  else $("setup-banner").replaceChildren(make("span", {}, text));
}

const answer = (text) => setText($("setup-answer"), text);

// What was typed stays; the files are as they are now.
async function reload() {
  const held = form;
  form = null;
  await load();
  if (!held || !setup) return;
  const kind = held.kind === "row" ? "terminal" : held.kind;
  const name = KINDS[kind].name(held.owner.values);
  const owner = held.isNew && held.kind !== "row" ? { ...held.owner, file: setup.files.find((file) => file.file === held.owner.file.file) ?? setup.files[0] } : entriesOf(setup, kind).find((one) => KINDS[kind].name(one.values) === name);
  if (!owner) return draw();
  form = { ...held, owner, at: held.kind === "row" ? held.at : owner.at, terminal: held.kind === "row" ? owner.at : 0 };
  draw();
}

function back() {
  if (form.kind === "row") return openForm("terminal", form.owner, form.owner);
  form = null;
  draw();
  $("setup").querySelector(".setup-new")?.focus();
}

// Leaves a form, unless something was typed and the operator wants to stay.
async function leave(then) {
  if (form?.changed && !(await confirm(t("setup.leave.heading"), t("setup.leave.words"), t("setup.leave.yes"), t("setup.leave.no")))) return;
  if (form) form.changed = false;
  then();
}

function close() {
  leave(() => { form = null; $("setup").close(); });
}

export function listen() {
  $("setup").addEventListener("focusin", remember);
  $("setup").addEventListener("cancel", (event) => { event.preventDefault(); close(); });
}

// The same in another language.
export function redraw() {
  if (!$("setup").open) return;
  if (form) {
    const touched = form.fields.map((field) => field.touched);
    form.fields = KINDS[form.kind].fields(withoutNull(flat()), changed, setup, form.isNew);
    form.fields.forEach((field, at) => { field.touched = touched[at]; });
  }
  draw();
}
