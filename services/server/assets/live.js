// What pages share that keep themselves current: the line on which the server says that something was written down, a part of a
// page shown anew, and where a hand scanner types.

// The server says every two seconds that the line is up.
const DEAD_AFTER_MS = 6000;
let heard = performance.now();

// Whether the line is up, as far as is known.
export function isUp() {
  return navigator.onLine && performance.now() - heard < DEAD_AFTER_MS;
}

// The line is taken for dead until it says otherwise.
export function lose() {
  heard = -DEAD_AFTER_MS;
}

// Listens at an address: `hear` is told that the line is up, `news` that there are news since the page was asked for.
export function listen(address, hear, news) {
  const from = new URL(address, location.href);
  const shown = document.documentElement.dataset.asOf;
  if (shown && !from.searchParams.has("since")) from.searchParams.set("since", shown);
  const line = new EventSource(from);
  const up = () => {
    heard = performance.now();
    hear();
  };
  line.addEventListener("beat", up);
  line.addEventListener("news", () => {
    up();
    news();
  });
  line.onerror = () => {
    // A browser gives up for good where it was turned away: who is signed in no more goes to sign in.
    if (line.readyState === EventSource.CLOSED) setTimeout(() => listen(address, hear, news), 2000);
  };
}

// Shows a part anew. What was opened to be read stays open.
export function show(part, html) {
  const open = [...part.querySelectorAll("details")].map((details) => details.open);
  const focused = part.contains(document.activeElement);
  part.innerHTML = html;
  const found = part.querySelectorAll("details");
  if (found.length === open.length) found.forEach((details, at) => (details.open = open[at]));
  if (focused) document.getElementById("page").focus();
}

// A hand scanner types, whatever has the focus, and ends with Enter: its keys go to the field that `find` finds.
export function scanInto(find) {
  document.addEventListener("keydown", (event) => {
    const field = find();
    const typing = event.target.closest("input:not([type=checkbox]), select, textarea, button, a, summary");
    const types = event.key.length === 1 && event.key !== " " && !event.ctrlKey && !event.altKey && !event.metaKey;
    if (field && !typing && types) field.focus();
  });
}
