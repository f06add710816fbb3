// Opens and folds up the boxes of a picture without loading the page again. Without this script the links load the page.
"use strict";

const picture = document.getElementById("picture");

async function show(address, keep) {
  const part = new URL(picture.dataset.part, location.href);
  part.search = address.search;
  picture.setAttribute("aria-busy", "true");
  try {
    const response = await fetch(part, { redirect: "manual" });
    if (!response.ok) throw new Error(`${response.status}`);
    const html = await response.text();
    const lists = [...picture.querySelectorAll("details")].map((details) => details.open);
    picture.innerHTML = html;
    picture.querySelectorAll("details").forEach((details, at) => (details.open ||= lists[at]));
    if (keep) history.pushState(null, "", address.pathname + address.search);
    focusOn(address);
  } catch {
    location.assign(address);
  } finally {
    picture.removeAttribute("aria-busy");
  }
}

// The first of what was just opened; else the picture.
function focusOn(address) {
  const key = address.searchParams.getAll("open").pop();
  const boxes = [...picture.querySelectorAll("a.box")];
  const inside = key && boxes.find((box) => box.id.startsWith(`box-${key}~`));
  (inside || picture.querySelector(".drawing")).focus({ preventScroll: true });
}

picture.addEventListener("click", (event) => {
  const link = event.target.closest("a");
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
  const address = new URL(link.href.baseVal ?? link.href, location.href);
  if (address.pathname !== location.pathname || address.hash !== "#picture") return;
  event.preventDefault();
  show(address, true);
});

addEventListener("popstate", () => show(new URL(location.href), false));
