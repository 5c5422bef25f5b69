// A made-up shop for the bench page: two calipers, one of which streams, a scanner and a force gauge on pseudo-terminals,
// the real daemon.

import { execFileSync, spawn } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { createInterface } from "node:readline";
import { fileURLToPath } from "node:url";

const here = fileURLToPath(new URL("./", import.meta.url));

const instrument = (name, station, port, more) => `
[[instrument]]
name = "${name}"
station = "${station}"
port = "${port}"
${more}`;

const CALIPER = `kind = "caliper"
format = "decimal-line"
resolution = "0.01 mm"
max_error = "0.02 mm"
range = "0..150 mm"
capture = "press"
`;

const STREAM = CALIPER.replace('"press"', '"steady"');

const GAUGE = `kind = "force"
format = "decimal-line"
unit = "N"
resolution = "0.1 N"
max_error = "0.5 N"
range = "0..500 N"
capture = "press"
`;

const instruments = (folder) =>
  `[[station]]\nname = "bench-1"\n[[station]]\nname = "bench-2"\n` +
  instrument("caliper-1", "bench-1", `${folder}/tty-1`, CALIPER) +
  instrument("scanner-1", "bench-1", `${folder}/tty-2`, 'kind = "scanner"\n') +
  instrument("gauge-2", "bench-2", `${folder}/tty-3`, GAUGE) +
  instrument("caliper-3", "bench-2", `${folder}/tty-4`, STREAM);

export const plan = (id, more) => `
[[plan]]
id = "${id}"
terminal = "QF-250-F"
wire = "14 ga"
sizing = "sae_metric"
tool = "T-07"
nest = "2.0"
${more}
`;

const BOTH = 'axes = ["core_crimp_height", "core_crimp_width"]\n';
export const NO_ZERO = "zero = { before_first = false, closing = false }\n";
export const HEIGHT = 'axes = ["core_crimp_height"]\n';

const PLANS =
  plan("pump-own", `${BOTH}pieces = 5\npurpose = "first_off"`) +
  plan("pump-ten", `${BOTH}pieces = 10\npurpose = "in_process"\n${NO_ZERO}`) +
  plan("pump-25", `${BOTH}pieces = 25\norder = "by_piece"\npurpose = "qualification"\n${NO_ZERO}`) +
  plan("pump-guarded", `${HEIGHT}pieces = 3\npurpose = "qualification"\ndecision = "guarded"\n${NO_ZERO}`) +
  plan("pump-short", `${HEIGHT}pieces = 2\npurpose = "last_off"\n${NO_ZERO}`) +
  plan("pump-many", `${HEIGHT}pieces = 300\npurpose = "in_process"\n${NO_ZERO}`) +
  plan("pump-pull", `axes = ["pull_force"]\npieces = 3\npurpose = "first_off"\n${NO_ZERO}`) +
  plan("pump-asked", `axes = ["pull_force"]\npieces = 1\npurpose = "first_off"\nlooks = ["strands_in"]\npull_mode = true\n${NO_ZERO}`) +
  plan("pump-job", `${HEIGHT}pieces = 2\npurpose = "first_off"\nasks = ["job", "terminal_lot", "wire_lot"]\n${NO_ZERO}`);

const JOBS = `job;customer;item;reference;plans
4711;Example Pumps Ltd;pump harness B;PO-8832;pump-own pump-job
4712;Example Pumps Ltd;pump harness C;PO-8833;
4720;Valley Irrigation;valve harness, rev 2;;pump-short
${Array.from({ length: 20 }, (_, at) => `48${at + 10};Valley Irrigation;spare part ${at + 1};;`).join("\n")}
`;

const SHEET = `
[[terminal]]
id = "QF-250-F"
source = "invented, rev C"
[[terminal.row]]
wire = "2.0 mm²"
core_crimp_height = "1.62 ±0.05 mm"
core_crimp_width = "2.40 ±0.10 mm"
pull_force = ">= 180 N"
[[terminal.row]]
wire = "5.0 mm²"
core_crimp_height = "2.30 ±0.05 mm"
`;

const TOOLS = `
[[tool]]
id = "T-07"
class = "production"
terminals = ["QF-250-F"]
[[tool.nest]]
id = "2.0"
wires = ["2.0 mm²"]
[[tool]]
id = "R-02"
class = "repair"
[[tool.nest]]
id = "wide"
wires = ["2.0 mm²", "5.0 mm²"]
`;

// One line of a stream.
const lineOf = (stream) => nextOf(createInterface({ input: stream }));
const nextOf = (lines) => new Promise((resolve) => lines.once("line", resolve));

export class Shop {
  // With `more` lines in [page].
  static async open(binary, more = "") {
    const shop = new Shop();
    shop.binary = binary;
    shop.folder = mkdtempSync(`${tmpdir()}/tallyjaw-page-`);
    shop.hands = spawn("python3", [`${here}calipers.py`, shop.folder, "4"], { stdio: ["pipe", "pipe", "inherit"] });
    shop.answers = createInterface({ input: shop.hands.stdout });
    await nextOf(shop.answers);
    const files = `[daemon]\nsheets = "sheet.toml"\nplans = "plans.toml"\ntools = "tools.toml"\njobs = "jobs.csv"\n`;
    shop.configured = (port) => shop.write("tallyjaw.toml", () => `${files}[page]\nlisten = "127.0.0.1:${port}"\n${more}\n${instruments(shop.folder)}`);
    shop.configured(0);
    shop.write("sheet.toml", () => SHEET);
    shop.write("plans.toml", () => PLANS);
    shop.write("tools.toml", () => TOOLS);
    shop.write("jobs.csv", () => JOBS);
    return shop;
  }

  write(name, text) {
    writeFileSync(`${this.folder}/${name}`, text());
  }

  run(...args) {
    return execFileSync(this.binary, ["--config", `${this.folder}/tallyjaw.toml`, ...args], { encoding: "utf8" });
  }

  // Starts the daemon, under a line of shell that ends with `exec "$@"` if there is one.
  async start(shell = 'exec "$@"') {
    const args = [this.binary, "--config", `${this.folder}/tallyjaw.toml`, "--json", "serve"];
    this.daemon = spawn("sh", ["-c", shell, "sh", ...args], { stdio: ["ignore", "pipe", "ignore"] });
    this.ended = new Promise((resolve) => this.daemon.once("exit", (code) => resolve(code)));
    await lineOf(this.daemon.stdout);
    const { address, token } = JSON.parse(this.run("--json", "page"));
    this.configured(new URL(address).port); // a daemon that comes back comes back there
    return { address, token, url: `${address}#token=${token}` };
  }

  // Until every instrument is connected: a pseudo-terminal's number may still be held by somebody who had it before.
  async connected(address) {
    const events = await fetch(new URL("/events?state=each", address), { signal: AbortSignal.timeout(60000) });
    let held = "";
    for await (const text of events.body.pipeThrough(new TextDecoderStream())) {
      held += text;
      const states = held.split("\n").filter((line) => line.startsWith("data: ") && line.endsWith("}") && line.includes('"instruments"'));
      if (states.length > 0 && JSON.parse(states.at(-1).slice(6)).state.instruments.every((one) => one.attached)) return;
    }
  }

  async kill() {
    this.daemon.kill("SIGKILL");
    await this.ended;
  }

  press(text, number = 1) {
    this.hands.stdin.write(`${number} ${text}\n`);
  }

  // The monotonic time just before the bytes are written, in milliseconds.
  async timedPress(text, number = 1) {
    const said = nextOf(this.answers);
    this.press(`timed ${text}`, number);
    return Number(await said) / 1e6;
  }

  // Sends these values without end, 20 a second, until the answer is called.
  stream(values, number = 4) {
    let at = 0;
    const timer = setInterval(() => this.press(values[(at += 1) % values.length], number), 50);
    return () => clearInterval(timer);
  }

  journalBytes() {
    return statSync(`${this.folder}/state/journal/00000001.jsonl`).size;
  }

  journal() {
    return readFileSync(`${this.folder}/state/journal/00000001.jsonl`, "utf8").trim().split("\n").map((line) => JSON.parse(line));
  }

  async close() {
    this.hands.kill();
    this.daemon?.kill("SIGKILL");
    await this.ended;
    rmSync(this.folder, { recursive: true });
  }
}
