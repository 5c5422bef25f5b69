// The plans that can be started: a tile for each, the last used first, with a search by typing.

import { $, button, drawOnce, letterSize, make, refill, shape } from "./dom.js";
import { axisName, day, know, language, limitsWords, named, number, says, t, translated, wireWords } from "./texts.js";

const SMALLEST = { width: 15.5, height: 5.2 }; // of a tile that may fit, in its letters
const USUAL = 19.5; // width of a tile where not all fit
const SCALES = [2, 1.8, 1.6, 1.4, 1.25, 1.12, 1]; // of the letters
const GAP = 10; // px
const NARROW = 700; // px; a screen of less is one column

let page = 0;
let known = { plans: [], operators: [], tools: [] };

export const offered = () => known;

export function setPlans(offer) {
  known = offer;
  know("plans", offer.texts);
}

// Finds words in any text of a tile.
function matches(plan, words) {
  const text = [plan.plan, plan.terminal, plan.wire, plan.tool, plan.nest, named("purpose", plan.purpose), ...plan.axes.map((one) => axisName(one.axis))].join(" ").toLowerCase();
  return words.every((word) => text.includes(word));
}

// Draws the tiles: all of them, in letters as large as can be; or as many as fit, and the others are one press away.
export function showPlans(may, start) {
  const words = $("search").value.toLowerCase().split(/\s+/).filter(Boolean);
  const found = known.plans.filter((plan) => matches(plan, words));
  const box = $("tiles");
  const { clientWidth: width, clientHeight: height } = box;
  drawOnce(box, [language, found, known.plans.length, may, page, width, height], () => layOut(box, found, (columns, rows) => drawTiles(found, columns, rows, may, start)));
}

function layOut(box, found, draw) {
  const { clientWidth: width, clientHeight: height } = box;
  const most = (room, letters, scale) => Math.max(1, Math.floor((room + GAP) / (letters * letterSize() * scale + GAP)));
  const fits = (columns, rows, scale, low) => {
    box.style.setProperty("--columns", columns);
    box.style.fontSize = `${scale}em`;
    box.classList.toggle("low", low);
    draw(columns, rows);
    return [...box.children].every((tile) => tile.scrollHeight <= tile.clientHeight && tile.scrollWidth <= tile.clientWidth);
  };
  const isNarrow = width < NARROW;
  for (const scale of SCALES) {
    const widest = isNarrow ? 1 : Math.min(found.length, most(width, SMALLEST.width, scale));
    for (let columns = Math.min(isNarrow ? 1 : 2, widest); columns <= widest; columns += 1) {
      const rows = Math.ceil(found.length / columns);
      if (columns > 0 && rows <= most(height, SMALLEST.height, scale) && fits(columns, rows, scale, scale < 1.2)) return;
    }
  }
  const columns = isNarrow ? 1 : most(width, USUAL, 1);
  for (let rows = most(height, SMALLEST.height, 1); rows > 0; rows -= 1) {
    if (!fits(columns, rows, 1, true)) continue;
    SCALES.find((scale) => fits(columns, rows, scale, true)); // what room is left over makes the letters larger
    return;
  }
}

function drawTiles(found, columns, rows, may, start) {
  const box = $("tiles");
  const most = columns * rows;
  const pages = Math.max(1, Math.ceil(found.length / most));
  page = Math.min(page, pages - 1);
  box.style.setProperty("--rows", rows);
  refill(box, found.slice(page * most, (page + 1) * most).map((plan) => tile(plan, may, start)));
  $("tiles-none").hidden = found.length > 0;
  $("tiles-none").textContent = known.plans.length === 0 ? t("plans.none") : t("plans.not_found");
  $("tiles-page").textContent = pages > 1 ? t("plans.page", { page: page + 1, pages }) : "";
  for (const [id, by] of [["tiles-before", -1], ["tiles-after", 1]]) {
    $(id).hidden = pages < 2;
    $(id).disabled = page + by < 0 || page + by >= pages;
  }
}

export function turn(by) {
  page += by;
}

export function firstPage() {
  page = 0;
}

function tile(plan, may, start) {
  const axes = plan.axes.map(({ axis, limits }) => make("span", { class: "tile-axis" }, axisName(axis), " ", make("b", {}, limitsWords(limits))));
  const tool = plan.tool && t(plan.nest ? "tool.nest" : "tool", { tool: plan.tool, nest: plan.nest });
  const more = [tool, t("plan.pieces", { n: plan.pieces }), named("purpose", plan.purpose)].filter(Boolean);
  const made = button({ "data-key": plan.plan, class: "tile", disabled: !may || Boolean(plan.cannot) }, "", () => start(plan.plan));
  const parts = [
    make("span", { class: "tile-name" }, plan.terminal ?? t("plan.blocks"), " ", make("small", {}, plan.plan)),
    make("span", { class: "tile-wire" }, plan.wire ? wireWords(plan.wire) : plan.blocks.map(number).join(", ")),
    make("span", { class: "tile-axes" }, ...axes),
    make("span", { class: "tile-more" }, more.map((one, index) => make("span", {}, index < more.length - 1 ? `${one} · ` : one))),
    plan.cannot ? make("span", { class: "tile-last", "data-tone": "refused" }, shape("refused"), make("span", { lang: translated(plan.cannot) ? undefined : "en" }, says(plan.cannot))) : lastOf(plan),
  ];
  made.append(...parts.filter(Boolean));
  return made;
}

function lastOf({ last }) {
  if (!last) return null;
  const outcome = last.outcome ?? "open";
  const beside = (last.reservations ?? []).map((one) => named("reservation", one)).join(", ");
  const words = [t(`outcome.${outcome}`), beside, day(last.at)].filter(Boolean).join(" · ");
  return make("span", { class: "tile-last", "data-tone": last.outcome }, shape(beside ? "reserved" : last.outcome ?? "next"), words);
}
