// Pairs this device by a code: it follows the # of the scanned address, which no browser sends, or is typed.

import { $, make, setText } from "./dom.js";
import { fill, t } from "./texts.js";

// The name under which this browser was paired, to say whether it still is.
const NAME = "tablet";
const given = new URLSearchParams(location.hash.slice(1));
// The code is used up with the next press, and stands in no history.
if (location.hash) history.replaceState(null, "", location.pathname);

const was = () => localStorage.getItem(NAME);

function show(state, values = {}) {
  document.body.dataset.state = state;
  setText($("heading"), t(`pairing.${state}`, values));
  setText($("words"), t(`pairing.${state}_words`, values));
  document.title = t(`pairing.${state}`, values);
}

// The fingerprint as browsers show it, from the shortest form that an address can hold.
function fingerprint(base64) {
  try {
    const bytes = atob(base64.replaceAll("-", "+").replaceAll("_", "/"));
    return Array.from(bytes, (one) => one.charCodeAt(0).toString(16).toUpperCase().padStart(2, "0")).join(":");
  } catch {
    return "";
  }
}

async function pair() {
  $("go").disabled = true;
  setText($("answer"), "");
  try {
    const response = await fetch("/pair", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ code: $("code").value }), cache: "no-store" });
    if (!response.ok) return setText($("answer"), t(response.status === 403 ? "pairing.wrong" : response.status === 429 ? "pairing.too_many" : "pairing.failed"));
    const { tablet } = await response.json();
    localStorage.setItem(NAME, tablet);
    show("paired", { tablet });
    $("open").hidden = false;
    $("open").focus();
  } catch {
    setText($("answer"), t("no_answer"));
  } finally {
    $("go").disabled = false;
  }
}

fill();
$("code").value = (given.get("c") ?? "").replace(/(.{4})(?=.)/g, "$1-");
const shown = fingerprint(given.get("f") ?? "");
$("fingerprint").replaceChildren(...shown.split(/(?<=:)/).map((byte) => make("span", {}, byte))); // no line ends within a byte
$("compare").hidden = shown === "";
show(was() && !given.get("c") ? "revoked" : "new", { tablet: was() ?? "" });
$("form").addEventListener("submit", (event) => {
  event.preventDefault();
  pair();
});
