// The screens that the bench page is looked at on, in every language, by day and by night, and what is looked for: nothing
// scrolls, nothing is cut or lies over something else, a verdict can be read, a finger finds what can be pressed, axe
// finds nothing.

import { clipped, faultsByAxe } from "./look.mjs";

export const SIZES = { laptop: [1280, 720], wide: [1920, 1080], tablet: [1024, 768], phone: [390, 844] };
export const LANGUAGES = ["en", "de", "es"];
export const SCHEMES = ["light", "dark"];

const CONTRAST = { verdict: 7, text: 4.5 };
const FINGER = 48; // px

// Where axe looks, which takes longer than all else: each language, each scheme, the widest layout and the narrowest.
const BY_AXE = ["laptop en light", "laptop en dark", "laptop de light", "laptop es light", "phone en light", "phone en dark"];
// Of which a picture is kept; with TALLYJAW_PICTURES=all of everything.
const KEPT = ["laptop en light", "phone de dark"];

// The page takes a language as by its menu, without opening that.
const speak = (page, language) => page.$eval(`#languages [data-language=${language}]`, (button) => button.click());

const drawn = (page, times) => page.evaluate((times) => new Promise((wake) => {
  const next = (left) => (left === 0 ? wake() : requestAnimationFrame(() => next(left - 1)));
  next(times);
}), times);

// Faults of a page that has no menu of languages, in the language that it has, at one size and by one scheme.
export async function judge(page, size, scheme) {
  const [width, height] = SIZES[size];
  await page.setViewport({ width, height });
  await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: scheme }, { name: "prefers-reduced-motion", value: "reduce" }]);
  await drawn(page, 3);
  const found = [...(await page.evaluate(measure, CONTRAST, FINGER)), ...(await clipped(page, true))];
  return size === "laptop" ? [...found, ...(await faultsByAxe(page))] : found;
}

// Looks at a page that is held in a state, on every screen. What a dialog says stays in the language in which it was
// opened, so `reopen` opens it again. The answer: faults in words, and how many screens were looked at.
export async function everywhere(page, name, pictures, reopen) {
  const faults = [];
  let looked = 0;
  for (const language of LANGUAGES) {
    if (reopen) await page.evaluate(() => { for (const one of document.querySelectorAll("dialog[open]")) one.close(); });
    await speak(page, language);
    if (reopen) await reopen();
    for (const [size, [width, height]] of Object.entries(SIZES)) {
      await page.setViewport({ width, height });
      for (const scheme of SCHEMES) {
        await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: scheme }, { name: "prefers-reduced-motion", value: "reduce" }]);
        await drawn(page, scheme === SCHEMES[0] ? 3 : 1);
        const screen = `${size} ${language} ${scheme}`;
        const found = [...(await page.evaluate(measure, CONTRAST, FINGER)), ...(await clipped(page, true))];
        if (BY_AXE.includes(screen)) found.push(...(await faultsByAxe(page)));
        faults.push(...found.map((fault) => `${name} on ${screen}: ${fault}`));
        looked += 1;
        if (KEPT.includes(screen) || process.env.TALLYJAW_PICTURES === "all") await page.screenshot({ path: `${pictures}/page-${name}-${screen.replaceAll(" ", "-")}.png`, optimizeForSpeed: true });
      }
    }
  }
  if (reopen) await page.evaluate(() => { for (const one of document.querySelectorAll("dialog[open]")) one.close(); });
  await speak(page, LANGUAGES[0]);
  if (reopen) await reopen();
  await page.setViewport({ width: 1920, height: 1080 });
  await drawn(page, 2);
  return { faults, looked };
}

// In the page: what is wrong with it, in words.
function measure(contrast, finger) {
  const faults = [];
  const root = document.documentElement;
  const seen = (element) => element.checkVisibility() && element.getBoundingClientRect().width > 0 && !element.closest(".unseen");
  for (const [name, box] of [["the screen", root], ["the body", document.body]]) {
    if (box.scrollWidth > root.clientWidth || box.scrollHeight > root.clientHeight) faults.push(`${name} scrolls: ${box.scrollWidth} × ${box.scrollHeight}, want ${root.clientWidth} × ${root.clientHeight}`);
  }
  const where = (element) => `${element.id || element.getAttribute("class") || element.localName} “${element.textContent.replace(/\s+/g, " ").trim().slice(0, 50)}”`;
  const modal = document.querySelector("dialog[open]");

  // Every run of text: each line of it lies inside every box that hides what reaches out, and on no other text.
  const texts = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const element = node.parentElement;
    if (!node.data.trim() || !seen(element) || element.closest("select, option, defs, .skip, #warnings-first")) continue;
    if (modal && !modal.contains(element)) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    const boxes = element.closest("svg") ? [element.getBoundingClientRect()] : [...range.getClientRects()].filter((one) => one.width > 0.5);
    texts.push({ element, boxes });
  }
  const within = (outer, inner, slack) => inner.left >= outer.left - slack && inner.right <= outer.right + slack && inner.top >= outer.top - slack && inner.bottom <= outer.bottom + slack;
  for (const { element, boxes } of texts) {
    for (let box = element; box && box !== document.body; box = box.parentElement) {
      const style = getComputedStyle(box);
      const hides = style.overflowX !== "visible" || style.overflowY !== "visible" || box.matches("svg, button");
      if (!hides || style.display === "inline" || box.matches("dialog")) continue;
      const frame = box.getBoundingClientRect();
      // A line's box is higher than its letters.
      if (!boxes.every((one) => within({ left: frame.left, right: frame.right, top: frame.top - one.height * 0.2, bottom: frame.bottom + one.height * 0.2 }, one, 1))) faults.push(`is cut by ${box.id || box.getAttribute("class") || box.localName}: ${where(element)}`);
      break;
    }
    if (!element.closest("dialog") && !boxes.every((one) => within({ left: 0, top: 0, right: root.clientWidth, bottom: root.clientHeight }, one, 1))) faults.push(`is off the screen: ${where(element)}`);
  }
  // A line's box reaches over its letters by a fifth above and below.
  const letters = texts.flatMap(({ element, boxes }) => boxes.map((one) => ({ element, left: one.left + 1, right: one.right - 1, top: one.top + one.height * 0.22, bottom: one.bottom - one.height * 0.22 })));
  for (const [index, a] of letters.entries()) {
    for (const b of letters.slice(index + 1)) {
      if (a.element === b.element || a.left >= b.right || b.left >= a.right || a.top >= b.bottom || b.top >= a.bottom) continue;
      if (a.element.closest("#answer") || b.element.closest("#answer")) continue; // stands over the screen for a while
      faults.push(`lies on other text: ${where(a.element)} and ${where(b.element)}`);
    }
  }

  // A box that may hide what does not fit, and is smaller than what is in it.
  for (const element of document.body.querySelectorAll("*")) {
    if (!seen(element) || element.closest("svg, .unseen, select") || element.matches("input, #warnings-first, dialog")) continue;
    const style = getComputedStyle(element);
    if (style.clipPath.startsWith("inset")) continue;
    if (element.scrollWidth > element.clientWidth + 1 && style.display !== "inline" && style.overflowX !== "visible") faults.push(`cut at the side: ${where(element)}`);
    if (element.scrollHeight > element.clientHeight + 1 && style.overflowY !== "visible") faults.push(`cut at the bottom: ${where(element)}`);
  }
  if (modal && modal.scrollWidth > modal.clientWidth + 1) faults.push(`the dialog ${modal.id} scrolls sideways`);
  // Cells, tiles and buttons: what is in them stays in them.
  const inside = (outer, inner) => within(outer.getBoundingClientRect(), inner.getBoundingClientRect(), 1.5);
  for (const box of document.querySelectorAll("#pieces li, .tile, button, #face-body, #ask, header, #acts")) {
    if (!seen(box)) continue;
    const over = [...box.querySelectorAll("*")].filter((one) => seen(one) && !one.ownerSVGElement).find((one) => !inside(box, one));
    if (over) faults.push(`reaches out of ${where(box)}: ${where(over)}`);
  }
  for (const button of document.querySelectorAll("button, .chip-now, .tile span")) {
    if (seen(button) && getComputedStyle(button).display !== "inline" && button.scrollWidth > button.clientWidth + 1) faults.push(`its text reaches out: ${where(button)}`);
  }
  const screen = { getBoundingClientRect: () => ({ left: 0, top: 0, right: root.clientWidth, bottom: root.clientHeight }) };
  for (const button of document.querySelectorAll("header button, footer button, #face-buttons button")) {
    if (seen(button) && !inside(screen, button)) faults.push(`is off the screen: ${where(button)}`);
  }
  const nonsense = /\b(Invalid Date|undefined|null|NaN)\b|\{\w+\}/.exec(document.body.innerText);
  if (nonsense) faults.push(`shows ${nonsense[0]}`);
  for (const target of document.querySelectorAll("button, select, input:not([type=checkbox], [type=radio]), .choice")) {
    const box = target.getBoundingClientRect();
    if (!seen(target) || (modal && !modal.contains(target))) continue;
    if (box.height < finger - 0.1 || box.width < finger - 0.1) faults.push(`too small for a finger: ${where(target)} is ${Math.round(box.width)} × ${Math.round(box.height)} px`);
  }

  // Contrast, as WCAG 2.2 has it; of a background of several colours the worst counts.
  const canvas = new OffscreenCanvas(1, 1).getContext("2d", { willReadFrequently: true });
  const known = new Map();
  const rgb = (colour) => {
    if (known.has(colour)) return known.get(colour);
    canvas.clearRect(0, 0, 1, 1);
    canvas.fillStyle = colour;
    canvas.fillRect(0, 0, 1, 1);
    known.set(colour, [...canvas.getImageData(0, 0, 1, 1).data]);
    return known.get(colour);
  };
  const luminance = (colour) => {
    const [r, g, b] = rgb(colour).map((part) => (part / 255 <= 0.04045 ? part / 255 / 12.92 : ((part / 255 + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const ratio = (a, b) => {
    const [low, high] = [luminance(a), luminance(b)].toSorted((x, y) => x - y);
    return (high + 0.05) / (low + 0.05);
  };
  const grounds = (element) => {
    for (let box = element; box; box = box.parentElement) {
      const style = getComputedStyle(box);
      const all = style.backgroundImage.match(/(?:rgba?|color|oklch|oklab)\([^)]*\)/g) ?? [];
      if (rgb(style.backgroundColor)[3] === 255) all.push(style.backgroundColor);
      if (all.length > 0) return all;
    }
    return ["white"];
  };
  const BIG = "#face-word, #face-value, #face-lead, .limits-figures, #ask-words, #ask-limits, #pieces .figure, #heading, #words, #answer, #fingerprint";
  for (const { element } of texts) {
    if (element.closest("svg, [disabled]")) continue;
    const want = element.closest(BIG) ? contrast.verdict : contrast.text;
    const worst = Math.min(...grounds(element).map((ground) => ratio(getComputedStyle(element).color, ground)));
    if (worst < want) faults.push(`contrast ${worst.toFixed(2)}, want ${want}: ${where(element)}`);
  }

  // The biggest thing on the screen can be read from two metres: 10 mm of a capital's height at 96 px an inch. A telephone
  // is held nearer, and a state with much to say may be smaller there than a verdict.
  const measured = ["verdict", "limits", "moving"].includes(document.querySelector("#face")?.dataset.kind);
  const least = root.clientWidth >= 700 ? 52 : measured ? 36 : 24;
  if (document.body.dataset.view === "bench" && !modal) {
    const sizes = [...document.querySelectorAll("#face-word, #face-value, #face[data-kind=limits] .limits-figures, #face:is([data-kind=look], [data-kind=pull_mode]) #face-lead")].filter(seen).map((one) => parseFloat(getComputedStyle(one).fontSize));
    if (Math.max(...sizes) < least) faults.push(`the biggest text is ${Math.max(...sizes)} px, want ${least}`);
  }
  return [...new Set(faults)].slice(0, 12);
}
