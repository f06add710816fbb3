// Labels are printed by the browser where there is no printer of the house. Without this script its own menu does the same.
"use strict";

for (const button of document.querySelectorAll("[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => print());
}
