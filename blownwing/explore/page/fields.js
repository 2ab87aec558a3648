// Everything that can be typed: the chosen propeller or all of them, the flow, the flaps.
import { change, placeDigits, positions, round, setDrive, setOfMeant, shifted } from "./acting.js";
import { find, html } from "./dom.js";
import { DRIVES, meant, state, tell } from "./state.js";

const DRIVE_NAMES = { thrust: "Thrust, N", rpm: "Speed, rpm", power: "Power, W", speed_ratio: "Speed ratio" };
let updates = [], made = "";

// A value with a slider (where it has a range) and a number field, kept at what the case says.
function field(parent, name, label, { get, set, step, range }) {
  const box = html(parent, "div", { className: "field" });
  html(box, "label", { htmlFor: `f-${name}` }, label);
  let slide = null;
  if (range) {
    slide = html(box, "input", { type: "range", id: `s-${name}`, min: range[0], max: range[1], step });
    slide.setAttribute("aria-label", `${label}, slider`);
    slide.addEventListener("input", () => set(Number(slide.value), true));
  }
  const type = html(box, "input", { type: "number", id: `f-${name}`, step });
  let typing = false; // what is half typed is left alone when an answer comes
  type.addEventListener("input", () => { typing = true; });
  type.addEventListener("blur", () => { if (typing) { typing = false; tell(); } });
  type.addEventListener("change", () => {
    typing = false;
    if (type.value !== "" && Number.isFinite(Number(type.value))) set(Number(type.value), false);
    else tell(); // nothing to take over: what stood there comes back
  });
  const update = () => {
    const found = get(), value = found === null ? null : Number(found.toPrecision(6));
    type.placeholder = value === null ? "several" : "";
    const text = value === null ? "" : String(value);
    if (!typing && (Number(type.value) !== value || type.value === "")) type.value = text;
    if (!slide || value === null) return;
    slide.min = Math.min(range[0], value);
    slide.max = Math.max(range[1], value);
    slide.value = value;
  };
  updates.push(update);
}

function select(parent, name, label, options, { get, set }) {
  const box = html(parent, "div", { className: "field" });
  html(box, "label", { htmlFor: `f-${name}` }, label);
  const node = html(box, "select", { id: `f-${name}` });
  for (const [value, text] of options) html(node, "option", { value }, text);
  const several = html(node, "option", { value: "", disabled: true, hidden: true }, "several");
  node.addEventListener("change", () => set(node.value));
  updates.push(() => { const value = get(); several.hidden = value !== null; node.value = value === null ? "" : value; });
}

// What the meant propellers have in common, null where they differ.
function common(read) {
  const values = meant().map((k) => read(state.model.propellers[k])).filter((value) => value !== null);
  return values.every((value) => value === values[0]) && values.length ? values[0] : null;
}

const drivesOf = (p) => DRIVES.filter((key) => p[key] !== null);

function propellerFields(box) {
  const some = meant().map((k) => state.model.propellers[k]);
  if (state.together) shifting(box);
  else placing(box);
  const opened = meant().map((k) => state.opened.propellers[k]);
  const widest = Math.max(...opened.map((p) => p.diameter));
  field(box, "diameter", "Diameter, m", { get: () => common((p) => p.diameter), step: round(widest / 100) || 0.01,
    range: [round(0.2 * widest), round(3 * widest)], set: (v, moving) => setOfMeant("diameter", v, "diameter", moving) });
  if (some.every((p) => p.kind !== "disc" && p.trim !== "pitch")) {
    select(box, "drive", "Held", ["thrust", "rpm", "power"].map((key) => [key, DRIVE_NAMES[key].split(",")[0].toLowerCase()]),
      { get: () => common((p) => drivesOf(p)[0]), set: setDrive });
  }
  for (const drive of DRIVES.filter((key) => some.some((p) => p[key] !== null))) {
    const most = Math.max(...some.map((p) => p[drive] || 0), drive === "speed_ratio" ? 1 : 10);
    field(box, drive, DRIVE_NAMES[drive], { get: () => common((p) => p[drive]), step: drive === "speed_ratio" ? 0.01 : 1,
      range: [0, Math.round(3 * most)], set: (v, moving) => setOfMeant(drive, v, drive, moving) });
  }
  field(box, "incidence", "Tilt, deg", { get: () => common((p) => p.incidence), step: 0.5, range: [-15, 15],
    set: (v, moving) => setOfMeant("incidence", v, "incidence", moving) });
  if (some.some((p) => p.spin)) {
    const centred = some.every((p) => p.position[1] === 0);
    const spins = [...(centred ? [] : ["inboard_up", "outboard_up"]), "clockwise", "counterclockwise"];
    select(box, "spin", "Spin", spins.map((spin) => [spin, spin.replace("_", " ")]),
      { get: () => common((p) => p.spin), set: (v) => setOfMeant("spin", v, {}, false) });
  }
}

function placing(box) {
  const names = ["x, m aft", "y, m starboard", "z, m up"], step = round(state.opened.span / 1000);
  const path = `propellers.${state.chosen}.position`;
  const row = html(box, "div", { className: "place" });
  names.forEach((label, k) => field(row, "xyz"[k], label, {
    get: () => Number(state.model.propellers[state.chosen].position[k].toFixed(placeDigits() + 2)), step,
    set: (v) => change({ [path]: state.model.propellers[state.chosen].position.map((old, n) => (n === k ? v : old)) }, {}),
  }));
}

// All at once keep their places among each other: a shift is typed, added and set back to 0.
function shifting(box) {
  const row = html(box, "div", { className: "place" }), typed = {};
  for (const [way, label] of [["aft", "aft by, m"], ["right", "outboard, m"], ["up", "up by, m"]]) {
    const one = html(row, "div", { className: "field" });
    html(one, "label", { htmlFor: `f-${way}` }, label);
    typed[way] = html(one, "input", { type: "number", id: `f-${way}`, value: "0", step: round(state.opened.span / 1000) });
    typed[way].addEventListener("keydown", (event) => { if (event.key === "Enter") shift(); });
  }
  const shift = () => {
    const by = Object.fromEntries(Object.entries(typed).map(([way, node]) => [way, Number(node.value) || 0]));
    const at = Math.max(0, state.model.propellers.findIndex((p) => p.position[1] !== 0));
    by.right *= Math.sign(state.model.propellers[at].position[1]) || 1;
    for (const node of Object.values(typed)) node.value = "0";
    change(shifted(positions(), at, by), {});
  };
  html(box, "button", { type: "button", id: "shift" }, "Shift all").addEventListener("click", shift);
}

// ---- built once, and again only where other fields are needed ----------------------------------

export function buildChoice() {
  const group = find("choice"), { propellers } = state.model;
  const one = (text, pressed, pick) => {
    const button = html(group, "button", { type: "button" }, text);
    button.addEventListener("click", () => { pick(); tell(); });
    return () => button.setAttribute("aria-pressed", String(pressed()));
  };
  const marks = propellers.map((p, k) => one(p.name, () => !state.together && state.chosen === k,
    () => { state.together = false; state.chosen = k; }));
  if (propellers.length > 1) marks.push(one("All together", () => state.together, () => { state.together = true; }));
  if (!propellers.length) html(find("propeller"), "p", {}, "The case has no propellers.");
  return () => marks.forEach((mark) => mark());
}

export function drawFields() {
  const { model, together, chosen } = state;
  const kinds = JSON.stringify([together, chosen, model.propellers.map(drivesOf), model.propellers.map((p) => p.position[1] === 0)]);
  if (kinds !== made) {
    const focused = document.activeElement && document.activeElement.id;
    made = kinds;
    updates = [];
    if (model.propellers.length) { find("propeller").replaceChildren(); propellerFields(find("propeller")); }
    find("flow").replaceChildren();
    flowFields(find("flow"));
    if (focused && focused !== document.activeElement.id && find(focused)) find(focused).focus();
  }
  updates.forEach((update) => update());
}

function flowFields(box) {
  const { opened } = state;
  field(box, "airspeed", "Airspeed, m/s", { get: () => state.model.airspeed, step: 0.5,
    range: [0, Math.ceil(2 * opened.airspeed) || 40], set: (v, moving) => change({ "flow.airspeed": v }, "airspeed", moving) });
  field(box, "alpha", "Incidence, deg", { get: () => state.model.alpha, step: 0.1, range: [-6, 16],
    set: (v, moving) => change({ "flow.alpha": v }, "alpha", moving) });
  opened.flaps.forEach((flap, k) => field(box, `flap-${k}`, `Flap ${k + 1}, deg`, {
    get: () => state.model.flaps[k].deflection, step: 0.5, range: [-10, 50],
    set: (v, moving) => change({ [`wing.flaps.${k}.deflection`]: v }, `flap ${k}`, moving) }));
  if (opened.alphas.length > 1) {
    html(box, "p", { className: "hint" }, `The file runs a polar of ${opened.alphas.length} incidences; it is saved ` +
      "with them unless the incidence is changed here.");
  }
}
