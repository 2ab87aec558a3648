// Draws the case, turns drags and fields into edits, asks the server, draws its answers.
"use strict";

const WIDTH = 900, LEFT = 52, RIGHT = 14, REST = 350; // REST: ms without a change before a full solve
const SVG = "http://www.w3.org/2000/svg";
const find = (id) => document.getElementById(id);

let model = null;     // the case as drawn: from the server, with the drag under way laid over it
let result = null;    // the last answer
let edits = {};       // dotted path to value, everything changed since the case was opened
let chosen = 0;       // index of the chosen propeller
let kept = [];        // snapshots
let busy = false, waiting = null, restTimer = 0;

// ---- small helpers -------------------------------------------------------------------------

function make(parent, name, attributes = {}, text = "") {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  if (text) node.textContent = text;
  parent.append(node);
  return node;
}

function html(parent, name, properties = {}, text = "") {
  const node = Object.assign(document.createElement(name), properties);
  if (text) node.textContent = text;
  parent.append(node);
  return node;
}

const shown = (value, digits) => (value === undefined || value === null ? "–" : value.toFixed(digits));
const round = (value) => Math.round(value * 1000) / 1000;

function extents() {
  let side = Math.max(...model.outline.y.map(Math.abs));
  for (const p of model.propellers) side = Math.max(side, Math.abs(p.position[1]) + p.diameter / 2);
  return 1.06 * side;
}

let frozenSide = 0; // the scale stays as it is while something is dragged
const scaleY = () => (WIDTH - LEFT - RIGHT) / (2 * frozenSide);
const atY = (y) => LEFT + (y + frozenSide) * scaleY();

// ---- asking --------------------------------------------------------------------------------

const GONE = "The server does not answer any more; was it stopped? Start it again to go on.";
const WATCH = 5000; // ms between two looks at whether it is still there
let gone = false;

async function watch() {
  let here = true;
  try { here = (await fetch("alive")).ok; } catch (error) { here = false; }
  if (!here && !gone) { say(GONE, true); find("views").classList.add("old"); }
  if (here && gone) ask(false);
  gone = !here;
}

async function post(name, body) {
  const answer = await fetch(name, {
    method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body),
  });
  return answer.json();
}

async function ask(dragging) {
  if (busy) { waiting = waiting === false && dragging ? false : dragging; return; }
  busy = true;
  if (!dragging) say("Solving with the case's own model …");
  const start = performance.now();
  let found;
  try {
    found = await post("solve", { edits, dragging });
  } catch (error) {
    found = { error: GONE };
  }
  busy = false;
  if (found.error) {
    say(found.error, true);
    find("views").classList.add("old");
  } else {
    result = found.result;
    if (!grip) model = found.case;
    find("views").classList.remove("old");
    const how = result.provisional ? "Provisional, coarser model" : "The case's own model";
    say(`${how}: ${(1000 * result.seconds).toFixed(0)} ms.`);
    draw();
    if (dragging) performance.measure("drag answered", { start, end: performance.now() });
  }
  if (waiting !== null) { const next = waiting; waiting = null; ask(next); }
}

function say(text, wrong = false) {
  find("state").textContent = text;
  find("state").classList.toggle("wrong", wrong);
}

function change(path, value) {
  edits[path] = value;
  clearTimeout(restTimer);
  restTimer = setTimeout(() => ask(false), REST);
  ask(true);
}

// ---- the two views with discs to take hold of ----------------------------------------------

let grip = null; // {index, view, kind, from, position, diameter}

function lines(svg, points, name, closed = false) {
  const d = points.map(([x, y], k) => `${k ? "L" : "M"}${x.toFixed(2)} ${y.toFixed(2)}`).join("");
  return make(svg, "path", { d: closed ? d + "Z" : d, class: name });
}

function turnArrow(group, x, y, radius, sense) {
  // Seen from behind with starboard to the right, clockwise is clockwise on the screen.
  const a = 0.62 * radius, s = sense > 0 ? 1 : -1;
  make(group, "path", { class: "turn", d:
    `M${x - s * a * 0.87} ${y - a * 0.5}A${a} ${a} 0 0 ${s > 0 ? 1 : 0} ${x + s * a * 0.87} ${y - a * 0.5}` +
    `m${-s * 7} ${-1}l${s * 7} 1l1 -7` });
}

function senseOf(spin, y) {
  if (!spin) return 0;
  if (spin === "clockwise") return 1;
  if (spin === "counterclockwise") return -1;
  const inboard = y > 0 ? 1 : -1;
  return spin === "inboard_up" ? inboard : -inboard;
}

function views() {
  const scale = scaleY(), o = model.outline;
  const heights = [...o.z, ...model.propellers.flatMap(
    (p) => [p.position[2] + p.diameter / 2, p.position[2] - p.diameter / 2])];
  const top = Math.max(...heights) + 12 / scale, low = Math.min(...heights) - 12 / scale;
  const front = find("front"), plan = find("plan");
  prepare(front, Math.max(90, (top - low) * scale));
  const atZ = (z) => (top - z) * scale;
  lines(front, o.y.map((y, k) => [atY(y), atZ(o.z[k])]), "front-wing");
  const ahead = Math.min(...o.lead, ...model.propellers.map((p) => p.position[0])) - 14 / scale;
  const aft = Math.max(...o.trail) + 14 / scale;
  prepare(plan, Math.max(80, (aft - ahead) * scale));
  const atX = (x) => (x - ahead) * scale;
  lines(plan, [...o.y.map((y, k) => [atY(y), atX(o.lead[k])]),
    ...o.y.map((y, k) => [atY(y), atX(o.trail[k])]).reverse()], "wing", true);
  for (const tube of Object.values(result ? result.streams : {})) {
    make(plan, "rect", { class: "tube", x: atY(tube.y - tube.radius), y: atX(tube.x),
      width: 2 * tube.radius * scale, height: Math.max(0, atX(aft) - atX(tube.x)) });
  }
  model.propellers.forEach((p, index) => {
    for (const side of p.mirror ? [-1, 1] : [1]) {
      const [x, y, z] = p.position, own = side === 1, r = p.diameter / 2;
      const name = `grab${own ? "" : " twin"}${index === chosen ? " chosen" : ""}`;
      const sense = senseOf(p.spin, y) * side;
      const one = make(front, "g", { class: name });
      make(one, "circle", { class: "disc", cx: atY(side * y), cy: atZ(z), r: r * scale });
      if (sense) turnArrow(one, atY(side * y), atZ(z), r * scale, sense);
      const two = make(plan, "g", { class: name });
      make(two, "line", { class: "edge-on", x1: atY(side * y - r), x2: atY(side * y + r),
        y1: atX(x), y2: atX(x) });
      if (!own) continue;
      for (const [group, view] of [[one, "front"], [two, "plan"]]) {
        group.setAttribute("tabindex", "0");
        group.setAttribute("role", "button");
        group.setAttribute("aria-label", `${p.name} in the ${view === "front" ? "view from behind" : "plan view"}`);
        group.addEventListener("pointerdown", (event) => take(event, index, view, "place"));
        group.addEventListener("keydown", (event) => step(event, index, view));
      }
      const rim = make(front, "rect", { class: "rim", x: atY(y + r) - 5, y: atZ(z) - 5, width: 10, height: 10 });
      rim.addEventListener("pointerdown", (event) => take(event, index, "front", "size"));
    }
  });
}

function prepare(svg, height) {
  svg.replaceChildren();
  svg.setAttribute("viewBox", `0 0 ${WIDTH} ${height.toFixed(1)}`);
}

function take(event, index, view, kind) {
  event.preventDefault();
  event.stopPropagation();
  choose(index);
  const p = model.propellers[index];
  grip = { index, view, kind, x: event.clientX, y: event.clientY,
    position: [...p.position], diameter: p.diameter };
  window.addEventListener("pointermove", move);
  window.addEventListener("pointerup", drop, { once: true });
  window.addEventListener("pointercancel", drop, { once: true });
}

function move(event) {
  const metres = WIDTH / find("front").clientWidth / scaleY();
  const right = (event.clientX - grip.x) * metres, down = (event.clientY - grip.y) * metres;
  const p = model.propellers[grip.index];
  if (grip.kind === "size") {
    p.diameter = round(Math.max(0.05, grip.diameter + 2 * right));
    change(`propellers.${grip.index}.diameter`, p.diameter);
  } else {
    const [x, y, z] = grip.position;
    let across = round(y + right);
    if (p.mirror) across = Math.sign(y) * Math.max(0.001, across * Math.sign(y));
    p.position = grip.view === "front" ? [x, across, round(z - down)] : [round(x + down), across, z];
    change(`propellers.${grip.index}.position`, p.position);
  }
  draw();
}

function drop() {
  window.removeEventListener("pointermove", move);
  grip = null;
  clearTimeout(restTimer);
  ask(false);
}

function step(event, index, view) {
  const by = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
  if (!by) return;
  event.preventDefault();
  choose(index);
  const p = model.propellers[index], size = 0.01 * model.span / 2, [x, y, z] = p.position;
  p.position = view === "front" ? [x, round(y + by[0] * size), round(z - by[1] * size)]
    : [round(x + by[1] * size), round(y + by[0] * size), z];
  change(`propellers.${index}.position`, p.position);
  draw();
  find(view).querySelectorAll("g[tabindex]")[index].focus();
}

// ---- curves along the span -------------------------------------------------------------------

function curves(id, height, sets) {
  const svg = find(id);
  prepare(svg, height);
  const all = sets.flatMap((set) => set.values);
  if (!all.length) return;
  let low = Math.min(0, ...all), high = Math.max(0, ...all);
  if (high - low < 1e-9) high = low + 1;
  const room = 0.06 * (high - low);
  low -= room; high += room;
  const at = (value) => height - (value - low) / (high - low) * height;
  const unit = 10 ** Math.floor(Math.log10((high - low) / 2));
  const tick = [1, 2, 5, 10].map((k) => k * unit).find((k) => (high - low) / k <= 5) || 10 * unit;
  for (let v = Math.ceil(low / tick) * tick; v <= high; v += tick) {
    lines(svg, [[LEFT, at(v)], [WIDTH - RIGHT, at(v)]], Math.abs(v) < tick / 2 ? "axis" : "grid");
    make(svg, "text", { x: LEFT - 6, y: at(v) + 4, "text-anchor": "end" }, String(Number(v.toPrecision(6))));
  }
  for (const set of sets) lines(svg, set.y.map((y, k) => [atY(y), at(set.values[k])]), set.name);
}

function loadings() {
  const s = result.strips, times = (cl, strips) => cl.map((v, k) => v * strips.chord[k]);
  const sets = [];
  const load = (strips, name) => (strips[name] ? times(strips[name], strips) : strips.circulation);
  const last = kept[kept.length - 1];
  if (last) sets.push({ name: "l-kept", y: last.strips.y, values: load(last.strips, "cl") });
  if (s.cl_unblown) sets.push({ name: "l-bare", y: s.y, values: load(s, "cl_unblown") });
  sets.push({ name: "l-blown", y: s.y, values: load(s, "cl") });
  curves("loading", 190, sets);
  find("keptname").textContent = last ? `snapshot ${kept.length}` : "";
  curves("stream", 150, [
    { name: "l-axial", y: s.y, values: s.slipstream_axial },
    { name: "l-swirl", y: s.y, values: s.slipstream_swirl },
  ]);
}

// ---- numbers -----------------------------------------------------------------------------------

const ROWS = [
  ["lift", "Lift", "N", 0], ["CL", "CL blown", "", 4], ["CL_unblown", "CL unblown", "", 4],
  ["CL_from_thrust", "CL of thrust", "", 4], ["drag", "Wing drag", "N", 1], ["Cm", "Cm", "", 4],
  ["thrust", "Thrust", "N", 0], ["net_axial_force", "Net axial force", "N", 0],
  ["power", "Shaft power", "W", 0], ["efficiency", "Efficiency", "", 3],
];

function numbers() {
  const body = find("totals").tBodies[0];
  body.replaceChildren();
  for (const [key, label, unit, digits] of ROWS) {
    if (result.totals[key] === undefined) continue;
    const row = html(body, "tr");
    html(row, "td", {}, label);
    html(row, "td", { className: "n" }, shown(result.totals[key], digits));
    html(row, "td", {}, unit);
  }
  const notes = find("notes");
  notes.replaceChildren();
  for (const note of result.notes) html(notes, "li", {}, note);
  dragBars();
}

function dragBars() {
  const svg = find("drag"), t = result.totals;
  prepare(svg, 84);
  if (t.CD_induced === undefined) return;
  const parts = [["induced, unblown", t.CD_induced_unblown, "#333"],
    ["induced, blown", t.CD_induced, "#0072b2"], ["profile", t.CD_profile, "#5b6975"]];
  const most = Math.max(1e-9, ...parts.map((part) => Math.abs(part[1] || 0)));
  svg.setAttribute("viewBox", "0 0 340 84");
  parts.forEach(([label, value, colour], k) => {
    make(svg, "text", { x: 0, y: 20 + 26 * k }, `CD ${label}`);
    make(svg, "rect", { x: 140, y: 8 + 26 * k, height: 16, width: 130 * Math.abs(value || 0) / most, fill: colour });
    make(svg, "text", { x: 146 + 130 * Math.abs(value || 0) / most, y: 20 + 26 * k }, shown(value, 4));
  });
}

// ---- fields --------------------------------------------------------------------------------------

function field(parent, label, value, low, high, increment, changed) {
  const box = html(parent, "label", {}, label + " ");
  const reach = [Math.min(low, value), Math.max(high, value)];
  const slide = html(box, "input", { type: "range", min: reach[0], max: reach[1], step: increment, value });
  const type = html(box, "input", { type: "number", step: increment, value });
  slide.setAttribute("aria-label", `${label}, slider`);
  slide.addEventListener("input", () => { type.value = slide.value; changed(Number(slide.value)); });
  type.addEventListener("change", () => {
    if (type.value !== "" && Number.isFinite(Number(type.value))) changed(Number(type.value));
  });
}

function choose(index) {
  chosen = index;
  fields();
}

function fields() {
  const group = find("choice");
  group.replaceChildren();
  model.propellers.forEach((p, k) => {
    const button = html(group, "button", { type: "button" }, p.name);
    button.setAttribute("aria-pressed", String(k === chosen));
    button.addEventListener("click", () => { choose(k); draw(); });
  });
  const box = find("propeller");
  box.replaceChildren();
  const p = model.propellers[chosen];
  if (p) {
    const path = `propellers.${chosen}`;
    field(box, "Diameter, m", p.diameter, 0.2, 3 * p.diameter, 0.01,
      (v) => { p.diameter = v; change(`${path}.diameter`, v); draw(); });
    const drive = ["thrust", "rpm", "power", "speed_ratio"].find((k) => p[k] !== null && !(k === "rpm" && p.thrust !== null));
    if (drive !== "thrust" && p.kind !== "disc") {
      const button = html(box, "button", { type: "button" }, "Give thrust instead");
      button.addEventListener("click", () => {
        const found = (result ? result.propellers : []).find((q) => q.name === p.name);
        p.rpm = p.power = null;
        p.thrust = round(found ? found.thrust : 100);
        change(`${path}.thrust`, p.thrust);
        fields();
      });
    }
    const names = { thrust: "Thrust, N", rpm: "Speed, rpm", power: "Power, W", speed_ratio: "Speed ratio" };
    field(box, names[drive], p[drive], 0, 3 * Math.max(p[drive], 1), drive === "speed_ratio" ? 0.01 : 1,
      (v) => { p[drive] = v; change(`${path}.${drive}`, v); });
    field(box, "Tilt, deg", p.incidence, -15, 15, 0.5, (v) => { p.incidence = v; change(`${path}.incidence`, v); });
    if (p.spin) {
      const label = html(box, "label", {}, "Spin ");
      const select = html(label, "select");
      const spins = p.position[1] === 0 ? ["clockwise", "counterclockwise"] : ["inboard_up", "outboard_up", "clockwise", "counterclockwise"];
      for (const spin of spins) html(select, "option", { value: spin, selected: spin === p.spin }, spin.replace("_", " "));
      select.addEventListener("change", () => { p.spin = select.value; change(`${path}.spin`, p.spin); draw(); });
    }
  } else html(box, "p", {}, "The case has no propellers.");
  const flow = find("flow");
  flow.replaceChildren();
  field(flow, "Incidence, deg", model.alpha, -6, 16, 0.1, (v) => { model.alpha = v; change("flow.alpha", v); });
  model.flaps.forEach((flap, k) => field(flow, `Flap ${k + 1}, deg`, flap.deflection, -10, 50, 0.5,
    (v) => { flap.deflection = v; change(`wing.flaps.${k}.deflection`, v); }));
}

// ---- snapshots and saving --------------------------------------------------------------------

const KEPT = [["CL", 3], ["CD", 4], ["thrust", 0], ["power", 0]];

function keep() {
  if (!result) return;
  kept.push({ totals: result.totals, strips: result.strips, edges: result.edges, edits: { ...edits } });
  const table = find("kept");
  table.tHead.replaceChildren();
  const head = html(table.tHead, "tr");
  for (const name of ["", "CL", "CD", "thrust, N", "power, W", "edges", ""]) html(head, "th", { className: "n" }, name);
  table.tBodies[0].replaceChildren();
  kept.forEach((one, k) => {
    const row = html(table.tBodies[0], "tr");
    html(row, "td", { className: "n" }, String(k + 1));
    for (const [name, digits] of KEPT) html(row, "td", { className: "n" }, shown(one.totals[name], digits));
    html(row, "td", { className: "n" }, one.edges ? "on" : "off");
    const cell = html(row, "td");
    const back = html(cell, "button", { type: "button" }, "Restore");
    back.addEventListener("click", () => { edits = { ...one.edits }; ask(false).then(() => { refit(); fields(); draw(); }); });
  });
  loadings();
}

async function save(replace) {
  const file = find("file").value.trim();
  let found;
  try {
    found = await post("save", { edits, file, replace });
  } catch (error) {
    found = { error: GONE };
  }
  if (found.exists && window.confirm(`${found.exists} exists. Replace it?`)) return save(true);
  find("saved").textContent = found.error || (found.saved ? `Saved ${found.saved}` : "Not saved");
}

// ---- start ---------------------------------------------------------------------------------------

function refit() { frozenSide = extents(); }

function draw() {
  if (!grip) refit();
  views();
  if (result) { loadings(); numbers(); }
}

async function start() {
  setInterval(watch, WATCH);
  let opened;
  try {
    opened = await (await fetch("case")).json();
  } catch (error) {
    say(GONE, true);
    return;
  }
  model = opened.case;
  find("title").textContent = model.title;
  find("file").value = opened.file;
  find("caution").textContent = model.caution;
  find("keep").addEventListener("click", keep);
  find("save").addEventListener("click", () => save(false));
  refit();
  fields();
  draw();
  ask(true); // a first picture at once, and the wing's matrices are there for the first drag
  ask(false);
}

start();
