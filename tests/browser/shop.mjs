// A made-up shop for the bench page: two calipers on pseudo-terminals, the real daemon, a real browser.

import { execFileSync, spawn } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { createInterface } from "node:readline";
import { fileURLToPath } from "node:url";

const here = fileURLToPath(new URL("./", import.meta.url));

const instrument = (number, port) => `
[[station]]
name = "bench-${number}"
[[instrument]]
name = "caliper-${number}"
station = "bench-${number}"
kind = "caliper"
port = "${port}"
format = "decimal-line"
resolution = "0.01 mm"
max_error = "0.02 mm"
range = "0..150 mm"
capture = "press"
`;

const plan = (id, more) => `
[[plan]]
id = "${id}"
terminal = "QF-250-F"
wire = "14 ga"
sizing = "sae_metric"
tool = "T-07"
nest = "2.0"
${more}
`;

const PLANS =
  plan("pump-own", 'axes = ["core_crimp_height", "core_crimp_width"]\npieces = 5\npurpose = "first_off"') +
  plan("pump-guarded", 'axes = ["core_crimp_height"]\npieces = 3\npurpose = "qualification"\ndecision = "guarded"\nzero = { before_first = false, closing = false }') +
  plan("pump-many", 'axes = ["core_crimp_height"]\npieces = 300\npurpose = "in_process"\nzero = { before_first = false, closing = false }');

const SHEET = `
[[terminal]]
id = "QF-250-F"
source = "made up, rev C"
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
const lineOf = (stream) => new Promise((resolve) => createInterface({ input: stream }).once("line", resolve));

export class Shop {
  static async open(binary) {
    const shop = new Shop();
    shop.binary = binary;
    shop.folder = mkdtempSync(`${tmpdir()}/tallyjaw-page-`);
    shop.hands = spawn("python3", [`${here}calipers.py`, "2"], { stdio: ["pipe", "pipe", "inherit"] });
    const paths = [];
    const lines = createInterface({ input: shop.hands.stdout });
    await new Promise((resolve) => lines.on("line", (path) => paths.push(path) === 2 && resolve()));
    const files = `[daemon]\nsheets = "sheet.toml"\nplans = "plans.toml"\ntools = "tools.toml"\n`;
    shop.write("tallyjaw.toml", (port) => `${files}[page]\nlisten = "127.0.0.1:${port}"\n${instrument(1, paths[0])}${instrument(2, paths[1])}`, 0);
    shop.configured = (port) => shop.write("tallyjaw.toml", (port) => `${files}[page]\nlisten = "127.0.0.1:${port}"\n${instrument(1, paths[0])}${instrument(2, paths[1])}`, port);
    shop.write("sheet.toml", () => SHEET);
    shop.write("plans.toml", () => PLANS);
    shop.write("tools.toml", () => TOOLS);
    return shop;
  }

  write(name, text, port) {
    writeFileSync(`${this.folder}/${name}`, text(port));
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

  async kill() {
    this.daemon.kill("SIGKILL");
    await this.ended;
  }

  press(text, number = 1) {
    this.hands.stdin.write(`${number} ${text}\n`);
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
