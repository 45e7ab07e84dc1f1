"use strict";
// Entries are on this phone's disk before anything is said to be kept, and leave it only when the
// shop's computer has answered for each. One tab at a time sends; the oldest goes first.
const PAGES = "dockside-pages";
const AT_ONCE = 50;
const SHOWN = 40;
const AGAIN_MS = 5000;
const WAITS_MS = 15000;
const told = (name) => document.querySelector(`meta[name=${name}]`).content;

const dockside = {
  async keep(entries) {
    const by = told("dockside-person");
    await within("readwrite", (store) => entries.forEach((one) => store.add({ ...one, by, state: "waits" })));
    await show();
    send();
  },
  ask: (path, entries) => ask(path, entries, told("dockside-token")),
};
window.dockside = dockside;

function opened() {
  return new Promise((resolve, reject) => {
    const asked = indexedDB.open("dockside", 1);
    asked.onupgradeneeded = () => {
      const store = asked.result.createObjectStore("entries", { keyPath: "place", autoIncrement: true });
      store.createIndex("id", "id", { unique: true });
    };
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
}

async function within(mode, work) {
  const base = await opened();
  try {
    return await new Promise((resolve, reject) => {
      const step = base.transaction("entries", mode, { durability: "strict" });
      const asked = work(step.objectStore("entries"));
      step.oncomplete = () => resolve(asked && asked.result);
      step.onabort = () => reject(step.error);
    });
  } finally {
    base.close();
  }
}

const all = () => within("readonly", (store) => store.getAll());

function ask(path, entries, token) {
  const sent = entries.map(({ id, kind, cells, written_at }) => ({ id, kind, cells, written_at }));
  return fetch(path, {
    method: "POST",
    headers: { "content-type": "application/json", "x-dockside-token": token },
    body: JSON.stringify({ entries: sent }),
    signal: AbortSignal.timeout(WAITS_MS),
  });
}

let why = "";
async function send() {
  await navigator.locks.request("dockside-sends", async () => {
    why = "";
    try {
      while (await sendSome());
    } catch {
      why = "The shop's computer is out of reach.";
    }
  });
  await show();
}

async function sendSome() {
  let waiting = (await all()).filter((one) => one.state === "waits");
  if (!waiting.length) return false;
  const asked = await fetch("/token", { signal: AbortSignal.timeout(WAITS_MS) });
  if (!asked.ok) {
    why = asked.status === 401 ? "Sign in to send what waits." : "The shop's computer does not answer.";
    return false;
  }
  const now = await asked.json();
  const others = waiting.filter((one) => one.by !== now.name);
  waiting = waiting.filter((one) => one.by === now.name).slice(0, AT_ONCE);
  if (!waiting.length) {
    why = `${others[0].by} must sign in to send what waits.`;
    return false;
  }
  const answer = await ask("/entries", waiting, now.token);
  if (!answer.ok) {
    const said = await answer.json().catch(() => ({}));
    why = said.error || "The shop's computer does not take it.";
    return false;
  }
  const { answers } = await answer.json();
  const found = new Map(answers.map((one) => [one.id, one]));
  await within("readwrite", (store) => {
    for (const one of waiting.filter(({ id }) => found.has(id))) {
      const { outcome, faults } = found.get(one.id);
      store.put({ ...one, state: outcome === "refused" ? "refused" : "held", faults });
    }
  });
  await forget();
  return waiting.some(({ id }) => found.has(id));
}

async function forget() {
  const held = (await all()).filter((one) => one.state === "held");
  await within("readwrite", (store) => held.slice(0, -SHOWN).forEach((one) => store.delete(one.place)));
}

const STATES = { waits: "on this phone only", refused: "refused", held: "the shop holds it" };

async function show() {
  const entries = await all();
  const count = (state) => entries.filter((one) => one.state === state).length;
  const parts = [];
  if (count("waits")) parts.push(`${count("waits")} on this phone only, not at the shop yet. ${why}`);
  if (count("refused")) parts.push(`${count("refused")} refused: see Write down.`);
  const says = parts.join(" ");
  document.getElementById("kept").textContent = says;
  document.body.dataset.waits = count("waits");
  document.body.dataset.refused = count("refused");
  const list = document.getElementById("entries");
  if (!list) return;
  document.getElementById("phone-says").textContent = says || "Nothing waits here: the shop holds all.";
  const order = { refused: 0, waits: 1, held: 2 };
  entries.sort((a, b) => order[a.state] - order[b.state] || b.place - a.place);
  list.replaceChildren(...entries.slice(0, SHOWN).map(line));
}

// What tells an entry's record from others, as a correction names it.
function keyOf(one) {
  const names = JSON.parse(told("dockside-keys"))[one.kind];
  return names && names.map((name) => one.cells[name] || "empty").join("; ");
}

function line(one) {
  const item = document.createElement("li");
  item.className = one.state;
  const say = (tag, text) => item.appendChild(Object.assign(document.createElement(tag), { textContent: text }));
  say("strong", `${one.title}: ${STATES[one.state]}`);
  say("p", Object.values(one.cells).join(" \u00b7 "));
  for (const fault of one.faults || []) say("p", fault.message).className = "fault";
  if (one.state === "held" && keyOf(one)) {
    const right = say("a", "A mistake? Put it right");
    right.href = `/write/correct?${new URLSearchParams({ record_kind: one.kind, record_key: keyOf(one) })}`;
  }
  if (one.state === "refused") {
    const again = say("a", "Put it right");
    again.href = `/write/${one.form}?again=${one.place}`;
    const gone = say("button", "Take it off this phone");
    gone.className = "quiet";
    gone.addEventListener("click", async () => {
      await within("readwrite", (store) => store.delete(one.place));
      await show();
    });
  }
  return item;
}

dockside.take = (place) => within("readonly", (store) => store.get(place));
dockside.drop = (place) => within("readwrite", (store) => store.delete(place));

async function hold() {
  const worker = await navigator.serviceWorker.register("/phone.js");
  await navigator.serviceWorker.ready;
  await navigator.storage?.persist?.();
  if (!worker || !navigator.onLine) return;
  const pages = await caches.open(PAGES);
  const wanted = ["/write", ...document.body.dataset.forms.split(" ").map((name) => `/write/${name}`),
    "/assets/write.css", "/assets/kept.js", "/assets/write.js"];
  for (const path of wanted) {
    const page = await fetch(path).catch(() => null);
    if (!page || !page.ok || page.redirected) return;
    await pages.put(path, page);
  }
  document.body.dataset.held = "yes";
}

// A hull's printed code leads to the list of forms, each of which then begins at that hull.
const scanned = new URLSearchParams(location.search).get("hull");
const begunAt = document.getElementById("begun-at");
if (scanned && begunAt) {
  begunAt.textContent = `Hull ${scanned}`;
  begunAt.hidden = false;
  for (const link of document.querySelectorAll(".forms a")) link.search = `?hull=${encodeURIComponent(scanned)}`;
}

document.getElementById("sign-out")?.addEventListener("submit", () => caches.delete(PAGES));
document.getElementById("send-now")?.addEventListener("click", send);
addEventListener("online", send);
setInterval(() => { if (document.body.dataset.waits !== "0") send(); }, AGAIN_MS);
show().then(send);
if (navigator.serviceWorker) hold().catch(() => {});
