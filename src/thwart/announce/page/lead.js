// The lead's page: the day's fish as a table to sort, findings, plots, mends with their reason, counts of batches.

import { act, cloudPicture, el, get, loadWords, named, num, plain, say, told } from "/page/page.js";

const $ = (id) => document.getElementById(id);
const HIDDEN = new Set(["specimen_id", "state", "place", "same_as", "missing", "structures", "opened_utc", "answered_by", "about", "seq"]);
const sorting = { fish: ["number", -1], findings: [null, 1], mends: [null, 1], batches: [null, 1] };
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
  if (key === "why") return told("mend", value);
  return typeof value === "number" ? num(value) : String(value);
};

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
      type: "button", class: "row", "aria-label": `${say("lead-mend")} ${text}`, on: () => choose(row.number),
    }, text));
  }
  return el("td", { class: number ? "number" : null }, text);
}

function choose(number) {
  const form = $("mend");
  form.elements.number.value = number;
  form.elements.value.focus();
}

/** One picture a species: length and mass, those questioned drawn as triangles. */
function plots() {
  const x = setup.measurands.find((m) => m.quantity === "length" && !m.side);
  const y = setup.measurands.find((m) => m.quantity === "mass" && !m.side);
  const node = $("plots");
  if (!x || !y) {
    node.replaceChildren(el("p", {}, say("lead-none")));
    return;
  }
  const column = (m) => `${m.key}_${m.unit}`.replaceAll(".", "_");
  const bySpecies = Map.groupBy(day.fish.filter((f) => f.species && f[column(x)] && f[column(y)]), (f) => f.species);
  node.replaceChildren(...[...bySpecies].map(([species, fish]) => el("figure", {},
    el("h3", {}, `${shown("species", species)} (${fish.length})`),
    cloudPicture({ species, points: fish.map((f) => [f[column(x)], f[column(y)], f.worst_verdict ?? 1]), band: [], this: [null, null] }))));
  if (!bySpecies.size) node.replaceChildren(el("p", {}, say("lead-none")));
}

function mendForm() {
  const form = $("mend");
  if (setup.role !== "act") {
    $("mend-part").hidden = true;
    return;
  }
  const field = (name, made) => {
    made.id = `mend-${name}`;
    made.name = name;
    return [el("label", { for: made.id }, told("column", name)), made];
  };
  const options = (entries) => entries.map(([value, text]) => el("option", { value }, text));
  const unit = el("select", {});
  const what = el("select", {}, ...options(setup.measurands.map((m) => [m.key, named(m.key)])));
  const units = () => unit.replaceChildren(...options(
    setup.measurands.find((m) => m.key === what.value)?.quantity === "length" ? [["mm", "mm"], ["cm", "cm"]] : [["g", "g"], ["kg", "kg"]]));
  what.addEventListener("change", units);
  form.replaceChildren(
    ...field("number", el("input", { inputmode: "numeric", pattern: "[0-9]+", required: true, autocomplete: "off" })),
    ...field("measurand", what),
    ...field("value", el("input", { inputmode: "decimal", pattern: "[0-9]+([.,][0-9]+)?", required: true, autocomplete: "off" })),
    ...field("unit", unit),
    ...field("why", el("select", { required: true }, el("option", { value: "" }, ""), ...options(setup.mend_reasons.map((r) => [r, told("mend", r)])))),
    ...field("who", el("input", { pattern: "[a-z][a-z0-9_\\-]*", autocomplete: "off" })),
    ...field("evidence", el("input", { maxlength: "100", autocomplete: "off" })),
    el("button", { class: "act" }, say("lead-mend-key")));
  units();
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const f = form.elements;
    const args = ["value", f.number.value, f.measurand.value, f.value.value, f.unit.value, f.why.value];
    if (f.who.value) args.push("by", f.who.value);
    if (f.evidence.value.trim()) args.push("see", ...f.evidence.value.trim().split(/\s+/));
    const answer = await act("mend", args);
    const node = $("told");
    node.classList.toggle("bad", !answer.ok);
    node.textContent = answer.ok ? say("lead-mended", { what: (answer.said ?? []).join("; ") }) : [answer.error, answer.hint].filter(Boolean).join(": ");
    if (answer.ok) {
      f.value.value = "";
      f.evidence.value = "";
    }
    refresh();
  });
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
  await refresh();
  const source = new EventSource(`/api/feed?language=${language}`);
  source.onmessage = news;
}

begin();
