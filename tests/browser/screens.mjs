// The screens that the bench page is looked at on, and what is looked for: nothing scrolls, nothing is cut, a verdict
// can be read, a finger finds what can be pressed, axe finds nothing.

import { clipped, faultsByAxe } from "./look.mjs";

const SIZES = { laptop: [1280, 720], wide: [1920, 1080], tablet: [1024, 768], phone: [390, 844] };

export const SCREENS = Object.entries(SIZES).flatMap(([name, [width, height]]) =>
  ["light", "dark"].map((scheme) => ({ name: `${name}-${scheme}`, width, height, scheme, byAxe: name === "laptop" || (name === "phone" && scheme === "light") })),
);

const CONTRAST = 7; // of verdict, value and limits
const FINGER = 48; // px

// Faults of the page as it stands, on one screen; and a picture of it.
export async function judge(page, { width, height, scheme, byAxe }, picture) {
  await page.setViewport({ width, height });
  await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: scheme }, { name: "prefers-reduced-motion", value: "reduce" }]);
  await page.evaluate(() => new Promise((wake) => requestAnimationFrame(() => requestAnimationFrame(() => requestAnimationFrame(wake)))));
  const faults = [...(await page.evaluate(measure, CONTRAST, FINGER)), ...(await clipped(page, true))];
  if (byAxe) faults.push(...(await faultsByAxe(page)));
  await page.screenshot({ path: picture });
  return faults;
}

// In the page: what is wrong with it, in words.
function measure(contrast, finger) {
  const faults = [];
  const root = document.documentElement;
  const seen = (element) => element.checkVisibility() && element.getBoundingClientRect().width > 0;
  for (const [name, box] of [["the screen", root], ["the body", document.body]]) {
    if (box.scrollWidth > root.clientWidth || box.scrollHeight > root.clientHeight) faults.push(`${name} scrolls: ${box.scrollWidth} × ${box.scrollHeight}, want ${root.clientWidth} × ${root.clientHeight}`);
  }
  const where = (element) => `${element.id || element.className || element.localName} “${element.textContent.replace(/\s+/g, " ").trim().slice(0, 50)}”`;

  // Text that a box cuts off: one that may hide what does not fit, and is smaller than what is in it.
  for (const element of document.body.querySelectorAll("*")) {
    if (!seen(element) || element.closest("svg, .unseen, select") || element.matches("input, #warnings-first")) continue;
    const style = getComputedStyle(element);
    if (style.clipPath.startsWith("inset")) continue;
    const inDialog = element.matches("dialog");
    if (!inDialog && (element.scrollWidth > element.clientWidth + 1 && style.display !== "inline" && style.overflowX !== "visible")) faults.push(`cut at the side: ${where(element)}`);
    if (!inDialog && (element.scrollHeight > element.clientHeight + 1 && style.overflowY !== "visible")) faults.push(`cut at the bottom: ${where(element)}`);
  }
  // Cells, tiles and buttons: what is in them stays in them.
  const inside = (outer, inner) => {
    const [a, b] = [outer.getBoundingClientRect(), inner.getBoundingClientRect()];
    return b.left >= a.left - 1.5 && b.right <= a.right + 1.5 && b.top >= a.top - 1.5 && b.bottom <= a.bottom + 1.5;
  };
  for (const box of document.querySelectorAll("#pieces li, .tile, button, #face-body, #ask, header, #acts")) {
    if (!seen(box)) continue;
    const over = [...box.querySelectorAll("*")].filter((one) => seen(one) && !one.closest(".unseen") && !one.closest("svg")?.contains(one.parentElement)).find((one) => !inside(box, one));
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
  const modal = document.querySelector("dialog[open]");
  for (const target of document.querySelectorAll("button, select, input:not([type=checkbox], [type=radio]), .choice")) {
    const box = target.getBoundingClientRect();
    if (!seen(target) || (modal && !modal.contains(target))) continue;
    if (box.height < finger - 0.1 || box.width < finger - 0.1) faults.push(`too small for a finger: ${where(target)} is ${Math.round(box.width)} × ${Math.round(box.height)} px`);
  }

  // Contrast, as WCAG 2.2 has it; of a background of several colours the worst counts.
  const canvas = new OffscreenCanvas(1, 1).getContext("2d", { willReadFrequently: true });
  const rgb = (colour) => {
    canvas.clearRect(0, 0, 1, 1);
    canvas.fillStyle = colour;
    canvas.fillRect(0, 0, 1, 1);
    return [...canvas.getImageData(0, 0, 1, 1).data];
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
  for (const element of document.querySelectorAll("#face-word, #face-value, #face-lead, .limits-figures, #ask-words, #ask-limits, #pieces .figure")) {
    if (!seen(element) || element.textContent === "") continue;
    const worst = Math.min(...grounds(element).map((ground) => ratio(getComputedStyle(element).color, ground)));
    if (worst < contrast) faults.push(`contrast ${worst.toFixed(2)}, want ${contrast}: ${where(element)}`);
  }

  // The biggest thing on the screen can be read from two metres: 10 mm of a capital's height at 96 px an inch. A telephone
  // is held nearer, and a state with much to say may be smaller there than a verdict.
  const measured = ["verdict", "limits"].includes(document.querySelector("#face").dataset.kind);
  const least = root.clientWidth >= 700 ? 52 : measured ? 36 : 24;
  if (document.body.dataset.view === "bench" && !modal) {
    const sizes = [...document.querySelectorAll("#face-word, #face-value, #face:is([data-kind=limits]) .limits-figures")].filter(seen).map((one) => parseFloat(getComputedStyle(one).fontSize));
    if (Math.max(...sizes) < least) faults.push(`the biggest text is ${Math.max(...sizes)} px, want ${least}`);
  }
  return [...new Set(faults)].slice(0, 12);
}
