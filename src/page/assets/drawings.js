// The line drawings of visual checks, as src/drawings makes them: one symbol for each customary check, by its name.

import { draw } from "./dom.js";

const known = new DOMParser().parseFromString(await (await fetch("/drawings.svg")).text(), "image/svg+xml");

// The drawing of a check, good beside bad; null for a question of the plan's own. `label` is said to who does not see it.
export function drawing(name, label) {
  const symbol = name && known.getElementById(name);
  if (!symbol) return null;
  const svg = draw("svg", { class: "drawing", viewBox: symbol.getAttribute("viewBox"), role: "img", "aria-label": label });
  svg.append(...[...symbol.childNodes].map((node) => document.importNode(node, true)));
  return svg;
}
