// Two pairs of hands for the bench page: one that only taps, one that only has a keyboard. Both find what they press as
// a person does, and say what stood in their way.

import { check, dialog, faults, PATIENCE } from "./expect.mjs";

const TABS_MOST = 160;

// Waits until an element can be pressed.
async function ready(page, selector) {
  await page.waitForFunction((selector) => {
    const element = document.querySelector(selector);
    const modals = [...document.querySelectorAll("dialog[open]")];
    return element?.checkVisibility() && !element.disabled && (modals.length === 0 || modals.some((one) => one.contains(element)));
  }, { timeout: PATIENCE }, selector).catch(async () => {
    const seen = await page.$eval(selector, (element) => `it is ${element.disabled ? "disabled" : "not seen"}`).catch(() => "it is not there");
    throw new Error(`${selector} can never be pressed: ${seen}, and the page shows ${JSON.stringify(await page.evaluate(() => document.body.innerText.slice(0, 600)))}`);
  });
}

export class Touch {
  name = "touch";

  async prepare(page) {
    this.page = page;
    await page.setViewport({ width: 1024, height: 768, hasTouch: true });
  }

  // A tap in the middle of it, where nothing may lie over it.
  async press(selector) {
    await ready(this.page, selector);
    // Found and measured in one step: the page may draw it again between two.
    const at = await this.page.evaluate((selector) => {
      const element = document.querySelector(selector);
      element.scrollIntoView({ block: "nearest" });
      const box = element.getBoundingClientRect();
      const middle = { x: box.left + box.width / 2, y: box.top + box.height / 2, width: box.width, height: box.height };
      return { ...middle, hit: element.contains(document.elementFromPoint(middle.x, middle.y)) };
    }, selector);
    check(`a finger hits ${selector}`, at.hit && at.width >= 48 && at.height >= 48, at);
    await this.page.touchscreen.tap(at.x, at.y);
  }

  async write(selector, words) {
    await this.press(selector);
    await this.page.keyboard.type(words); // the keyboard of the screen
  }

  // The list that a screen opens is the system's and not the page's: its choice comes as from there.
  async choose(selector, value) {
    await ready(this.page, selector);
    await this.page.select(selector, value);
  }

  send = (selector) => this.press(selector);

  async leave(id) {
    await this.press(`#${id} :is([data-close], [value=close])`);
  }
}

export class Keys {
  name = "keys";

  async prepare(page) {
    this.page = page;
    await page.setViewport({ width: 1280, height: 720 });
  }

  // Tab until it has the focus, then Enter.
  async press(selector) {
    await this.focus(selector);
    await this.page.keyboard.press("Enter");
  }

  async focus(selector) {
    await ready(this.page, selector);
    for (let tabs = 0; tabs < TABS_MOST; tabs += 1) {
      if (await this.page.$eval(selector, (element) => document.activeElement === element)) return this.see(selector);
      await this.page.keyboard.press("Tab");
    }
    throw new Error(`${TABS_MOST} presses of Tab do not reach ${selector}`);
  }

  // What has the focus can be seen, with a ring around it.
  async see(selector) {
    const ring = await this.page.evaluate((selector) => {
      const element = document.querySelector(selector);
      const box = element.getBoundingClientRect();
      const style = getComputedStyle(element);
      const [x, y] = [box.left + box.width / 2, box.top + box.height / 2];
      return { ring: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2, seen: element.contains(document.elementFromPoint(x, y)) };
    }, selector);
    check(`the focus on ${selector} is seen`, ring.ring && ring.seen, ring);
  }

  async write(selector, words) {
    await this.focus(selector);
    await this.page.keyboard.type(words);
  }

  async choose(selector, value) {
    await this.focus(selector);
    for (let presses = 0; presses < TABS_MOST; presses += 1) {
      if ((await this.page.$eval(selector, (select) => select.value)) === value) return;
      await this.page.keyboard.press("ArrowDown");
    }
    throw new Error(`${TABS_MOST} presses of the arrow do not reach ${value} in ${selector}`);
  }

  // Enter in the field sends the form.
  async send() {
    await this.page.keyboard.press("Enter");
  }

  async leave() {
    await this.page.keyboard.press("Escape");
  }
}

// By the keys alone: every dialog lets go by Escape, and the focus is back where it was; Tab goes through all of the page
// and out of it, past nothing that cannot be seen.
export async function walk(page, openers) {
  for (const [opener, id] of openers) {
    await page.focus(opener);
    await page.keyboard.press("Enter");
    await dialog(page, id);
    for (let tabs = 0; tabs < 12; tabs += 1) {
      await page.keyboard.press("Tab");
      const inside = await page.evaluate((id) => document.activeElement === document.body || document.getElementById(id).contains(document.activeElement), id);
      if (!inside) faults.push(`Tab leaves the open dialog ${id}`);
    }
    await page.keyboard.press("Escape");
    await page.waitForSelector(`#${id}[open]`, { hidden: true, timeout: PATIENCE });
    const back = await page.$eval(opener, (element) => document.activeElement === element);
    check(`after ${id} the focus is back on ${opener}`, back, await page.evaluate(() => document.activeElement.id));
  }
  await page.evaluate(() => document.activeElement.blur());
  const stops = [];
  for (let tabs = 0; tabs < TABS_MOST; tabs += 1) {
    await page.keyboard.press("Tab");
    const stop = await page.evaluate(() => {
      const element = document.activeElement;
      const box = element.getBoundingClientRect();
      const seen = box.width > 0 && box.left >= -1 && box.top >= -1 && box.right <= innerWidth + 1 && box.bottom <= innerHeight + 1;
      return { name: element.id || element.dataset.key || element.className, body: element === document.body, seen };
    });
    if (stop.body && stops.length === 0) continue; // from the end of the page
    if (stop.body || stops.includes(stop.name)) break;
    if (!stop.seen) faults.push(`the focus goes to ${stop.name}, which is not seen`);
    stops.push(stop.name);
  }
  const all = await page.$$eval("button, input, select, a[href]", (all) => all.filter((one) => one.checkVisibility() && !one.disabled && !one.closest("dialog")).map((one) => one.id || one.dataset.key || one.className));
  check("Tab goes to all that can be pressed, in the order of the page", JSON.stringify(stops.filter((one) => all.includes(one))) === JSON.stringify(all), { stops, all });
}
