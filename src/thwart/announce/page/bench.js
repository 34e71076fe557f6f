// The bench page: what is in hand, what came last, what is wanted, what is asked; and the acts, by large keys.
// All it shows is the service's picture, asked for anew with each commit the feed tells of; so a reload loses nothing.

import { act, cloudPicture, el, expected, get, loadWords, named, num, plain, say, shape, svg, told, withActs } from "/page/page.js";

const STALE_MS = 3000; // the feed says that it is alive every two seconds
const POLL_MS = 5000; // ages of instruments
const PRESS_MS = 400; // a wet finger that bounces is one press
const BURST_MS = 100; // nobody types so fast; a scanner does
const TALL_MM = 60; // a sheet so tall holds the last fish too, under what is asked
const SMALL_MM = 110; // a screen so narrow is held in the hand
const SMALL_DISTANCE_M = 0.8;
const OLDER = 60; // entries before the page came that are read for what was said last
const URGENT = ["taken", "next", "look", "asked", "fault"];
const LOOKS = ["here", "tray", "fish", "cloud", "instruments", "settings"];

const $ = (id) => document.getElementById(id);
const body = document.body;
body.append(
  el("header", { id: "strip" }, el("h1", { id: "bench" }), el("ul", { id: "instruments" }),
    el("p", { id: "said", role: "status", "aria-live": "polite" }), el("p", { id: "allow", hidden: true })),
  el("div", { id: "trouble", role: "alert", hidden: true }),
  el("main", { id: "slabs" }), el("section", { id: "sheet" }), el("nav", { id: "keys" }),
);

let setup; // what doesn't change
let picture = null; // what the bench holds
let pictureAt = 0;
let heardAt = 0;
let language = "en";
let sheets = [{ name: "here" }]; // the one shown is the last
let entry = null; // what is being typed on the pad
let trouble = null; // why an act wasn't done
const alarms = new Map();

// ---- what this browser keeps ---------------------------------------------------------------------------------------

const kept = {
  read: (key, usual) => {
    try {
      return localStorage.getItem(`thwart-${key}`) ?? usual;
    } catch {
      return usual;
    }
  },
  write: (key, value) => {
    try {
      localStorage.setItem(`thwart-${key}`, value);
    } catch {
      // private windows keep nothing
    }
  },
};

const places = () => picture?.places ?? [];
const pinned = () => (setup.places.includes(kept.read("pinned", "")) ? kept.read("pinned", "") : null);
const lookingAtAll = () => pinned() === null && sheets.at(-1).name === "here";
/** All places, or the one this browser is pinned to; beside a sheet of keys or a list only the chosen one has room. */
const shownPlaces = () => places().filter((p) => lookingAtAll() || p.place === chosen());
const chosen = () => pinned() ?? (setup.places.includes(kept.read("chosen", "")) ? kept.read("chosen") : setup.places[0]);
const here = () => places().find((p) => p.place === chosen());
const may = () => setup.role === "act";
const tallying = () => setup.flow === "tally";
const speciesName = (code) => setup.species.find((s) => s.name === code)?.title ?? named(code ?? "");

// ---- true sizes ----------------------------------------------------------------------------------------------------

function measure() {
  const root = document.documentElement.style;
  const mm = setup.ppi / 25.4;
  root.setProperty("--mm", `${mm}px`);
  const small = innerWidth / mm < SMALL_MM;
  body.classList.toggle("small", small);
  root.setProperty("--distance", small ? Math.min(setup.distance_m, SMALL_DISTANCE_M) : setup.distance_m);
  const pen = document.createElement("canvas").getContext("2d");
  pen.font = `bold 200px ${getComputedStyle(body).fontFamily}`;
  root.setProperty("--digit", (pen.measureText("1").actualBoundingBoxAscent / 200).toFixed(4));
  body.classList.toggle("roomy", innerHeight / mm >= 200 && innerWidth / mm >= 200);
  body.classList.toggle("upright", innerHeight > innerWidth);
  squeeze();
}

/** Digits, and what is wanted, keep their height; where there is much of it, it grows narrow. */
function squeeze() {
  const texts = [...document.querySelectorAll(".digits, .narrow")];
  const found = texts.map((text) => { // all are read before one is changed: else each change has the page laid out anew
    const line = text.closest(".big, .wants, .label");
    const beside = [...text.parentElement.children].filter((e) => e !== text).reduce((sum, e) => sum + e.getBoundingClientRect().width, 0);
    const gap = text.matches(".narrow") ? parseFloat(getComputedStyle(text.parentElement).columnGap) || 0 : 0;
    const wide = text.offsetWidth;
    return [Math.max(0.45, Math.min(1, (line.clientWidth - beside - gap) / (wide || 1))), wide];
  });
  texts.forEach((text, at) => {
    const [narrow, wide] = found[at];
    text.style.setProperty("--narrow", narrow);
    text.style.setProperty("margin-right", narrow < 1 ? `${(narrow - 1) * wide}px` : "0");
  });
}

// ---- the feed ------------------------------------------------------------------------------------------------------

function follow(since) {
  const source = new EventSource(`/api/feed?since=${since}&language=${language}`);
  let last = since;
  const heard = () => {
    heardAt = performance.now();
    aliveOrNot();
  };
  source.addEventListener("alive", heard);
  source.addEventListener("alarm", (event) => {
    heard();
    const alarm = JSON.parse(event.data);
    if (alarm.on) alarms.set(alarm.alarm, alarm);
    else alarms.delete(alarm.alarm);
    for (const said of alarm.said) announce(said, "alarm");
    refresh();
  });
  source.onmessage = (event) => {
    heard();
    const told = JSON.parse(event.data);
    last = told.seq;
    const news = told.seq > firstSeq;
    for (const said of told.said) {
      if (said.place !== null && pinned() !== null && said.place !== pinned()) continue;
      $("said").textContent = plain(said.text).replaceAll("`", "");
      if (news) announce(said, told.input ?? told.seq);
    }
    if (news) refresh();
  };
  source.onerror = () => {
    if (source.readyState === EventSource.CLOSED) setTimeout(() => follow(last), 1000);
  };
}

let firstSeq = 0;

function aliveOrNot() {
  const stale = performance.now() - heardAt > STALE_MS;
  const was = body.classList.contains("stale");
  body.classList.toggle("stale", stale);
  if (stale || was !== stale) showTrouble();
}

let fetching = false;
let again = false;

/** Ask for the picture; what is asked while one is under way is asked once more after it. */
async function refresh() {
  again = true;
  if (fetching) return;
  fetching = true;
  while (again) {
    again = false;
    try {
      const found = await get("/api/picture");
      alarms.clear();
      for (const alarm of found.alarms) alarms.set(alarm.alarm, alarm);
      if (found.places) {
        picture = found;
        pictureAt = performance.now();
      }
    } catch {
      break; // the feed tells when it is there again
    }
    render();
    await new Promise((resolve) => setTimeout(resolve, 10));
  }
  fetching = false;
}

// ---- sound ---------------------------------------------------------------------------------------------------------

const sound = {
  context: null,
  tones: new Map(),
  get mode() {
    return kept.read("sound", "full");
  },
  blocked() {
    return this.mode !== "silent" && this.context?.state !== "running";
  },
  begin() {
    if (!("AudioContext" in window)) return;
    this.context = new AudioContext();
    this.context.onstatechange = () => showAllow();
    const allow = () => this.context.resume();
    addEventListener("pointerdown", allow);
    addEventListener("keydown", allow);
  },
  async tone(name, nth) {
    const path = `/api/tone/${name}/${nth}.wav`;
    if (!this.tones.has(path)) {
      const answer = await fetch(path);
      if (!answer.ok) return;
      this.tones.set(path, await this.context.decodeAudioData(await answer.arrayBuffer()));
    }
    const playing = this.context.createBufferSource();
    playing.buffer = this.tones.get(path);
    playing.connect(this.context.destination);
    playing.start();
  },
  speak(text) {
    if (!("speechSynthesis" in window)) return;
    speechSynthesis.cancel(); // old words are dropped, never queued
    const words = new SpeechSynthesisUtterance(text);
    words.lang = language;
    speechSynthesis.speak(words);
  },
};

let saying = null; // what one input led to, said together

function announce(said, group) {
  if (sound.mode === "silent" || document.visibilityState !== "visible") return;
  if (saying === null || saying.group !== group) {
    saying = { group, said: [] };
    const these = saying;
    setTimeout(() => {
      const first = these.said.reduce((a, b) => (URGENT.indexOf(b.sound) > URGENT.indexOf(a.sound) ? b : a));
      if (sound.context?.state === "running") {
        sound.tone(first.sound, Math.max(0, setup.places.indexOf(first.place))).catch(() => {});
      }
      const words = these.said.map((s) => s.spoken).filter(Boolean);
      const quick = tallying() && first.sound === "taken";
      if (sound.mode === "full" && words.length && !quick) sound.speak(words.join(". "));
    }, 15);
  }
  saying.said.push(said);
}

// ---- acting --------------------------------------------------------------------------------------------------------

async function perform(name, args = [], place = chosen()) {
  const answer = await act(name, args, place);
  trouble = answer.ok ? null : num([answer.error, answer.hint].filter(Boolean).join(": "));
  showTrouble();
  refresh();
  return answer;
}

let pressed = { name: "", at: -Infinity };
let typedAt = -Infinity;

/** A large key. `name` says what it is to tests and to `focus` when its sheet is drawn anew. */
function key(name, word, press, { sign = null, marked = false, off = false, armed = false, on = null } = {}) {
  const made = el("button", {
    class: ["key", marked && "marked", armed && "armed"].filter(Boolean).join(" "),
    type: "button", "data-key": name, disabled: off, "aria-pressed": on === null ? null : String(on),
  });
  if (sign) made.append(shape(sign));
  made.append(el("span", { class: "word" }, ...[word].flat()));
  if (armed) made.append(el("span", { class: "small" }, say("press-again")));
  made.addEventListener("click", () => {
    const now = performance.now();
    if (pressed.name === name && now - pressed.at < PRESS_MS) return;
    pressed = { name, at: now };
    press();
  });
  return made;
}

/** A key's word with labels of containers, each on a line of its own. */
const withLabel = (word, ...labels) => [word, ...labels.filter(Boolean).map((l) => el("span", { class: l === "→" ? "" : "code" }, ` ${l} `))];

const armedWith = (words) => here()?.armed === words;

/** A key that does an act; one of two steps shows that it was said once. */
function actKey(name, words, label, options = {}) {
  const [first, ...args] = words;
  const two = setup.acts.find((a) => a.act === first)?.two_steps;
  return key(name, label, async () => {
    const answer = await perform(first, args);
    if (answer.ok && !two && !options.stays) show({ name: "here" });
  }, { ...options, armed: armedWith(words.join(" ")) });
}

const actWord = (name) => told("act", name);

function show(sheet) {
  sheets = sheet.name === "here" ? [sheet] : [...sheets.filter((s) => s.name !== sheet.name), sheet];
  if (sheet.name !== "pad") entry = null;
  render();
}

function back() {
  sheets = sheets.length > 1 ? sheets.slice(0, -1) : [{ name: "here" }];
  entry = null;
  render();
}

// ---- drawing -------------------------------------------------------------------------------------------------------

const drawn = new Map();

/** Put what `make` makes into a node, when what it is made from has changed; what had the focus has it again. */
function put(node, from, make) {
  const print = JSON.stringify(from);
  if (drawn.get(node) === print) return false;
  drawn.set(node, print);
  const held = node.contains(document.activeElement) ? document.activeElement.dataset.key : null;
  node.replaceChildren(...make());
  if (held) [...node.querySelectorAll("[data-key]")].find((k) => k.dataset.key === held)?.focus();
  return true;
}

function render() {
  if (picture === null) return;
  body.dataset.theme = kept.read("theme", setup.theme);
  body.dataset.flow = setup.flow;
  body.classList.toggle("paused", Boolean(here()?.paused));
  showStrip();
  showTrouble();
  body.dataset.sheet = sheets.at(-1).name;
  body.classList.toggle("unbegun", unbegun());
  body.classList.toggle("pressing", !LOOKS.includes(sheets.at(-1).name));
  showSlabs();
  showSheet();
  showKeys();
  squeeze();
  body.dataset.seq = picture.seq;
}

function showStrip() {
  const batch = here()?.batch;
  const practice = picture.practice ? ` · ${say("practice")}` : "";
  $("bench").textContent = `${setup.bench} · ${batch ?? say("no-batch")}${practice}`;
  const seen = picture.instruments.map(instrumentState);
  const shown = shownPlaces().map((p) => p.place);
  const asking = places().filter((p) => p.questions.length && !shown.includes(p.place)).map((p) => p.place);
  put($("instruments"), [seen, asking], () => [
    ...seen.map((i) => el("li", { class: i.state, "data-instrument": i.name }, shape(i.sign), el("span", {}, `${named(i.name)} ${i.short}`))),
    ...asking.map((p) => el("li", { class: "asks" }, shape("asked"), el("span", {}, named(p)))),
  ]);
  showAllow();
}

function instrumentState(i) {
  const age = i.last_frame_age_s === null ? null : Number(i.last_frame_age_s) + (performance.now() - pictureAt) / 1000;
  const verified = picture.verified?.[i.instrument];
  const long = age === null ? say("never-sent") : say("sent-ago", { age: lasting(age) });
  return {
    name: i.instrument,
    state: i.present ? "there" : "gone",
    sign: i.present ? "there" : "loose",
    short: i.present ? "" : say("not-there"),
    long: [i.present ? say("there") : `${say("not-there")}${i.reason ? `: ${i.reason}` : ""}`, long].join(" · "),
    verified: verified?.verified === true ? say("verified", { utc: verified.utc ?? "" })
      : verified?.verified === false ? say("verified-failed") : say("not-verified"),
  };
}

function lasting(seconds) {
  if (seconds < 90) return say("seconds", { n: Math.round(seconds / 5) * 5 });
  return seconds < 5400 ? say("minutes", { n: Math.round(seconds / 60) }) : say("hours", { n: Math.round(seconds / 3600) });
}

function showAllow() {
  const allow = $("allow");
  allow.textContent = say("touch-for-sound");
  allow.hidden = !sound.blocked() || sound.context === null;
}

/** What hinders: the feed is stale, an alarm, an act that wasn't done. Never in the way of anything. */
function showTrouble() {
  const stale = body.classList.contains("stale");
  const lines = [];
  if (stale) lines.push(say("stale", { s: Math.round((performance.now() - heardAt) / 1000) }));
  for (const alarm of alarms.values()) lines.push(alarm.said.map((s) => s.text).join(" "));
  if (trouble) lines.push(trouble);
  const node = $("trouble");
  node.hidden = !lines.length;
  put(node, lines, () => lines.map((line) => el("p", {}, shape("fault"), el("span", {}, line))));
}

// ---- slabs: one for each place, read from afar ---------------------------------------------------------------------

function showSlabs() {
  const shown = shownPlaces();
  $("slabs").dataset.count = shown.length;
  const main = $("slabs");
  const names = shown.map((p) => p.place).join();
  if (main.dataset.names !== names) {
    main.dataset.names = names;
    main.replaceChildren(...shown.map((p) => el("section", { class: "slab", "data-place": p.place })));
  }
  for (const place of shown) {
    const node = [...main.children].find((slab) => slab.dataset.place === place.place);
    const choice = shown.length > 1 && place.place === chosen();
    node.classList.toggle("chosen", choice);
    node.classList.toggle("asked", place.questions.length > 0);
    node.setAttribute("aria-label", named(place.place));
    const mine = place.place === chosen() ? entry : null;
    put(node, [place, choice, mine, shown.length, picture.expected_container, picture.counts, body.dataset.theme],
      () => slab(place, shown.length > 1, mine));
  }
}

function slab(place, several, typing) {
  const parts = [
    tallying() ? counted(place) : inHand(place, several),
    typing ? typed(typing) : taken(place),
    (several || tallying()) && place.questions.length ? asking(place) : tallying() ? histogram(place) : wantedLine(place),
  ];
  if (several) {
    const choose = el("button", {
      class: "choose", type: "button", "data-key": `place ${place.place}`,
      "aria-pressed": String(place.place === chosen()),
      on: () => {
        kept.write("chosen", place.place);
        render();
      },
    }, ...parts.filter(Boolean));
    return [choose];
  }
  return parts.filter(Boolean);
}

const cell = (kind, sign, label, value, unit, more = {}) => {
  const made = el("span", { class: `cell ${kind}`, "data-cell": kind.split(" ")[0] },
    el("span", { class: "label" }, sign ? shape(sign) : null, el("span", { class: "narrow" }, label)),
    el("span", { class: "big" }, el("span", { class: "digits" }, value), unit ? el("span", { class: "unit" }, unit) : null),
  );
  if (more.note) made.append(el("span", { class: "note" }, more.note));
  return made;
};

function inHand(place, several) {
  const fish = place.in_hand;
  const at = several ? `${named(place.place)} · ` : "";
  if (place.paused) return cell("hand", "pause", at + say("paused"), fish ? String(fish.number) : "");
  if (fish === null) {
    const waits = place.queue.length ? say("queue", { numbers: place.queue.join(", ") }) : say("nothing-in-hand");
    return cell("hand", null, at + waits, "");
  }
  const asked = place.questions.length > 0;
  const species = fish.species === null ? say("no-species") : speciesName(fish.species);
  const label = asked ? (several ? say("asked") : `${say("asked")} · ${species}`) : species;
  const queue = place.queue.length ? ` · ${say("queue", { numbers: place.queue.join(", ") })}` : "";
  return cell("hand", asked ? "asked" : null, at + label + queue, String(fish.number));
}

const SIGNS = { taken: "taken", superseded: "taken", tare: "look", waiting: "asked" };

function taken(place) {
  const last = place.last;
  if (last === null) return cell("last none", null, say("nothing-yet"), "");
  const fine = last.what === "taken";
  const what = last.measurand ? named(last.measurand) : named(last.instrument ?? "");
  const whose = last.number !== null && last.number !== place.in_hand?.number ? `${last.number} ` : "";
  const how = last.how !== "instrument" ? ` · ${told("how", last.how)}` : "";
  const state = fine ? (last.questioned ? say("questioned") : say("taken"))
    : `${told("outcome", last.what)}${last.why ? ` · ${told("why", last.why)}` : ""}`;
  const label = fine ? `${whose}${what}${how} · ${state}` : state;
  const kind = fine ? (last.questioned ? "last questioned" : "last") : "last hollow";
  const sign = fine && last.questioned ? "asked" : SIGNS[last.what] ?? "loose";
  if (tallying() && fine) return cell(kind, sign, say("class"), num(last.class_mm), "mm");
  return cell(kind, sign, label, num(last.value), last.unit);
}

function typed(pad) {
  return cell("last typing", "more", pad.title, pad.text || "_", pad.unit ?? "");
}

function counted(place) {
  const counting = place.counting;
  if (counting === null) return cell("hand", place.paused ? "pause" : null, say("no-batch"), "");
  const sex = counting.sex ? codeName("sex", counting.sex) : say("sex-open");
  const label = place.paused ? say("paused") : place.questions.length ? say("asked") : say("counting");
  const made = cell("hand count", place.paused ? "pause" : place.questions.length ? "asked" : null, label, speciesName(counting.species));
  made.append(el("span", { class: "big sex" }, el("span", { class: "digits" }, sex)));
  return made;
}

const codeName = (field, code) => setup.codes.find((c) => c.field === field)?.values[code] ?? code;

/** In a row: first what to do or what likely happened, then the rest. */
function asking(place) {
  const text = plain(place.questions.at(-1).text);
  const cut = text.includes(" · ") ? text.indexOf(" · ") : text.lastIndexOf(": ");
  return el("span", { class: "cell asking" }, el("span", { class: "gist" }, ...withActs(text.slice(cut < 0 ? 0 : cut + 2))),
    cut < 0 ? null : el("span", { class: "whole-text" }, ...withActs(text.slice(0, cut))));
}

/** What is wanted: the next large, then the rest, then what has come. */
function wantedLine(place) {
  const fish = place.in_hand;
  const line = el("span", { class: "cell wants", "data-cell": "wants" });
  if (fish === null) return line;
  const optional = fish.wanted.filter((k) => !fish.lacking.includes(k));
  const names = fish.lacking.map((k) => (k === "container" ? containerName() : named(k)));
  if (names.length) {
    line.append(el("span", { class: "far" }, shape("wanted"), el("span", { class: "narrow" }, names[0])));
  } else {
    line.append(el("span", { class: "far done" }, shape("taken"), el("span", { class: "narrow" }, say("all-in"))));
  }
  if (place.stays) line.append(el("span", { class: "near stays" }, shape("pause"), el("span", {}, ` ${say("no-room")}`)));
  const then = [...names.slice(1), ...optional.map((k) => `(${named(k)})`)];
  if (then.length) line.append(el("span", { class: "near then" }, say("then", { what: then.join(", ") })));
  const has = [
    ...Object.entries(fish.taken).map(([k, v]) => `${named(k)} ${num(v)}${fish.questioned.includes(k) ? " ?" : ""}`),
    ...Object.entries(fish.codes).map(([k, v]) => `${named(k)} ${v}`),
    ...Object.entries(fish.missing).map(([k, v]) => `${named(k)}: ${told("missing", v)}`),
    ...fish.containers,
  ];
  if (has.length) line.append(el("span", { class: "near has" }, shape("taken"), el("span", {}, has.join(" · "))));
  return line;
}

const containerName = () =>
  `${named(setup.containers?.kind ?? "container")}${picture.expected_container ? ` ${picture.expected_container}` : ""}`;

// ---- sheets: what is under the slabs -------------------------------------------------------------------------------

function showSheet() {
  const sheet = sheets.at(-1);
  const node = $("sheet");
  node.dataset.sheet = sheet.name;
  node.setAttribute("aria-label", say(`sheet-${sheet.name}`));
  // What is typed into the name of a batch must not be drawn away, so only what a sheet shows makes it new.
  const naming = sheet.name === "batch" || (sheet.name === "here" && unbegun());
  const { instruments, ...held } = picture;
  const lively = sheet.name === "instruments" || body.classList.contains("roomy");
  const from = naming ? [sheet, here()?.batch, picture.planned, picture.practice]
    : [sheet, held.places, held.quiet, held.last_fish, held.counts, held.expected_container, lively && instruments, entry, body.dataset.theme, chosen(), pinned(),
      sound.mode, lock !== null, node.clientHeight, node.clientWidth];
  put(node, from, () => SHEETS[sheet.name](sheet).filter(Boolean));
}

const title = (name) => el("h2", {}, say(`sheet-${name}`));

const unbegun = () => may() && here() !== undefined && here().batch === null;

function hereSheet() {
  if (unbegun()) return [el("div", { class: "across" }, ...batchSheet())];
  if (tallying()) return [tallyKeys()];
  if (shownPlaces().length > 1 && !body.classList.contains("roomy")) return []; // the slabs have the whole height
  const cloud = here()?.cloud;
  const parts = asked();
  const side = el("div", { class: "side" });
  if (cloud && (cloud.points.length || cloud.band.length)) side.append(...cloudParts(cloud));
  const left = el("div", { class: "main" }, ...parts);
  const tall = !body.classList.contains("upright") && $("sheet").clientHeight > TALL_MM * (setup.ppi / 25.4);
  if (!body.classList.contains("roomy") && (!parts.length || tall)) left.append(...fishTable(tall ? 10 : 4));
  const made = [left, side];
  if (body.classList.contains("roomy")) {
    made.push(el("div", { class: "rest" }, el("div", {}, title("tray"), ...tray()), el("div", {}, title("fish"), ...fishTable(10)),
      el("div", {}, title("instruments"), ...instrumentList())));
  }
  return made;
}

/** Open questions, the chosen place's first. What likely happened and what to do stand on lines of their own. */
function asked() {
  const open = shownPlaces().flatMap((p) => p.questions);
  open.sort((a, b) => (b.place === chosen()) - (a.place === chosen()) || b.seq - a.seq);
  return open.map((q, at) => {
    const [head, ...rest] = plain(q.text).split(" · ");
    const whose = shownPlaces().length > 1 ? [`${named(q.place)}: `] : [];
    const made = el("article", { class: at ? "question later" : "question", "data-question": q.cause },
      shape("asked"), el("div", {}, el("p", { class: "head" }, ...whose, ...withActs(head)),
        ...rest.map((line) => el("p", { class: "hint" }, ...withActs(line)))));
    const extra = q.answers.filter((a) => !["again", "stands", "next", "undo", "pause"].includes(a));
    if (may() && q.place === chosen()) made.append(...extra.map((a) => actKey(`answer ${a}`, [a], actWord(a), { marked: true })));
    return made;
  });
}

function cloudParts(cloud) {
  const sheet = $("sheet");
  const alone = sheets.at(-1).name === "cloud";
  const upright = body.classList.contains("upright");
  const [wide, tall] = [sheet.clientWidth * (alone || upright ? 1 : 0.39), sheet.clientHeight * (upright && !alone ? 0.5 : 1)];
  const told = [cloudPicture(cloud, Math.max(260, wide), Math.max(120, Math.min(tall, wide * 0.62) - 34))];
  const between = cloud.this[1] === null && cloud.this[0] !== null ? expected(cloud) : null;
  const words = between
    ? say("expected", { low: num(between.low), high: num(between.high), percent: Math.round(cloud.within * 100) })
    : cloud.this[0] !== null && cloud.this[1] !== null ? say("this-fish", { number: cloud.number }) : "";
  told.push(el("p", { class: "caption" }, words));
  return told;
}

/** The classes counted so far of what is being counted, the last one marked. */
function histogram(place) {
  const counting = place.counting;
  const rows = picture.counts.filter((c) => counting && c.species === counting.species && (c.sex ?? null) === counting.sex);
  const made = el("span", { class: "cell histogram" });
  if (!rows.length) return made;
  const most = Math.max(...rows.map((r) => r.n));
  const wide = 20, tall = 56;
  const drawing = svg("svg", { viewBox: `0 0 ${Math.max(10, rows.length) * wide} ${tall + 30}`, role: "img" });
  drawing.append(svg("title"));
  drawing.firstChild.textContent = rows.map((r) => `${num(r.class_mm)} mm: ${r.n}`).join(", ");
  const last = Number(place.last?.class_mm ?? NaN);
  rows.forEach((r, i) => {
    const height = (r.n / most) * (tall - 13);
    const bar = svg("rect", { x: i * wide + 2, y: tall - height, width: wide - 4, height, class: r.class_mm === last ? "bar now" : "bar" });
    const n = svg("text", { x: i * wide + wide / 2, y: tall - height - 3, "text-anchor": "middle" });
    n.textContent = r.n;
    const size = svg("text", { x: i * wide + wide / 2, y: tall + 11, "text-anchor": "middle" });
    size.textContent = num(r.class_mm);
    drawing.append(bar, n, size);
    if (r.class_mm === last) drawing.append(svg("path", { class: "mark", d: `M${i * wide + wide / 2} ${tall + 16}l5 8h-10Z` }));
  });
  made.append(drawing, el("span", { class: "caption" }, say("in-all", { n: rows.reduce((sum, r) => sum + r.n, 0) })));
  return made;
}

function tallyKeys() {
  const counting = here()?.counting;
  if (!may() || !counting) return null;
  const sexes = setup.codes.find((c) => c.field === "sex");
  return el("div", { class: "keys across" },
    ...setup.species.map((s) => actKey(`species ${s.name}`, ["species", s.name], s.title, { on: s.name === counting.species, stays: true })),
    ...Object.entries(sexes?.values ?? {}).map(([code, word]) =>
      actKey(`sex ${code}`, ["code", "sex", code], word, { on: code === counting.sex, stays: true })));
}

const fishSign = (f) => (f.end === "complete" ? (f.verdict >= 3 ? "look" : "taken") : "loose");

const fishFacts = (f) => [f.species ? speciesName(f.species) : say("no-species"), ...Object.values(f.taken).map(num), ...Object.values(f.codes),
  f.end === "complete" ? null : told("end", f.end)].filter(Boolean);

function fishTable(most) {
  const rows = picture.last_fish.slice(0, most);
  if (!rows.length) return [el("p", { class: "near" }, say("no-fish-yet"))];
  return [el("ol", { class: "fish" }, ...rows.map((f) => el("li", { "data-number": f.number },
    shape(fishSign(f)), el("b", {}, String(f.number)), el("span", {}, fishFacts(f).join(" · ")))))];
}

/** The last ten as keys: what concerns one of them is behind it. */
function fishKeys() {
  if (!may() || !picture.last_fish.length) return fishTable(10);
  return [el("ol", { class: "fish keys" }, ...picture.last_fish.map((f) => {
    const made = key(`fish ${f.number}`, fishFacts(f).flatMap((fact, i) => (i ? [el("br"), fact] : [fact])), () => show({ name: "one", number: f.number }), { marked: f.verdict >= 3 });
    made.prepend(el("span", { class: "name" }, shape(fishSign(f)), el("b", {}, String(f.number))));
    return el("li", { "data-number": f.number }, made);
  }))];
}

/** A fish that went on already: what may still be said of it. */
function oneFish({ number }) {
  const fish = picture.last_fish.find((f) => f.number === number);
  const of = ["of", number];
  return [
    el("p", { class: "near" }, [say("fish", { number }), ...(fish ? [...fishFacts(fish), ...fish.containers] : [])].join(" · ")),
    ...keysOf(
      actKey("recall", ["recall", number], actWord("recall")),
      ...setup.codes.map((c) => to(`code ${c.field}`, { name: "codes", field: c.field, of }, named(c.field))),
      setup.species.length ? to("species", { name: "species", of }) : null,
      ...["lost", "void"].map((a) => actKey(a, [a, ...of], actWord(a))),
      ...(fish?.containers ?? []).map(tornKey)),
  ];
}

/** What a torn container held is in the one that comes next. */
const tornKey = (label) => actKey(`torn ${label}`, ["move", label, picture.expected_container],
  withLabel(say("torn"), label, "→", picture.expected_container), { off: picture.expected_container === null });

/** The tray of ten in its order, those to look at marked, and what to look at. */
function tray() {
  const place = here();
  const mine = picture.quiet.filter((q) => q.place === place.place || q.place === null);
  const cells = el("ol", { class: "tray", "aria-label": say("sheet-tray") });
  for (let i = 0; i < Math.max(setup.tray, place.tray.length); i += 1) {
    const number = place.tray[i];
    const odd = number !== undefined && mine.some((q) => q.number === number);
    cells.append(el("li", { class: number === undefined ? "empty" : odd ? "odd" : "" },
      number === undefined ? "" : shape(odd ? "look" : "taken"), number === undefined ? "" : String(number)));
  }
  const list = el("ul", { class: "quiet" }, ...mine.map((q) => el("li", {}, shape("look"), el("span", {}, ...withActs(plain(q.text))))));
  return [cells, mine.length ? list : el("p", { class: "near" }, say("nothing-to-look-at"))];
}

function instrumentList() {
  const rate = picture.fish_closed && picture.asked ? say("asked-rate", {
    asked: picture.asked_statistical, fish: picture.fish_closed, all: picture.asked, aim: setup.one_question_in,
  }) : say("asked-none", { fish: picture.fish_closed, aim: setup.one_question_in });
  return [
    el("ul", { class: "ports" }, ...picture.instruments.map(instrumentState).map((i) => el("li", { class: i.state, "data-instrument": i.name },
      shape(i.sign), el("b", {}, named(i.name)), el("span", {}, `${i.long} · ${i.verified}`)))),
    el("p", { class: "rate" }, rate),
  ];
}

function settings() {
  const modes = ["full", "tones", "silent"];
  const theme = body.dataset.theme;
  const awake = lock ? say("awake") : say("may-sleep");
  const keys = [
    key("sound", say(`sound-${sound.mode}`), () => {
      kept.write("sound", modes[(modes.indexOf(sound.mode) + 1) % modes.length]);
      if (sound.mode !== "full" && "speechSynthesis" in window) speechSynthesis.cancel();
      render();
    }),
    key("theme", say(`theme-${theme}`), () => {
      kept.write("theme", theme === "day" ? "night" : "day");
      render();
    }),
  ];
  if (setup.places.length > 1) {
    keys.push(...[null, ...setup.places].map((place) => key(`pin ${place ?? "all"}`, place === null ? say("all-places") : named(place), () => {
      kept.write("pinned", place ?? "");
      render();
    }, { on: pinned() === place })));
  }
  return [el("div", { class: "keys" }, ...keys), el("p", { class: "near" }, awake)];
}

// ---- sheets with acts ----------------------------------------------------------------------------------------------

const keysOf = (...keys) => [el("div", { class: "keys" }, ...keys.filter(Boolean))];
const to = (name, sheet, word = say(`sheet-${sheet.name}`)) => key(name, word, () => show(sheet));
const lists = (name, entries, make) => keysOf(...entries.map((e) => make(e)));

/** The measurands of the fish in hand's species. */
const wantable = () => setup.measurands
  .filter((m) => !here()?.in_hand || !setup.species.find((s) => s.name === here().in_hand.species)?.drop.includes(m.name));
const measurandKeys = (press) => keysOf(...wantable().map((m) => key(`measurand ${m.key}`, named(m.key), () => press(m), { marked: here()?.in_hand?.wanted.includes(m.key) ?? false })));

const COARSE = { mm: "cm", cm: "mm", g: "kg", kg: "g" };
let how = "pad";

function acts() {
  return keysOf(
    ...(tallying() ? [] : [
      ...setup.codes.map((c) => to(`code ${c.field}`, { name: "codes", field: c.field }, named(c.field))),
      setup.species.length ? to("species", { name: "species" }) : null,
      to("by hand", { name: "hand" }),
      to("missing", { name: "missing" }),
      to("as", { name: "as" }),
      to("beyond", { name: "beyond" }),
      setup.containers ? to("containers", { name: "containers" }) : null,
      to("this fish", { name: "ends" }),
      key("recall", actWord("recall"), () => openPad({ title: actWord("recall"), send: (n) => perform("recall", [n]) })),
    ]),
    to("scale", { name: "scale" }),
    to("batch", { name: "batch" }),
    to("people", { name: "people" }),
    actKey("undo undo", ["undo", "undo"], say("redo")),
  );
}

const SHEETS = {
  here: hereSheet,
  tray: () => [title("tray"), ...tray()],
  fish: () => [title("fish"), ...fishKeys()],
  one: oneFish,
  cloud: () => (here()?.cloud ? [el("div", { class: "whole" }, ...cloudParts(here().cloud))] : [el("p", { class: "near" }, say("no-cloud"))]),
  instruments: () => [title("instruments"), ...instrumentList()],
  settings,
  acts,
  codes: ({ field, of = [] }) => {
    const codes = setup.codes.find((c) => c.field === field);
    return keysOf(
      ...Object.entries(codes.values).map(([code, word]) => actKey(`code ${code}`, ["code", field, code, ...of], `${code} ${word}`)),
      of.length ? null : key("missing", actWord("missing"), () => show({ name: "reason", what: field })));
  },
  species: ({ of = [] }) => keysOf(...[...setup.species.map((s) => [s.name, s.title]), ["unknown", say("unknown-species")]].map(([name, word]) =>
    actKey(`species ${name}`, ["species", name, ...of], word, { on: !of.length && here()?.in_hand?.species === name }))),
  hand: () => [
    ...measurandKeys((m) => openPad({
      title: named(m.key), unit: m.unit, measurand: m.key,
      send: (text, unit) => perform("value", [m.key, text, unit, how]),
    })),
    ...keysOf(...setup.hand.map((h) => key(`how ${h}`, told("how", h), () => {
      how = h;
      drawn.delete($("sheet"));
      render();
    }, { on: how === h }))),
  ],
  as: () => measurandKeys(async (m) => {
    await perform("as", [m.key]);
    show({ name: "here" });
  }),
  beyond: () => keysOf(...wantable().flatMap((m) => [
    actKey(`over ${m.key}`, ["over", m.key], `${say(`over-${m.quantity}`)}: ${named(m.key)}`),
    to(`parts ${m.key}`, { name: "pieces", measurand: m.key }, say("in-pieces", { what: named(m.key) }))])),
  pieces: ({ measurand }) => keysOf(...[2, 3, 4, 5, 6, 7, 8].map((n) => actKey(`pieces ${n}`, ["parts", measurand, n], say("pieces", { n })))),
  missing: () => keysOf(
    ...setup.measurands.map((m) => to(`missing ${m.key}`, { name: "reason", what: m.key }, named(m.key))),
    ...setup.codes.map((c) => to(`missing ${c.field}`, { name: "reason", what: c.field }, named(c.field))),
    setup.containers ? to("missing container", { name: "reason", what: "container" }, named(setup.containers.kind)) : null),
  reason: ({ what }) => lists("reason", setup.missing_reasons, (r) => actKey(`reason ${r}`, ["missing", what, r], told("missing", r))),
  containers: () => keysOf(
    actKey("confirm", ["confirm"], withLabel(actWord("confirm"), picture.expected_container), { off: picture.expected_container === null }),
    actKey("skip", ["skip"], withLabel(actWord("skip"), picture.expected_container), { off: picture.expected_container === null }),
    ...setup.structures.flatMap((s) => Array.from({ length: Math.min(s.most, 4) + 1 }, (_, n) =>
      actKey(`structure ${s.name} ${n}`, ["structure", s.name, n], `${named(s.name)} ${n}`))),
    ...(here()?.in_hand?.containers ?? []).map(tornKey)),
  ends: () => keysOf(
    ...["lost", "void", "split"].map((a) => actKey(a, [a], actWord(a))),
    key("same-as", actWord("same-as"), () => openPad({ title: actWord("same-as"), stays: true, send: (n) => perform("same-as", [n]) })),
    ...(setup.flow === "row" ? ["leaves", "park", "back"] : []).map((a) => actKey(`${a} the row`, [a], actWord(a))),
    actKey("swap", ["swap"], actWord("swap"))),
  scale: () => keysOf(
    ...["tared", "knock"].map((a) => actKey(a, [a], actWord(a))),
    to("verify", { name: "verify" }, actWord("verify")),
    ...setup.pans.map((p) => actKey(`pan ${p}`, ["pan", p], `${actWord("pan")} ${p}`)),
    key("pool", actWord("pool"), () => openPad({ title: actWord("pool"), send: (n) => perform("pool", [n]) })),
    key("count", actWord("count"), () => openPad({ title: actWord("count"), send: (n) => perform("count", [n]) }))),
  verify: () => keysOf(...[["length", "mm"], ["mass", "g"]].map(([quantity, unit]) => key(`verify ${quantity}`, named(quantity), () => openPad({
    title: actWord("verify"), unit, send: (text, now) => perform("verify", [text, now]),
  })))),
  batch: batchSheet,
  people: () => keysOf(...["measurer", "recorder", "stager"].flatMap((role) =>
    setup.people.map((name) => actKey(`${role} ${name}`, [role, name], `${actWord(role)}: ${name}`, { on: here()?.[role] === name })))),
  pad,
};

function batchSheet() {
  const open = here()?.batch;
  if (open) {
    return keysOf(...["done", "stopped"].map((r) => key(`close ${r}`, say("close-batch", { reason: told("reason", r) }), async () => {
      if ((await perform("batch", ["close", r], null)).ok) show({ name: "here" });
    })));
  }
  const begin = async (name) => {
    if ((await perform("batch", ["open", name], null)).ok) show({ name: "here" });
  };
  const field = el("input", { id: "batch-name", autocomplete: "off", maxlength: 60, required: true, "data-key": "batch name" });
  return [
    ...(picture.planned.length ? keysOf(...picture.planned.map((b) => key(`open ${b}`, b, () => begin(b), { marked: true }))) : []),
    el("form", { class: "keys", on: (event) => {
      event.preventDefault();
      const name = field.value.trim().replace(/\s+/g, "-");
      if (name) begin(name);
    } }, key("practice", say(picture.practice ? "practice-off" : "practice-on"), () => perform("practice", [picture.practice ? "off" : "on"], null),
      { on: picture.practice }), el("label", { for: "batch-name" }, say("batch-name")), field, el("button", { class: "key marked", "data-key": "open batch" }, say("open-batch"))),
  ];
}

function openPad(pad) {
  entry = { ...pad, text: "" };
  sheets = [...sheets.filter((s) => s.name !== "pad"), { name: "pad" }];
  render();
}

function pad() {
  const mark = num("0.0")[1];
  const press = (text) => () => {
    if (entry.text.length < 9 && !(text === mark && entry.text.includes(mark))) entry.text += text;
    pressed.at = -Infinity; // digits come quickly, and twice
    render();
  };
  const digits = [..."1234567890"].map((d) => key(`digit ${d}`, d, press(d)));
  const take = key("take", say("take"), async () => {
    const answer = await entry.send(entry.text, entry.unit);
    if (answer.ok && !entry?.stays) show({ name: "here" });
  }, { marked: true, off: !entry.text });
  const wipe = key("wipe", say("wipe"), () => {
    entry.text = entry.text.slice(0, -1);
    pressed.at = -Infinity;
    render();
  });
  const turn = entry.unit ? key("unit", `${entry.unit} → ${COARSE[entry.unit]}`, () => {
    entry.unit = COARSE[entry.unit];
    render();
  }) : key("cancel", say("cancel"), back);
  const point = entry.unit ? key("point", mark, press(mark)) : null;
  if (!body.classList.contains("upright")) return keysOf(...digits.slice(0, 5), wipe, turn, ...digits.slice(5), point, take);
  return keysOf(...digits.slice(0, 3), wipe, ...digits.slice(3, 6), turn, ...digits.slice(6, 9), digits[9], point, take);
}

// ---- the keys at the foot ------------------------------------------------------------------------------------------

function showKeys() {
  const place = here();
  const wants = new Set(place?.questions.flatMap((q) => q.answers) ?? []);
  const sheet = sheets.at(-1).name;
  const looking = LOOKS.includes(sheet);
  const node = $("keys");
  node.setAttribute("aria-label", say("keys"));
  put(node, [[...wants], place?.paused, place?.armed, sheet, may(), chosen(), body.className], () => {
    const nextLook = LOOKS[(LOOKS.indexOf(looking ? sheet : "here") + 1) % LOOKS.length];
    const look = key("look", say(`sheet-${nextLook}`), () => show({ name: nextLook }), { sign: "see" });
    if (!may()) return [look];
    const foot = (name, sign) => actKey(name, [name], actWord(name), { sign, marked: wants.has(name), stays: sheet === "here" });
    const pausing = place?.paused ? "resume" : "pause";
    // Held upright there is no room for two rows of these beneath a sheet of keys.
    if (!looking && body.classList.contains("upright")) return [foot("undo", "undo"), key("back", say("back"), back, { sign: "undo" })];
    return [
      tallying() ? foot("stands", "taken") : foot("next", "next"),
      ...(tallying() ? [] : [foot("again", "again"), foot("stands", "taken")]),
      foot("undo", "undo"),
      foot(pausing, pausing === "pause" ? "pause" : "next"),
      look,
      looking ? key("acts", say("sheet-acts"), () => show({ name: "acts" }), { sign: "more" })
        : key("back", say("back"), back, { sign: "undo" }),
    ];
  });
}

// ---- keyboard, wake lock, start ------------------------------------------------------------------------------------

/** A scanner that types into the page must not press what has the focus: its return is swallowed, and said. */
addEventListener("keydown", (event) => {
  const now = event.timeStamp;
  if (event.target instanceof HTMLInputElement) return;
  if ((event.key === "Enter" || event.key === " ") && now - typedAt < BURST_MS) {
    event.preventDefault();
    trouble = say("scanner-types");
    showTrouble();
  }
  if (event.key.length === 1 && event.key !== " ") typedAt = now;
  const keys = [...document.querySelectorAll(".key:not([hidden]):not(:disabled)")];
  const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
  const at = keys.indexOf(document.activeElement);
  if (step && at >= 0) {
    event.preventDefault();
    keys[(at + step + keys.length) % keys.length].focus();
  }
  if (event.key === "Escape") back();
}, true);

let lock = null;

/** The browser lets go when the page is hidden, the system when its battery is low: asked for again at the next sight or touch. */
async function stayAwake() {
  if (lock !== null || !("wakeLock" in navigator) || document.visibilityState !== "visible") return;
  try {
    const held = await navigator.wakeLock.request("screen");
    lock = held;
    held.addEventListener("release", () => {
      if (lock === held) lock = null;
      render();
    });
  } catch {
    lock = null; // the settings say that the screen may sleep
  }
  render();
}

addEventListener("pointerdown", stayAwake);

document.addEventListener("visibilitychange", () => {
  stayAwake();
  if (document.visibilityState === "visible" && picture) refresh();
});

async function begin() {
  [language, setup] = [await loadWords(), await get("/api/setup")];
  document.title = setup.bench;
  sound.begin();
  stayAwake();
  addEventListener("resize", () => {
    measure();
    drawn.clear();
    render();
  });
  picture = await get("/api/picture");
  pictureAt = heardAt = performance.now();
  if (!picture.places) picture = { ...picture, seq: picture.committed_seq, places: [], quiet: [], last_fish: [], planned: [] };
  firstSeq = picture.seq ?? picture.committed_seq;
  measure();
  render();
  render(); // the picture's size is known once the slabs stand
  follow(Math.max(0, firstSeq - OLDER));
  setInterval(aliveOrNot, 500);
  setInterval(refresh, POLL_MS);
}

begin();
