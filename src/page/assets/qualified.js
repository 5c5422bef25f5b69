// Qualifications: each terminal and wire with each tool and nest, by qualification series. The daemon decides; this shows it.

import { $, capital, make, open, refill, setText, shape } from "./dom.js";
import { read } from "./daemon.js";
import { axisName, know, number, says, t } from "./texts.js";

// The shape and the word of each standing.
const STANDINGS = { shown: ["pass", "qualified.shown"], not_shown: ["fail_low", "qualified.not_shown"], lapsed: ["unsure", "qualified.lapsed"], never_tried: ["not_counted", "qualified.never_tried"] };

// A whole number of millinewtons as newtons.
const newtons = (base) => number(`${base / 1000} N`);
const dayOf = (text) => t("qualified.day", { day: { date: text } });

// The figures of a combination in one line.
function figures(one) {
  const worst = one.ppk_least !== undefined && t("qualified.ppk", { n: one.pieces, axis: axisName(one.worst_axis), ppk: number(one.ppk_least.toFixed(3)) });
  const pulled = (one.shown_axes ?? []).find((of) => of.lowest_mn !== undefined);
  const pull = pulled && (pulled.minimum_mn === undefined ? t("qualified.pull.alone", { lowest: newtons(pulled.lowest_mn) }) : t("qualified.pull", { lowest: newtons(pulled.lowest_mn), minimum: newtons(pulled.minimum_mn) }));
  const series = [...new Set((one.shown_axes ?? []).map((of) => of.series_id))];
  const rests = series.length > 0 && t("qualified.series", { series: series.join(", ") });
  const until = one.until && t("qualified.until", { day: dayOf(one.until) });
  const reservations = (one.reservations ?? []).map((name) => t(`reservation.${name}`)).join(", ");
  return [worst, pull, rests, until, reservations].filter(Boolean).join(" · ");
}

function item(one) {
  const wire = `${Number.isInteger(one.wire_mm2) ? one.wire_mm2.toFixed(1) : one.wire_mm2} mm²`;
  const name = t("qualified.name", { terminal: one.terminal, wire: number(wire), tool: [one.tool_id, one.nest].filter(Boolean).join(" ") });
  const why = [...(one.missing ?? []), ...(one.lapses ?? [])].map((words) => make("p", { class: "why" }, capital(says(words))));
  const found = figures(one);
  const [tone, word] = STANDINGS[one.standing];
  return make("li", { "data-tone": tone, "data-standing": one.standing },
    shape(tone), make("div", { class: "words" }, make("b", {}, `${name}: ${t(word)}`), ...why, found && make("p", { class: "figures" }, found)));
}

export async function showQualified() {
  refill($("qualified-list"), []);
  setText($("qualified-rule"), t("qualified.wait"));
  open("qualified");
  try {
    const known = await read("/qualified");
    know("qualified", known.texts);
    const { rule, combinations } = known;
    const kind = rule.pull ? "qualified.rule.pull" : "qualified.rule";
    const words = t(kind, { pieces: rule.pieces, ppk: number(rule.ppk.toFixed(2)), months: rule.months });
    setText($("qualified-rule"), [words, rule.configured ? "" : t("qualified.default"), combinations.length === 0 ? t("qualified.none") : ""].filter(Boolean).join(" "));
    refill($("qualified-list"), combinations.map(item));
  } catch (error) {
    setText($("qualified-rule"), error.message);
  }
}
