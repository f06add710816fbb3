// The counter page follows what is written down anywhere, and answers as soon as something is tapped. Without this script the
// page works too, by its buttons; it then says that it does not follow by itself.
"use strict";

const question = document.getElementById("question");
const answers = document.getElementById("answers");
const current = document.getElementById("current");
const stale = document.getElementById("stale");
const scan = document.getElementById("scan");

// The server says every two seconds that the line is up.
const DEAD_AFTER_MS = 6000;
const ANSWERED_WITHIN_MS = 5000;

let heard = performance.now();
let asking = null;

function isCurrent() {
  return navigator.onLine && performance.now() - heard < DEAD_AFTER_MS;
}

// Whatever is not certainly current is not shown at all.
function showOnlyWhatIsCurrent() {
  const hide = !isCurrent();
  if (hide === !stale.hidden) return;
  stale.hidden = !hide;
  current.hidden = hide;
  if (!hide) ask();
}

function lose() {
  heard = -DEAD_AFTER_MS;
  showOnlyWhatIsCurrent();
}

function address() {
  const asked = new URLSearchParams(new FormData(question));
  asked.delete("scan");
  const lot = new URLSearchParams(location.search).get("lot");
  if (lot) asked.set("lot", lot);
  return asked.toString();
}

async function ask() {
  if (asking) asking.abort();
  const mine = (asking = new AbortController());
  const late = setTimeout(() => mine.abort("late"), ANSWERED_WITHIN_MS);
  const asked = address();
  answers.setAttribute("aria-busy", "true");
  try {
    const response = await fetch(`${location.pathname}/answers?${asked}`, { signal: mine.signal, redirect: "manual" });
    if (response.type === "opaqueredirect") {
      location.reload();
      return;
    }
    const html = await response.text();
    if (!response.ok) throw new Error(`${response.status}`);
    if (mine !== asking) return;
    show(html);
    history.replaceState(null, "", asked ? `?${asked}` : location.pathname);
  } catch (error) {
    if (mine === asking) lose();
  } finally {
    clearTimeout(late);
    answers.removeAttribute("aria-busy");
  }
}

// What was opened to be read stays open.
function show(html) {
  const open = [...answers.querySelectorAll("details")].map((details) => details.open);
  const focused = answers.contains(document.activeElement);
  answers.innerHTML = html;
  const found = answers.querySelectorAll("details");
  if (found.length === open.length) found.forEach((details, at) => (details.open = open[at]));
  if (focused) document.getElementById("page").focus();
}

function follow() {
  const line = new EventSource("/live");
  const hear = () => {
    heard = performance.now();
    showOnlyWhatIsCurrent();
  };
  line.addEventListener("beat", hear);
  line.addEventListener("news", () => {
    hear();
    ask();
  });
  line.onerror = () => {
    // A browser gives up for good where it was turned away: who is signed in no more goes to sign in.
    if (line.readyState === EventSource.CLOSED) setTimeout(follow, 2000);
  };
}

question.addEventListener("change", (event) => {
  if (event.target.name === "avoid") ask();
});

// A hand scanner types, whatever has the focus, and ends with Enter.
document.addEventListener("keydown", (event) => {
  const typing = event.target.closest("input:not([type=checkbox]), button, a, summary");
  if (!typing && event.key.length === 1 && event.key !== " " && !event.ctrlKey && !event.altKey && !event.metaKey) scan.focus();
});

addEventListener("online", showOnlyWhatIsCurrent);
addEventListener("offline", lose);
document.addEventListener("visibilitychange", showOnlyWhatIsCurrent);
// A page that comes back out of the browser's memory was asleep.
addEventListener("pageshow", (event) => event.persisted && lose());
setInterval(showOnlyWhatIsCurrent, 500);
follow();
