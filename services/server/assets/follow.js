// Keeps a page current that only shows: whatever has `data-follow` is asked for again, at the address that stands there, when
// something was written down; `data-live` names the line that says so, where it is not the one that says all. What has
// `data-every` too is asked for every so many milliseconds, until something in it has `data-done`. A page that has lost touch says
// so in the element `lost`. Keys that a hand scanner types go to the field with `data-scan`, whatever has the focus. Without
// this script a page works too; it does not follow.
import { isUp, listen, lose, scanInto, show } from "./live.js";

// A page that is not answered for as long as this is asked for again.
const ANSWERED_WITHIN_MS = 30000;
const AGAIN_AFTER_MS = 2000;
const lost = document.getElementById("lost");
let stale = false;
let looking = false;
let wanted = false;

function look() {
  if (lost) lost.hidden = isUp() && !stale;
}

// What somebody is typing in, or has begun to, is left alone.
function isInHand(part) {
  if (part.contains(document.activeElement) && document.activeElement.matches("input, select, textarea")) return true;
  return [...part.querySelectorAll("input:not([type=hidden]), textarea")].some((field) => field.value !== field.defaultValue);
}

async function ask(which) {
  for (const part of document.querySelectorAll(which)) {
    if (isInHand(part)) continue;
    const response = await fetch(part.dataset.follow, { signal: AbortSignal.timeout(ANSWERED_WITHIN_MS), redirect: "manual" });
    if (response.type === "opaqueredirect") return location.reload();
    if (!response.ok) throw new Error(`${response.status}`);
    const html = await response.text();
    if (isInHand(part)) continue;
    show(part, html);
    part.dispatchEvent(new Event("shown", { bubbles: true }));
  }
}

// One look at a time: whatever is heard meanwhile leads to one more, however slow the answer is.
async function catchUp() {
  wanted = true;
  if (looking) return;
  looking = true;
  while (wanted) {
    wanted = false;
    try {
      await ask("[data-follow]");
      stale = false;
    } catch {
      stale = true;
      setTimeout(catchUp, AGAIN_AFTER_MS);
    }
    look();
  }
  looking = false;
}

scanInto(() => document.querySelector("[data-scan]"));

// What is scanned next takes the place of what stood there.
document.addEventListener("focusin", (event) => event.target.matches("[data-scan]") && event.target.select());

for (const part of document.querySelectorAll("[data-follow][data-every]")) {
  const again = async () => {
    if (part.querySelector("[data-done]")) return;
    try {
      await ask("[data-every]");
    } catch {
      lose();
      look();
    }
    setTimeout(again, Number(part.dataset.every));
  };
  setTimeout(again, Number(part.dataset.every));
}

addEventListener("online", look);
addEventListener("offline", look);
addEventListener("pageshow", (event) => event.persisted && location.reload());
if (document.querySelector("[data-follow]") || lost) {
  setInterval(look, 500);
  listen(document.querySelector("[data-live]")?.dataset.live ?? "/live", look, catchUp);
}
