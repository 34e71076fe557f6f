// What both pages share: words, numbers, the way to the service, shapes, and the length-mass picture.
// Text from outside only ever becomes textContent: a label with markup stays a label.

const SVG = "http://www.w3.org/2000/svg";
let tables = {};

/** The language's tables, and the document's language. */
export async function loadWords() {
  const asked = new URLSearchParams(location.search).get("language");
  tables = await get("/api/words" + (asked ? `?language=${encodeURIComponent(asked)}` : ""));
  document.documentElement.lang = tables.language.code;
  return tables.language.code;
}

/** The words of a code of the page's table, with what stands in braces filled in. */
export function say(code, args = {}) {
  const text = tables.page[code] ?? code;
  return text.replace(/\{(\w+)\}/g, (_, key) => args[key] ?? "");
}

/** The words of a code of the page that a stranger sees. */
export const entering = (code) => tables.entering[code];

/** What a code of the bench is called: `gonad_mass.left` → gonad mass left. */
export function named(code) {
  const known = tables.words?.[code];
  if (known) return known;
  return String(code).split(".").map((part) => tables.words?.[part] ?? part.replaceAll("_", " ")).join(" ");
}

/** The words for a code of the page's table that may be one the page doesn't know. */
export const told = (prefix, code) => tables.page[`${prefix}-${code}`] ?? named(code);

/** A text of the bench with its codes as words: total_length → total length. */
export const plain = (text) => num(text).replace(/(?<![\w-])[a-z]+(?:_[a-z]+)+(?![\w-])/g, named);

/** A number written with a point, in the locale's form. */
export const num = (text) => String(text).replace(/(\d)\.(\d)/g, `$1${tables.language.decimal}$2`);

export async function get(path) {
  const answer = await fetch(path);
  if (answer.status === 401) location.reload();
  if (!answer.ok) throw new Error((await answer.json()).error);
  return answer.json();
}

/** Do an act. Answers what the service answers; `{ok: false}` too where it can't be reached. */
export async function act(name, args = [], place = null) {
  try {
    const answer = await fetch("/api/act", {
      method: "POST",
      headers: { "content-type": "application/json" },
      body: JSON.stringify({ act: name, args: args.map(String), place }),
    });
    return await answer.json();
  } catch {
    return { ok: false, error: say("not-reached"), hint: "" };
  }
}

/** An element: attributes, `on` for what happens, children (texts are texts). */
export function el(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (key === "on") made.addEventListener(tag === "form" ? "submit" : "click", value);
    else made.setAttribute(key, value === true ? "" : value);
  }
  made.append(...children.filter((child) => child !== null && child !== undefined));
  return made;
}

/** Words of acts stand between backticks: they are underlined instead. */
export const withActs = (text) => text.split("`").map((part, i) => (i % 2 ? el("span", { class: "word-of-act" }, part) : part));

export function svg(tag, attributes = {}, ...children) {
  const made = document.createElementNS(SVG, tag);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...children);
  return made;
}

// One shape for each meaning, so that none hangs on colour.
const PATHS = {
  taken: "M2 11 L8 17 L18 4",
  wanted: "M4 2 L17 10 L4 18 Z",
  asked: "M10 0.5 L19.5 10 L10 19.5 L0.5 10 Z M7 8 Q7 5 10 5 Q13 5 13 7.5 Q13 9.3 10 10.5 V12 M10 13.8 V15.6",
  look: "M10 1.5 L19 18 H1 Z M10 7 V12.5 M10 14.2 V16",
  loose: "M3 3 L17 17 M17 3 L3 17",
  fault: "M6 1 H14 L19 6 V14 L14 19 H6 L1 14 V6 Z M10 4.8 V10.6 M10 13.9 V14.6",
  there: "M10 3 A7 7 0 1 0 10.01 3 Z",
  silent: "M10 3 A7 7 0 1 0 10.01 3 Z M10 6 V10 L13 12",
  pause: "M5 3 V17 M15 3 V17",
  next: "M3 10 H16 M10 4 L17 10 L10 16",
  again: "M16 6 A7 7 0 1 0 17 11 M17 2 V7 H12",
  undo: "M4 6 H12 A5 5 0 0 1 12 16 H6 M8 1.5 L3.5 6 L8 10.5",
  more: "M4 4 H8 V8 H4 Z M12 4 H16 V8 H12 Z M4 12 H8 V16 H4 Z M12 12 H16 V16 H12 Z",
  see: "M1 10 Q10 1 19 10 Q10 19 1 10 Z M10 7 A3 3 0 1 0 10.01 7 Z",
};

/** A drawn sign; `name` as a class, hidden from screen readers, for words stand beside it. */
export function shape(name) {
  return svg("svg", { class: `shape ${name}`, viewBox: "0 0 20 20", "aria-hidden": "true" },
    svg("path", { d: PATHS[name] }));
}

/** A round step that parts a span into so many at most. */
const nice = (span, parts = 5) => {
  const ten = 10 ** Math.floor(Math.log10(span));
  return [0.1, 0.2, 0.5, 1].map((k) => k * ten).find((step) => step >= span / parts) ?? ten;
};

/** The fish of a species as length and mass on the model's band, with the one in question. */
export function cloudPicture(cloud, width = 440, height = 230) {
  const left = 62, right = 10, top = 10, bottom = 34;
  const [x0, y0] = cloud.this;
  const xs = [...cloud.points.map((p) => p[0]), ...cloud.band.map((b) => b[0]), ...(x0 === null ? [] : [x0])];
  const near = cloud.points.map((p) => p[1]).concat(y0 === null ? [] : [y0]);
  const ys = [...near, ...cloud.band.map((b) => b[2])];
  const made = svg("svg", { class: "cloud", viewBox: `0 0 ${width} ${height}`, role: "img" });
  made.append(svg("title"));
  made.firstChild.textContent = say("cloud-told", { species: named(cloud.species), n: cloud.points.length });
  if (!xs.length || !ys.length) return made;
  const [low, high] = [Math.min(...xs), Math.max(...xs) * 1.001];
  const most = Math.max(...ys) * 1.05;
  const X = (v) => left + ((v - low) / (high - low || 1)) * (width - left - right);
  const Y = (v) => height - bottom - (v / most) * (height - top - bottom);
  const text = (value, at) => {
    const t = svg("text", at);
    t.textContent = value;
    return t;
  };
  if (cloud.band.length) {
    const up = cloud.band.map(([x, , y]) => `${X(x)} ${Y(y)}`);
    const down = cloud.band.map(([x, y]) => `${X(x)} ${Y(y)}`).reverse();
    made.append(svg("path", { class: "band", d: `M${[...up, ...down].join("L")}Z` }));
  }
  const stepX = nice(high - low), stepY = nice(most, height < 160 ? 3 : 5);
  for (let v = Math.ceil(low / stepX) * stepX; v <= high; v += stepX) {
    made.append(svg("path", { class: "axis", d: `M${X(v)} ${height - bottom}v5` }));
    made.append(text(num(v), { x: X(v), y: height - 11, "text-anchor": "middle" }));
  }
  for (let v = stepY; v <= most; v += stepY) {
    made.append(svg("path", { class: "axis", d: `M${left - 5} ${Y(v)}h5` }));
    made.append(text(num(v), { x: left - 9, y: Y(v) + 6, "text-anchor": "end" }));
  }
  made.append(svg("path", { class: "axis", d: `M${left} ${top}V${height - bottom}H${width - right}` }));
  made.append(text("mm", { x: width - right, y: height - bottom - 5, "text-anchor": "end" }));
  made.append(text("g", { x: left + 6, y: top + 14 }));
  for (const [x, y, verdict] of cloud.points) made.append(point(X(x), Y(y), verdict));
  if (x0 !== null && y0 !== null) {
    made.append(svg("path", { class: "this", d: `M${X(x0)} ${Y(y0) - 13}l13 13l-13 13l-13 -13Z` }));
  } else if (x0 !== null) {
    made.append(svg("path", { class: "expected", d: `M${X(x0)} ${top}V${height - bottom}` }));
  }
  return made;
}

/** How far each fish lies from the middle of its band, as shares of the band's half, by number: ±1 is its edge. */
export function orderPicture(points, told, width = 460, height = 190) {
  const left = 44, right = 10, top = 10, bottom = 34;
  const [low, high] = [points[0][0], points.at(-1)[0]];
  const most = Math.max(2, ...points.map((p) => Math.min(4, Math.abs(p[1]))));
  const X = (v) => left + 8 + ((v - low) / (high - low || 1)) * (width - left - right - 16);
  const Y = (v) => top + ((most - Math.max(-most, Math.min(most, v))) / (2 * most)) * (height - top - bottom);
  const made = svg("svg", { class: "cloud", viewBox: `0 0 ${width} ${height}`, role: "img" }, svg("title"));
  made.firstChild.textContent = told;
  made.append(svg("path", { class: "band", d: `M${left} ${Y(1)}H${width - right}V${Y(-1)}H${left}Z` }));
  const text = (value, at) => {
    const t = svg("text", at);
    t.textContent = value;
    made.append(t);
  };
  for (const v of [-1, 0, 1]) text(v > 0 ? `+${v}` : String(v).replace("-", "−"), { x: left - 9, y: Y(v) + 5, "text-anchor": "end" });
  const step = Math.max(1, nice(high - low || 1));
  for (let v = Math.ceil(low / step) * step; v <= high; v += step) {
    made.append(svg("path", { class: "axis", d: `M${X(v)} ${height - bottom}v5` }));
    text(v, { x: X(v), y: height - 11, "text-anchor": "middle" });
  }
  made.append(svg("path", { class: "axis", d: `M${left} ${top}V${height - bottom}H${width - right}M${left} ${Y(0)}H${width - right}` }));
  for (const [n, off, verdict] of points) made.append(point(X(n), Y(off), verdict));
  return made;
}

/** A fish in a picture: a ring, questioned ones a filled triangle. */
function point(x, y, verdict) {
  const odd = verdict >= 3;
  const d = odd ? `M${x} ${y - 7}l6 11h-12Z` : `M${x - 4} ${y}a4 4 0 1 0 8 0a4 4 0 1 0 -8 0Z`;
  return svg("path", { class: odd ? "point odd" : "point", d });
}

/** Between what masses a band lies at a length, or null. */
export function between(band, at) {
  const after = band.findIndex((b) => b[0] >= at);
  if (after < 1) return null;
  const [a, b] = [band[after - 1], band[after]];
  const share = Math.log(at / a[0]) / Math.log(b[0] / a[0]);
  return [1, 2].map((i) => a[i] * (b[i] / a[i]) ** share);
}

/** Between what masses the band lies at this fish's length, in figures one reads; or null. */
export function expected(cloud) {
  const found = cloud.this[0] === null ? null : between(cloud.band, cloud.this[0]);
  if (found === null) return null;
  const [low, high] = found.map((v) => Number(v.toPrecision(v >= 100 ? 3 : 2)));
  return { low, high };
}
