// Keeps a page current that only shows: whatever has `data-follow` is asked for again, at the address that stands there, when
// something was written down anywhere; what has `data-every` too, every so many milliseconds, until something in it has
// `data-done`. A page that has lost touch says so in the element `lost`. Keys that a hand scanner
// types go to the field with `data-scan`, whatever has the focus. Without this script a page works too; it does not follow.
"use strict";

// The server says every two seconds that the line is up.
const DEAD_AFTER_MS = 6000;
const lost = document.getElementById("lost");
let heard = performance.now();
let asking = null;

function look() {
  if (lost) lost.hidden = navigator.onLine && performance.now() - heard < DEAD_AFTER_MS;
}

// What somebody is typing in, or has begun to, is left alone.
function isInHand(part) {
  if (part.contains(document.activeElement) && document.activeElement.matches("input, select, textarea")) return true;
  return [...part.querySelectorAll("input:not([type=hidden]), textarea")].some((field) => field.value !== field.defaultValue);
}

async function ask(which = "[data-follow]") {
  if (asking) asking.abort();
  const mine = (asking = new AbortController());
  for (const part of document.querySelectorAll(which)) {
    if (isInHand(part)) continue;
    try {
      const response = await fetch(part.dataset.follow, { signal: mine.signal, redirect: "manual" });
      if (response.type === "opaqueredirect") return location.reload();
      if (!response.ok) throw new Error(`${response.status}`);
      const html = await response.text();
      if (mine === asking && !isInHand(part)) show(part, html);
    } catch (error) {
      if (mine === asking) heard = -DEAD_AFTER_MS;
      look();
      return;
    }
  }
}

// What was opened to be read stays open.
function show(part, html) {
  const open = [...part.querySelectorAll("details")].map((details) => details.open);
  const focused = part.contains(document.activeElement);
  part.innerHTML = html;
  const found = part.querySelectorAll("details");
  if (found.length === open.length) found.forEach((details, at) => (details.open = open[at]));
  if (focused) document.getElementById("page").focus();
  part.dispatchEvent(new Event("shown", { bubbles: true }));
}

function follow() {
  const line = new EventSource("/live");
  const hear = () => {
    heard = performance.now();
    look();
  };
  line.addEventListener("beat", hear);
  line.addEventListener("news", () => {
    hear();
    ask();
  });
  line.onerror = () => {
    if (line.readyState === EventSource.CLOSED) setTimeout(follow, 2000);
  };
}

document.addEventListener("keydown", (event) => {
  const scan = document.querySelector("[data-scan]");
  const typing = event.target.closest("input:not([type=checkbox]), select, textarea, button, a, summary");
  const types = event.key.length === 1 && event.key !== " " && !event.ctrlKey && !event.altKey && !event.metaKey;
  if (scan && !typing && types) scan.focus();
});

// What is scanned next takes the place of what stood there.
document.addEventListener("focusin", (event) => event.target.matches("[data-scan]") && event.target.select());

for (const part of document.querySelectorAll("[data-follow][data-every]")) {
  const again = () => {
    if (part.querySelector("[data-done]")) return;
    ask("[data-every]").finally(() => setTimeout(again, Number(part.dataset.every)));
  };
  setTimeout(again, Number(part.dataset.every));
}

addEventListener("online", look);
addEventListener("offline", look);
addEventListener("pageshow", (event) => event.persisted && location.reload());
if (document.querySelector("[data-follow]") || lost) {
  setInterval(look, 500);
  follow();
}
