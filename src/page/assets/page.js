// The bench page: shows the state that the daemon sends after each change, and sends the operator's commands. It
// computes nothing from entries; the daemon prepares everything on the screen.

import { $, drawOnce, open, plain, refill, button, make, setText, shape } from "./dom.js";
import { call, follow, give, mayCommand, NoAnswer, read } from "./daemon.js";
import { choose, fill, has, keyOf, know, number, says, t } from "./texts.js";
import { askReason, chooseTerminal, chooseTool, chooseWire, confirm, instrumentWords, openOperator, openOwn, openTool, ownChoice, reasonGiven, showHistory, showLanguages, showService, showWarnings, warningsOf } from "./dialogs.js";
import { missWords, showAsk, showFace, showMoving, STOPS } from "./face.js";
import { seriesOf, showGrid } from "./grid.js";
import { showQualified } from "./qualified.js";
import { endJob, jobWords, lotsOf, openJob, openLots, showJobs, takeJob, takeLots, typedJob } from "./jobs.js";
import { movingAt, stateCame, stopMoving, takeMoving, withMoving } from "./moving.js";
import { listen as listenToPictures, openPicture, showStrip } from "./pictures.js";
import { firstPage, offered, setPlans, showPlans, turn } from "./plans.js";
import { heldOf, openCrimps, openSettle, runWords, settleHeld, takeCrimps } from "./runs.js";
import { listen as listenToSetup, openSetup, redraw } from "./setup.js";
import * as sounds from "./sound.js";

let shown = null; // the last state
let station = new URLSearchParams(location.search).get("station") ?? sessionStorage.getItem("station");
let gone = null; // since when nothing came
let notice = null; // the last word about the journal
let heard = null; // the newest happening that was sounded
let refusal = null; // what this page's own command was refused for
let carriedOut = 0; // commands of this page
let plansWanted = false; // the operator wants to see the plans
let plansOf = null; // of which station and entry the plans are known

const here = () => shown?.state.stations.find((one) => one.station === station);
const benchOf = () => shown?.benches.find((one) => one.station === station);
const isOld = () => gone !== null;
const mayAct = () => mayCommand && !isOld();

// ---- display ----

// Chooses the state to show. What the daemon cannot know comes first.
function faceNow(bench) {
  const health = shown.journal_health;
  const said = notice && notice.kind !== "journal_resumed" ? { message: notice.message, remedy: notice.remedy } : {};
  if (health === "failed" || notice?.kind === "journal_failed") return { kind: "journal_failed", gone: gone && { since: gone }, ...said };
  if (isOld()) return { kind: "gone", since: gone };
  if (health === "full") return { kind: "journal_full", ...said };
  if (health === "stalled") return { kind: "journal_stalled", seconds: shown.stalled_seconds };
  if (refusal) return { kind: "refused", own: true, ...refusal, said: t(...refusal.said) };
  return withMoving(bench.face, station, JSON.stringify([station, bench.face, here().last?.seq]));
}

// Draws, and where what had the focus is gone, gives it to what stands there now.
function show(state) {
  const focused = document.activeElement;
  draw(state);
  const lost = focused !== document.body && (!focused.isConnected || focused.disabled || !focused.checkVisibility());
  if (lost && [document.body, focused].includes(document.activeElement)) $("stage").focus({ preventScroll: true });
}

function draw(state) {
  const first = shown === null;
  shown = state;
  know("state", state.texts);
  const names = state.state.stations.map((one) => one.station);
  if (!names.includes(station)) station = names[0];
  const [at, bench] = [here(), benchOf()];
  if (!at || !bench) return;
  document.body.dataset.seq = state.state.seq ?? 0;
  document.body.classList.toggle("old", isOld());
  showHeader(names, at, bench);
  const face = faceNow(bench);
  if (mayCommand && STOPS.includes(face.kind)) answer(null); // what was done before is no news beside it
  const inTheWay = !["idle", "over", "held", "sample", "crimping", "limits", "verdict", "zero", "moving"].includes(face.kind);
  const choosing = !inTheWay && (face.kind === "idle" || plansWanted);
  showWarnings(isOld() ? [] : warningsOf(state, at, bench, state.journal_health === "ok" ? notice : null, face.kind === "held" && !choosing));
  document.body.dataset.view = choosing ? "plans" : "bench";
  showButtons(at, bench, choosing);
  setText($("ask-words"), t("ask.start"));
  let said = "";
  if (choosing) {
    setText($("ask-limits"), "");
    setText($("ask-more"), at.armed ? t("plans.open", { series: at.armed.series }) : [runWords(at), jobWords(at.job)].filter(Boolean).join(" · "));
    knowPlans();
    showPlans(mayAct(), start);
  } else {
    showAsk(at, bench, face);
    const series = seriesOf(at, bench);
    $("bench").classList.toggle("alone", !series);
    $("grid").hidden = !series;
    said = showFace(face, { here: { ...at, troubles: state.troubles }, bench, act });
    showStrip(series ? bench.pictures ?? [] : []);
    showGrid(series); // how much room it has goes by the face and the strip
  }
  document.title = plain(`${station}: ${$("ask-words").textContent}`);
  if ($("history").open) showHistory(bench, mayAct(), retract);
  if ($("service").open) showService(state, bench, station);
  if (first || heard === null) heard = Math.max(0, ...bench.recent.map((one) => one.seq));
  else sound(bench, said);
}

const again = () => shown && show(shown);

function showHeader(names, at, bench) {
  drawOnce($("stations"), [names, station], (box) => refill(box, names.length < 2 ? [make("b", {}, names[0])] : names.map((name, index) => button({ "data-key": name, "aria-pressed": String(name === station), "aria-keyshortcuts": index < 9 ? String(index + 1) : undefined }, name, () => goTo(name)))));
  setText($("operator-now"), at.operator ?? t("operator.nobody"));
  const tool = at.armed?.tool ?? at.tool;
  setText($("tool-now"), tool ? (tool.nest ? t("tool.short", { tool: tool.id, nest: tool.nest }) : tool.id) : t("tool.nothing"));
  $("chip-tool").classList.toggle("repair", tool?.class === "repair");
  setText($("job-chip-now"), at.job?.id ?? t("job.nothing"));
  setText($("lots-now"), lotsOf(at));
  for (const id of ["chip-operator", "chip-tool", "chip-job", "chip-lots"]) $(id).disabled = !mayAct();
  const instruments = shown.state.instruments.filter((one) => one.station === station);
  const needed = bench.todo?.instrument ?? movingAt(station)?.instrument;
  const worst = instruments.find((one) => !one.attached || one.adapter_meant || one.rivals?.length) ?? instruments.find((one) => one.instrument === needed) ?? instruments[0];
  const [drawn, words] = isOld() ? ["gone", t("instrument.unknown")] : worst ? instrumentWords(worst, bench) : ["plain", t("instrument.none")];
  $("chip-instrument").dataset.tone = ["unplugged", "adapter", "shared"].includes(drawn) ? "stop" : drawn;
  drawOnce($("instrument-now"), [drawn, worst?.instrument, words], (box) => box.replaceChildren(drawn === "plain" ? "" : shape(drawn), make("span", { class: "name" }, worst?.instrument ?? ""), make("span", { class: "state" }, words)));
}

function goTo(name) {
  station = name;
  [heard, refusal, plansWanted] = [null, null, false];
  sessionStorage.setItem("station", name);
  again();
}

function showButtons(at, bench, choosing) {
  const armed = Boolean(at.armed);
  const set = (id, seen, on = true) => {
    $(id).hidden = !seen;
    $(id).disabled = !(mayAct() && on);
  };
  const attached = shown.state.instruments.some((one) => one.station === station && one.attached);
  set("act-plans", !choosing && !armed && !["over", "sample", "crimping"].includes(bench.face.kind) && !(bench.face.kind === "held" && !at.production.open));
  $("act-plans").classList.toggle("main", bench.face.kind !== "held"); // to settle them is nearer
  set("act-back", choosing && (armed || bench.face.kind !== "idle"));
  set("act-own", choosing);
  set("act-setup", choosing && mayCommand && Boolean(offered().may_edit));
  set("act-zero", !choosing && armed, attached);
  set("act-retract", !choosing && armed, bench.readings.length > 0);
  set("act-restore", !choosing && Boolean(bench.restorable));
  set("act-resume", bench.resumable !== undefined);
  set("act-crimps", at.production !== undefined);
  set("act-settle", !armed && heldOf(at) > 0 && (choosing || bench.face.kind !== "held"));
  set("act-ask", !choosing && armed, attached);
  set("act-switch", !choosing && armed);
  set("act-stop", !choosing && armed);
  set("act-note", true);
  set("act-picture", !choosing && Boolean(seriesOf(at, bench)));
  $("act-history").hidden = false;
  if (bench.resumable !== undefined) setText($("act-resume"), t("button.resume", { series: bench.resumable }));
  if (!mayCommand) answer("only_look");
}

// Requests the plans again when one may have changed.
async function knowPlans() {
  const key = `${station} ${shown.state.seq} ${shown.journal}`;
  if (plansOf === key || isOld()) return;
  plansOf = key;
  try {
    setPlans(await read(`/plans/${encodeURIComponent(station)}`));
    again();
  } catch {
    plansOf = null; // the stream says what is wrong
  }
}

// ---- commands ----

// Sends a command; a refusal is shown by `instead`, or, where that gives false, as a state of the page.
const say = (method, params = {}, instead = null) => carryOut(method, () => call(method, { station, ...params }), instead, ENDED.includes(method) && !params[method] ? `done.${method}.over` : undefined);

const ENDED = ["job", "lot"]; // which end where nothing is named

async function carryOut(method, send, instead, done = `done.${method}`) {
  if (!mayAct()) return false;
  try {
    await send();
    carriedOut += 1;
    refusal = null;
    if (has(done)) answer(done); // what else was done is seen on the screen
    again();
    return true;
  } catch (error) {
    know("error", error.texts);
    const shown = instead?.({ message: reasonOf(error), remedy: error.remedy });
    if (!instead || shown === false) refused([`said.${method}`], error);
    return false;
  }
}

const reasonOf = (error) => (error instanceof NoAnswer ? t("no_answer") : has(`http.${error.status}`) ? t(`http.${error.status}`) : error.message);

// The station or the daemon refused; `said` is the key of what was said, and its values.
function refused(said, error, start = null) {
  refusal = { said, reason: reasonOf(error), remedy: error.remedy, start };
  if (mayCommand) answer(null);
  know("error", error.texts);
  for (const dialog of document.querySelectorAll("dialog[open]")) dialog.close();
  plansWanted = false;
  if (soundOn) sounds.play("alert");
  document.body.dataset.heard = "alert";
  again();
}

let forgetting;
let answered = null; // the key of what stands there

function answer(key) {
  clearTimeout(forgetting);
  answered = key;
  setText($("answer"), key ? t(key) : "");
  $("answer").classList.toggle("stays", !mayCommand);
  if (mayCommand) forgetting = setTimeout(() => answer(null), 4000);
}

const forgetRefusal = () => {
  refusal = null;
  again();
};

// Starts a series. If one is open, asks whether to stop it early.
async function arm(what, said) {
  const params = { station, ...what };
  try {
    if (!here()?.armed) return await begin(params);
    if (await stopsOpen()) await begin({ ...params, cut: true });
  } catch (error) {
    // Opened meanwhile by someone else.
    know("error", error.texts);
    if (keyOf(error.message) !== "daemon.refusal.still_open") return refused(said, error, what);
    if (await stopsOpen()) await begin({ ...params, cut: true }).catch((error) => refused(said, error, what));
  }
}

function stopsOpen() {
  const open = here().armed;
  return confirm(t("cut.heading"), t("cut.words", { series: open.series, filled: open.filled, slots: open.slots }), t("cut.yes"), t("cut.no"));
}

async function begin(params) {
  await call("arm", params);
  [refusal, plansWanted] = [null, false];
  $("search").value = ""; // what was searched is found
  if ($("own").open) $("own").close();
  again();
}

const start = (plan) => arm({ plan }, ["said.arm", { plan }]);
const startCut = (plan) => begin({ station, plan, cut: true }).catch((error) => refused(["said.arm", { plan }], error));

// What a plan requires is said by a finger; then what was to be started is started.
const OPENS = { operator: openOperator, job: openJob, lots: openLots, tool: openTool };

const openTo = async (id) => {
  await knowPlans();
  await OPENS[id](here(), say);
};

async function sayMissing(id, what) {
  const before = carriedOut;
  await openTo(id);
  const start = () => carriedOut > before && arm(what, what.plan ? ["said.arm", { plan: what.plan }] : ["said.own"]);
  $(id).addEventListener("close", start, { once: true });
}

// A destroyed piece cannot be measured again, so retracting its reading needs a reason.
function retract(one) {
  if (one.needs_reason) return askReason(one);
  return say("retract", { seq: one.seq });
}

// The reading that the operator sees, and not one that came meanwhile.
function retractLast() {
  const last = benchOf()?.readings.at(-1);
  if (last) retract(last);
}

function wantPlans(wanted) {
  [plansWanted, refusal] = [wanted, null];
  $("search").value = "";
  firstPage();
  again();
}

const act = {
  may: mayCommand, say, start, startCut, forgetRefusal, sayMissing,
  showPlans: () => wantPlans(true), settle: () => openSettle(here(), say),
  report: (series) => window.open(`/report/${series}`, "_blank", "noopener"),
};

// ---- sound ----

let soundOn = false;
let voiceOn = false;

function sound(bench, said) {
  const fresh = bench.recent.filter((one) => one.seq > heard).map((one) => (one.kind === "completed" && one.tone === "measured" ? { ...one, tone: "series_measured" } : one));
  if (fresh.length === 0) return;
  heard = Math.max(...fresh.map((one) => one.seq));
  refusal = null;
  // A screen reader reads it out; a new text each time, so that the same words are read out again.
  $("said").replaceChildren(plain([said, $("ask-words").textContent].filter(Boolean).join(". ")));
  // Readings are put in doubt by a zero that is off, which has its own sound.
  const sounding = fresh.filter((one) => sounds.URGENCY.includes(one.tone) && one.kind !== "doubted");
  const most = sounding.toSorted((a, b) => sounds.URGENCY.indexOf(a.tone) - sounds.URGENCY.indexOf(b.tone))[0];
  if (!most) return;
  document.body.dataset.heard = most.tone;
  if (soundOn) sounds.play(most.tone);
  if (voiceOn) sounds.speak(voiceWords(most, bench));
}

function voiceWords(happened, bench) {
  if (happened.tone === "alert") return happened.aloud ? says(happened.aloud) : t("aloud.alert");
  const scale = bench.scale;
  const ofReading = scale?.seq === happened.seq ? [number(scale.value.text).replace(/mm$/, t("aloud.mm")), missWords(scale.miss?.beyond ? scale.miss : null)] : [];
  return [t(`aloud.${happened.tone}`), ...ofReading].filter(Boolean).join(", ");
}

function toggleSound() {
  soundOn = !soundOn;
  $("sound").setAttribute("aria-pressed", String(soundOn));
  if (!soundOn) return;
  sounds.allow();
  sounds.play("pass");
}

function toggleVoice() {
  if (!("speechSynthesis" in window)) return answer("no_voice");
  voiceOn = !voiceOn;
  $("voice").setAttribute("aria-pressed", String(voiceOn));
  if (!voiceOn) sounds.hush();
}

// ---- input ----

const press = (id) => () => { if (!$(id).disabled && !$(id).hidden) $(id).click(); };
const KEYS = {
  a: () => ["act-plans", "act-switch", "face-next"].find((id) => $(id) && !$(id).hidden && !$(id).click()), z: press("act-zero"), r: press("act-retract"), u: press("act-restore"), c: press("act-resume"),
  q: press("act-ask"), o: press("chip-operator"), t: press("chip-tool"), j: press("chip-job"), k: press("act-crimps"), g: () => ["act-settle", "face-settle"].find((id) => $(id) && !$(id).hidden && !$(id).disabled && !$(id).click()), m: press("chip-lots"), l: press("act-history"), i: press("chip-instrument"), n: press("act-note"), s: press("sound"),
  v: press("voice"), p: press("act-picture"), h: press("menu-open"), "?": press("menu-open"), w: press("warnings"), e: press("act-setup"),
};

function key(event) {
  const typing = event.target.closest("input, select, textarea, dialog");
  if (typing || event.ctrlKey || event.altKey || event.metaKey || event.repeat || !$("single-keys").checked) return;
  const names = shown?.state.stations.map((one) => one.station) ?? [];
  const pressed = KEYS[event.key.toLowerCase()] ?? (/^[1-9]$/.test(event.key) && names[event.key - 1] && (() => goTo(names[event.key - 1])));
  if (!pressed) return;
  event.preventDefault();
  pressed();
}

function setLanguage(code) {
  choose(code);
  showLanguages(setLanguage);
  if (answered) setText($("answer"), t(answered));
  redraw();
  again();
}

const on = (id, event, act) => $(id).addEventListener(event, act);
const submit = (id, act) => on(id, "submit", (event) => {
  event.preventDefault();
  act();
});

document.addEventListener("keydown", key);
on("sound", "click", toggleSound);
on("voice", "click", toggleVoice);
on("volume", "input", () => sounds.setVolume(Number($("volume").value)));
on("volume", "change", () => soundOn && sounds.play("pass"));
on("menu-open", "click", () => open("menu"));
on("menu-qualified", "click", () => { $("menu").close(); showQualified(); });
on("warnings", "click", () => open("warnings-dialog"));
for (const id of Object.keys(OPENS)) on(`chip-${id}`, "click", () => openTo(id));
on("chip-instrument", "click", () => { showService(shown, benchOf(), station); open("service"); });
on("act-plans", "click", () => wantPlans(true));
on("act-switch", "click", () => wantPlans(true));
on("act-back", "click", () => wantPlans(false));
on("act-setup", "click", () => openSetup(here().operator, () => { plansOf = null; again(); }));
on("act-own", "click", () => openOwn().catch((error) => refused(["said.own"], error)));
on("act-zero", "click", () => say("zero"));
on("act-retract", "click", retractLast);
on("act-restore", "click", () => say("restore"));
on("act-resume", "click", () => say("resume"));
on("act-ask", "click", () => say("ask"));
// Whether the series was stopped early.
async function stopEarly() {
  const armed = here().armed;
  return (await confirm(t("stop.heading"), t("cut.words", { series: armed.series, filled: armed.filled, slots: armed.slots }), t("stop.yes"), t("cut.no"))) && say("disarm");
}

on("act-stop", "click", stopEarly);
on("job-id", "input", typedJob);
on("job-over", "click", endJob);
on("job-lots", "click", () => { $("job").close(); openTo("lots"); });
on("job-stop", "click", async () => { if (await stopEarly()) await takeJob(); });
submit("job-form", takeJob);
submit("lots-form", takeLots);
on("act-crimps", "click", () => openCrimps(here(), say));
on("act-settle", "click", act.settle);
submit("crimps-form", takeCrimps);
submit("settle-form", settleHeld);
on("act-note", "click", () => open("note"));
on("act-picture", "click", () => openPicture(seriesOf(here(), benchOf())));
listenToPictures((file, of, instead) => carryOut("picture", () => give(file, { station, ...of }), instead));
on("act-history", "click", () => { showHistory(benchOf(), mayAct(), retract); open("history"); });
on("search", "input", () => { firstPage(); showPlans(mayAct(), start); });
on("tiles-before", "click", () => { turn(-1); showPlans(mayAct(), start); });
on("tiles-after", "click", () => { turn(1); showPlans(mayAct(), start); });
on("own-terminal", "change", chooseTerminal);
on("own-wire", "change", chooseWire);
on("own-tool", "change", chooseTool);
submit("own-form", () => arm(ownChoice(), ["said.own"]));
submit("operator-form", async () => {
  const operator = $("operator-name").value.trim();
  if (operator && (await say("operator", { operator }))) $("operator").close();
});
submit("note-form", async () => {
  const text = $("note-text").value.trim();
  if (!text || !(await say("note", { text }))) return;
  $("note-text").value = "";
  $("note").close();
});
submit("why-form", async () => {
  const given = reasonGiven();
  if (given.reason && (await say("retract", given))) $("why").close();
});
for (const close of document.querySelectorAll("[data-close]")) close.addEventListener("click", () => close.closest("dialog").close());

listenToSetup();
$("volume").value = sounds.volume;
fill();
showLanguages(setLanguage);
new ResizeObserver(again).observe($("stage"));
addEventListener("resize", showJobs);
follow({
  state(state) {
    gone = null;
    delete document.body.dataset.gone;
    if (state.journal_health === "ok" && notice && notice.kind !== "journal_resumed") notice = null;
    stateCame();
    show(state);
  },
  notice(said) {
    notice = said;
    know("notice", said.texts);
  },
  moving(values) {
    takeMoving(values, again);
    if (!shown || faceNow(benchOf()).kind !== "moving") return;
    // Only the value is drawn: a button that is pressed just now stays the same.
    if ($("face").dataset.kind === "moving") showMoving(faceNow(benchOf()));
    else again();
  },
  gone(why) {
    stopMoving();
    if (gone === null) {
      gone = new Date().toISOString();
      if (soundOn && shown) sounds.play("alert");
    }
    heard = null;
    document.body.dataset.gone = why;
    if (shown) again();
    else setText($("ask-words"), t("ask.gone"));
  },
});
