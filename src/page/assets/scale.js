// Draws a value between its limits.

import { draw, roomOf } from "./dom.js";
import { number, t } from "./texts.js";

function patterns() {
  const all = draw("defs");
  const hatch = draw("pattern", { id: "hatch", width: 9, height: 9, patternUnits: "userSpaceOnUse" });
  hatch.append(draw("path", { d: "M0 9L9 0" }));
  const dots = draw("pattern", { id: "dots", width: 8, height: 8, patternUnits: "userSpaceOnUse" });
  dots.append(draw("circle", { cx: 4, cy: 4, r: 2 }));
  all.append(hatch, dots);
  return all;
}

// The drawn part of the axis: the limits in the middle, with room on either side.
function range(low, high, value) {
  const span = low !== undefined && high !== undefined ? Math.max(1, high - low) : Math.max(1, Math.abs((low ?? high) - value) * 1.3, Math.abs(low ?? high) * 0.2);
  return [low !== undefined ? low - span * 0.6 : high - span * 1.2, high !== undefined ? high + span * 0.6 : low + span * 1.2];
}

// Draws `scale` into an svg of its present size; `before` are earlier values of the axis.
export function drawScale(svg, scale, before) {
  const box = roomOf(svg, () => drawScale(svg, scale, before));
  const width = Math.max(160, box.width);
  const height = Math.max(60, box.height);
  const unit = Math.min(height / 6.2, width / 22, 30);
  svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
  svg.style.fontSize = `${unit}px`;
  const [low, high] = [scale.lower?.at, scale.upper?.at];
  const [from, to] = range(low, high, scale.value.at);
  const pad = unit * 1.4;
  const x = (at) => pad + ((Math.min(to, Math.max(from, at)) - from) / (to - from)) * (width - 2 * pad);
  const top = unit * 2.4;
  const bottom = height - unit * 1.8;
  const parts = [patterns()];
  const zone = (a, b, kind) => parts.push(draw("rect", { class: kind, x: x(a), y: top, width: Math.max(0, x(b) - x(a)), height: bottom - top }));
  zone(low ?? from, high ?? to, "bar");
  if (low !== undefined) zone(from, low, "out");
  if (high !== undefined) zone(high, to, "out");
  for (const limit of scale.guard ? [low, high] : []) {
    if (limit !== undefined) zone(limit - scale.guard, limit + scale.guard, "guard");
  }
  const line = (at, kind, y1, y2) => parts.push(draw("line", { class: kind, x1: x(at), x2: x(at), y1, y2 }));
  const label = (mark) => parts.push(draw("text", { x: x(mark.at), y: bottom + unit * 1.4, "text-anchor": "middle" }, number(mark.text)));
  for (const limit of [scale.lower, scale.upper]) {
    if (!limit) continue;
    line(limit.at, "edge", top - unit * 0.3, bottom + unit * 0.3);
    label(limit);
  }
  const nominal = scale.nominal;
  if (nominal && nominal.at !== low && nominal.at !== high) {
    line(nominal.at, "nominal", top, bottom);
    const apart = Math.min(...[low, high].filter((at) => at !== undefined).map((at) => Math.abs(x(at) - x(nominal.at))));
    if (apart > unit * 5.8) label(nominal);
  }
  for (const at of before) line(at, "before", bottom - unit * 0.7, bottom);
  const at = x(scale.value.at);
  const beyond = scale.value.at < from ? "◀ " : scale.value.at > to ? "▶ " : "";
  parts.push(draw("path", { class: "mark", d: `M${at} ${top + unit}l${-unit} ${-unit * 1.7}h${unit * 2}z` }));
  if (beyond) parts.push(draw("text", { class: "beyond", x: at, y: top - unit, "text-anchor": beyond === "◀ " ? "start" : "end" }, beyond.trim()));
  const said = t(scale.budget ? "scale.guarded_by" : scale.guard ? "scale.guarded" : "scale", { value: number(scale.value.text), limits: number(scale.limits), budget: scale.budget });
  if (scale.budget) parts.push(draw("title", {}, said));
  svg.replaceChildren(...parts);
  svg.setAttribute("aria-label", said);
}
