// A delivery that is being typed is kept in this browser until it is written down, so that a closed page or an empty battery
// costs nothing. Without this script it stands in the form alone.
"use strict";

const form = document.getElementById("delivery");
const begun = document.getElementById("begun");
const written = document.querySelector("[data-written]");
const place = (path) => `draft ${path}`;
const NOT_KEPT = ["mark", "once", "scan"];

function kept(path) {
  try {
    return JSON.parse(localStorage.getItem(place(path))) ?? [];
  } catch {
    return [];
  }
}

function keep() {
  const fields = [...new FormData(form)].filter(([name]) => !NOT_KEPT.includes(name));
  const holdsSomething = fields.some(([name, value]) => value && (name.startsWith("lines[") || name === "document"));
  try {
    if (holdsSomething) localStorage.setItem(place(location.pathname), JSON.stringify(fields));
    else localStorage.removeItem(place(location.pathname));
  } catch {
    // A browser that keeps nothing still sends the form.
  }
}

function offerWhatWasBegun(fields) {
  for (const [name, value] of fields) {
    const field = document.createElement("input");
    Object.assign(field, { type: "hidden", name, value });
    begun.append(field);
  }
  begun.hidden = false;
  begun.querySelector("[data-forget]").addEventListener("click", () => {
    localStorage.removeItem(place(location.pathname));
    begun.hidden = true;
    document.getElementById("scan").focus();
  });
}

if (written) {
  // A delivery that was looked at later does not forget the next one, which has begun by then.
  if (new URLSearchParams(location.search).get("said") === "done") localStorage.removeItem(place(written.dataset.written));
} else if (form) {
  const fields = kept(location.pathname);
  const isEmpty = !form.querySelector(".line") && !document.getElementById("document").value;
  if (isEmpty && fields.length > 0) offerWhatWasBegun(fields);
  else keep();
  form.addEventListener("input", keep);
  form.addEventListener("submit", keep);
  const line = document.querySelector("[data-new]");
  if (line) line.scrollIntoView({ block: "nearest" });
}
