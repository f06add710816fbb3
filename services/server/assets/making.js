// The clocks of a batch run by the server's time. Without this script they show how long it was when the page came.
"use strict";

const came = performance.now();
const base = document.querySelector("[data-now]");

// In seconds since 1970, as the server counts them.
function now() {
  return Number(base.dataset.now) + (performance.now() - came) / 1000;
}

function spell(seconds) {
  const all = Math.max(0, Math.floor(seconds));
  const two = (number) => String(number).padStart(2, "0");
  const [hours, minutes] = [Math.floor(all / 3600), Math.floor(all / 60) % 60];
  return hours > 0 ? `${hours}:${two(minutes)}:${two(all % 60)}` : `${minutes}:${two(all % 60)}`;
}

function tick() {
  for (const clock of document.querySelectorAll("[data-since]")) clock.textContent = spell(now() - Number(clock.dataset.since));
  for (const clock of document.querySelectorAll("[data-until]")) {
    const left = Number(clock.dataset.until) - now();
    clock.textContent = left > 0 ? `−${spell(left)}` : clock.dataset.done;
  }
}

if (base) {
  tick();
  setInterval(tick, 1000);
  // A tablet that slept has counted nothing.
  document.addEventListener("visibilitychange", () => document.hidden || performance.now() - came < 60000 || location.reload());
}

// The lot that was scanned goes to the scanner's field; its grams come next, so that Enter in between asks for them.
const grams = document.getElementById("grams");
if (grams && grams.autofocus) grams.select();
