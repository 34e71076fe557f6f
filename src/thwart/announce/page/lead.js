// The lead's page: the day's fish as a table to sort, findings, plots, mends with their reason, counts of batches.

import { act, between, cloudPicture, el, get, loadWords, named, num, orderPicture, plain, say, told } from "/page/page.js";

const $ = (id) => document.getElementById(id);
const part = (name, ...within) => el("section", { id: `${name}-part`, "aria-labelledby": `${name}-title` }, el("h2", { id: `${name}-title` }), ...within);
const wide = (name) => part(name, el("div", { id: name, class: "wide", tabindex: 0 }));
document.body.append(
  el("header", { id: "top" }, el("h1", { id: "bench" }), el("p", { id: "sums" }), el("p", { id: "told", role: "status", "aria-live": "polite" })),
  el("main", {}, wide("fish"), part("mend", el("form", { id: "mend" })), part("plots", el("div", { id: "plots" })),
    wide("findings"), wide("mends"), wide("batches")),
);
const HIDDEN = new Set(["specimen_id", "state", "place", "same_as", "missing", "structures", "opened_utc", "answered_by", "about", "seq"]);
const sorting = { fish: ["number", -1], findings: [null, 1], mends: [null, 1], batches: [null, 1] };
const ARMED_MS = 15000; // of two steps the second comes within
const AGAIN_MS = 3000; // the tables are asked for at most so often

let setup;
let day;
let measurands; // column of the table → measurand

const shown = (key, value) => {
  if (value === null || value === undefined) return "";
  if (key.endsWith("_utc")) return String(value).slice(0, 19).replace("T", " ");
  if (key === "species") return setup.species.find((s) => s.name === value)?.title ?? named(value);
  if (key === "measurand") return named(value);
  if (key === "end") return told("end", value);
  if (key === "asked") return say(value ? "yes" : "no");
  if (key === "verdict" || key === "worst_verdict") return `${value} ${told("verdict", value)}`;
  if (key === "text") return plain(value).replaceAll("`", "");
  if (key === "why") return why(value);
  if (key === "old_value" || key === "new_value") return typeof value === "number" ? num(value) : num(named(value));
  return typeof value === "number" ? num(value) : String(value);
};

/** A mend's reason: a code, or what a slide did. */
function why(value) {
  const [, by, way, n] = /^slid ([+-]1) (from|to) (\d+)$/.exec(value) ?? [];
  return by ? say(`mend-slid-${way}`, { by, n }) : told("mend", value);
}

const heading = (key) => (key in measurands ? `${named(measurands[key].key)} ${measurands[key].unit}` : told("column", key));

/** Rows as a table whose headings sort; empty columns are left out. */
function table(id, rows, more = () => ({})) {
  const node = $(id);
  if (!rows.length) {
    node.replaceChildren(el("p", {}, say("lead-none")));
    return;
  }
  const keys = Object.keys(rows[0]).filter((k) => !HIDDEN.has(k) && rows.some((r) => r[k] !== null && r[k] !== ""));
  const [by, way] = sorting[id];
  const order = by === null ? rows : [...rows].sort((a, b) => {
    const [x, y] = [a[by], b[by]];
    if (x === null || y === null) return (x === null) - (y === null);
    return way * (typeof x === "number" ? x - y : String(x).localeCompare(String(y)));
  });
  const numeric = (k) => rows.every((r) => r[k] === null || typeof r[k] === "number") && !k.includes("verdict") && k !== "asked";
  const held = node.contains(document.activeElement) ? document.activeElement.dataset.sort : null;
  const head = keys.map((k) => el("th", {
    scope: "col", class: numeric(k) ? "number" : null, "aria-sort": k === by ? (way > 0 ? "ascending" : "descending") : null,
  }, el("button", {
    type: "button", "data-sort": k,
    on: () => {
      sorting[id] = [k, k === sorting[id][0] ? -sorting[id][1] : 1];
      draw();
    },
  }, `${heading(k)}${k === by ? (way > 0 ? " ▲" : " ▼") : ""}`)));
  node.replaceChildren(el("table", {},
    el("thead", {}, el("tr", {}, ...head)),
    el("tbody", {}, ...order.map((r) => el("tr", more(r), ...keys.map((k) => cell(id, k, r, numeric(k))))))));
  if (held) node.querySelector(`[data-sort="${held}"]`)?.focus();
}

function cell(id, key, row, number) {
  const text = shown(key, row[key]);
  if (id === "fish" && key === "number" && setup.role === "act") {
    return el("td", { class: "number" }, el("button", {
      type: "button", class: "row", "aria-label": `${say("lead-mend")}: ${say("fish", { number: text })}`, on: () => choose(row),
    }, text));
  }
  return el("td", { class: number ? "number" : null }, text);
}

/** One picture a species, on its band; then how far each fish is from the middle of its band, in the order of the fish. */
function plots() {
  const drawn = day.picture;
  const node = $("plots");
  const [x, y] = drawn ? [`${drawn.x}_mm`, `${drawn.y}_g`] : [];
  const both = drawn ? day.fish.filter((f) => f.species && f[x] > 0 && f[y] > 0) : [];
  if (!both.length) {
    node.replaceChildren(el("p", {}, say("lead-none")));
    return;
  }
  const figures = [];
  const off = [];
  for (const [species, fish] of Map.groupBy(both, (f) => f.species)) {
    const band = drawn.bands[species] ?? [];
    const points = fish.map((f) => [f[x], f[y], f.worst_verdict ?? 1]);
    figures.push(el("figure", { "data-species": species }, el("figcaption", {}, `${shown("species", species)} (${fish.length})`),
      cloudPicture({ species, points, band, this: [null, null] })));
    for (const f of fish) {
      const within = between(band, f[x]);
      if (within === null) continue;
      const [low, high] = within.map(Math.log);
      off.push([f.number, (Math.log(f[y]) - (low + high) / 2) / ((high - low) / 2), f.worst_verdict ?? 1]);
    }
  }
  if (off.length) {
    figures.push(el("figure", { class: "order" }, el("figcaption", {}, say("lead-order")),
      orderPicture(off.sort((a, b) => a[0] - b[0]), say("order-told", { n: off.length, out: off.filter((o) => Math.abs(o[1]) > 1).length }))));
  }
  node.replaceChildren(...figures);
}

// ---- acts: what there is to set right, and what must be said for each ----------------------------------------------

/** How a field is asked for. */
const FIELDS = {
  number: () => numberField(),
  from: () => numberField(),
  to: () => numberField(),
  other: () => numberField(),
  measurand: () => choice(setup.measurands.map((m) => [m.key, named(m.key)])),
  second: () => choice(setup.measurands.map((m) => [m.key, named(m.key)])),
  value: () => el("input", { inputmode: "decimal", pattern: "[0-9]+([.,][0-9]+)?", required: true, autocomplete: "off" }),
  unit: (form) => choice((setup.measurands.find((m) => m.key === form.measurand)?.quantity === "mass" ? ["g", "kg"] : ["mm", "cm"]).map((u) => [u, u])),
  species: () => choice([...setup.species.map((s) => [s.name, s.title]), ["unknown", say("unknown-species")]]),
  field: () => choice(setup.codes.map((c) => [c.field, named(c.field)])),
  code: (form) => choice(Object.entries((setup.codes.find((c) => c.field === form.field) ?? setup.codes[0]).values).map(([code, word]) => [code, `${code} ${word}`])),
  missing: () => choice(setup.missing_reasons.map((r) => [r, told("missing", r)])),
  way: () => choice([["+1", say("slide-up")], ["-1", say("slide-down")]]),
  container: () => el("input", { maxlength: 40, required: true, autocomplete: "off" }),
  new_container: () => el("input", { maxlength: 40, required: true, autocomplete: "off" }),
  of: () => el("input", { inputmode: "numeric", pattern: "[0-9]+", autocomplete: "off" }),
  why: () => choice([["", ""], ...setup.mend_reasons.map((r) => [r, told("mend", r)])]),
  who: () => el("input", { pattern: "[a-z][a-z0-9_\\-]*", autocomplete: "off", list: "people" }),
  evidence: () => el("input", { maxlength: 100, autocomplete: "off" }),
};
const numberField = () => el("input", { inputmode: "numeric", pattern: "[0-9]+", required: true, autocomplete: "off" });
const choice = (options) => el("select", { required: true }, ...options.map(([value, text]) => el("option", { value }, text)));

const ofFish = (number) => (number ? ["of", number] : []);
const WHY = ["why", "who", "evidence"];
const reasoned = (f) => [f.why, ...(f.who ? ["by", f.who] : []), ...(f.evidence ? ["see", ...f.evidence.split(/\s+/)] : [])];
/** What can be done: its fields, and the words of its act. */
const DEEDS = {
  "mend-value": [["number", "measurand", "value", "unit", ...WHY], (f) => ["mend", "value", f.number, f.measurand, f.value, f.unit, ...reasoned(f)]],
  "mend-missing": [["number", "measurand", "missing", ...WHY], (f) => ["mend", "missing", f.number, f.measurand, f.missing, ...reasoned(f)]],
  "mend-species": [["number", "species", ...WHY], (f) => ["mend", "species", f.number, f.species, ...reasoned(f)]],
  "mend-swap": [["number", "other", "measurand", ...WHY], (f) => ["mend", "swap", f.number, f.other, f.measurand, ...reasoned(f)]],
  "mend-fields": [["number", "measurand", "second", ...WHY], (f) => ["mend", "fields", f.number, f.measurand, f.second, ...reasoned(f)]],
  "mend-unit": [["from", "to", "measurand", "unit", ...WHY], (f) => ["mend", "unit", f.from, f.to, f.measurand, f.unit, ...reasoned(f)]],
  slide: [["measurand", "from", "to", "way"], (f) => ["slide", f.measurand, f.from, f.to, f.way]],
  code: [["number", "field", "code"], (f) => ["code", f.field, f.code, ...ofFish(f.number)]],
  lost: [["number"], (f) => ["lost", ...ofFish(f.number)]],
  void: [["number"], (f) => ["void", ...ofFish(f.number)]],
  "found-full": [["container", "of"], (f) => ["found", f.container, "full", ...ofFish(f.of)]],
  "found-empty": [["container", "missing"], (f) => ["found", f.container, "empty", f.missing]],
  move: [["container", "new_container"], (f) => ["move", f.container, f.new_container]],
};
const FORMS_OF = { code: () => setup.codes.length, "found-full": () => setup.containers, "found-empty": () => setup.containers, move: () => setup.containers };

const doing = { what: "mend-value", said: {}, armed: null };

/** The fish and its containers that the form is about; what else was filled in stays. */
function choose(row) {
  doing.said = { ...doing.said, number: String(row.number), from: String(row.number), of: String(row.number), container: row.containers?.split(/[ ,]+/)[0] ?? "" };
  mendForm();
  const form = $("mend");
  (form.elements.value ?? form.elements.what).focus();
}

/** The form of the chosen deed; what was said under the same name is kept. */
function mendForm() {
  const form = $("mend");
  $("mend-part").hidden = setup.role !== "act";
  if (setup.role !== "act") return;
  const [names] = DEEDS[doing.what];
  const held = document.activeElement?.form === form ? document.activeElement.name : null;
  const what = choice(Object.keys(DEEDS).filter((d) => !FORMS_OF[d] || FORMS_OF[d]()).map((d) => [d, say(`deed-${d}`)]));
  what.value = doing.what;
  const made = [labelled("what", what), ...names.map((name) => {
    const field = FIELDS[name](doing.said);
    if (doing.said[name] !== undefined && !(field.options && ![...field.options].some((o) => o.value === doing.said[name]))) field.value = doing.said[name];
    doing.said[name] = field.value;
    return labelled(name, field);
  })];
  form.replaceChildren(...made.flat(), el("datalist", { id: "people" }, ...setup.people.map((name) => el("option", { value: name }))),
    el("button", { class: doing.armed ? "act armed" : "act" }, doing.armed ? say("press-again") : say("lead-do")));
  if (held) form.elements[held]?.focus();
}

function labelled(name, field) {
  field.id = `mend-${name}`;
  field.name = name;
  return [el("label", { for: field.id }, told("column", name)), field];
}

function heedForm() {
  const form = $("mend");
  form.addEventListener("input", () => {
    const { what, ...fields } = Object.fromEntries(new FormData(form));
    const other = what !== doing.what || fields.measurand !== doing.said.measurand || fields.field !== doing.said.field;
    Object.assign(doing, { what, said: { ...doing.said, ...fields } });
    if (other || doing.armed) {
      doing.armed = null; // what is said again must be the same
      mendForm();
    }
  });
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const words = DEEDS[doing.what][1](doing.said);
    const [name, ...args] = words;
    const place = name === "mend" ? null : setup.places[0]; // a mend belongs to where its fish was
    const answer = await act(name, args, place);
    const two = setup.acts.find((a) => a.act === name).two_steps;
    doing.armed = answer.ok && two && doing.armed === null ? words.join(" ") : null;
    const node = $("told");
    node.classList.toggle("bad", !answer.ok);
    const what = plain((answer.said ?? []).join("; ")).replaceAll("`", "");
    node.textContent = !answer.ok ? [answer.error, answer.hint].filter(Boolean).join(": ") : doing.armed ? what : say("lead-done", { what });
    if (answer.ok && !doing.armed) for (const field of ["value", "evidence"]) delete doing.said[field];
    mendForm();
    if (doing.armed) setTimeout(disarm, ARMED_MS, doing.armed);
    refresh();
  });
}

/** The bench forgets what was said once after a while: so does the form. */
function disarm(words) {
  if (doing.armed !== words) return;
  doing.armed = null;
  mendForm();
}

/** A fish's row with what is read first standing first. */
function ordered(row) {
  const { number, species, batch, containers, closed_utc, ...rest } = row;
  const values = Object.fromEntries(Object.keys(measurands).filter((k) => k in rest).map((k) => [k, rest[k]]));
  return { number, species, ...values, worst_verdict: rest.worst_verdict, end: rest.end, containers, batch, closed_utc, ...rest };
}

function draw() {
  table("fish", day.fish.map(ordered), (r) => ({ class: r.worst_verdict >= 3 ? "odd" : null, "data-number": String(r.number) }));
  table("findings", day.findings.map((f) => ({ number: f.number, measurand: f.measurand, verdict: f.verdict, text: f.text, asked: f.asked, state: f.state })));
  table("mends", day.mends.map((m) => ({ number: m.number, measurand: m.measurand, old_value: m.old_value, new_value: m.new_value, who: m.who, why: m.why, evidence: m.evidence, at_utc: m.at_utc })));
  table("batches", day.batches.map(({ batch, state, species, measured, counted, total_mass_g, sub_mass_g, opened_utc, closed_utc, end_reason }) =>
    ({ batch, species, measured, counted, total_mass_g, sub_mass_g, opened_utc, closed_utc, end_reason, state })));
  plots();
  $("sums").textContent = say("lead-sums", { fish: day.fish.length, asked: day.findings.filter((f) => f.asked).length, mends: day.mends.length });
  document.body.dataset.fish = day.fish.length;
  document.body.dataset.mends = day.mends.length;
}

let timer = null;
let askedAt = -Infinity;

async function refresh() {
  clearTimeout(timer);
  timer = null;
  askedAt = performance.now();
  day = await get("/api/day");
  draw();
}

/** With the feed's news the tables are asked for again, not more often than they can be read. */
function news() {
  timer ??= setTimeout(refresh, Math.max(0, askedAt + AGAIN_MS - performance.now()));
}

async function begin() {
  const language = await loadWords();
  setup = await get("/api/setup");
  measurands = Object.fromEntries(setup.measurands.map((m) => [`${m.key}_${m.unit}`.replaceAll(".", "_"), m]));
  document.title = say("lead-title", { bench: setup.bench });
  $("bench").textContent = document.title;
  for (const part of ["fish", "findings", "mends", "batches", "plots", "mend"]) $(`${part}-title`).textContent = say(`lead-${part}`);
  try {
    document.body.dataset.theme = localStorage.getItem("thwart-theme") ?? setup.theme;
  } catch {
    document.body.dataset.theme = setup.theme;
  }
  mendForm();
  heedForm();
  await refresh();
  const source = new EventSource(`/api/feed?language=${language}`);
  source.onmessage = news;
}

begin();
