"use strict";
// The board asks for itself anew; what it shows is exchanged only where it differs.
const EVERY_MS = 1000;
const shown = () => document.querySelector("main");
let mark = "";
async function renew() {
  try {
    const answer = await fetch("/", {
      credentials: "same-origin", redirect: "manual", headers: mark ? { "if-none-match": mark } : {}
    });
    if (answer.ok) {
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("main");
      if (fresh && fresh.innerHTML !== shown().innerHTML) shown().replaceWith(document.adoptNode(fresh));
      mark = answer.headers.get("etag") || "";
    }
    if (answer.ok || answer.status === 304) document.body.removeAttribute("data-lost");
    else document.body.dataset.lost = "yes";
  } catch {
    document.body.dataset.lost = "yes";
  }
  setTimeout(renew, EVERY_MS);
}
setTimeout(renew, EVERY_MS);
