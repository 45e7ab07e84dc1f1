"use strict";
// One form: what it offers, what it asks while typing, and the entries it makes.
const form = document.getElementById("write");
const known = JSON.parse(document.getElementById("known").textContent);
const asked = new URLSearchParams(location.search);
const field = (name) => form.elements.namedItem(name);
const CHECK_MS = 400;
const PLACES_OF_A_CELL = 1e6;

function fill(list, names) {
  document.getElementById(list).replaceChildren(...names.map((name) => new Option(name, name)));
}
fill("list-hulls", Object.keys(known.hulls));
fill("list-docks", known.docks);
fill("list-engines", Object.keys(known.engines));
fill("list-jobs", known.jobs);

const local = (text) => {
  const at = new Date(text);
  return new Date(at - at.getTimezoneOffset() * 60000).toISOString().slice(0, 19);
};

function put(name, text) {
  const input = field(name);
  if (!input) return;
  if (input.dataset?.kind === "instant") input.value = text && local(text);
  else if (input.dataset?.factor && text !== "") input.value = round(Number(text) * input.dataset.factor, 3);
  else input.value = text;
}
const round = (value, digits) => String(Math.round(value * 10 ** digits) / 10 ** digits);

function cell(input) {
  const text = input.value.trim();
  if (!text || input.dataset?.kind === "instant") return text && new Date(text).toISOString();
  const factor = Number(input.dataset?.factor || 1);
  return factor === 1 ? text : String(Math.round((text / factor) * PLACES_OF_A_CELL) / PLACES_OF_A_CELL);
}

function common() {
  const cells = {};
  for (const input of form.elements) {
    if (!input.name || (input.type === "radio" && !input.checked)) continue;
    const text = cell(input);
    if (text) cells[input.name] = text;
  }
  if (form.dataset.at && !cells[form.dataset.at]) cells[form.dataset.at] = now;
  return cells;
}

let now = "";
const readings = [...form.querySelectorAll(".reading")];
function entries() {
  now = new Date().toISOString();
  const cells = common();
  const made = (more, box) => ({ kind: form.dataset.kind, cells: { ...cells, ...more }, box });
  if (!readings.length) return [made({}, form), ...meter(cells)];
  return readings.filter((box) => !box.hidden && box.querySelector("input").value.trim()).map((box) => {
    const input = box.querySelector("input");
    const { cylinder, port } = box.dataset;
    return made({ cylinder, ...(port && { port }), [input.dataset.column]: input.value.trim() }, box);
  });
}

// A rental that comes back with its meter read is two records: the rental, and the reading.
function meter(cells) {
  const shown = document.getElementById("meter-now");
  const last = known.hulls[cells.hull_id]?.meter;
  if (!shown?.value || !last) return [];
  const read = { hull_id: cells.hull_id, meter_id: last[0], read_at: cells.ended_at, meter_h: shown.value };
  return [{ kind: "hour_readings", cells: read, box: form }];
}

const stamped = (one) => ({ id: crypto.randomUUID(), kind: one.kind, cells: one.cells, written_at: now,
  title: form.dataset.title, form: form.dataset.form });

const touched = new Set();
function offer(subject) {
  for (const [name, text] of Object.entries(known.last[subject] || {})) if (!touched.has(name)) put(name, text);
}

function hullChosen(hull) {
  const about = known.hulls[hull];
  if (!about) return;
  if (form.dataset.subject === "engine_id" && about.engine) {
    put("engine_id", about.engine);
    engineChosen(about.engine);
  }
  if (form.dataset.subject === "hull_id") offer(hull);
  if (form.dataset.form === "fill" && !field("source").value) {
    put("source", "dock");
    put("source_dock_id", about.dock);
  }
  if (form.dataset.form === "back" && about.meter) {
    if (!touched.has("started_at")) put("started_at", about.meter[1]);
    document.getElementById("meter-then").textContent = `Shown at hand-over: ${about.meter[2]} h.`;
  }
}

// What was offered for one source says nothing of the fuel of the other.
function sourceChosen(source) {
  const about = known.hulls[field("hull_id").value.trim()];
  for (const name of ["source_dock_id", "source_tank_id", "octane_aki", "octane_ron", "octane_mon"]) {
    if (!touched.has(name)) put(name, name === "source_dock_id" && source === "dock" && about ? about.dock : "");
  }
}

function engineChosen(engine) {
  const cylinders = known.engines[engine] || 0;
  for (const box of readings) box.hidden = Number(box.dataset.cylinder) > cylinders;
  offer(engine);
}

document.getElementById("hull")?.addEventListener("input", (event) => hullChosen(event.target.value.trim()));
field("hull_id")?.addEventListener("input", (event) => hullChosen(event.target.value.trim()));
field("engine_id")?.addEventListener("input", (event) => engineChosen(event.target.value.trim()));
field("dock_id")?.addEventListener("input", (event) => {
  if (form.dataset.subject === "dock_id" || !field("hull_id")) offer(event.target.value.trim());
});
for (const input of form.querySelectorAll("[name=source]")) {
  input.addEventListener("change", () => sourceChosen(input.value));
}
document.getElementById("meter-now")?.addEventListener("input", (event) => {
  const last = known.hulls[field("hull_id").value.trim()]?.meter;
  const ran = event.target.value - (last ? last[2] : NaN);
  if (ran > 0) field("running_h").value = round(ran, 2);
});

function clear() {
  for (const fault of form.querySelectorAll(".fault")) fault.textContent = "";
  for (const input of form.elements) input.removeAttribute("aria-invalid");
}

function tell(box, name, words) {
  const place = box === form ? form.querySelector(`[data-field="${name}"]`) : box;
  const fault = place?.querySelector(".fault") || document.getElementById("whole-fault");
  if (!fault.textContent.includes(words)) fault.textContent = `${fault.textContent} ${words}`.trim();
  const input = place?.querySelector("input, select");
  if (place?.closest("details")) place.closest("details").open = true;
  input?.setAttribute("aria-invalid", "true");
  return input;
}

function missing() {
  let first = null;
  for (const place of form.querySelectorAll("[data-field]")) {
    const name = place.dataset.field;
    if (place.querySelector("[required]") && !field(name).value) {
      first = tell(form, name, "Fill this in.") && (first || place.querySelector("input, select"));
    }
  }
  if (readings.length && !entries().length) {
    first = first || tell(form, "", "Write down at least one reading; choose the hull first.") || field("engine_id");
  }
  return first;
}

// Faults of columns nobody has written in yet are not told while typing: the form is not done.
async function check() {
  const made = entries();
  if (!made.length || !navigator.onLine) return;
  const answer = await dockside.ask("/check", made.map(stamped)).catch(() => null);
  if (!answer?.ok) return;
  const { answers } = await answer.json();
  clear();
  answers.forEach((one, place) => one.faults.forEach((fault) => {
    const names = fault.field.split(", ");
    if (names.some((name) => touched.has(name) || (made[place].box !== form && made[place].cells[name]))) {
      tell(made[place].box === form || !readings.length || touched.has(names[0]) ? form : made[place].box,
        names[0], fault.message);
    }
  }));
}

let waits = 0;
form.addEventListener("input", (event) => {
  if (event.target.name) touched.add(event.target.name);
  clearTimeout(waits);
  waits = setTimeout(check, CHECK_MS);
});

const again = Number(asked.get("again"));
form.addEventListener("submit", async (event) => {
  event.preventDefault();
  clearTimeout(waits);
  clear();
  const first = missing();
  if (first) {
    first.focus();
    return;
  }
  const made = entries().map(stamped);
  await dockside.keep(made);
  if (again) await dockside.drop(again);
  for (const input of form.elements) if (input.type !== "hidden" && input.type !== "radio") input.value = "";
  for (const input of form.querySelectorAll("input[type=radio]")) input.checked = false;
  for (const box of readings) box.hidden = true;
  touched.clear();
  begin();
  const said = document.getElementById("said");
  said.textContent = `${made.length === 1 ? "Kept" : `${made.length} kept`} on this phone: ${Object.values(made[0].cells).join(", ")}.`;
  said.scrollIntoView({ block: "nearest" });
});

function begin() {
  for (const [name, text] of Object.entries(known.signed)) if (field(name) && !field(name).value) put(name, text);
}

async function start() {
  begin();
  const hull = asked.get("hull");
  if (hull) {
    put("hull_id", hull);
    const picker = document.getElementById("hull");
    if (picker) picker.value = hull;
    hullChosen(hull);
  }
  if (asked.get("job")) put("job_id", asked.get("job"));
  for (const name of ["record_kind", "record_key"]) if (asked.get(name)) put(name, asked.get(name));
  if (asked.get("dock")) put("dock_id", asked.get("dock"));
  if (!again) return;
  const one = await dockside.take(again);
  if (!one) return;
  for (const [name, text] of Object.entries(one.cells)) { put(name, text); touched.add(name); }
  if (one.cells.engine_id) engineChosen(one.cells.engine_id);
  for (const box of readings) {
    if (box.dataset.cylinder === one.cells.cylinder && box.dataset.port === (one.cells.port || "")) {
      box.querySelector("input").value = one.cells.value;
    }
  }
  for (const fault of one.faults || []) tell(form, fault.field.split(", ")[0], fault.message);
}
start();
