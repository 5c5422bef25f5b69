// The main display: the state that the daemon names, as shape, word, value and sentence.
//
// The daemon chooses the state (`face`). Only what it cannot know is decided here: that it does not answer, that its
// journal has failed, and why this page's own command was refused.

import { $, button, capital, fit, keepingFocus, make, refill, setText, shape, toneOf, whole } from "./dom.js";
import { axisName, clock, keyed, keysAt, named, number, says, t, translated, wireWords } from "./texts.js";
import { drawing } from "./drawings.js";
import { jobWords } from "./jobs.js";
import { heldOf, holdWords, runWords } from "./runs.js";
import { drawScale } from "./scale.js";

// Words of the daemon, in English where the table of texts does not have them.
const daemonSays = (text) => text && make("p", { class: "detail", lang: translated(text) ? undefined : "en" }, whole(capital(says(text))));
const line = (text) => text && make("p", {}, whole(text));

// Distance of a value from the limit that decides, in words.
export function missWords(miss) {
  if (!miss) return "";
  if (!miss.by) return t(`miss.at.${miss.limit}`);
  return t(`miss.${miss.beyond ? "beyond" : "within"}.${miss.limit}`, { by: number(miss.by) });
}

const faultWords = (miss) => (miss?.fault ? t(`fault.${miss.fault}`) : "");

// What must be done before the next slot, or the next slot.
export function askWords(here, bench) {
  if (here.prompt_kind === "end") return capital(says(here.prompt));
  if (here.prompt_kind === "wait") return t("ask.wait");
  if (bench.face.kind === "sample") return t("ask.sample", { plan: here.production.open.plan });
  if (bench.face.kind === "crimping") return t("ask.crimping");
  if (["crimp", "sample"].includes(here.prompt_kind)) return capital(says(here.production.open.says));
  if (bench.todo) return todoWords(bench.todo);
  if (bench.face.kind === "held") return capital(says(here.production.held_says));
  const [first, ...others] = bench.asks;
  if (!first && here.armed) return t("ask.full");
  if (!first) return bench.face.kind === "over" && here.outcome ? t("ask.over", { series: here.outcome.series }) : t("ask.start");
  if (first.block) return t("ask.block", { block: number(first.block), piece: first.piece, pieces: first.pieces });
  const axes = others.map((one) => t("ask.or", { axis: axisName(one.axis), piece: one.piece }));
  return t("ask.measure", { piece: first.piece, pieces: first.pieces, axis: axisName(first.axis) }) + axes.join("");
}

function todoWords(todo) {
  const { instrument } = todo;
  switch (todo.kind) {
    case "unplugged": return t("ask.connect", { instrument });
    case "adapter": return t("ask.adapter", { instrument });
    case "look": return todo.piece ? t("ask.look", { piece: todo.piece, n: todo.look, of: todo.of }) : t("ask.look.series", { n: todo.look, of: todo.of });
    case "pull_mode": return t("ask.pull_mode", { piece: todo.piece });
    case "shared": return t("ask.shared", { holders: todo.holders.join(", "), instrument });
    case "zero_off": return t(todo.force ? "ask.zero_off.force" : todo.must_be_said ? "ask.zero_off.said" : "ask.zero_off", { instrument });
    default: return t(todo.force ? "ask.zero.force" : todo.must_be_said ? "ask.zero.said" : "ask.zero", { instrument });
  }
}

// The question of a visual check: a customary one in the page's language, the plan's own as it is.
const question = (face) => (face.name ? named("look", face.name) : face.question);

const ANSWERS = { good: "pass", bad: "rejected" }; // each with the tone of its shape
const PULL_MODES = ["pulled_out", "broke_at_crimp", "broke_in_wire", "other"];

// The buttons that answer what a person is asked.
function answers(todo, act) {
  const asked = (answers) => ({ asked: true, buttons: answers });
  if (todo?.kind === "look") return asked(Object.entries(ANSWERS).map(([answer, tone]) => [answer, [make("span", { "data-tone": tone }, shape(tone)), t(`answer.${answer}`)], () => act.say("look", { look: todo.look, piece: todo.piece, answer })]));
  if (todo?.kind === "pull_mode") return asked(PULL_MODES.map((mode) => [mode, t(`answer.${mode}`), () => act.say("pulled", { piece: todo.piece, mode })]));
  return {};
}

// In which dialog it is said; both lots are said in one.
const SAID_IN = { operator: "operator", job: "job", terminal_lot: "lots", wire_lot: "lots", tool: "tool" };

// The buttons that say what a plan requires, where that was refused; then it is started.
function missingOf(face, act) {
  const plan = /^tj\/arm\/(.+)$/.exec(face.said)?.[1];
  const what = face.own ? face.start : plan && { plan };
  const missing = what ? keysAt(face.reason, "missing").filter((key) => key.startsWith("daemon.ask.")).map((key) => key.slice("daemon.ask.".length)) : [];
  const dialogs = new Set(missing.map((name) => SAID_IN[name]));
  return [...dialogs].map((id) => [`say-${id}`, t(`say.${id}`), () => act.sayMissing(id, what)]);
}

const zeroReason = ({ why, every }) => t(`zero.${why}`, { n: every });

// The limits of the next slot, as large as possible; both axes if the value decides the axis.
function limitsOf(asks) {
  return asks.slice(0, 3).map((ask) => make("div", { class: "limits" },
    asks.length > 1 && make("p", { class: "limits-axis" }, axisName(ask.axis)),
    make("p", { class: "limits-figures", "data-fit": "" }, limitFigures(ask)),
    ask.nominal && make("p", { class: "limits-nominal" }, t("limits.nominal", { nominal: number(ask.nominal) })),
    !ask.lower && !ask.upper && make("p", { class: "limits-nominal" }, t("limits.none.why"))));
}

export function limitFigures({ lower, upper }) {
  if (lower && upper) return `${number(lower).replace(/ .*/, "")} – ${number(upper)}`;
  if (!lower && !upper) return t("limits.none");
  return lower ? `≥ ${number(lower)}` : `≤ ${number(upper)}`;
}

// Shape, tone, word and further text of each state.
function looksOf(face, { here, bench, act }) {
  const last = here.last;
  switch (face.kind) {
    case "verdict": {
      const tone = toneOf(last.verdict);
      const miss = bench.scale?.miss;
      return {
        ...answers(bench.todo, act),
        shape: tone, tone, word: t(tone.startsWith("fail") ? "verdict.fail" : `verdict.${tone}`), value: number(bench.last_value), scale: bench.scale,
        lead: tone === "measured" ? t("measured.lead") : [capital(faultWords(miss)), missWords(miss)].filter(Boolean).join(": "),
        lines: [line(tone === "unsure" && t("unsure.why")), make("p", { class: "slot-of" }, t("slot.of", { piece: last.piece, axis: axisName(last.axis) }))],
      };
    }
    case "look": return { shape: "look", tone: "ready", word: t("word.look"), lead: question(face), drawn: drawing(face.name, t("look.drawing")), lines: [], ...answers(face, act) };
    case "pull_mode": return { shape: "look", tone: "ready", word: t("word.pull_mode"), lead: t("pull_mode.lead", { piece: face.piece }), lines: [], ...answers(face, act) };
    case "limits": return { shape: "next", tone: "ready", limits: bench.asks, lines: [] };
    case "zero": return { shape: "zero", tone: "ready", word: t("word.zero"), lead: zeroReason(face), lines: [] };
    case "zero_off":
      return {
        shape: "zero_off", tone: "zero_off", word: t("word.zero_off"), value: face.by && number(face.by),
        lead: face.doubted > 0 && t("zero_off.doubted", { n: face.doubted }), lines: [],
      };
    case "doubted": return { shape: "doubted", tone: "doubted", word: t("word.doubted"), lead: t("doubted.again", { n: face.again }), lines: [line(t("doubted.why"))] };
    case "not_counted":
      return {
        shape: "not_counted", tone: "not_counted", word: t("word.not_counted"), value: number(face.value), lead: named("reason", face.reason),
        lines: [daemonSays(face.hint), line(here.armed && t("not_counted.again"))],
      };
    case "unread": return { shape: "unread", tone: "not_counted", word: t("word.unread"), lead: t("unread.from", face), lines: [line(here.armed && t("not_counted.again")), daemonSays(face.reason), daemonSays(face.remedy)] };
    case "refused": {
      const ways = [...missingOf(face, act), ...(face.own ? [] : cutFor(face, act))];
      return {
        shape: "refused", tone: "refused", word: t("word.refused"), lead: face.own ? face.said : cardWords(face.said), lines: [daemonSays(face.reason), daemonSays(face.remedy)],
        main: ways[0]?.[0], buttons: [...ways, ...(face.own ? [["ok", t("button.ok"), act.forgetRefusal]] : [])],
      };
    }
    case "unplugged": return { shape: "unplugged", tone: "stop", word: t("word.unplugged"), value: face.instrument, lines: orWhy(troubles(face, here), face.why) };
    case "adapter":
      return {
        shape: "adapter", tone: "stop", word: t("word.adapter"), lead: t("adapter.lead", face), lines: [line(t("adapter.was", face)), line(t("adapter.is", face)), line(t("adapter.until"))],
        buttons: [["meant", t("button.meant"), () => act.say("adapter", { instrument: face.instrument })]],
      };
    case "shared": return { shape: "shared", tone: "stop", word: t("word.shared"), lead: t("shared.why", face), lines: [] };
    case "moving": return { shape: "moving", tone: "moving", word: t("word.moving"), value: number(face.value), lead: t("moving.lead"), lines: [line(t("moving.more"))] };
    case "retracted": return { shape: "retracted", tone: "not_counted", word: t("word.retracted"), lead: bench.restorable && t("retracted.what", { piece: bench.restorable.piece, axis: axisName(bench.restorable.axis), value: number(bench.restorable.value) }), lines: [line(bench.restorable && t("retracted.restore"))] };
    case "held": return heldLooks(bench, here, act);
    case "sample": return sampleLooks(bench, here, act);
    case "crimping": return crimpingLooks(bench, here, act);
    case "over": return overLooks(bench, here, act);
    case "gone":
      return { shape: "gone", tone: "stop", word: t("word.gone"), lead: t("gone.lead", { since: clock(face.since) }), lines: [line(t("gone.again"))] };
    case "journal_failed": return { shape: "disk", tone: "stop", word: t("word.journal_failed"), lead: t("journal_failed.lead"), lines: [daemonSays(face.message), daemonSays(face.remedy), line(face.gone && t("gone.lead", { since: clock(face.gone.since) }))] };
    case "journal_full": return { shape: "disk", tone: "stop", word: t("word.journal_full"), lead: t("journal_full.lead"), lines: [daemonSays(face.message), daemonSays(face.remedy)] };
    case "journal_stalled": return { shape: "disk", tone: "stop", word: t("word.journal_stalled"), lead: t("journal_stalled.lead", { n: face.seconds }), lines: [line(t("journal_stalled.more"))] };
    default: return { shape: "plain", tone: "ready", word: t("word.waiting"), lines: [] };
  }
}

// What a card wants, in words; a card of another kind as it is.
const CARD = /^tj\/(arm|tool)\/([^/]+)(?:\/([^/]+))?$/;
function cardWords(said) {
  const [, kind, name, nest] = CARD.exec(said) ?? [];
  if (!kind || (kind === "arm" && nest)) return said;
  return kind === "arm" ? t("said.arm", { plan: name }) : capital(t(nest ? "tool.nest" : "tool", { tool: name, nest }));
}

// One fact is said once: the newest trouble, or else why the port ended.
const orWhy = (lines, why) => (lines.length > 0 ? lines : [daemonSays(why)]);

// A card that would stop the open series early can be confirmed by a finger, too.
function cutFor({ said, reason }, act) {
  const open = keyed(reason);
  const [, plan] = /^tj\/arm\/([^/]+)$/.exec(said) ?? [];
  if (open?.key !== "daemon.refusal.still_open" || !plan) return [];
  return [["cut", t("button.cut_for", { series: open.with.series, plan }), () => act.startCut(plan)]];
}

const troubles = ({ instrument }, here) => (here.troubles ?? []).filter((one) => one.instrument === instrument).flatMap((one) => [daemonSays(one.message), daemonSays(one.remedy)]);

// What the outcome did to a production run.
const ofOutcome = (bench, id) => bench.recent.filter((one) => one.seq > id && ["run_opened", "run_closed"].includes(one.kind)).map((one) => line(capital(says(one.words))));

function overLooks(bench, here, act) {
  const { closed } = bench;
  const outcome = closed?.outcome ?? here.outcome.outcome;
  const beside = closed?.reservations ?? here.outcome.reservations ?? [];
  const tally = closed?.tally ?? here.outcome.tally;
  const id = closed?.series ?? here.outcome.series;
  const plan = closed?.plan;
  return {
    shape: beside.length > 0 ? "reserved" : outcome, tone: outcome, reserved: beside.length > 0, word: t(`outcome.${outcome}`),
    lead: beside.length > 0 ? t("over.reservations", { list: beside.map((one) => named("reservation", one)).join(", ") }) : closed && asideLead(closed),
    lines: [beside.length > 0 && closed && line(asideLead(closed)), asideList(closed), line(t("over.series", { series: id, tally: tallyWords(tally) })), ...ofOutcome(bench, id)],
    main: ["accepted", "measured"].includes(outcome) ? "next" : "again",
    buttons: [["report", t("button.report"), () => act.report(id)], plan && act.may && ["again", t("button.again"), () => act.start(plan)], ["next", t("button.next"), act.showPlans]].filter(Boolean),
  };
}

// What leads on between two samples: the next one, the report of the last, another plan.
function ofRun(bench, here, act) {
  const plan = here.production.open?.plan;
  return [
    plan && act.may && ["sample", t("button.start", { plan }), () => act.start(plan)],
    bench.closed && ["report", t("button.report"), () => act.report(bench.closed.series)],
    ["next", t("button.next"), act.showPlans],
  ].filter(Boolean);
}

// A sample of the open run is due: why, and the plan of it.
function sampleLooks(bench, here, act) {
  const run = here.production.open;
  const why = run.bad_sample !== undefined ? "bad" : run.left === 0 ? "crimps" : "time";
  const every = why === "time" ? run.every_minutes : run.every_crimps;
  return {
    shape: "sample", tone: "stop", word: t("word.sample"), value: why !== "bad" && t("held.crimps", { n: run.open }), lead: t(`sample.${why}`, { n: every }), lines: [],
    main: "sample", buttons: ofRun(bench, here, act),
  };
}

// How much may be crimped until the next sample.
function crimpingLooks(bench, here, act) {
  const run = here.production.open;
  const at = run.due_at && clock(run.due_at);
  const counted = run.left === undefined;
  return {
    shape: "crimp", tone: "ready", word: t(counted ? "word.crimped" : "word.crimping", { n: counted ? run.open : run.left }), lead: t(counted ? "crimping.timed" : "crimping.left", { n: run.left, at }),
    lines: [line(!counted && at && t("crimping.at", { at }))], buttons: ofRun(bench, here, act),
  };
}

const HOLDS_MOST = 2;

// Crimps that a bad sample holds, and what of the sample is to be set aside.
function heldLooks(bench, here, act) {
  const holds = here.production.holds.toReversed();
  const rest = holds.length - HOLDS_MOST;
  return {
    shape: "held", tone: "held", word: t("word.held"), value: t("held.crimps", { n: heldOf(here) }), lead: t("held.todo"),
    lines: [...holds.slice(0, HOLDS_MOST).map((hold) => line(holdWords(hold))), line(rest > 0 && t("held.more", { n: rest })), asideList(bench.closed)],
    main: "settle", buttons: [["settle", t("settle.take"), act.settle], ...ofRun(bench, here, act).filter(([key]) => key !== "next" || !here.production.open)],
  };
}

// By piece, with all its faults.
function asideOf(closed) {
  const pieces = new Map();
  const note = (piece, text, tone) => pieces.set(piece, [...(pieces.get(piece) ?? []), { text, tone }]);
  for (const one of closed.aside) {
    const how = [faultWords(one.miss), missWords(one.miss)].filter(Boolean).join(", ");
    note(one.piece, `${axisName(one.axis)} ${number(one.value)}: ${how}`, toneOf(one.verdict));
  }
  for (const one of closed.bad_looks ?? []) note(one.piece ?? 0, t("aside.bad_look", { question: question(one) }), "rejected");
  for (const one of closed.doubted) note(one.piece, t("aside.doubted", { axis: axisName(one.axis), value: number(one.value) }), "doubted");
  return [...pieces].toSorted(([a], [b]) => a - b);
}

function asideLead(closed) {
  const n = asideOf(closed).length;
  if (n > 0) return t(closed.outcome === "undecided" ? "over.aside.unsure" : "over.aside", { n });
  if (closed.outcome === "measured") return t("measured.lead");
  return closed.outcome === "accepted" ? t("over.all_good") : "";
}

const ASIDE_MOST = 6;

function asideList(closed) {
  if (!closed) return null;
  const pieces = asideOf(closed);
  if (pieces.length === 0) return null;
  const items = pieces.slice(0, ASIDE_MOST).map(([piece, faults]) => make("li", { "data-tone": faults[0].tone }, shape(faults[0].tone), make("span", {}, make("b", {}, piece ? t("aside.piece", { piece }) : t("aside.series")), whole(` ${faults.map((one) => one.text).join("; ")}`))));
  const rest = pieces.slice(ASIDE_MOST).map(([piece]) => piece);
  if (rest.length > 0) items.push(make("li", {}, shape("plain"), make("span", {}, t("aside.more", { list: rest.join(", ") }))));
  return make("ul", { class: "aside" }, ...items);
}

export function tallyWords(tally) {
  const parts = ["passed", "failed", "unsure", "measured", "doubted", "retracted", "not_counted"];
  return parts.filter((key) => tally[key] > 0).map((key) => t(`tally.${key}`, { n: tally[key] })).join(", ") || t("tally.none");
}

const LONG = 8; // letters of a word that a narrow screen has no room for beside the shape
const LONGER = 12; // letters of a word that stands below its shape on every screen

// A button of another question is another button, though it has the same words: who has a finger on it saw the first.
function redraw(body, of, parts) {
  keepingFocus(body, () => {
    if (body.dataset.of !== of) body.replaceChildren();
    body.dataset.of = of;
    refill(body, parts);
  });
}

// Draws `face`, and returns the screen in one sentence.
export function showFace(face, about) {
  const box = $("face");
  const looks = looksOf(face, about);
  const figures = looks.limits?.length ? limitsOf(looks.limits) : [];
  const onlyLimits = face.kind === "limits";
  box.dataset.kind = face.kind;
  box.dataset.tone = looks.tone;
  box.toggleAttribute("data-reserved", Boolean(looks.reserved));
  box.toggleAttribute("data-asked", Boolean(looks.asked));
  const head = make("div", { id: "face-head", "data-long": (looks.word?.length ?? 0) > LONG, "data-longer": (looks.word?.length ?? 0) > LONGER },
    !onlyLimits && Object.assign(shape(looks.shape), { id: "face-shape" }),
    make("div", { id: "face-words" },
      looks.word && make("p", { id: "face-word", "data-fit": "" }, looks.word),
      looks.value && make("p", { id: "face-value", "data-fit": "" }, looks.value)));
  const buttons = (looks.buttons ?? []).map(([key, label, pressed]) => button({ "data-key": `face-${key}`, id: `face-${key}`, class: key === looks.main && "main", disabled: !about.act.may && key !== "report" && key !== "next" }, label, pressed));
  const parts = [
    (looks.word || looks.value) && head,
    looks.lead && make("p", { id: "face-lead" }, whole(looks.lead)),
    looks.drawn,
    ...figures,
    make("div", { id: "face-lines" }, ...looks.lines.filter(Boolean)),
    buttons.length > 0 && make("div", { id: "face-buttons" }, ...buttons),
  ].filter(Boolean);
  const scale = $("scale");
  redraw($("face-body"), JSON.stringify([face, about.here.station, about.here.armed?.series, about.bench.todo, about.bench.closed?.series]), parts);
  scale.toggleAttribute("hidden", !looks.scale);
  fit($("face-body"));
  const before = about.bench.readings.filter((one) => one.axis === about.here.last?.axis && one.seq !== looks.scale?.seq);
  if (looks.scale) drawScale(scale, looks.scale, before.map((one) => one.at));
  return [looks.word, looks.value, looks.lead].filter(Boolean).join(", ") || looks.limits?.map(limitFigures).join(", ");
}

// The next value of a face that moves.
export function showMoving({ value }) {
  const [box, shown] = [$("face-value"), number(value)];
  const same = box.textContent.length === shown.length;
  setText(box, shown);
  if (!same) fit($("face-body"));
}

// Nothing measured now would be kept.
export const STOPS = ["gone", "journal_failed", "journal_full"];

export function showAsk(here, bench, face) {
  const stops = STOPS.includes(face.kind);
  const offTheFace = !stops && !["limits", "journal_stalled"].includes(face.kind);
  setText($("ask-words"), whole(stops ? t("ask.stop") : askWords(here, bench)));
  const ask = bench.asks[0];
  setText($("ask-limits"), ask && offTheFace && !bench.todo ? limitFigures(ask) : "");
  setText($("ask-more"), ask?.undo ? t("ask.undo", { piece: ask.undo.piece, axis: axisName(ask.undo.axis), value: number(ask.undo.value) }) : [subjectWords(here.armed ?? (here.production ? null : bench.closed)), jobWords(here.job), runWords(here)].filter(Boolean).join(" · "));
}

// The crimp or block of the series.
function subjectWords(series) {
  if (!series) return "";
  return [series.terminal ?? t("plan.blocks"), series.wire && wireWords(series.wire), series.plan && t("plan.name", { plan: series.plan })].filter(Boolean).join(" · ");
}
