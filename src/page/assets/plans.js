// The plans that can be started: a tile for each, the last used first, with a search by typing.

import { $, button, letterSize, make, refill, shape } from "./dom.js";
import { axisName, day, know, named, number, says, t, translated, wireWords } from "./texts.js";

const TILE = { width: 19.5, height: 14, low: 9.6 }; // at least, in letters of the page's size
const LARGER = { width: 16.5, height: 10.5 }; // the same where the letters are larger; what is cut then is drawn smaller
const SCALES = [1.6, 1.4, 1.2, 1]; // of the letters: as large as all tiles fit
const GAP = 10; // px
const NARROW = 700; // px; a screen of less is one column of low tiles

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

// Draws as many tiles as fit; the others are one press away.
export function showPlans(may, start) {
  const words = $("search").value.toLowerCase().split(/\s+/).filter(Boolean);
  const found = known.plans.filter((plan) => matches(plan, words));
  const box = $("tiles");
  const { clientWidth: width, clientHeight: height } = box;
  const scales = width < NARROW ? [1] : SCALES;
  for (const scale of scales) {
    const fitting = (room, letters) => Math.max(1, Math.floor((room + GAP) / (letters * letterSize() * scale + GAP)));
    const columns = fitting(width, (scale > 1 ? LARGER : TILE).width);
    const most = fitting(height, scale > 1 ? LARGER.height : width < NARROW ? TILE.low : TILE.height);
    if (scale > 1 && columns * most < found.length) continue; // all of them, or as many as can be
    box.style.setProperty("--columns", columns);
    box.style.fontSize = `${scale}em`;
    // Where what a tile says is longer than usual: lower tiles, then fewer.
    for (let rows = Math.min(most, Math.max(1, Math.ceil(found.length / columns))); rows > 0; rows -= 1) {
      for (const low of width < NARROW ? [true] : scale > 1 ? [false] : [false, true]) {
        box.classList.toggle("low", low);
        drawTiles(found, columns, rows, may, start);
        if ([...box.children].every((tile) => tile.scrollHeight <= tile.clientHeight)) return;
      }
      if (scale > 1) break;
    }
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
  const axes = plan.axes.map(({ axis, limits }) => make("span", { class: "tile-axis" }, axisName(axis), " ", make("b", {}, number(limits))));
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
