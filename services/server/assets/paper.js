// Looks how far a paper is, twice a second, until it is made. Without this script the page loads itself again.
"use strict";

const state = document.getElementById("state");

async function look() {
  try {
    const response = await fetch(state.dataset.part, { redirect: "manual" });
    if (!response.ok) return location.reload();
    state.innerHTML = await response.text();
  } catch {
    // The line is down for a moment: look again.
  }
  if (state.querySelector("[data-going]")) setTimeout(look, 500);
}

if (state.querySelector("[data-going]")) setTimeout(look, 500);
