// Loading and slipstream speeds along the span, with the reference snapshot behind them.
import { find, line, make } from "./dom.js";
import { LEFT, atY, framed, sideAxis, size, spanAxis } from "./frame.js";
import { state } from "./state.js";

function curves(id, height, sets) {
  const svg = find(id), f = framed();
  svg.replaceChildren();
  size(svg, height);
  const all = sets.flatMap((set) => set.values);
  if (!all.length) return;
  let low = Math.min(0, ...all), high = Math.max(0, ...all);
  if (high - low < 1e-9) high = low + 1;
  const room = 0.06 * (high - low);
  low -= room; high += room;
  const at = (value) => height - (value - low) / (high - low) * height;
  sideAxis(svg, low, high, at, 5, true);
  spanAxis(svg, height);
  for (const { name, y, values, dots } of sets) {
    const seen = y.map((place, k) => [place, values[k]]).filter(([place]) => place >= f.low);
    const points = seen.map(([place, value]) => [atY(place), at(value)]);
    if (!dots) line(svg, points, name);
    else for (const [cx, cy] of points) make(svg, "circle", { class: `dot ${name}`, cx, cy, r: 1.8 });
  }
  make(svg, "text", { x: LEFT + 4, y: 12, class: "standing" }, MARKS[state.standing] || "");
}

const MARKS = { provisional: "provisional", stale: "of an earlier state", solving: "being solved anew" };

// At rest in still air there is no cl, and circulation itself is drawn.
const load = (strips, name) => (strips[name] ? strips[name].map((v, k) => v * strips.chord[k]) : strips.circulation);

// Slipstream speeds point by point; without propellers there are the strips' only.
function speedsOf({ profile, strips }) {
  if (profile.y) return profile;
  return { y: strips.y, axial: strips.slipstream_axial || [], swirl: strips.slipstream_swirl || [] };
}

export function drawCurves(reference) {
  const s = state.result.strips, loads = [], speeds = [];
  if (reference) {
    const r = reference.strips;
    if (!r.cl === !s.cl) loads.push({ name: "l-kept", y: r.y, values: load(r, "cl") });
    const { y, axial } = speedsOf(reference);
    speeds.push({ name: "l-kept", y, values: axial });
  }
  if (s.cl_unblown) loads.push({ name: "l-bare", y: s.y, values: load(s, "cl_unblown") });
  loads.push({ name: "l-blown", y: s.y, values: load(s, "cl") });
  if (s.slipstream_axial) {
    const { y, axial, swirl } = speedsOf(state.result);
    speeds.push({ name: "l-swirl", y, values: swirl });
    speeds.push({ name: "l-axial", y, values: axial });
    speeds.push({ name: "l-swirl", y: s.y, values: s.slipstream_swirl, dots: true });
    speeds.push({ name: "l-axial", y: s.y, values: s.slipstream_axial, dots: true });
  }
  find("loadname").textContent = s.cl ? "Section cl × chord, m:" : "Circulation, m²/s:";
  curves("loading", 170, loads);
  curves("stream", 120, speeds);
  for (const node of document.querySelectorAll(".reference")) node.textContent = reference ? reference.name : "";
  for (const node of document.querySelectorAll(".of-reference")) node.hidden = !reference;
}
