// Stands between the page and the daemon for what cannot be had of a pseudo-terminal (another adapter, a disk that does
// not answer): passes all on to the daemon, but sends states of its own. What is shown is a real state with a part
// replaced.

import { createServer } from "node:http";

export async function standIn(address) {
  const streams = new Set();
  let shown = null;
  const event = () => `event: state\ndata: ${JSON.stringify(shown)}\n\n`;
  const server = createServer(async (request, response) => {
    if (request.url.startsWith("/events")) {
      response.writeHead(200, { "content-type": "text/event-stream" });
      if (shown) response.write(event());
      streams.add(response);
      return response.on("close", () => streams.delete(response));
    }
    const got = await fetch(new URL(request.url, address));
    const headers = { "content-type": got.headers.get("content-type") };
    const policy = got.headers.get("content-security-policy");
    if (policy) headers["content-security-policy"] = policy;
    response.writeHead(got.status, headers);
    if (!request.url.startsWith("/plans/")) return response.end(Buffer.from(await got.arrayBuffer()));
    // plans as if what was measured with them last had the longest reservations
    const plans = await got.json();
    for (const { last } of plans.plans) if (last?.outcome) last.reservations = ["calibration_overdue", "uncertainty_ratio_low"];
    response.end(JSON.stringify(plans));
  });
  await new Promise((listening) => server.listen(0, "127.0.0.1", listening));
  return {
    address: `http://127.0.0.1:${server.address().port}/`,
    // A real state, changed.
    async show(change) {
      shown = await (await fetch(new URL("/state", address))).json();
      change(shown, shown.benches[0], shown.state.stations[0]);
      for (const stream of streams) stream.write(event());
    },
    close() {
      for (const stream of streams) stream.destroy();
      server.close();
    },
  };
}
