// A failure of a sink that is over, in the service view, quietly: its receiver has no room for the first entry. A shop of
// its own.

import { createServer } from "node:http";
import { bodyHas, dialog, opened, shows } from "./expect.mjs";
import { Shop } from "./shop.mjs";

// `hands` are those of the script: how it looks at a state and presses a key.
export async function recovered(binary, chromium, { look, key }) {
  let asked = 0;
  const receiver = createServer((request, response) => {
    request.resume();
    response.writeHead((asked += 1) === 1 ? 507 : 204).end();
  });
  await new Promise((wake) => { receiver.listen(0, "127.0.0.1", wake); });
  const { port } = receiver.address();
  const shop = await Shop.open(binary, `[[sink]]\nname = "erp"\nkind = "webhook"\nurl = "http://127.0.0.1:${port}/crimps"\n`);
  const { address, url } = await shop.start();
  await shop.connected(address);
  const { page, live } = await opened(chromium, url);
  try {
    await shows(page, "#chip-instrument", "connected");
    const open = async () => { await key(page, "i"); await dialog(page, "service"); };
    await open();
    await shows(page, "#service-daemon .over", "failed from ");
    await shows(page, "#service-daemon .over", "did not take entry 1: status 507");
    await shows(page, "#service-daemon", "0 entries behindfailed from"); // how it is now comes first
    await bodyHas(page, "document.querySelector('#warnings').hidden");
    await look(page, "sink-recovered", open);
    await page.keyboard.press("Escape");
  } finally {
    await page.close();
    await shop.close();
    receiver.close();
  }
  return live;
}
