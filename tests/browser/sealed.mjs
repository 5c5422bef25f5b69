// The signing key in the service view: none, one with its seals, one that others may read. A shop of its own.

import { chmodSync } from "node:fs";
import { dialog, opened, same, shows, text } from "./expect.mjs";
import { Shop } from "./shop.mjs";

// `hands` are those of the script: how it looks at a state and presses a key.
export async function sealed(binary, chromium, { look, key }) {
  const shop = await Shop.open(binary);
  const { address, url } = await shop.start();
  await shop.connected(address);
  shop.configured(0); // as it was when the daemon started, so that it can be loaded again
  const { page, live } = await opened(chromium, url);
  try {
    await shows(page, "#chip-instrument", "connected");
    const open = async () => { await key(page, "i"); await dialog(page, "service"); };
    await open();
    await shows(page, "#service-daemon", "none: the journal is not sealed; tallyjaw key make");
    await look(page, "key-none", open);
    shop.run("key", "make");
    shop.run("reload");
    // The view is drawn again with each state that comes.
    await shows(page, "#service-daemon", "sealed up to entry ");
    const entries = shop.journal();
    const seal = entries.findLast((one) => one.kind === "sealed");
    same("the key and its last seal", (await text(page, "#service-daemon")).includes(`${seal.key}; sealed up to entry ${seal.up_to}`), true);
    await look(page, "key-sealed", open);
    chmodSync(`${shop.folder}/state/signing.key`, 0o644);
    shop.run("reload");
    await shows(page, "#service-daemon .trouble", "Outcomes are not sealed:");
    await shows(page, "#service-daemon .trouble", "has mode 0644");
    await shows(page, "#service-daemon .trouble", "tallyjaw key make");
    await look(page, "key-trouble", open);
    await page.keyboard.press("Escape");
  } finally {
    await page.close();
    await shop.close();
  }
  return live;
}
