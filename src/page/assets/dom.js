// Elements, text and shapes. Text is always set as text, so that markup in a note is shown and not interpreted.

const SVG = "http://www.w3.org/2000/svg";

export const $ = (id) => document.getElementById(id);

// Characters that could change the reading direction or mislead, shown as escapes; as `safe` in src/quantity/safe.rs.
const UNSAFE = /[\u0000-\u001f\u007f-\u009f\u061c\u200e\u200f\u2028-\u202e\u2066-\u206f\ufff9-\ufffb]/g;
export const plain = (text) => (typeof text === "string" ? text.replace(UNSAFE, (c) => `\\u{${c.codePointAt(0).toString(16)}}`) : text);

function setAttributes(element, attributes) {
  for (const [key, value] of Object.entries(attributes)) {
    if (value === true) element.setAttribute(key, "");
    else if (value !== false && value !== undefined) element.setAttribute(key, plain(value));
  }
}

// An element with attributes and children. Text children stay text; missing ones are left out.
export function make(name, attributes = {}, ...children) {
  const element = document.createElement(name);
  setAttributes(element, attributes);
  element.append(...children.flat().filter((child) => child !== undefined && child !== null && child !== false).map(plain));
  return element;
}

export function button(attributes, label, act) {
  const made = make("button", { type: "button", ...attributes }, label);
  made.onclick = act; // a property, so that `become` can carry it over
  return made;
}

export function draw(name, attributes = {}, text) {
  const element = document.createElementNS(SVG, name);
  setAttributes(element, attributes);
  if (text !== undefined) element.textContent = plain(text);
  return element;
}

// What an element is, from one drawing to the next. A button without a key is never the same.
let nameless = 0;
const identity = (node) => `${node.nodeName} ${node.id || node.dataset?.key || (node.nodeName === "BUTTON" ? (nameless += 1) : "")}`;

function become(now, fresh) {
  if (now.nodeType === Node.TEXT_NODE) {
    if (now.nodeValue !== fresh.nodeValue) now.nodeValue = fresh.nodeValue;
    return;
  }
  for (const { name } of [...now.attributes]) if (!fresh.hasAttribute(name)) now.removeAttribute(name);
  for (const { name, value } of fresh.attributes) if (now.getAttribute(name) !== value) now.setAttribute(name, value);
  now.onclick = fresh.onclick;
  fill(now, [...fresh.childNodes]);
}

// Makes the children of an element like `fresh`. One that is there already stays, so that a finger which is on a button
// while the screen is drawn again still presses it.
function fill(parent, fresh) {
  const wanted = fresh.map(identity);
  const drop = (node) => { const next = node.nextSibling; node.remove(); return next; };
  let at = parent.firstChild;
  for (const [index, node] of fresh.entries()) {
    while (at && !wanted.includes(identity(at), index)) at = drop(at);
    if (at && identity(at) === wanted[index]) {
      const kept = at;
      at = at.nextSibling;
      become(kept, node);
    } else parent.insertBefore(node, at);
  }
  while (at) at = drop(at);
}

// Draws an element again by `draw`; what had the focus in it has it again.
export function keepingFocus(element, draw) {
  const focused = element.contains(document.activeElement) ? document.activeElement.dataset : {};
  draw();
  if (element.contains(document.activeElement)) return;
  const name = ["key", "tab", "act"].find((one) => focused[one]);
  if (name) element.querySelector(`[data-${name}="${CSS.escape(focused[name])}"]`)?.focus();
}

// Draws the items of an element again.
export function refill(parent, children) {
  keepingFocus(parent, () => fill(parent, children));
}

// Draws into an element by `draw`, unless it was drawn from the same before.
const drawnFrom = new WeakMap();
export function drawOnce(element, from, draw) {
  const key = JSON.stringify(from);
  if (drawnFrom.get(element) === key) return;
  drawnFrom.set(element, key);
  draw(element);
}

// Makes `children` those of an element; a child that stands at its place already stays untouched.
export function settle(parent, children) {
  for (const [index, child] of children.entries()) {
    const now = parent.children[index];
    if (now === child) continue;
    if (now) now.replaceWith(child);
    else parent.append(child);
  }
  while (parent.children.length > children.length) parent.lastElementChild.remove();
}

export function setText(element, text) {
  const shown = plain(text);
  if (element.textContent !== shown) element.textContent = shown;
}

// No line ends between a number and its unit, or within a name such as caliper-1.
export const whole = (text) => text.replace(/(\d) (?=(?:mm|µm|in|N|kN|lbf|cm|%)\b)/g, "$1\u00a0").replace(/-(?=\w)/g, "-\u2060");

export const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);

// Opens a dialog as a modal one, unless it is open.
export function open(id) {
  if (!$(id).open) $(id).showModal();
}

const solid = (d) => ["path", { d, fill: "currentColor" }];
const stroke = (d, width = 9, colour = "currentColor") => ["path", { d, fill: "none", stroke: colour, "stroke-width": width }];
const ON_SOLID = "var(--card)";

// A shape for each tone, distinguished without colour.
const SHAPES = {
  pass: [["circle", { cx: 50, cy: 50, r: 46, fill: "currentColor" }], stroke("M26 52l17 17 32-36", 12, ON_SOLID)],
  measured: [["circle", { cx: 50, cy: 50, r: 42, fill: "none", stroke: "currentColor", "stroke-width": 9 }], stroke("M28 50h44M28 38v24M72 38v24")],
  fail_low: [solid("M4 8h92L50 78z"), stroke("M8 92h84", 12)],
  fail_high: [solid("M4 92h92L50 22z"), stroke("M8 8h84", 12)],
  unsure: [stroke("M50 6l44 44-44 44L6 50z"), stroke("M30 57q10-16 20-7t20-7")],
  not_counted: [["circle", { cx: 50, cy: 50, r: 42, fill: "none", stroke: "currentColor", "stroke-width": 9, "stroke-dasharray": "18 11" }], stroke("M22 78l56-56")],
  zero_ok: [solid("M4 6h44v88H32V32H4zM96 6H52v88h16V32h28z")],
  zero_off: [solid("M0 6h34v88H20V32H0zM100 6H66v88h14V32h20z"), stroke("M50 14v50M50 76v14", 12)],
  zero: [stroke("M8 10h32v80M92 10H60v80", 12), stroke("M2 90h22M98 90H76", 0)],
  doubted: [stroke("M8 8h84v84H8z"), stroke("M8 50L50 8M8 92L92 8M50 92l42-42", 7)],
  retracted: [stroke("M88 78a40 40 0 1 0-64 4"), solid("M8 60l34 4-20 30z")],
  refused: [solid("M30 4h40l26 26v40L70 96H30L4 70V30z"), stroke("M24 50h52", 16, ON_SOLID)],
  unplugged: [solid("M6 32h30v36H6zM94 32H64v36h30z"), stroke("M36 42h10M36 58h10M0 50h8M92 50h8", 9), stroke("M56 14L44 30M50 86l8-16", 6)],
  adapter: [stroke("M6 30h34v40H6zM60 30h34v40H60z"), stroke("M44 44l12 12M56 44L44 56", 7)],
  shared: [stroke("M50 92V54M50 54L18 16M50 54l32-38"), solid("M6 6h24v20H6zM70 6h24v20H70z")],
  unread: [stroke("M10 18h80M10 50h16M40 50h14M70 50h20M10 82h50"), stroke("M74 70l20 24M94 70L74 94", 8)],
  stopped: [solid("M8 8h30v84H8zM62 8h30v84H62z")],
  disk: [stroke("M10 22h80v56H10z"), stroke("M50 34v20M50 62v8", 10)],
  gone: [stroke("M8 14h84v54H46L26 90V68H8z"), stroke("M34 28l32 28M66 28L34 56", 9)],
  alert: [stroke("M50 8l44 82H6z"), stroke("M50 36v26M50 70v10", 10)],
  accepted: [solid("M6 6h88v88H6z"), stroke("M24 52l18 18 34-38", 12, ON_SOLID)],
  reserved: [stroke("M8 8h84v84H8z"), stroke("M20 52l16 16 28-34", 11), stroke("M80 26v30M80 66v10", 9)],
  rejected: [solid("M6 6h88v88H6z"), stroke("M28 28l44 44M72 28L28 72", 12, ON_SOLID)],
  undecided: [stroke("M10 10h80v80H10z"), stroke("M28 57q11-16 22-7t22-7")],
  cut_short: [stroke("M10 10h80v80H10z"), stroke("M30 50h40", 12)],
  held: [stroke("M28 46V30a22 22 0 0 1 44 0v16", 11), solid("M12 44h76v50H12z"), stroke("M50 58v22", 11, ON_SOLID)],
  sample: [solid("M4 8h32v84H20V32H4zM96 8H64v84h16V32h16z"), solid("M43 40h14v24H43z")],
  crimp: [solid("M32 4h36v22L58 42H42L32 26zM32 96h36V74L58 58H42L32 74z"), stroke("M0 50h100", 9)],
  look: [["circle", { cx: 42, cy: 42, r: 30, fill: "none", stroke: "currentColor", "stroke-width": 11 }], stroke("M65 65l27 27", 14)],
  moving: [stroke("M12 8v84M88 8v84", 12), stroke("M36 50h28"), solid("M22 50l18-16v32zM78 50L60 34v32z")],
  next: [stroke("M8 8h24M68 8h24M8 92h24M68 92h24M8 8v24M8 68v24M92 8v24M92 68v24")],
  plain: [stroke("M14 50h72")],
};

export function shape(name) {
  const svg = draw("svg", { viewBox: "0 0 100 100", "aria-hidden": "true" });
  svg.replaceChildren(...(SHAPES[name] ?? SHAPES.plain).map(([kind, attributes]) => draw(kind, attributes)));
  return svg;
}

// Shape and tone of a verdict. Both kinds of unsure look the same.
export const toneOf = (verdict) => (verdict?.startsWith("unsure") ? "unsure" : verdict);

// The size of the page's letters in px, which goes by that of the window.
let size = null;
addEventListener("resize", () => { size = null; });
export const letterSize = () => (size ??= parseFloat(getComputedStyle(document.documentElement).fontSize));

// The size of an element's content at its last layout, in px; `changed` is called in the very frame in which it is
// another. To ask the element itself would lay the page out once more for each thing that is drawn.
const rooms = new Map();
const resized = new ResizeObserver((entries) => {
  for (const { target, contentRect } of entries) {
    const [width, height] = [Math.round(contentRect.width), Math.round(contentRect.height)];
    const known = rooms.get(target);
    if (width === 0 || (width === known.width && height === known.height)) continue; // hidden, or the same
    Object.assign(known, { width, height });
    known.changed();
  }
});
export function roomOf(element, changed) {
  if (!rooms.has(element)) {
    const { width, height } = element.getBoundingClientRect();
    rooms.set(element, { width, height });
    resized.observe(element);
  }
  return Object.assign(rooms.get(element), { changed });
}

// Reduces the text of a box, by its variable --fit, until nothing is cut. What was found once for as much text in the same
// room is taken again; all digits are of one width.
const SIZES = [1, 0.92, 0.84, 0.76, 0.68, 0.6, 0.53, 0.46, 0.4, 0.34, 0.28];
const FITS_MOST = 500; // that are remembered
const fits = new Map();

export function fit(box) {
  const room = roomOf(box, () => fit(box));
  const text = box.innerHTML.replace(/\d/g, "0");
  const key = () => `${room.width} ${room.height} ${text}`;
  if (!fits.has(key())) {
    const found = fitting(box);
    Object.assign(room, { width: box.clientWidth, height: box.clientHeight });
    if (fits.size > FITS_MOST) fits.clear();
    fits.set(key(), found);
  }
  box.style.setProperty("--fit", fits.get(key()));
}

function fitting(box) {
  const cut = () => box.scrollHeight > box.clientHeight || box.scrollWidth > box.clientWidth
    || [...box.querySelectorAll("[data-fit]")].some((one) => one.scrollWidth > one.clientWidth + 1);
  return SIZES.find((size) => {
    box.style.setProperty("--fit", size);
    return !cut();
  }) ?? SIZES.at(-1);
}
