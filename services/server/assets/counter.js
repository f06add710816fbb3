// The counter page follows what is written down anywhere, and answers as soon as something is tapped. Without this script the
// page works too, by its buttons; it then says that it does not follow by itself.
import { isUp, listen, lose as loseLine, scanInto, show } from "./live.js";

const question = document.getElementById("question");
const answers = document.getElementById("answers");
const current = document.getElementById("current");
const stale = document.getElementById("stale");
const scan = document.getElementById("scan");

const ANSWERED_WITHIN_MS = 5000;

let asking = null;

// Whatever is not certainly current is not shown at all.
function showOnlyWhatIsCurrent() {
  const hide = !isUp();
  if (hide === !stale.hidden) return;
  stale.hidden = !hide;
  current.hidden = hide;
  if (!hide) ask();
}

function lose() {
  loseLine();
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
    show(answers, html);
    history.replaceState(null, "", asked ? `?${asked}` : location.pathname);
  } catch (error) {
    if (mine === asking) lose();
  } finally {
    clearTimeout(late);
    answers.removeAttribute("aria-busy");
  }
}

question.addEventListener("change", (event) => {
  if (event.target.name === "avoid") ask();
});

scanInto(() => scan);
addEventListener("online", showOnlyWhatIsCurrent);
addEventListener("offline", lose);
document.addEventListener("visibilitychange", showOnlyWhatIsCurrent);
// A page that comes back out of the browser's memory was asleep.
addEventListener("pageshow", (event) => event.persisted && lose());
setInterval(showOnlyWhatIsCurrent, 500);
listen("/live", showOnlyWhatIsCurrent, ask);
