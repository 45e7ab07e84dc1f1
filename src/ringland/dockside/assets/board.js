"use strict";
// The board asks for itself anew; what it shows is exchanged only where it differs.
const EVERY_MS = 2000;
const shown = () => document.querySelector("main");
async function renew() {
  try {
    const answer = await fetch("/", { credentials: "same-origin", redirect: "manual" });
    if (answer.ok) {
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("main");
      if (fresh && fresh.innerHTML !== shown().innerHTML) shown().replaceWith(document.adoptNode(fresh));
      document.body.removeAttribute("data-lost");
    } else document.body.dataset.lost = "yes";
  } catch {
    document.body.dataset.lost = "yes";
  }
}
setInterval(renew, EVERY_MS);
