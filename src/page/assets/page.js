// The bench page: shows the state that the daemon sends after each change, and says what the operator says.
// Nothing is folded here. All text is set as text, so that a note with markup in it shows as it was written.
"use strict";

const SIGN_OF_LIFE_MS = 12000; // the daemon sends something every 5 s
const $ = (id) => document.getElementById(id);
const SVG = "http://www.w3.org/2000/svg";

// What could turn the direction of reading or steer the eye, shown as an escape: as `safe` in src/quantity/safe.rs.
const UNSAFE = /[\u0000-\u001f\u007f-\u009f\u061c\u200e\u200f\u2028-\u202e\u2066-\u206f\ufff9-\ufffb]/g;
const plain = (text) => (typeof text === "string" ? text.replace(UNSAFE, (c) => `\\u{${c.codePointAt(0).toString(16)}}`) : text);

// An element with attributes and children; a text is a text.
function make(name, attributes = {}, ...children) {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === true) element.setAttribute(key, "");
    else if (value !== false && value !== undefined) element.setAttribute(key, plain(value));
  }
  element.append(...children.map(plain));
  return element;
}

function draw(name, attributes = {}, text) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, plain(value));
  if (text !== undefined) element.textContent = plain(text);
  return element;
}

// Replaces what is in a list, and leaves the focus where it was.
function refill(parent, children) {
  const focused = parent.contains(document.activeElement) ? document.activeElement.dataset.key : undefined;
  parent.replaceChildren(...children);
  if (focused) parent.querySelector(`[data-key="${CSS.escape(focused)}"]`)?.focus();
}

function setText(element, text) {
  const shown = plain(text);
  if (element.textContent !== shown) element.textContent = shown;
}

const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);
const words = (name) => name.replaceAll("_", " ");

// ---- who we are ----

// The token stands behind the # once, and is kept for this tab only.
const token = (() => {
  const given = /(?:^#|&)token=([0-9a-fA-F]{64})/.exec(location.hash)?.[1];
  if (given) {
    sessionStorage.setItem("token", given);
    history.replaceState(null, "", location.pathname + location.search);
  }
  return given ?? sessionStorage.getItem("token");
})();
const mayCommand = token !== null;

let shown = null; // the last state
let station = new URLSearchParams(location.search).get("station") ?? sessionStorage.getItem("station");
let heard = null; // the newest happening that was sounded

// ---- shapes: one for each tone, told apart without colour ----

const SHAPES = {
  pass: [["circle", { cx: 50, cy: 50, r: 46, fill: "currentColor" }], ["path", { d: "M26 52l17 17 32-36", fill: "none", stroke: "var(--card)", "stroke-width": 12 }]],
  fail_low: [["path", { d: "M4 8h92L50 78z", fill: "currentColor" }], ["path", { d: "M8 92h84", stroke: "currentColor", "stroke-width": 12 }]],
  fail_high: [["path", { d: "M4 92h92L50 22z", fill: "currentColor" }], ["path", { d: "M8 8h84", stroke: "currentColor", "stroke-width": 12 }]],
  unsure: [["path", { d: "M50 6l44 44-44 44L6 50z", fill: "none", stroke: "currentColor", "stroke-width": 9 }], ["path", { d: "M30 57q10-16 20-7t20-7", fill: "none", stroke: "currentColor", "stroke-width": 9 }]],
  not_counted: [["circle", { cx: 50, cy: 50, r: 42, fill: "none", stroke: "currentColor", "stroke-width": 9, "stroke-dasharray": "18 11" }], ["path", { d: "M22 78l56-56", stroke: "currentColor", "stroke-width": 9 }]],
  zero_ok: [["path", { d: "M4 6h44v88H32V32H4zM96 6H52v88h16V32h28z", fill: "currentColor" }]],
  zero_off: [["path", { d: "M0 6h34v88H20V32H0zM100 6H66v88h14V32h20z", fill: "currentColor" }], ["path", { d: "M50 14v50M50 76v14", stroke: "currentColor", "stroke-width": 12 }]],
  alert: [["path", { d: "M8 8h84v84H8z", fill: "none", stroke: "currentColor", "stroke-width": 9 }], ["path", { d: "M50 22v36M50 68v12", stroke: "currentColor", "stroke-width": 11 }]],
  accepted: [["path", { d: "M6 6h88v88H6z", fill: "currentColor" }], ["path", { d: "M24 52l18 18 34-38", fill: "none", stroke: "var(--card)", "stroke-width": 12 }]],
  rejected: [["path", { d: "M6 6h88v88H6z", fill: "currentColor" }], ["path", { d: "M28 28l44 44M72 28L28 72", stroke: "var(--card)", "stroke-width": 12 }]],
  undecided: [["path", { d: "M10 10h80v80H10z", fill: "none", stroke: "currentColor", "stroke-width": 9 }], ["path", { d: "M28 57q11-16 22-7t22-7", fill: "none", stroke: "currentColor", "stroke-width": 9 }]],
  plain: [["path", { d: "M14 50h72", stroke: "currentColor", "stroke-width": 9 }]],
};

function shapeInto(svg, tone) {
  svg.replaceChildren(...(SHAPES[tone] ?? SHAPES.plain).map(([name, attributes]) => draw(name, attributes)));
}

function shape(tone) {
  const svg = draw("svg", { viewBox: "0 0 100 100", "aria-hidden": "true" });
  shapeInto(svg, tone);
  return svg;
}

const WORDS = { pass: "PASS", fail_low: "FAIL: too low", fail_high: "FAIL: too high", unsure_low: "UNSURE", unsure_high: "UNSURE" };
const WHY = { unsure_low: "too near the lower limit to tell", unsure_high: "too near the upper limit to tell" };
const toneOf = (verdict) => (verdict?.startsWith("unsure") ? "unsure" : verdict);

// ---- what is shown ----

function show(state) {
  const newest = shown === null;
  shown = state;
  const names = state.state.stations.map((one) => one.station);
  if (!names.includes(station)) station = names[0];
  const here = state.state.stations.find((one) => one.station === station);
  const bench = state.benches.find((one) => one.station === station);
  if (!here || !bench) return;
  document.body.dataset.seq = state.state.seq ?? 0;
  document.title = plain(`${station}: ${here.prompt}`);
  showStations(names);
  setText($("who"), [here.operator && `${here.operator} measures`, here.tool && toolWords(here.tool)].filter(Boolean).join(" · "));
  showTrouble();
  showPrompt(here);
  showLast(here, bench);
  showScale(bench);
  showSeries(here, bench);
  showInstruments(state, bench);
  showRecent(bench);
  showButtons(here, state);
  if (newest || heard === null) heard = Math.max(0, ...bench.recent.map((one) => one.seq));
  else sound(here, bench);
}

const toolWords = (tool) => `tool ${tool.id}${tool.nest ? ` nest ${tool.nest}` : ""}${tool.class === "repair" ? " (repair class)" : ""}`;

function showStations(names) {
  if (names.length < 2) return $("stations").replaceChildren();
  refill($("stations"), names.map((name, index) => {
    const attributes = { type: "button", "data-key": name, "aria-pressed": String(name === station) };
    if (index < 9) attributes["aria-keyshortcuts"] = String(index + 1);
    const button = make("button", attributes, name);
    button.addEventListener("click", () => goTo(name));
    return button;
  }));
}

function goTo(name) {
  station = name;
  heard = null;
  sessionStorage.setItem("station", name);
  show(shown);
}

function showPrompt(here) {
  setText($("prompt-words"), capital(here.prompt));
  const armed = here.armed;
  const more = [];
  if (armed) {
    const axis = armed.axes.find((one) => one.axis === here.next?.axis);
    if (axis) more.push(axis.limits);
    more.push(armed.terminal ?? "gauge blocks", armed.wire, armed.tool && toolWords(armed.tool));
  } else if (here.outcome) {
    const { tally, series, outcome, beside } = here.outcome;
    more.push(`series ${series} ${words(outcome)}${beside ?? ""}: ${tallyWords(tally)}`);
  }
  setText($("prompt-more"), more.filter(Boolean).join(" · "));
}

function tallyWords(tally) {
  const parts = [["passed", "passed"], ["failed", "failed"], ["unsure", "unsure"], ["doubted", "doubted"], ["retracted", "retracted"], ["not_counted", "not counted"]];
  return parts.filter(([key]) => tally[key] > 0).map(([key, said]) => `${tally[key]} ${said}`).join(", ") || "no readings yet";
}

function showLast(here, bench) {
  const last = here.last;
  const box = $("last");
  if (!last) {
    delete box.dataset.tone;
    shapeInto($("shape"), "plain");
    setText($("verdict-word"), "No value yet");
    setText($("verdict-why"), "");
    setText($("value"), "–");
    return;
  }
  const happened = bench.recent.find((one) => one.seq === last.seq);
  const fate = happened?.fate;
  const counted = last.standing === "counted" && last.verdict && !fate;
  // A verdict of the series before is none of the pieces in hand.
  const former = Boolean(here.armed) && last.series !== here.armed.series;
  const tone = former ? "plain" : counted ? toneOf(last.verdict) : "not_counted";
  if (box.dataset.seq !== String(last.seq)) {
    box.classList.remove("fresh");
    requestAnimationFrame(() => box.classList.add("fresh"));
  }
  box.dataset.tone = tone;
  box.dataset.seq = last.seq;
  shapeInto($("shape"), tone);
  setText($("verdict-word"), counted ? WORDS[last.verdict] : fate ? capital(fate) : "Not counted");
  const where = [last.axis && words(last.axis), last.piece && `piece ${last.piece}`];
  const why = [former && "of what was measured before", counted && WHY[last.verdict], !counted && !fate && last.reason && words(last.reason), last.hint, ...where];
  setText($("verdict-why"), why.filter(Boolean).join(" · "));
  setText($("value"), bench.last_value);
}

function showScale(bench) {
  const scale = bench.scale;
  const figure = $("scale-figure");
  figure.hidden = !scale;
  if (!scale) return;
  const svg = $("scale");
  const width = Math.max(200, svg.clientWidth);
  const rem = parseFloat(getComputedStyle(document.documentElement).fontSize);
  const height = 8.5 * rem;
  svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
  const [low, high] = [scale.lower?.at, scale.upper?.at];
  const span = low !== undefined && high !== undefined ? Math.max(1, high - low) : Math.max(1, Math.abs((low ?? high) - scale.value.at) * 1.3, Math.abs(low ?? high) * 0.2);
  const from = low !== undefined ? low - span * 0.6 : high - span * 1.2;
  const to = high !== undefined ? high + span * 0.6 : low + span * 1.2;
  const pad = 1.2 * rem;
  const x = (at) => pad + ((Math.min(to, Math.max(from, at)) - from) / (to - from)) * (width - 2 * pad);
  const [top, bottom] = [3.4 * rem, 5.4 * rem];
  const parts = [defs()];
  const zone = (a, b, kind) => parts.push(draw("rect", { class: kind, x: x(a), y: top, width: Math.max(0, x(b) - x(a)), height: bottom - top }));
  zone(low ?? from, high ?? to, "bar");
  if (low !== undefined) zone(from, low, "out");
  if (high !== undefined) zone(high, to, "out");
  if (scale.guard) {
    if (low !== undefined) zone(low - scale.guard, low + scale.guard, "guard");
    if (high !== undefined) zone(high - scale.guard, high + scale.guard, "guard");
  }
  const line = (at, kind, y1, y2) => parts.push(draw("line", { class: kind, x1: x(at), x2: x(at), y1, y2 }));
  const label = (mark, name) => {
    parts.push(draw("text", { x: x(mark.at), y: bottom + 1.2 * rem, "text-anchor": "middle" }, mark.text));
    parts.push(draw("text", { class: "name", x: x(mark.at), y: bottom + 2.4 * rem, "text-anchor": "middle" }, name));
  };
  if (scale.lower) { line(low, "edge", top - 0.3 * rem, bottom + 0.3 * rem); label(scale.lower, "lowest"); }
  if (scale.upper) { line(high, "edge", top - 0.3 * rem, bottom + 0.3 * rem); label(scale.upper, "highest"); }
  if (scale.nominal && scale.nominal.at !== low && scale.nominal.at !== high) {
    line(scale.nominal.at, "aim", top, bottom);
    if (width > 24 * rem) label(scale.nominal, "aim");
  }
  for (const one of bench.readings) {
    if (words(one.axis) === scale.axis && one.seq !== scale.seq) line(one.at, "before", bottom - 0.6 * rem, bottom);
  }
  const at = x(scale.value.at);
  const off = scale.value.at < from ? "◀ " : scale.value.at > to ? "▶ " : "";
  parts.push(draw("path", { class: "mark", d: `M${at} ${top + 0.9 * rem}l${-0.8 * rem} ${-1.5 * rem}h${1.6 * rem}z` }));
  parts.push(draw("text", { class: "value", x: Math.min(width - 3.5 * rem, Math.max(3.5 * rem, at)), y: top - 1.1 * rem, "text-anchor": "middle" }, off + scale.value.text));
  svg.replaceChildren(...parts);
  const guard = scale.guard ? ", dotted: too near a limit to be sure" : "";
  setText($("scale-words"), `${capital(scale.axis)} ${scale.value.text}, asked for ${scale.limits}${guard}`);
}

function defs() {
  const all = draw("defs");
  const hatch = draw("pattern", { id: "hatch", width: 9, height: 9, patternUnits: "userSpaceOnUse" });
  hatch.append(draw("path", { d: "M0 9L9 0" }));
  const dots = draw("pattern", { id: "dots", width: 8, height: 8, patternUnits: "userSpaceOnUse" });
  dots.append(draw("circle", { cx: 4, cy: 4, r: 2 }));
  all.append(hatch, dots);
  return all;
}

// A plan of more slots is a bar.
const SLOTS_MOST = 120;

function showSeries(here, bench) {
  const armed = here.armed;
  const alerts = [...(armed?.alerts ?? []).map((one) => make("li", {}, one.text)), ...(armed?.warnings ?? []).map((text) => make("li", { class: "warning" }, capital(text)))];
  refill($("alerts"), alerts);
  $("series").dataset.tone = armed ? "" : (here.outcome?.outcome ?? "");
  if (!armed) {
    setText($("series-words"), here.outcome ? `Series ${here.outcome.series}: ${tallyWords(here.outcome.tally)}` : "Nothing is armed.");
    return $("slots").replaceChildren(...outcomeOf(here));
  }
  setText($("series-words"), `Series ${armed.series}, ${words(armed.purpose)}${armed.plan ? `, plan ${armed.plan}` : ""}: ${armed.filled} of ${armed.slots} measured, ${tallyWords(armed.tally)}`);
  $("slots").replaceChildren(armed.slots > SLOTS_MOST ? bar(armed) : table(armed, here, bench));
}

// How the last series came out, until another is armed.
function outcomeOf(here) {
  if (!here.outcome) return [];
  const word = make("p", { class: "outcome" }, shape(here.outcome.outcome), words(here.outcome.outcome).toUpperCase() + (here.outcome.beside ?? ""));
  return [word];
}

function bar(armed) {
  return make("progress", { value: armed.filled, max: armed.slots, "aria-label": "measured" });
}

function table(armed, here, bench) {
  const rows = [];
  const head = make("tr", {}, make("th", { scope: "col" }, "piece"), ...armed.axes.map((one) => make("th", { scope: "col" }, words(one.axis))));
  const spent = armed.spent ?? [];
  for (let piece = 1; piece <= armed.pieces + spent.length; piece++) {
    const cells = armed.axes.map(({ axis }) => {
      const reading = bench.readings.find((one) => one.piece === piece && one.axis === axis);
      const isNext = here.next?.piece === piece && here.next?.axis === axis;
      if (!reading) return make("td", { class: isNext ? "next" : undefined }, isNext ? "next" : spent.includes(piece) ? "spent" : "");
      return make("td", { "data-tone": toneOf(reading.verdict) }, shape(toneOf(reading.verdict)), reading.value, make("span", { class: "unseen" }, ` ${words(reading.verdict)}`));
    });
    rows.push(make("tr", {}, make("th", { scope: "row" }, String(piece)), ...cells));
  }
  return make("table", {}, make("caption", { class: "unseen" }, "Readings by piece"), make("thead", {}, head), make("tbody", {}, ...rows));
}

const ZEROS = {
  good: ["zero_ok", "zero good"], off: ["zero_off", "zero is off: clean the jaws, press ZERO, then the data key"], due: ["not_counted", "zero is due"],
  moved: ["zero_off", "origin was set with open jaws"], none: ["plain", "no zero yet"],
};

function showInstruments(state, bench) {
  const here = state.state.instruments.filter((one) => one.station === station);
  refill($("instrument-list"), here.map((one) => {
    const trouble = state.troubles?.find((known) => known.instrument === one.instrument);
    const zero = bench.zeros.find((known) => known.instrument === one.instrument);
    const [tone, says] = one.attached ? ZEROS[zero?.zero ?? "none"] : ["alert", `not connected${one.detached_because ? `: ${one.detached_because}` : ""}`];
    const since = one.attached && zero?.since ? ` since ${clock(zero.since)}` : "";
    const said = one.zero_said ? ", the next press is a zero" : "";
    const other = one.adapter_meant ? ` It is another adapter than before (it was ${one.adapter_meant}): no reading counts until you say that it is meant.` : "";
    const shared = one.rivals?.length ? ` Another program reads its port too (${one.rivals.join(" and ")}): no reading counts until it is closed.` : "";
    const help = trouble ? ` ${trouble.message}${trouble.remedy ? `; ${trouble.remedy}` : ""}` : "";
    const odd = other || shared ? "alert" : tone;
    const item = make("li", { "data-tone": odd }, shape(odd), make("span", {}, make("b", {}, one.instrument), says + since + said + other + shared + help));
    if (one.adapter_meant && mayCommand) {
      const button = make("button", { type: "button", "data-key": `adapter-${one.instrument}`, "aria-label": `The adapter of ${one.instrument} is meant` }, "It is meant");
      button.addEventListener("click", () => say("adapter", { instrument: one.instrument }));
      item.append(button);
    }
    return item;
  }));
}

const clock = (at) => new Date(at).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", second: "2-digit", hour12: false });

function showRecent(bench) {
  refill($("recent-list"), bench.recent.slice(0, 14).map((one) => {
    const text = make("span", { class: one.fate ? "words gone" : "words" }, one.words);
    const item = make("li", { "data-tone": one.fate ? "not_counted" : one.tone, "data-seq": one.seq, value: one.seq }, shape(one.fate ? "not_counted" : one.tone), text);
    if (one.fate) item.append(make("span", { class: "fate" }, one.fate));
    item.append(make("time", { datetime: one.at }, clock(one.at)));
    if (one.may_be_retracted && mayCommand) {
      const button = make("button", { type: "button", "data-key": `r${one.seq}`, "aria-label": `Retract ${one.words}` }, "Retract");
      button.addEventListener("click", () => retract(bench.readings.find((known) => known.seq === one.seq) ?? one));
      item.append(button);
    }
    return item;
  }));
}

function showButtons(here, state) {
  const ready = mayCommand && !document.body.classList.contains("old");
  const armed = Boolean(here.armed);
  const enable = (id, on) => { $(id).disabled = !(ready && on); };
  enable("act-arm", true);
  enable("act-zero", state.state.instruments.some((one) => one.station === station && one.attached));
  const bench = shown.benches.find((one) => one.station === station);
  enable("act-retract", bench.readings.length > 0);
  enable("act-restore", Boolean(bench.restorable));
  enable("act-resume", bench.resumable !== undefined);
  setText($("act-resume"), bench.resumable === undefined ? "Resume a series" : `Resume series ${bench.resumable}`);
  enable("act-ask", state.state.instruments.some((one) => one.station === station && one.attached));
  enable("act-disarm", armed);
  enable("note-text", true);
  $("note").querySelector("button").disabled = !ready;
  setText($("act-arm"), armed ? "Arm another …" : "Arm …");
  if (!mayCommand) setText($("answer"), "This page may only look. To command from it, open the address that `tallyjaw page` prints.");
}

// ---- when something is wrong with the daemon or its journal ----

let gone = null; // since when nothing came
let notice = null; // the last word about the journal

function showTrouble() {
  const box = $("trouble");
  const lines = [];
  let mild = false;
  const health = shown?.journal_health;
  if (health === "stalled" && !gone) lines.push(`The disk has not answered for ${shown.stalled_seconds} s: nothing is announced until it does.`, "What is measured now waits. Look at the disk of state_dir.");
  else if (notice && (gone || health !== "ok")) lines.push(...noticeLines(notice));
  else if (health === "failed") lines.push("The journal has failed: nothing is recorded.");
  else if (health === "full") lines.push("The disk is full: nothing counts until there is room.");
  if (gone) {
    lines.push(`The daemon does not answer since ${clock(gone)}. What is shown is old, and nothing that is pressed now is sure to be kept.`);
    lines.push("This page asks again by itself. If it stays so: is the daemon running? `tallyjaw status`");
  } else if (notice && health === "ok") {
    mild = true;
    lines.push(...noticeLines(notice));
  } else if (health === "ok") {
    const failing = (shown?.sinks ?? []).filter((sink) => sink.failing);
    mild = failing.length > 0;
    for (const { sink, kind, behind, failing: why } of failing) {
      lines.push(`${sink} (${kind}) fails since ${clock(new Date(why.since))}, ${behind} entries behind: ${why.error}`, `Help: ${why.remedy}. Nothing is lost: the journal has every entry.`);
    }
  }
  box.classList.toggle("mild", mild);
  const text = lines.join("\n");
  if (box.dataset.text !== text) {
    box.dataset.text = text;
    box.replaceChildren(...lines.map((line) => make("p", {}, line)));
  }
  document.body.classList.toggle("old", gone !== null);
}

const noticeLines = (one) => [one.kind === "journal_failed" ? "The journal has failed: nothing is recorded." : one.kind === "journal_full" ? "The disk is full: nothing counts until there is room." : one.kind === "journal_stalled" ? "The disk does not answer: nothing is announced until it does." : capital(one.message), ...(one.kind === "journal_resumed" ? [] : [one.message]), one.remedy].filter(Boolean);

function isGone(reason) {
  if (gone === null) {
    gone = new Date().toISOString();
    if (soundOn && shown) play("alert");
  }
  document.body.dataset.gone = reason;
  if (shown) show(shown);
  else {
    setText($("prompt-words"), "No daemon answers");
    showTrouble();
  }
}

// ---- the event stream ----

let lastId = null;

async function follow() {
  const life = new AbortController();
  let timer = setTimeout(() => life.abort(), SIGN_OF_LIFE_MS);
  const headers = {};
  if (token) headers.Authorization = `Bearer ${token}`;
  if (lastId) headers["Last-Event-ID"] = lastId;
  try {
    const response = await fetch("/events?state=each", { headers, signal: life.signal, cache: "no-store" });
    if (!response.ok) throw new Error((await response.text()).trim());
    const reader = response.body.pipeThrough(new TextDecoderStream()).getReader();
    let held = "";
    for (;;) {
      const { value, done } = await reader.read();
      if (done) throw new Error("the stream has ended");
      clearTimeout(timer);
      timer = setTimeout(() => life.abort(), SIGN_OF_LIFE_MS);
      held += value;
      const events = held.split("\n\n");
      held = events.pop();
      take(events);
    }
  } catch (error) {
    isGone(error.message);
  } finally {
    clearTimeout(timer);
    life.abort();
  }
}

// Of several states only the last is shown.
function take(events) {
  let state = null;
  for (const text of events) {
    let [name, data] = ["message", ""];
    for (const line of text.split("\n")) {
      if (line.startsWith("data: ")) data += line.slice(6);
      else if (line.startsWith("event: ")) name = line.slice(7);
      else if (line.startsWith("id: ")) lastId = line.slice(4);
    }
    if (name === "state") state = data;
    else if (name === "notice") notice = JSON.parse(data);
  }
  if (state === null) return;
  gone = null;
  delete document.body.dataset.gone;
  const parsed = JSON.parse(state);
  if (shown && parsed.journal !== shown.journal) lastId = null;
  if (parsed.journal_health === "ok" && notice && notice.kind !== "journal_resumed") notice = null;
  document.body.classList.remove("old");
  show(parsed);
}

async function always() {
  for (;;) {
    await follow();
    heard = null;
    await new Promise((wake) => setTimeout(wake, 700));
  }
}

// ---- what the operator says ----

async function call(method, params = {}) {
  const headers = { Authorization: `Bearer ${token}`, "Content-Type": "application/json" };
  const body = JSON.stringify({ jsonrpc: "2.0", id: 1, method, params });
  const response = await fetch("/control", { method: "POST", headers, body, cache: "no-store" });
  if (!response.ok) throw new Error((await response.text()).trim());
  const answer = await response.json();
  if (answer.error) throw new Error([answer.error.message, answer.error.data?.remedy].filter(Boolean).join("\n"));
  return answer.result;
}

const DONE = { retract: "Retracted.", restore: "Restored: the reading counts again.", resume: "The series is open again.", note: "The note is kept.", zero: "The next press is a zero.", ask: "Asked.", adapter: "The adapter is taken as meant.", disarm: "The series is ended." };

async function say(method, params = {}) {
  if (!mayCommand) return;
  try {
    await call(method, { station, ...params });
    answer(DONE[method] ?? "Done.", false);
    return true;
  } catch (error) {
    answer(capital(error instanceof TypeError ? "the daemon does not answer: it was not done" : error.message), true);
    return false;
  }
}

let forgetting;

function answer(text, bad) {
  clearTimeout(forgetting);
  if (!bad) forgetting = setTimeout(() => setText($("answer"), ""), 15000);
  $("answer").classList.toggle("bad", bad);
  $("answer").textContent = plain(text);
}

// The reading that the operator sees, not one that came meanwhile.
function retractLast() {
  const bench = shown?.benches.find((one) => one.station === station);
  const last = bench?.readings.at(-1);
  if (last) retract(last);
}

let doomed = null; // the reading whose retraction waits for a reason

// A piece that is destroyed cannot be measured again: retracting its reading needs a reason.
function retract(one) {
  if (!one.needs_reason) return say("retract", { seq: one.seq });
  doomed = one.seq;
  setText($("why-what"), `Piece ${one.piece}, ${words(one.axis)} ${one.value}: the piece is destroyed. Another one will be measured instead.`);
  $("why-reason").value = "";
  $("why").showModal();
}

async function retractWith(event) {
  event.preventDefault();
  const reason = $("why-reason").value.trim();
  if (reason && (await say("retract", { seq: doomed, reason }))) $("why").close();
}

// ---- arming ----

let catalog = null;

async function openArming() {
  if (!mayCommand || $("arm").open) return;
  setText($("arm-answer"), "");
  try {
    catalog = await call("catalog");
  } catch (error) {
    return answer(capital(error.message), true);
  }
  const choice = (id, value, label, small, checked) => make("p", { class: "choice" },
    make("input", { type: "radio", name: "plan", id, value, checked }),
    make("label", { for: id }, label, make("small", {}, small)));
  const plans = catalog.plans.map((one, index) => choice(`plan-${index}`, one.plan, one.plan,
    [one.terminal ?? one.blocks.join(", "), one.wire, one.axes.map(words).join(", "), `${one.pieces} pieces`, words(one.purpose), one.tool && `tool ${one.tool}${one.nest ? ` nest ${one.nest}` : ""}`].filter(Boolean).join(" · "), index === 0));
  $("arm-plans").replaceChildren(make("legend", {}, "A plan"), ...plans, choice("plan-own", "", "your own choice, below", "", plans.length === 0));
  options($("arm-terminal"), catalog.terminals.map((one) => [one.terminal, one.terminal]));
  options($("arm-purpose"), catalog.purposes.filter((one) => one !== "verification").map((one) => [one, words(one)]));
  $("arm-purpose").value = "in_process";
  const here = shown?.state.stations.find((one) => one.station === station);
  const operator = here?.operator ?? "";
  // A name of an old journal that cannot be said any more is not said in its escaped form either.
  $("arm-operator").value = plain(operator) === operator ? operator : "";
  chooseTerminal();
  $("arm").showModal();
}

function options(select, pairs) {
  select.replaceChildren(...pairs.map(([value, text]) => make("option", { value }, text)));
}

const terminal = () => catalog.terminals.find((one) => one.terminal === $("arm-terminal").value);

function chooseTerminal() {
  options($("arm-wire"), (terminal()?.rows ?? []).map((row) => [row.wire, row.wire]));
  const fits = catalog.tools.filter((one) => one.terminals.length === 0 || one.terminals.includes(terminal()?.terminal));
  options($("arm-tool"), [["", "none"], ...fits.map((one) => [one.tool, one.class === "repair" ? `${one.tool} (repair class)` : one.tool])]);
  chooseWire();
}

function chooseWire() {
  const row = terminal()?.rows.find((one) => one.wire === $("arm-wire").value);
  $("arm-axes").replaceChildren(...(row?.axes ?? []).map((one, index) => make("p", { class: "choice" },
    make("input", { type: "checkbox", id: `axis-${index}`, value: one.axis, checked: index === 0 }),
    make("label", { for: `axis-${index}` }, words(one.axis), make("small", {}, one.limits)))));
  chooseTool();
}

function chooseTool() {
  const tool = catalog.tools.find((one) => one.tool === $("arm-tool").value);
  const nests = (tool?.nests ?? []).filter((one) => one.wires.includes($("arm-wire").value));
  options($("arm-nest"), nests.length ? nests.map((one) => [one.nest, one.nest]) : [["", "none"]]);
}

async function arm(event) {
  event.preventDefault();
  const plan = $("arm-form").querySelector("input[name=plan]:checked")?.value;
  const operator = $("arm-operator").value.trim();
  const params = { station };
  if (operator) params.operator = operator;
  if (plan) params.plan = plan;
  else {
    Object.assign(params, {
      terminal: $("arm-terminal").value,
      wire: $("arm-wire").value,
      axes: [...$("arm-axes").querySelectorAll("input:checked")].map((one) => one.value),
      pieces: Number($("arm-pieces").value),
      purpose: $("arm-purpose").value,
    });
    if ($("arm-tool").value) params.tool = $("arm-tool").value;
    if ($("arm-nest").value) params.nest = $("arm-nest").value;
  }
  try {
    const armed = await call("arm", params);
    $("arm").close();
    answer(`Series ${armed.seq} is armed.`, false);
  } catch (error) {
    setText($("arm-answer"), capital(error.message));
  }
}

// ---- sound: tones differ by rhythm as well as by pitch ----

// Each tone: [pitch in Hz, from, for], in seconds.
const TONES = {
  pass: [[880, 0, 0.07], [1175, 0.1, 0.12]],
  fail_low: [[392, 0, 0.28], [311, 0.36, 0.28], [233, 0.72, 0.45]],
  fail_high: [[523, 0, 0.28], [698, 0.36, 0.28], [932, 0.72, 0.45]],
  unsure: [[587, 0, 0.3], [587, 0.38, 0.08], [587, 0.54, 0.3]],
  not_counted: [[196, 0, 0.1], [196, 0.35, 0.1]],
  zero_ok: [[660, 0, 0.06]],
  zero_off: [[660, 0, 0.06], [220, 0.12, 0.4], [660, 0.65, 0.06], [220, 0.77, 0.4]],
  alert: [[740, 0, 0.07], [740, 0.13, 0.07], [740, 0.26, 0.07], [740, 0.39, 0.07], [740, 0.52, 0.2]],
  accepted: [[523, 0, 0.1], [659, 0.13, 0.1], [784, 0.26, 0.1], [1047, 0.39, 0.3]],
  rejected: [[523, 0, 0.2], [415, 0.25, 0.2], [349, 0.5, 0.2], [262, 0.75, 0.5]],
  undecided: [[587, 0, 0.3], [494, 0.38, 0.08], [587, 0.6, 0.3], [494, 0.98, 0.08]],
};

let audio = null;
let soundOn = false;
let speechOn = false;

function play(tone) {
  document.body.dataset.heard = tone;
  const notes = TONES[tone];
  if (!notes || !audio) return;
  const start = audio.currentTime + 0.02;
  for (const [pitch, from, length] of notes) {
    const [wave, gain] = [audio.createOscillator(), audio.createGain()];
    wave.type = pitch < 400 ? "sawtooth" : "triangle"; // low tones need overtones on small loudspeakers
    wave.frequency.value = pitch;
    gain.gain.setValueAtTime(0, start + from);
    gain.gain.linearRampToValueAtTime(0.5, start + from + 0.01);
    gain.gain.setValueAtTime(0.5, start + from + length - 0.02);
    gain.gain.linearRampToValueAtTime(0, start + from + length);
    wave.connect(gain).connect(audio.destination);
    wave.start(start + from);
    wave.stop(start + from + length + 0.02);
  }
}

// Of several happenings at once the one that matters most is heard; the first of these is the most.
const URGENCY = ["rejected", "undecided", "accepted", "zero_off", "alert", "fail_low", "fail_high", "unsure", "not_counted", "pass", "zero_ok"];

function sound(here, bench) {
  const fresh = bench.recent.filter((one) => one.seq > heard);
  if (fresh.length === 0) return;
  heard = Math.max(...fresh.map((one) => one.seq));
  const sounding = fresh.filter((one) => URGENCY.includes(one.tone));
  const most = sounding.toSorted((a, b) => URGENCY.indexOf(a.tone) - URGENCY.indexOf(b.tone))[0];
  // Who cannot see it is told in words, in the order in which it happened.
  setText($("said"), [...fresh.toReversed().map((one) => one.words), `Next: ${here.prompt}`].join(". "));
  if (!most) return;
  if (soundOn) play(most.tone);
  else document.body.dataset.heard = most.tone;
  const aloud = fresh.find((one) => one.aloud)?.aloud;
  if (speechOn && aloud) {
    speechSynthesis.cancel(); // what is old is not said late
    const said = new SpeechSynthesisUtterance(aloud.replace(/\bmm\b/, "millimetres"));
    said.lang = "en";
    speechSynthesis.speak(said);
  }
}

function toggleSound() {
  soundOn = !soundOn;
  $("sound").setAttribute("aria-pressed", String(soundOn));
  if (soundOn) {
    audio ??= new AudioContext();
    audio.resume();
    play("pass");
  }
}

function toggleSpeech() {
  if (!("speechSynthesis" in window)) return answer("This browser cannot speak.", true);
  speechOn = !speechOn;
  $("speech").setAttribute("aria-pressed", String(speechOn));
  if (!speechOn) speechSynthesis.cancel();
}

// ---- by hand ----

const press = (id) => () => { if (!$(id).disabled) $(id).click(); };
const KEYS = {
  a: press("act-arm"), z: press("act-zero"), r: press("act-retract"), u: press("act-restore"), c: press("act-resume"), q: press("act-ask"), s: press("sound"),
  v: press("speech"), h: press("keys"), "?": press("keys"), n: () => $("note-text").focus(),
};

function key(event) {
  const typing = event.target.closest("input, select, textarea, dialog");
  if (typing || event.ctrlKey || event.altKey || event.metaKey || event.repeat || !$("single-keys").checked) return;
  const names = shown?.state.stations.map((one) => one.station) ?? [];
  const act = KEYS[event.key.toLowerCase()] ?? (/^[1-9]$/.test(event.key) && names[event.key - 1] && (() => goTo(names[event.key - 1])));
  if (!act) return;
  event.preventDefault();
  act();
}

document.addEventListener("keydown", key);
$("sound").addEventListener("click", toggleSound);
$("speech").addEventListener("click", toggleSpeech);
$("keys").addEventListener("click", () => $("help").showModal());
$("act-arm").addEventListener("click", openArming);
$("act-zero").addEventListener("click", () => say("zero"));
$("act-retract").addEventListener("click", retractLast);
$("act-resume").addEventListener("click", () => say("resume"));
$("act-restore").addEventListener("click", () => say("restore"));
$("why-form").addEventListener("submit", retractWith);
$("why-cancel").addEventListener("click", () => $("why").close());
$("act-ask").addEventListener("click", () => say("ask"));
$("act-disarm").addEventListener("click", () => say("disarm"));
$("arm-cancel").addEventListener("click", () => $("arm").close());
$("arm-form").addEventListener("submit", arm);
$("arm-terminal").addEventListener("change", chooseTerminal);
$("arm-wire").addEventListener("change", chooseWire);
$("arm-tool").addEventListener("change", chooseTool);
$("arm-own").addEventListener("change", () => { $("plan-own").checked = true; });
$("note").addEventListener("submit", async (event) => {
  event.preventDefault();
  const text = $("note-text").value.trim();
  if (text && (await say("note", { text }))) $("note-text").value = "";
});
new ResizeObserver(() => { if (shown) show(shown); }).observe($("scale"));
always();
