// The connection between page and daemon: the event stream, and commands.

const SIGN_OF_LIFE_MS = 12000; // the daemon sends something every 5 s
const AGAIN_MS = 700;

// The token follows the # in the address once, and is then kept for this tab only.
const token = (() => {
  const given = /(?:^#|&)token=([0-9a-fA-F]{64})/.exec(location.hash)?.[1];
  if (given) {
    sessionStorage.setItem("token", given);
    history.replaceState(null, "", location.pathname + location.search);
  }
  return given ?? sessionStorage.getItem("token");
})();

// Without the token the page can only read. A paired tablet shows one in a cookie that no script can read.
const tablet = document.documentElement.dataset.tablet;
export const mayCommand = token !== null || tablet !== undefined;

// A tablet whose pairing was revoked shows nothing any more: the pairing page says so.
function mind(response) {
  if (tablet !== undefined && response.status === 401) location.replace("/pair");
  return response;
}

const authorized = () => (token ? { Authorization: `Bearer ${token}` } : {});

// A refused command: message and remedy.
export class Refused extends Error {
  constructor({ code, message, data, status }) {
    super(message);
    this.status = status;
    this.code = code;
    this.remedy = data?.remedy;
    this.texts = data?.texts;
  }
}

export class NoAnswer extends Error {}

export async function call(method, params = {}) {
  const headers = { ...authorized(), "Content-Type": "application/json" };
  const body = JSON.stringify({ jsonrpc: "2.0", id: 1, method, params });
  let response;
  try {
    response = mind(await fetch("/control", { method: "POST", headers, body, cache: "no-store" }));
  } catch {
    throw new NoAnswer();
  }
  if (!response.ok) throw new Refused({ message: (await response.text()).trim(), status: response.status });
  const answer = await response.json();
  if (answer.error) throw new Refused(answer.error);
  return answer.result;
}

export async function read(path) {
  const response = mind(await fetch(path, { headers: authorized(), cache: "no-store" }));
  if (!response.ok) throw new Refused({ message: (await response.text()).trim(), status: response.status });
  return response.json();
}

// The answer to a request that may be refused in words.
async function answerTo(path, init) {
  const asked = fetch(path, { ...init, headers: { ...authorized(), ...init.headers }, cache: "no-store" });
  const response = mind(await asked.catch(() => { throw new NoAnswer(); }));
  if (response.ok) return response.json();
  const said = await response.text();
  if (said.startsWith("{")) throw new Refused(JSON.parse(said).error);
  const [message, remedy] = said.trim().split("\nhelp: ");
  throw new Refused({ message, data: { remedy }, status: response.status });
}

// Reads what can be set up, or has a change checked or made.
export const exchange = (path, body) => answerTo(path, body ? { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) } : {});

// Gives the daemon a picture. What the file really is, the daemon finds in its bytes.
export function give(file, of) {
  const query = new URLSearchParams({ name: file.name, ...of }).toString().replaceAll("+", "%20");
  return answerTo(`/picture?${query}`, { method: "POST", headers: { "Content-Type": file.type === "image/png" ? file.type : "image/jpeg" }, body: file });
}

// The small copy with this digest as an address for an image. An image alone could not show the token.
export async function copyOf(shown) {
  const response = mind(await fetch(`/picture/${shown}`, { headers: authorized() }));
  if (!response.ok) throw new Refused({ message: response.statusText, status: response.status });
  const bytes = new Uint8Array(await response.arrayBuffer());
  return `data:image/jpeg;base64,${btoa(Array.from(bytes, (byte) => String.fromCharCode(byte)).join(""))}`;
}

let lastId = null;
let journal = null;

// Follows the daemon for ever; `on` has the handlers `state`, `notice`, `moving` and `gone`.
export async function follow(on) {
  for (;;) {
    on.gone(await untilItEnds(on));
    await new Promise((wake) => setTimeout(wake, AGAIN_MS));
  }
}

// Why the stream ended.
async function untilItEnds(on) {
  const life = new AbortController();
  let timer;
  const alive = () => {
    clearTimeout(timer);
    timer = setTimeout(() => life.abort(), SIGN_OF_LIFE_MS);
  };
  alive();
  const headers = authorized();
  if (lastId) headers["Last-Event-ID"] = lastId;
  try {
    const response = mind(await fetch("/events?state=each", { headers, signal: life.signal, cache: "no-store" }));
    if (!response.ok) return (await response.text()).trim();
    const reader = response.body.pipeThrough(new TextDecoderStream()).getReader();
    let held = "";
    for (;;) {
      const { value, done } = await reader.read();
      if (done) return "";
      alive();
      held += value;
      const events = held.split("\n\n");
      held = events.pop();
      take(events, on);
    }
  } catch (error) {
    return error.message;
  } finally {
    clearTimeout(timer);
    life.abort();
  }
}

// Of several waiting states, and of several moving values, only the last is shown.
function take(events, on) {
  let [state, moving] = [null, null];
  for (const text of events) {
    let [name, data] = ["message", ""];
    for (const line of text.split("\n")) {
      if (line.startsWith("data: ")) data += line.slice(6);
      else if (line.startsWith("event: ")) name = line.slice(7);
      else if (line.startsWith("id: ")) lastId = line.slice(4);
    }
    if (name === "state") state = data;
    else if (name === "notice") on.notice(JSON.parse(data));
    else if (name === "moving") moving = data;
  }
  if (state !== null) {
    const parsed = JSON.parse(state);
    if (journal && parsed.journal !== journal) lastId = null;
    journal = parsed.journal;
    on.state(parsed);
  }
  if (moving !== null) on.moving(JSON.parse(moving));
}
