// Elevations: how far has each method come on a date?
//
// Draws one elevation for each method at one date, storey by storey, each in the state it has reached.
// The date moves in the browser alone. Every word from outside enters as text, never as markup.

const SVG = "http://www.w3.org/2000/svg";
const DAY_MS = 86400000;

// In order: a storey is in the furthest state whose day has come.
export const STATES = ["frame", "props", "open", "weathertight", "fitting", "finished", "lived"];

export const WORDS = {
  none: "not begun",
  frame: "frame",
  props: "props in",
  open: "frame, props out",
  weathertight: "weathertight",
  fitting: "fitting out",
  finished: "finished",
  lived: "lived in",
};

const LEGEND = ["none", "frame", "props", "weathertight", "fitting", "finished", "lived"];
const CLOSED = new Set(["weathertight", "fitting", "finished", "lived"]);

const RULES = {
  panels: "bar",
  open_frame: "double",
  open_frame_best: "dashed",
  fourth: "dotted",
  fifth: "dash-dot",
  sixth: "thin",
};

// ---------------------------------------------------------------- what is so on a day (no drawing)

export function stateOn(days, day) {
  for (let i = STATES.length - 1; i >= 0; i -= 1) {
    const reached = days[STATES[i]];
    if (reached !== null && reached !== undefined && reached <= day) return STATES[i];
  }
  return "none";
}

export function countOn(method, day) {
  const count = { storeys: 0, none: 0 };
  for (const state of STATES) count[state] = 0;
  for (const block of method.blocks) {
    for (const days of block.states) {
      count.storeys += 1;
      count[stateOn(days, day)] += 1;
    }
  }
  count.closed = count.weathertight + count.fitting + count.finished + count.lived;
  return count;
}

export function countLine(count) {
  const lived = count.lived === 0 ? "none" : `${count.lived}`;
  const storeys = count.lived === 1 ? "storey" : "storeys";
  const whole = count.storeys === 1 ? "1 storey" : `${count.storeys}`;
  return count.lived === 0
    ? `none lived in, ${count.closed} of ${whole} weathertight`
    : `${lived} ${storeys} lived in, ${count.closed} of ${whole} weathertight`;
}

export function dateOn(start, day) {
  return new Date(Date.parse(`${start}T00:00:00Z`) + Math.floor(day) * DAY_MS);
}

const LONG = new Intl.DateTimeFormat("en-GB", {
  weekday: "long", day: "numeric", month: "long", year: "numeric", timeZone: "UTC",
});

export function longDate(date) {
  const part = Object.fromEntries(LONG.formatToParts(date).map((p) => [p.type, p.value]));
  return `${part.weekday} ${part.day} ${part.month} ${part.year}`;
}

const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

export function shortDate(date) {
  return `${date.getUTCDate()} ${MONTHS[date.getUTCMonth()]} ${date.getUTCFullYear()}`;
}

// What is said under a block, as a word and a date.
export function blockWords(payload, block, day) {
  if (block.ready === null || block.ready === undefined) return ["not ready", "in this span"];
  const lived = block.states.map((days) => days.lived).filter((d) => d !== null && d !== undefined);
  const moved = lived.length ? Math.min(...lived) : null;
  if (moved !== null && moved <= day) return ["lived in since", shortDate(dateOn(payload.start, moved))];
  const word = block.ready <= day ? "ready since" : "ready";
  return [word, shortDate(dateOn(payload.start, block.ready))];
}

export function blockLine(payload, block, day) {
  return blockWords(payload, block, day).join(" ");
}

// A scatter that is the same on every visit: 0 to 1 from three whole numbers.
export function scatter(a, b, c) {
  let h = (a * 374761393 + b * 668265263 + c * 2147483647) | 0;
  h = Math.imul(h ^ (h >>> 13), 1274126177);
  return ((h ^ (h >>> 16)) >>> 0) / 4294967296;
}

// ---------------------------------------------------------------- how large is it drawn

// One layout for all methods, so that the drawings can be held against each other line by line.
export function layOut(payload, width, labelWidths) {
  const blocks = payload.methods[0].blocks;
  const narrow = width < 480;
  const craneRoom = narrow ? 17 : 30;
  const sides = blocks.map((_, i) => {
    const most = Math.max(0, ...payload.methods.map((m) => craneSeats(m, i).length));
    return { right: most > 0 ? craneRoom : 0, left: most > 1 ? craneRoom : 0 };
  });
  const rooms = sides.reduce((sum, s) => sum + s.left + s.right, 0);
  const gap = Math.min(34, Math.max(6, (width / blocks.length) * 0.12));
  const metres = blocks.reduce((sum, b) => sum + b.width_m, 0);
  const tallest = Math.max(...blocks.map((b) => b.storeys * b.storey_height_m));
  const room = narrow ? 300 : 400;
  const fit = Math.max(0.4, (width - rooms - gap * blocks.length) / metres);
  const across = Math.min(fit, room / tallest, 8.5);
  const lowest = Math.min(...blocks.map((b) => b.storey_height_m));
  const up = Math.min(room / tallest, Math.max(across, 13 / lowest)); // storeys stay tall enough to read
  const hoisted = rooms > 0;
  const above = hoisted ? Math.max(44, 9 * up) : 14;
  const ground = Math.ceil(above + tallest * up);
  const used = blocks.map((b, i) => b.width_m * across + sides[i].left + sides[i].right + gap);
  const slack = Math.max(0, width - used.reduce((sum, u) => sum + u, 0)) / blocks.length;
  const slots = used.map((u) => u + slack);
  let x = 0;
  const places = blocks.map((b, i) => {
    const left = x + sides[i].left + (slots[i] - b.width_m * across - sides[i].left - sides[i].right) / 2;
    x += slots[i];
    const wide = b.width_m * across;
    const middle = Math.min(left, width - wide);
    return { x: middle, width: wide, slot: slots[i] };
  });
  const fits = (which) => labelWidths.every((w, i) => w[which] <= slots[i] - 4);
  const labels = fits("whole") ? "whole" : fits("split") ? "split" : "keyed";
  const below = { whole: 60, split: 76, keyed: 28 }[labels];
  return { width, across, up, ground, places, labels, narrow, height: ground + below };
}

// Cranes of a block by the seat they stand in: one seat serves hires that follow each other.
export function craneSeats(method, block) {
  const seats = [];
  const hires = (method.cranes || []).filter((c) => c.block === block).sort((a, b) => a.from - b.from);
  for (const hire of hires) {
    const seat = seats.find((s) => s[s.length - 1].to < hire.from);
    if (seat) seat.push(hire);
    else seats.push([hire]);
  }
  return seats;
}

// ---------------------------------------------------------------- drawing

function node(name, attributes, parent) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes || {})) made.setAttribute(key, value);
  if (parent) parent.appendChild(made);
  return made;
}

function html(name, attributes, parent, words) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes || {})) made.setAttribute(key, value);
  if (words !== undefined) made.textContent = words;
  if (parent) parent.appendChild(made);
  return made;
}

const r = (value) => Math.round(value * 100) / 100;
const box = (x, y, w, h) => `M${r(x)} ${r(y)}h${r(w)}v${r(h)}h${r(-w)}z`;

function windowsOf(block, index, place, y, h) {
  const bays = Math.max(1, Math.min(Math.round(block.width_m / 3.4), Math.floor(place.width / 8)));
  const bay = place.width / bays;
  const tall = Math.max(2, h * (index % 3 === 1 ? 0.58 : 0.46));
  const top = y + (h - tall) * 0.5;
  const panes = [];
  for (let i = 0; i < bays; i += 1) {
    const left = place.x + i * bay;
    const shape = index % 3;
    if (shape === 1 && bay >= 9) {
      panes.push([left + bay * 0.16, top, bay * 0.27, tall], [left + bay * 0.57, top, bay * 0.27, tall]);
    } else if (shape === 2 && i % 2 === 1) {
      panes.push([left + bay * 0.3, top, bay * 0.4, tall]);
    } else {
      panes.push([left + bay * 0.17, top, bay * 0.66, tall]);
    }
  }
  return panes;
}

function hatchOf(x, y, w, h, step) {
  let path = "";
  for (let c = step * 0.5; c < w + h; c += step) {
    const x1 = Math.min(c, w);
    const y1 = c - x1;
    const y2 = Math.min(c, h);
    const x2 = c - y2;
    path += `M${r(x + x1)} ${r(y + y1)}L${r(x + x2)} ${r(y + y2)}`;
  }
  return path;
}

export function drawStorey(group, state, block, index, storey, place, y, h) {
  group.replaceChildren();
  const { x, width: w } = place;
  if (state === "none") {
    node("path", { class: "none", d: `M${r(x)} ${r(y + h)}V${r(y)}H${r(x + w)}V${r(y + h)}` }, group);
    return;
  }
  if (!CLOSED.has(state)) {
    const bays = Math.max(1, Math.min(Math.round(block.width_m / 6.2), Math.floor(w / 9)));
    if (state === "props") {
      const count = Math.max(4, Math.round(w / 4));
      let lines = "";
      for (let i = 1; i < count; i += 1) lines += `M${r(x + (w * i) / count)} ${r(y + h)}V${r(y)}`;
      node("path", { class: "props", d: lines }, group);
    }
    let frame = "";
    for (let i = 0; i <= bays; i += 1) {
      const at = Math.min(Math.max(x + (w * i) / bays, x + 1), x + w - 1);
      frame += `M${r(at)} ${r(y + h)}V${r(y)}`;
    }
    node("path", { class: "columns", d: frame }, group);
    node("path", { class: "slab", d: `M${r(x - 2)} ${r(y)}H${r(x + w + 2)}` }, group);
    return;
  }
  const wall = h > 5 ? h - 1 : h - 0.5;
  node("path", { class: `wall ${state}`, d: box(x, y, w, wall) }, group);
  if (state === "fitting") {
    node("path", { class: "hatch", d: hatchOf(x, y, w, wall, Math.max(3.4, Math.min(5, h / 2))) }, group);
  }
  const panes = windowsOf(block, index, place, y, wall);
  const door = storey === 0 ? Math.floor(panes.length / 2) : -1;
  let dark = "";
  let lit = "";
  panes.forEach(([px, py, pw, ph], i) => {
    const shape = i === door ? box(px, py, pw, y + wall - py) : box(px, py, pw, ph);
    if (state === "lived" && i !== door && scatter(index + 1, storey + 1, i + 1) < 0.62) lit += shape;
    else dark += shape;
  });
  if (dark) node("path", { class: `pane ${state}`, d: dark }, group);
  if (lit) node("path", { class: "pane lit", d: lit }, group);
  if (storey === block.storeys - 1) {
    node("path", { class: `roof ${state}`, d: `M${r(x - 2)} ${r(y - 0.5)}H${r(x + w + 2)}` }, group);
  }
}

function drawCrane(group, place, seat, plan, top) {
  const side = seat % 2 === 0 ? 1 : -1;
  const half = plan.narrow ? 1.6 : 2.4;
  const clear = plan.narrow ? 5 : 8;
  const x = side > 0 ? place.x + place.width + clear + half : place.x - clear - half;
  const jibY = Math.max(16, top - 22 - seat * 12);
  const cell = half * 2.4;
  let lattice = "";
  let flip = 1;
  for (let y = plan.ground; y > jibY + cell; y -= cell) {
    lattice += `M${r(x - half * flip)} ${r(y)}L${r(x + half * flip)} ${r(y - cell)}`;
    flip = -flip;
  }
  node("path", { class: "crane fine", d: lattice }, group);
  node("path", {
    class: "crane",
    d: `M${r(x - half)} ${plan.ground}V${r(jibY)}M${r(x + half)} ${plan.ground}V${r(jibY)}`,
  }, group);
  const reach = place.width + clear + half * 2 - 2;
  const tail = plan.narrow ? 8 : 15;
  const apex = jibY - (plan.narrow ? 9 : 13);
  const tip = x - side * reach;
  const back = x + side * tail;
  const deep = plan.narrow ? 2.6 : 3.4;
  let web = "";
  const cells = Math.max(4, Math.round(reach / 6));
  for (let i = 0; i < cells; i += 1) {
    const from = x - side * reach * (i / cells);
    const middle = x - side * reach * ((i + 0.5) / cells);
    const to = x - side * reach * ((i + 1) / cells);
    web += `M${r(from)} ${r(jibY)}L${r(middle)} ${r(jibY - deep)}L${r(to)} ${r(jibY)}`;
  }
  node("path", { class: "crane fine", d: web }, group);
  node("path", {
    class: "crane",
    d: `M${r(back)} ${r(jibY)}H${r(tip)}M${r(x)} ${r(jibY - deep)}H${r(tip + side * reach / cells / 2)}` +
      `M${r(x - half)} ${r(jibY)}L${r(x)} ${r(apex)}L${r(x + half)} ${r(jibY)}`,
  }, group);
  node("path", {
    class: "crane fine",
    d: `M${r(x)} ${r(apex)}L${r(x - side * reach * 0.62)} ${r(jibY - deep)}M${r(x)} ${r(apex)}L${r(back)} ${r(jibY)}`,
  }, group);
  const ballast = plan.narrow ? [4, 4] : [6, 6];
  node("path", {
    class: "crane mass",
    d: box(side > 0 ? back - ballast[0] : back, jibY, ballast[0], ballast[1]) +
      box(side > 0 ? x - half - 5 : x + half, jibY + 1, 5, 5),
  }, group);
  const rope = node("path", { class: "crane fine" }, group);
  const hook = node("path", { class: "crane mass" }, group);
  return (share, down) => {
    const at = x - side * (half + 6 + (reach - half - 14) * share);
    const low = Math.max(jibY + 8, down);
    rope.setAttribute("d", `M${r(at)} ${r(jibY)}V${r(low)}`);
    hook.setAttribute("d", box(at - 2, low, 4, 3) + box(at - 2.5, jibY, 5, 2));
  };
}

// Where the trolley stands: a place for each week, eased from one to the next.
function trolley(seed, day) {
  const week = Math.floor(day / 7);
  const from = scatter(seed, week, 3);
  const to = scatter(seed, week + 1, 3);
  const t = day / 7 - week;
  return from + (to - from) * t * t * (3 - 2 * t);
}

// ---------------------------------------------------------------- the component

const kept = new WeakMap();

export default function component({ data, parentElement }) {
  const root = parentElement.querySelector(".elevation");
  const written = JSON.stringify(data);
  const before = kept.get(root);
  if (before && before.written === written) return before.close;
  if (before) before.close();
  const touched = before && before.touched ? before.date() : null;
  const view = build(root, data, touched);
  view.written = written;
  kept.set(root, view);
  return view.close;
}

function build(root, payload, keptDay) {
  const quit = new AbortController();
  const listen = { signal: quit.signal };
  const calm = window.matchMedia("(prefers-reduced-motion: reduce)");
  const last = Math.max(1, Math.floor(payload.days));
  const clamp = (d) => Math.min(last, Math.max(0, Math.round(d)));
  let day = clamp(keptDay === null ? payload.date : keptDay);
  let playing = false;
  let ticking = 0;
  let settling = 0;
  const view = { touched: keptDay !== null, date: () => day };

  root.replaceChildren();
  root.dataset.count = payload.methods.length;

  // the date
  const when = html("div", { class: "when" }, root);
  const said = html("p", { class: "date" }, when);
  const weekday = html("span", { class: "weekday" }, said);
  const calendar = html("span", { class: "calendar" }, said);
  const line = html("div", { class: "line" }, when);
  const ready = html("div", { class: "ready", "aria-hidden": "true" }, line);
  const slider = html("input", {
    type: "range", min: 0, max: last, step: 1, "aria-label": "Date shown in the elevations",
  }, line);
  slider.value = day;
  const scale = html("div", { class: "scale", "aria-hidden": "true" }, line);
  const play = html("button", { type: "button", class: "play" }, when);
  const sign = node("svg", { viewBox: "0 0 12 12", "aria-hidden": "true" }, play);
  const shape = node("path", {}, sign);
  const playWord = html("span", {}, play);

  payload.methods.forEach((method) => {
    const row = html("div", { class: `row role-${method.role.replaceAll("_", "-")}` }, ready);
    row.dataset.rule = RULES[method.role];
    for (const block of method.blocks) {
      if (block.ready === null || block.ready === undefined || block.ready > last) continue;
      const tick = html("i", {}, row);
      tick.style.left = `${(100 * block.ready) / last}%`;
      tick.title = `${method.label}: ${block.name} ready ${shortDate(dateOn(payload.start, block.ready))}`;
    }
  });
  for (const mark of monthMarks(payload.start, last)) {
    const tick = html("i", { class: mark.year ? "year" : "quarter" }, scale);
    tick.style.left = `${(100 * mark.day) / last}%`;
    if (mark.year) html("span", {}, tick, mark.year);
  }

  // the drawings
  const pair = html("div", { class: "pair" }, root);
  const sheets = payload.methods.map((method) => {
    const sheet = html("section", { class: `sheet role-${method.role.replaceAll("_", "-")}` }, pair);
    html("div", { class: "rule", "data-rule": RULES[method.role] }, sheet);
    const head = html("div", { class: "head" }, sheet);
    html("h3", {}, head, method.label);
    const count = html("p", { class: "count" }, head);
    const svg = node("svg", { class: "drawing", role: "img" }, sheet);
    const key = html("ol", { class: "blocks" }, sheet);
    const notes = html("div", { class: "notes" }, sheet);
    return { method, sheet, count, svg, key, notes, storeys: [], labels: [], cranes: [] };
  });

  const legend = html("ul", { class: "legend", "aria-label": "How each storey is drawn" }, root);
  for (const state of LEGEND) {
    const item = html("li", {}, legend);
    const swatch = node("svg", { viewBox: "-2 -2 34 18", "aria-hidden": "true" }, item);
    const sample = { storeys: 9, width_m: 10 };
    const place = { x: 0, width: 30 };
    drawStorey(node("g", {}, swatch), state, sample, 0, state === "lived" ? 4 : 3, place, 1, 13);
    html("span", {}, item, WORDS[state]);
  }
  const readyItem = html("li", {}, legend);
  html("i", { class: "tick", "aria-hidden": "true" }, readyItem);
  html("span", {}, readyItem, "block ready");

  // for those who listen
  const heard = html("p", { class: "hidden", "aria-live": "polite" }, root);
  const told = html("div", { class: "hidden" }, root);

  function place(width) {
    const ruler = document.createElement("canvas").getContext("2d");
    const style = getComputedStyle(root);
    const measure = (words, weight) => {
      ruler.font = `${weight} 12.5px ${style.fontFamily}`;
      return ruler.measureText(words).width;
    };
    const widths = payload.methods[0].blocks.map((block) => {
      const name = measure(block.name, 600);
      return {
        whole: Math.max(name, measure("lived in since 30 Nov 2028", 400)),
        split: Math.max(name, measure("lived in since", 400)),
      };
    });
    const plan = layOut(payload, width, widths);
    for (const sheet of sheets) draw(sheet, plan, payload, calm);
    show(true);
  }

  function show(all) {
    const date = dateOn(payload.start, day);
    const full = longDate(date);
    weekday.textContent = full.slice(0, full.indexOf(" "));
    calendar.textContent = full.slice(full.indexOf(" ") + 1);
    slider.value = day;
    slider.setAttribute("aria-valuetext", full);
    slider.style.setProperty("--share", day / last);
    for (const sheet of sheets) update(sheet, payload, day, all, calm.matches);
    if (!playing) {
      clearTimeout(settling);
      settling = setTimeout(settle, all ? 0 : 600);
    }
  }

  function settle() {
    const full = longDate(dateOn(payload.start, day));
    heard.textContent = `${full}. ${sheets
      .map((s) => `${s.method.label}: ${countLine(countOn(s.method, day))}`).join(". ")}.`;
    tell(told, payload, day, full);
    for (const s of sheets) {
      s.svg.setAttribute("aria-label", `Elevation, ${s.method.label}, ${full}: ${countLine(countOn(s.method, day))}`);
    }
  }

  function setPlaying(on) {
    playing = on;
    playWord.textContent = on ? "Pause" : "Play";
    shape.setAttribute("d", on ? "M2 1h3v10h-3zM7 1h3v10h-3z" : "M2 1L11 6L2 11z");
    play.setAttribute("aria-label", on ? "Pause the dates" : "Play the dates");
    clearTimeout(ticking);
    cancelAnimationFrame(ticking);
    if (!on) {
      show(false);
      return;
    }
    view.touched = true;
    if (day >= last) day = 0;
    if (calm.matches) step();
    else run(performance.now(), day);
  }

  // Calm: one step of four weeks a second. Otherwise: the whole span in about 18 seconds.
  function step() {
    day = clamp(day + 28);
    show(false);
    if (day >= last) setPlaying(false);
    else ticking = setTimeout(() => playing && step(), 1000);
  }

  function run(began, from) {
    ticking = requestAnimationFrame((now) => {
      if (!playing) return;
      const next = clamp(from + ((now - began) / 18000) * last);
      if (next !== day) {
        day = next;
        show(false);
      }
      if (day >= last) setPlaying(false);
      else run(began, from);
    });
  }

  slider.addEventListener("input", () => {
    if (playing) setPlaying(false);
    view.touched = true;
    day = clamp(Number(slider.value));
    show(false);
  }, listen);
  slider.addEventListener("keydown", (event) => {
    const step = { ArrowLeft: -7, ArrowDown: -7, ArrowRight: 7, ArrowUp: 7, PageDown: -28, PageUp: 28 }[event.key];
    if (step === undefined || event.altKey || event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    if (playing) setPlaying(false);
    view.touched = true;
    day = clamp(day + (event.shiftKey ? Math.sign(step) : step));
    show(false);
  }, listen);
  play.addEventListener("click", () => setPlaying(!playing), listen);

  let wide = 0;
  const watch = new ResizeObserver(() => {
    const width = Math.floor(sheets[0].svg.parentElement.clientWidth);
    if (width > 0 && width !== wide) {
      wide = width;
      place(width);
    }
  });
  watch.observe(pair);
  setPlaying(false);
  if (document.fonts && document.fonts.ready) {
    document.fonts.ready.then(() => {
      if (!quit.signal.aborted && wide > 0) place(wide);
    });
  }

  view.close = () => {
    playing = false;
    clearTimeout(ticking);
    cancelAnimationFrame(ticking);
    clearTimeout(settling);
    watch.disconnect();
    quit.abort();
    if (kept.get(root) === view) kept.delete(root);
  };
  return view;
}

// The first of January by its year, and the first of each other quarter, as days from the start.
export function monthMarks(start, last) {
  const first = dateOn(start, 0);
  const marks = [];
  for (let m = first.getUTCMonth() + 1; ; m += 1) {
    const date = new Date(Date.UTC(first.getUTCFullYear(), m, 1));
    const at = (date - first) / DAY_MS;
    if (at > last) return marks;
    if (date.getUTCMonth() % 3 === 0) {
      marks.push({ day: at, year: date.getUTCMonth() === 0 ? `${date.getUTCFullYear()}` : "" });
    }
  }
}

function draw(sheet, plan, payload) {
  const { svg, method } = sheet;
  svg.replaceChildren();
  sheet.key.replaceChildren();
  sheet.storeys = [];
  sheet.labels = [];
  sheet.cranes = [];
  sheet.plan = plan;
  svg.setAttribute("viewBox", `0 0 ${plan.width} ${plan.height}`);
  svg.setAttribute("width", plan.width);
  svg.setAttribute("height", plan.height);
  const behind = node("g", {}, svg);
  node("path", { class: "earth", d: earth(plan) }, svg);
  node("path", { class: "ground", d: `M0 ${plan.ground}H${plan.width}` }, svg);
  method.blocks.forEach((block, index) => {
    const place = plan.places[index];
    const h = block.storey_height_m * plan.up;
    const group = node("g", { class: "block" }, svg);
    const top = plan.ground - block.storeys * h;
    block.states.forEach((days, storey) => {
      const y = plan.ground - (storey + 1) * h;
      const part = node("g", {}, group);
      sheet.storeys.push({ part, days, block, index, storey, place, y, h, state: null });
      if ((storey + 1) % (block.storeys > 30 ? 10 : 5) === 0 && h >= 5.5 && place.slot - place.width > 40 && block.storeys > 5) {
        const level = node("text", { class: "level", x: r(place.x - 6), y: r(y + h * 0.5 + 3) }, behind);
        level.textContent = storey + 1;
      }
    });
    craneSeats(method, index).forEach((hires, seat) => {
      const standing = node("g", { class: "standing", visibility: "hidden" }, behind);
      const hang = drawCrane(standing, place, seat, plan, top);
      sheet.cranes.push({ standing, hires, hang, index, seat, top, h, block });
    });
    const middle = place.x + place.width / 2;
    const name = plan.labels === "keyed" ? String.fromCharCode(65 + index) : block.name;
    const title = node("text", { class: "name", x: r(middle), y: plan.ground + 20 }, svg);
    title.textContent = name;
    if (plan.labels === "keyed") {
      const item = html("li", {}, sheet.key);
      html("b", {}, item, name);
      html("span", {}, item, `${block.name}, ${storeysOf(block)}`);
      sheet.labels.push({ block, whole: html("span", { class: "quiet" }, item) });
    } else {
      const storeys = node("text", { class: "under", x: r(middle), y: plan.ground + 37 }, svg);
      storeys.textContent = storeysOf(block);
      const first = node("text", { class: "under", x: r(middle), y: plan.ground + 53 }, svg);
      if (plan.labels === "whole") sheet.labels.push({ block, whole: first });
      else {
        const second = node("text", { class: "under", x: r(middle), y: plan.ground + 69 }, svg);
        sheet.labels.push({ block, word: first, date: second });
      }
    }
  });
}

function storeysOf(block) {
  return block.storeys === 1 ? "1 storey" : `${block.storeys} storeys`;
}

function earth(plan) {
  let path = "";
  for (let x = 4; x < plan.width; x += 9) path += `M${x} ${plan.ground}l-4 5`;
  return path;
}

function update(sheet, payload, day, all, still) {
  for (const one of sheet.storeys) {
    const state = stateOn(one.days, day);
    if (state === one.state && !all) continue;
    one.state = state;
    drawStorey(one.part, state, one.block, one.index, one.storey, one.place, one.y, one.h);
    const since = one.days[state];
    const title = node("title", {}, one.part);
    title.textContent = `${one.block.name}, storey ${one.storey + 1}: ${WORDS[state]}${
      state === "none" ? "" : ` since ${shortDate(dateOn(payload.start, since))}`}`;
  }
  for (const crane of sheet.cranes) {
    const on = crane.hires.some((hire) => hire.from <= day && day <= hire.to);
    crane.standing.setAttribute("visibility", on ? "visible" : "hidden");
    if (!on) continue;
    const begun = crane.block.states.filter((days) => stateOn(days, day) !== "none").length;
    const roof = sheet.plan.ground - begun * crane.h;
    const share = still ? 0.55 : trolley(crane.index * 7 + crane.seat + 1, day);
    crane.hang(share, roof - 12);
  }
  for (const label of sheet.labels) {
    const [word, date] = blockWords(payload, label.block, day);
    if (label.whole) label.whole.textContent = `${word} ${date}`;
    else {
      label.word.textContent = word;
      label.date.textContent = date;
    }
  }
  const count = countOn(sheet.method, day);
  sheet.count.textContent = countLine(count);
  const notes = Object.entries(sheet.method.note_by_state || {}).filter(([state]) => count[state] > 0);
  const wanted = notes.map(([, words]) => words).join("\n");
  if (sheet.notes.dataset.words !== wanted) {
    sheet.notes.dataset.words = wanted;
    sheet.notes.replaceChildren();
    for (const [, words] of notes) html("p", {}, sheet.notes, words);
  }
}

// The drawing as a table: one row for each block and method, one column for each state.
function tell(told, payload, day, full) {
  told.replaceChildren();
  const table = html("table", {}, told);
  html("caption", {}, table, `Storeys by state on ${full}`);
  const head = html("tr", {}, html("thead", {}, table));
  const states = ["none", ...STATES];
  for (const words of ["Method", "Block", ...states.map((s) => WORDS[s]), "Block ready", "Cranes"]) {
    html("th", { scope: "col" }, head, words);
  }
  const body = html("tbody", {}, table);
  for (const method of payload.methods) {
    method.blocks.forEach((block, index) => {
      const row = html("tr", {}, body);
      html("th", { scope: "row" }, row, method.label);
      html("td", {}, row, block.name);
      const reached = block.states.map((days) => stateOn(days, day));
      for (const state of states) html("td", {}, row, `${reached.filter((s) => s === state).length}`);
      html("td", {}, row, blockLine(payload, block, day));
      const cranes = (method.cranes || []).filter((c) => c.block === index && c.from <= day && day <= c.to);
      html("td", {}, row, `${cranes.length}`);
    });
  }
}
