// Dialogs over the screen: operator, tool, free choice, events, service view, reasons.

import { $, button, capital, make, open, refill, setText, shape } from "./dom.js";
import { axisName, clock, day, LANGUAGES, language, named, number, says, t, translated } from "./texts.js";
import { call } from "./daemon.js";
import { offered } from "./plans.js";

// A question with two answers; true if the first button was pressed.
export function confirm(heading, sentence, yes, no) {
  setText($("confirm-heading"), heading);
  setText($("confirm-words"), sentence);
  setText($("confirm-yes"), yes);
  setText($("confirm-no"), no);
  $("confirm").showModal();
  return new Promise((resolve) => {
    const listening = new AbortController();
    const answered = (yes) => {
      listening.abort();
      resolve(yes);
    };
    // Not by `close`, which comes late: the same question may be open again by then.
    $("confirm").addEventListener("submit", (event) => answered(event.submitter.value === "yes"), listening);
    $("confirm").addEventListener("cancel", () => answered(false), listening);
  });
}

// ---- operator and tool ----

export function openOperator(here, say) {
  const names = offered().operators.filter((name) => name !== here.operator);
  $("operator-name").value = "";
  $("operator-known").replaceChildren(...names.slice(0, 8).map((name) => button({}, name, () => closeAfter("operator", say("operator", { operator: name })))));
  open("operator");
}

export function openTool(here, say) {
  const tools = offered().tools.flatMap((tool) => (tool.nests.length ? tool.nests.map((nest) => [tool, nest]) : [[tool, null]]));
  const label = ([tool, nest]) => [nest ? t("tool.short", { tool: tool.tool, nest: nest.nest }) : tool.tool, make("small", {}, [tool.class === "repair" && t("tool.repair"), nest?.wires.map(number).join(", "), tool.terminals.join(", ")].filter(Boolean).join(" · "))];
  $("tool-known").replaceChildren(...tools.map((choice) => {
    const [tool, nest] = choice;
    const made = button({ class: "choose" }, "", () => closeAfter("tool", say("tool", nest ? { tool: tool.tool, nest: nest.nest } : { tool: tool.tool })));
    made.append(...label(choice));
    return made;
  }));
  setText($("tool-none"), tools.length === 0 ? t("tool.none") : "");
  open("tool");
}

async function closeAfter(id, said) {
  if (await said) $(id).close();
}

// ---- free choice ----

let catalog = null;

const options = (select, pairs) => select.replaceChildren(...pairs.map(([value, text]) => make("option", { value }, text)));
const terminal = () => catalog.terminals.find((one) => one.terminal === $("own-terminal").value);

export async function openOwn() {
  setText($("own-answer"), "");
  catalog = await call("catalog");
  options($("own-terminal"), catalog.terminals.map((one) => [one.terminal, one.terminal]));
  options($("own-purpose"), catalog.purposes.filter((one) => one !== "verification").map((one) => [one, named("purpose", one)]));
  $("own-purpose").value = "in_process";
  chooseTerminal();
  open("own");
}

export function chooseTerminal() {
  options($("own-wire"), (terminal()?.rows ?? []).map((row) => [row.wire, number(row.wire)]));
  const fits = catalog.tools.filter((one) => one.terminals.length === 0 || one.terminals.includes(terminal()?.terminal));
  options($("own-tool"), [["", t("own.none")], ...fits.map((one) => [one.tool, one.class === "repair" ? `${one.tool} (${t("tool.repair")})` : one.tool])]);
  chooseWire();
}

export function chooseWire() {
  const row = terminal()?.rows.find((one) => one.wire === $("own-wire").value);
  $("own-axes").replaceChildren(...(row?.axes ?? []).map((one, index) => make("p", { class: "choice" },
    make("input", { type: "checkbox", id: `axis-${index}`, value: one.axis, checked: index === 0 }),
    make("label", { for: `axis-${index}` }, axisName(one.axis), make("small", {}, number(one.limits))))));
  chooseTool();
}

export function chooseTool() {
  const tool = catalog.tools.find((one) => one.tool === $("own-tool").value);
  const nests = (tool?.nests ?? []).filter((one) => one.wires.includes($("own-wire").value));
  options($("own-nest"), nests.length ? nests.map((one) => [one.nest, one.nest]) : [["", t("own.none")]]);
}

// The parameters of `arm` for the choice.
export function ownChoice() {
  const chosen = {
    terminal: $("own-terminal").value, wire: $("own-wire").value, pieces: Number($("own-pieces").value), purpose: $("own-purpose").value,
    axes: [...$("own-axes").querySelectorAll("input:checked")].map((one) => one.value),
  };
  if ($("own-tool").value) chosen.tool = $("own-tool").value;
  if ($("own-nest").value) chosen.nest = $("own-nest").value;
  return chosen;
}

// ---- reason for retracting the reading of a destroyed piece ----

let doomed = null;

export function askReason(one) {
  doomed = one.seq;
  setText($("why-what"), t("why.what", { piece: one.piece, axis: axisName(one.axis), value: number(one.value) }));
  $("why-reason").value = "";
  open("why");
}

export const reasonGiven = () => ({ seq: doomed, reason: $("why-reason").value.trim() });

// ---- events, and information about ports ----

export function showHistory(bench, may, retract) {
  refill($("history-list"), bench.recent.map((one) => {
    const item = make("li", { "data-tone": one.fate ? "not_counted" : one.tone, "data-key": one.seq, value: one.seq },
      shape(one.fate ? "not_counted" : one.tone), make("time", { datetime: one.at }, clock(one.at)), make("span", { class: "seq" }, one.kind === "reading" && `#${one.seq}`),
      make("span", { class: one.fate ? "words gone" : "words", lang: translated(one.words) ? undefined : "en" }, says(one.words)), one.fate && make("b", {}, t(`fate.${one.fate}`)));
    if (one.may_be_retracted && may) {
      const label = t("button.retract");
      item.append(button({ "data-key": `r${one.seq}`, "aria-label": `${label}: ${says(one.words)}` }, label, () => retract(bench.readings.find((known) => known.seq === one.seq) ?? one)));
    }
    return item;
  }));
}

const ZEROS = { good: "zero_ok", off: "zero_off", due: "zero", moved: "zero_off", none: "plain" };

// The state of an instrument, as shape and words.
export function instrumentWords(one, bench) {
  const zero = bench.zeros.find((known) => known.instrument === one.instrument);
  if (!one.attached) return ["unplugged", t("instrument.unplugged")];
  if (one.adapter_meant) return ["adapter", t("instrument.adapter")];
  if (one.rivals?.length) return ["shared", t("instrument.shared")];
  if (one.zero_said) return ["zero", t("instrument.zero_said")];
  const kind = zero?.zero ?? "none";
  return [ZEROS[kind], t(`instrument.zero.${kind}`, { since: zero?.since ? clock(zero.since) : "" })];
}

export function showService(state, bench, station) {
  const here = state.state.instruments.filter((one) => one.station === station);
  const row = (name, value) => value && [make("dt", {}, t(name)), make("dd", {}, value)];
  $("service-instruments").replaceChildren(...here.map((one) => {
    const [drawn, words] = instrumentWords(one, bench);
    const trouble = (state.troubles ?? []).find((known) => known.instrument === one.instrument);
    const facts = [
      row("service.port", one.port), row("service.line", one.line), row("service.adapter", one.identity), row("service.socket", one.socket), row("service.meant", one.adapter_meant),
      row("service.rivals", one.rivals?.join(", ")), row("service.lost", one.attached ? null : one.detached_because && says(one.detached_because)), row("service.trouble", trouble && [trouble.message, trouble.remedy].filter(Boolean).map((text) => capital(says(text))).join(". ")),
    ];
    return make("section", { "data-instrument": one.instrument }, make("h3", {}, shape(drawn), `${one.instrument}: ${words}`), make("dl", {}, ...facts.filter(Boolean).flat()));
  }));
  const sinks = (state.sinks ?? []).map((sink) => [make("dt", {}, `${sink.sink} (${sink.kind})`), make("dd", {}, sink.failing ? `${t("sink.failing", { since: clock(sink.failing.since), n: sink.behind })} ${says(sink.failing.error)}. ${capital(says(sink.failing.remedy))}` : [soFar(sink), over(sink)])]);
  $("service-daemon").replaceChildren(...[row("service.version", state.version), row("service.journal", `${state.journal}, #${state.state.seq ?? 0}, ${named("health", state.journal_health)}`), row("service.key", sealing(state))].flat(), ...sinks.flat());
}

// The signing key with how far its seals reach; that there is none; or why nothing is sealed, as a warning.
function sealing({ signing_key: known, key_trouble: trouble }) {
  if (trouble) return make("span", { class: "trouble" }, make("strong", {}, t("key.trouble")), ` ${says(trouble.message)}. ${capital(says(trouble.remedy))}`);
  if (!known) return t("key.none");
  return t(known.up_to === undefined ? "key.unsealed" : "key.sealed", { key: known.key, seq: known.up_to });
}

// Entries since the last time stamp are no fault: the next one covers them.
function soFar({ kind, after, behind }) {
  if (kind !== "timestamp") return t("sink.behind", { n: behind });
  return after === 0 ? t("sink.unstamped") : t("sink.stamped", { after, n: behind });
}

// The last failure that is over, quietly: nobody needs to act.
function over({ recovered }) {
  if (!recovered) return null;
  const { since, until, error } = recovered;
  return make("span", { class: "over" }, `${t("sink.recovered", { since: day(since), until: day(until) })} ${says(error)}`);
}

export function showLanguages(choose) {
  $("languages").replaceChildren(...Object.entries(LANGUAGES).map(([code, name]) => button({ lang: code, "data-language": code, "aria-pressed": String(code === language) }, name, () => choose(code))));
}

// ---- warnings: one line that opens ----

// Warnings of the series, alerts of run rules, and problems of sinks, folders and journal; `saysHeld` if the main display says what
// is held.
export function warningsOf(state, here, bench, notice, saysHeld) {
  const armed = here.armed;
  const failing = (state.sinks ?? []).filter((sink) => sink.failing);
  const before = armed && bench.closed && bench.closed.aside.length > 0 && bench.readings.length === 0 ? [t("warning.before", { series: bench.closed.series, outcome: t(`outcome.${bench.closed.outcome}`), list: [...new Set(bench.closed.aside.map((one) => one.piece))].join(", ") })] : [];
  const folders = (state.folders ?? []).filter((one) => one.station === here.station);
  return [
    ...(here.production?.held_says && !saysHeld ? [{ text: capital(says(here.production.held_says)), alert: true }] : []),
    ...(armed && here.production?.open?.due && armed.plan !== here.production.open.plan ? [{ text: capital(says(here.production.open.says)), alert: true }] : []),
    ...before.map((text) => ({ text })),
    ...(armed?.alerts ?? []).map((one) => ({ text: capital(says(one.text)), alert: true })).toReversed(),
    ...(notice ? [{ text: [notice.message, notice.remedy].filter(Boolean).map((text) => capital(says(text))).join(". ") }] : []),
    ...failing.map((sink) => ({ text: `${t("sink.warning", { sink: sink.sink, since: clock(sink.failing.since), n: sink.behind })} ${capital(says(sink.failing.error))}. ${capital(says(sink.failing.remedy))}.` })),
    ...folders.map((one) => ({ text: `${capital(says(one.message))}. ${capital(says(one.remedy))}.` })),
    ...(armed?.warnings ?? []).map((text) => ({ text: capital(says(text)) })),
  ];
}

export function showWarnings(list) {
  const line = $("warnings");
  line.hidden = list.length === 0;
  if (list.length === 0) return;
  line.dataset.alert = String(list.some((one) => one.alert));
  setText($("warnings-first"), list[0].text);
  setText($("warnings-count"), list.length > 1 ? t("warnings.more", { n: list.length - 1 }) : t("warnings.open"));
  refill($("warnings-list"), list.map((one) => make("li", { "data-tone": one.alert ? "alert" : undefined }, shape("alert"), make("span", {}, one.text))));
}
