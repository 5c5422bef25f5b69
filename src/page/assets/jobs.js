// What pieces are for and made of: the dialogs in which the job is chosen and the lots in use are said.
//
// The daemon knows the jobs and completes the fields of a known one. A refusal is shown in the dialog, beside what was typed.

import { $, button, capital, make, open, setText, shape } from "./dom.js";
import { read } from "./daemon.js";
import { keyOf, says, t, translated } from "./texts.js";

const SHOWN_MOST = 12; // known jobs
const LOTS_SHOWN = 4; // of a material

let known = { jobs: [], has_list: false, terminal_lots: [], wire_lots: [] };
let searched = false; // something was typed: only what has these words is shown
let here = null;
let say = null; // sends a command, and has a refusal shown in the dialog

const about = (job) => [job.customer, job.item, job.serial && t("job.serial", { serial: job.serial }), job.reference && t("job.reference", { reference: job.reference })].filter(Boolean);

// A job in words, with customer and item.
export const jobWords = (job) => (job ? [t("job.name", { job: job.id }), ...about(job)].join(" · ") : "");

// The lots in use, of terminals and of wire.
export const lotsOf = (station) => [station.terminal_lot, station.wire_lot].map((lot) => lot ?? "–").join(" / ");

async function opening(id, station, command) {
  [here, say] = [station, command];
  refused(id, null);
  try {
    known = await read("/jobs");
  } catch {
    // What is known from before is offered; the stream says what is wrong.
  }
}

// Why the daemon did not do it, and what to do, in the dialog in which it was said.
export function refused(id, error) {
  const lines = error ? [error.message, error.remedy].filter(Boolean).map((text) => make("p", { lang: translated(text) ? undefined : "en" }, capital(says(text)))) : [];
  $(`${id}-answer`).replaceChildren(...(lines.length > 0 ? [shape("refused"), make("div", {}, ...lines)] : []));
  if (id === "job") $("job-stop").hidden = !(error && keyOf(error.message) === "daemon.refusal.other_job");
}

// ---- the job ----

export async function openJob(station, command) {
  await opening("job", station, command);
  searched = false;
  setText($("job-now"), here.job ? t("job.now", { job: jobWords(here.job) }) : t("job.none_now"));
  [$("job-id").value, $("job-serial").value] = [here.job?.id ?? "", here.job?.serial ?? ""];
  setText($("job-lots"), t("job.lots", { lots: lotsOf(here) }));
  $("job-over").hidden = !here.job;
  open("job");
  showJobs();
}

export function typedJob() {
  searched = true;
  showJobs();
}

const matches = (job, words) => words.every((word) => [job.id, job.customer, job.item, job.reference].filter(Boolean).join(" ").toLowerCase().includes(word));

// As many jobs as fit without scrolling.
export function showJobs() {
  if (!$("job").open) return;
  const typed = $("job-id").value.trim();
  const found = searched ? known.jobs.filter((job) => matches(job, typed.toLowerCase().split(/\s+/).filter(Boolean))) : known.jobs;
  const isNew = typed !== "" && !known.jobs.some((job) => job.id === typed);
  setText($("job-new"), isNew && known.has_list ? t("job.unlisted", { job: typed }) : known.jobs.length === 0 ? t("job.no_list") : "");
  for (let most = SHOWN_MOST; most >= 0; most -= 1) {
    $("job-known").replaceChildren(...found.slice(0, most).map((job) => choice(job, typed)));
    setText($("job-more"), found.length > most ? t("job.more", { n: found.length - most }) : "");
    if ($("job").scrollHeight <= $("job").clientHeight) return;
  }
}

function choice(job, typed) {
  const made = button({ class: "choose", "data-key": job.id, "aria-pressed": String(job.id === typed) }, job.id, () => {
    $("job-id").value = job.id;
    if (job.id !== here.job?.id) $("job-serial").value = "";
    showJobs();
    $("job-known").querySelector(`[data-key="${CSS.escape(job.id)}"]`)?.focus();
  });
  const more = about(job).join(" · ");
  if (more) made.append(make("small", {}, more));
  return made;
}

export async function takeJob() {
  const [job, serial] = [$("job-id").value.trim(), $("job-serial").value.trim()];
  if (!job) return $("job-id").focus();
  if (await say("job", { job, ...(serial && { serial }) }, (error) => refused("job", error))) $("job").close();
}

export async function endJob() {
  if (await say("job", {}, (error) => refused("job", error))) $("job").close();
}

// ---- the lots ----

const MATERIALS = ["terminal", "wire"];

export async function openLots(station, command) {
  await opening("lots", station, command);
  for (const material of MATERIALS) {
    const field = $(`lot-${material}`);
    field.value = here[`${material}_lot`] ?? "";
    $(`lot-${material}-known`).replaceChildren(...known[`${material}_lots`].filter((lot) => lot !== field.value).slice(0, LOTS_SHOWN).map((lot) => button({ "data-key": lot }, lot, () => { field.value = lot; })));
  }
  open("lots");
}

// Says the lots that are others now; an empty field is a lot that nobody knows.
export async function takeLots() {
  for (const material of MATERIALS) {
    const lot = $(`lot-${material}`).value.trim();
    if (lot === (here[`${material}_lot`] ?? "")) continue;
    if (!(await say("lot", { material, ...(lot && { lot }) }, (error) => refused("lots", error)))) return;
    here = { ...here, [`${material}_lot`]: lot };
  }
  $("lots").close();
}
