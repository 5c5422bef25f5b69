// A form for each kind of entry. To add a kind: a row in KINDS, its fields, its texts; the daemon knows it by `list`.

import { choice, count, list, nests, optionsOf, part, row, several, text, wire, yes } from "./setup_fields.js";
import { axisName, t } from "./texts.js";

// What is in all files of a kind: each entry with its file.
export const entriesOf = (setup, kind) => setup.files.flatMap((file) => file.entries.filter((entry) => entry.list === kind).map((entry) => ({ ...entry, file })));
// The files that may hold one of a kind.
export const filesFor = (setup, kind) => setup.files.filter((file) => file.holds.includes(kind));

const field = (key) => t(`setup.field.${key}`);
const help = (key) => t(`setup.help.${key}`);
const name = (old, changed) => text("id", field("id"), old.id, changed, { help: help("id"), required: true });
const wireText = (values) => (values.sizing ? `${values.wire} (${t(`setup.sizing.${values.sizing}`)})` : values.wire);

export const KINDS = {
  terminal: {
    name: (values) => values.id,
    more: (entry) => t("setup.rows", { n: entry.rows?.length ?? 0 }),
    fields: (old, changed, setup, isNew) => [
      name(old, changed),
      text("source", field("source"), old.source, changed, { help: help("source"), required: true }),
      ...(isNew ? [part(t("setup.rows.first")), ...row(old, changed, setup.axes, "row/0/")] : [text("repair_needs", field("repair_needs"), old.repair_needs, changed, { help: help("repair_needs") })]),
    ],
    // A new terminal comes with its first row.
    values: (flat, isNew) => (isNew ? withRow(flat) : flat),
    careful: true,
  },
  row: {
    name: (values) => wireText(values),
    fields: (old, changed, setup) => row(old, changed, setup.axes),
    careful: true,
  },
  plan: {
    name: (values) => values.id,
    more: ({ values }) => [values.terminal ?? values.instrument, values.wire && wireText(values)].filter(Boolean).join(" · "),
    fields: (old, changed, setup) => (old.instrument || old.blocks ? ofBlocks : ofCrimps)(old, changed, setup),
  },
  tool: {
    name: (values) => values.id,
    more: ({ values }) => t(`setup.class.${values.class}`),
    fields: (old, changed, setup) => [
      name(old, changed),
      choice("class", field("class"), old.class ?? "production", changed, setup.classes.map((one) => [one, t(`setup.class.${one}`)]), { help: help("class") }),
      several("terminals", field("terminals"), old.terminals, changed, entriesOf(setup, "terminal").map((one) => one.values.id), (one) => one, { help: help("terminals"), none: true }),
      text("last_check", field("last_check"), old.last_check, changed, { type: "date" }),
      text("check_due", field("check_due"), old.check_due, changed, { type: "date" }),
      count("check_every_crimps", field("check_every_crimps"), old.check_every_crimps, changed),
      count("crimps_before", field("crimps_before"), old.crimps_before, changed, { help: help("crimps_before") }),
      nests(old.nest, changed),
    ],
  },
  operator: {
    name: (values) => values.name,
    fields: (old, changed) => [text("name", field("name"), old.name, changed, { help: help("name"), required: true })],
  },
  // A row of the list that a spreadsheet saved.
  job: {
    name: (values) => values.job,
    more: ({ values }) => [values.customer, values.item].filter(Boolean).join(" · "),
    fields: (old, changed, setup) => [
      text("job", field("job"), old.job, changed, { help: help("job"), required: true }),
      ...["customer", "item", "reference"].map((key) => text(key, field(key), old[key], changed, { help: help(key) })),
      several("plans", field("plans"), old.plans, changed, entriesOf(setup, "plan").map((one) => one.values.id), (one) => one, { help: help("plans"), none: true }),
    ],
  },
};

// What is in the first row stands below `row`, by the axes of the form.
function withRow(flat) {
  const { id, source, ...first } = flat;
  return { id, source, row: [Object.fromEntries(Object.entries(first).filter(([, value]) => value !== null))] };
}

const orders = (old, changed, setup) => choice("order", field("order"), old.order ?? "", changed, [["", t("setup.order.usual")], ...setup.orders.map((one) => [one, t(`setup.order.${one}`)])]);
const purposes = (old, changed, setup, fits) => choice("purpose", field("purpose"), old.purpose ?? "first_off", changed, optionsOf("purpose", setup.purposes.filter(fits)));

function ofCrimps(old, changed, setup) {
  const terminals = entriesOf(setup, "terminal");
  const tools = entriesOf(setup, "tool").map((one) => one.values);
  const none = ["", t("own.none")];
  const nestsOf = (id) => [none, ...(tools.find((one) => one.id === id)?.nest ?? []).map((one) => [one.id, one.id])];
  const nest = choice("nest", field("nest_of"), old.nest, changed, nestsOf(old.tool));
  const tool = choice("tool", field("tool"), old.tool, () => { nest.offer(nestsOf(tool.control.value)); changed(); }, [none, ...tools.map((one) => [one.id, one.id])]);
  const [size, sizing] = wire(old, changed);
  const rowsOf = (id) => terminals.find((one) => one.values.id === id)?.rows ?? [];
  const terminal = choice("terminal", field("terminal"), old.terminal ?? terminals[0]?.values.id, () => { offerRows(); offerAxes(); changed(); }, terminals.map((one) => [one.values.id, one.values.id]));
  // The wires of the terminal's sheet, one press each.
  const rows = several("", t("setup.rows.offer"), [], () => {
    const chosen = rowsOf(terminal.control.value).find((one) => wireText(one) === rows.value().at(-1));
    if (!chosen) return;
    // A row for a range of sizes does not say which of them the wire has.
    [size.control.value, sizing.control.value] = [chosen.wire.includes("..") ? "" : chosen.wire, chosen.sizing ?? ""];
    offerRows();
    offerAxes();
    size.touched = true;
    changed();
  }, [], (one) => one);
  const offerRows = () => rows.only(rowsOf(terminal.control.value).map(wireText), wireText({ wire: size.control.value, sizing: sizing.control.value }));
  // The axes that its sheet has limits for; a wire that no row has may be any of them.
  const axes = several("axes", field("axes"), old.axes, changed, [], axisName, { help: help("axes") });
  const offerAxes = () => {
    const all = rowsOf(terminal.control.value);
    const fits = all.filter((one) => one.wire === size.control.value);
    const has = (axis) => (fits.length > 0 ? fits : all).some((one) => one[axis]);
    axes.only(setup.axes.map((one) => one.axis).filter((axis) => has(axis) || all.length === 0));
  };
  offerRows();
  offerAxes();
  return [
    name(old, changed), terminal, rows, size, sizing,
    axes,
    count("pieces", field("pieces"), old.pieces ?? 5, changed),
    purposes(old, changed, setup, (one) => one !== "verification"),
    orders(old, changed, setup), tool, nest,
    choice("decision", field("decision"), old.decision ?? "", changed, [["", t("setup.decision.usual")], ["simple", t("setup.decision.simple")], ["guarded", t("setup.decision.guarded")]], { help: help("decision") }),
    yes("repeat", field("repeat"), old.repeat, changed),
  ];
}

function ofBlocks(old, changed, setup) {
  return [
    name(old, changed),
    text("instrument", field("instrument"), old.instrument, changed),
    list("blocks", field("blocks"), old.blocks, changed, { help: help("blocks") }),
    count("repeats", field("repeats"), old.repeats, changed),
    orders(old, changed, setup),
  ];
}
