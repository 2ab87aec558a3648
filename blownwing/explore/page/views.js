// The views from behind and from above, with discs to take hold of by pointer or keys.
import { change, choose, diameters, placeDigits, positions, round, shifted, sized } from "./acting.js";
import { ask } from "./asking.js";
import { find, line, make, put, shown } from "./dom.js";
import { LEFT, atX, atY, atZ, framed, frontHeight, planHeight, sideAxis, size, spanAxis } from "./frame.js";
import { meant, state, tell } from "./state.js";

const REACH = 24; // px that a finger needs
const STEP = 0.01, FINE = 0.001; // of the semi-span, for one press of a key
const discs = []; // {index, side, front: nodes, plan: nodes}, made once: focus stays where it is

export function buildViews() {
  for (const view of ["front", "plan"]) {
    const svg = find(view);
    make(svg, "g", { class: "under" });
    make(svg, "g", { class: "discs" });
    make(svg, "g", { class: "over" });
  }
  state.model.propellers.forEach((p, index) => {
    for (const side of p.mirror ? [-1, 1] : [1]) {
      discs.push({ index, side, front: frontDisc(index, side === 1), plan: planDisc(index, side === 1) });
    }
  });
}

function group(view, index, own) {
  const node = make(find(view).querySelector(".discs"), "g", { class: "grab" });
  if (!own) return node;
  put(node, { tabindex: "0", role: "button", "data-index": index });
  node.addEventListener("pointerdown", (event) => take(event, node, index, view, "place"));
  node.addEventListener("keydown", (event) => press(event, index, view));
  node.addEventListener("focus", () => choose(index));
  return node;
}

function frontDisc(index, own) {
  const node = group("front", index, own);
  const nodes = { node, disc: make(node, "path", { class: "disc" }), turn: make(node, "path", { class: "turn" }) };
  nodes.ring = make(node, "circle", { class: "ring" });
  nodes.hit = make(node, "circle", { class: "hit" });
  if (!own) return nodes;
  nodes.stem = make(find("front").querySelector(".over"), "path", { class: "stem" });
  nodes.rim = make(find("front").querySelector(".over"), "g", { class: "rim" });
  nodes.mark = make(nodes.rim, "rect", { width: 12, height: 12 });
  nodes.target = make(nodes.rim, "rect", { class: "hit", width: REACH, height: REACH });
  nodes.rim.addEventListener("pointerdown", (event) => take(event, nodes.rim, index, "front", "size"));
  return nodes;
}

function planDisc(index, own) {
  const node = group("plan", index, own);
  return { node, disc: make(node, "path", { class: "edge-on" }),
    ring: make(node, "rect", { class: "ring" }), hit: make(node, "rect", { class: "hit" }) };
}

// ---- drawing ----------------------------------------------------------------------------------

function turnArrow(x, y, radius, sense) {
  // Seen from behind with starboard to the right, clockwise is clockwise on the screen.
  const a = 0.62 * radius, s = sense > 0 ? 1 : -1, h = Math.min(7, 0.5 * radius);
  return `M${x - s * a * 0.87} ${y - a * 0.5}A${a} ${a} 0 0 ${s > 0 ? 1 : 0} ${x + s * a * 0.87} ${y - a * 0.5}` +
    `m${-s * h} ${-0.15 * h}l${s * h} ${0.15 * h}l${0.15 * s * h} ${-h}`;
}

function senseOf(spin, y) {
  if (!spin) return 0;
  if (!spin.endsWith("_up")) return spin === "clockwise" ? 1 : -1;
  const inboard = y > 0 ? 1 : -1;
  return spin === "inboard_up" ? inboard : -inboard;
}

export function drawViews() {
  const f = framed(), o = state.model.outline;
  const front = find("front"), plan = find("plan");
  size(front, frontHeight());
  size(plan, planHeight());
  const behind = front.querySelector(".under"), above = plan.querySelector(".under");
  behind.replaceChildren();
  above.replaceChildren();
  line(behind, o.y.map((y, k) => [atY(y), atZ(o.z[k])]), "front-wing");
  sideAxis(behind, f.bottom, f.top, atZ, frontHeight() / 30, false);
  spanAxis(behind, frontHeight());
  make(behind, "text", { x: 2, y: 12 }, "z, m");
  line(above, [...o.y.map((y, k) => [atY(y), atX(o.lead[k])]),
    ...o.y.map((y, k) => [atY(y), atX(o.trail[k])]).reverse()], "wing", true);
  if (state.result && state.standing !== "stale") tubes(above, state.result.streams);
  sideAxis(above, f.ahead, f.aft, atX, planHeight() / 30, false);
  spanAxis(above, planHeight());
  make(above, "text", { x: 2, y: 12 }, "x, m");
  for (const one of discs) place(one);
}

function tubes(svg, streams) {
  const f = framed();
  for (const tube of Object.values(streams)) {
    const from = Math.max(LEFT, atY(tube.y - tube.radius)), to = atY(tube.y + tube.radius);
    if (to <= from) continue;
    make(svg, "rect", { class: "tube", x: from, y: atX(tube.x), width: to - from,
      height: Math.max(0, atX(f.aft) - atX(tube.x)) });
  }
}

const path = (points) => points.map(([x, y], k) => `${k ? "L" : "M"}${x.toFixed(1)} ${y.toFixed(1)}`).join("") + "Z";

// Points of a disc's rim about its centre, m, tilted nose up and toed to starboard, twins mirrored.
function rimOf(p, side) {
  const tilt = p.incidence * Math.PI / 180, toe = p.toe * Math.PI / 180, r = p.diameter / 2;
  return Array.from({ length: 48 }, (_, k) => {
    const b = r * Math.cos(k * Math.PI / 24), up = r * Math.sin(k * Math.PI / 24), a = up * Math.sin(tilt);
    return [a * Math.cos(toe) + b * Math.sin(toe), side * (b * Math.cos(toe) - a * Math.sin(toe)), up * Math.cos(tilt)];
  });
}

function place({ index, side, front, plan }) {
  const p = state.model.propellers[index], f = framed();
  const [x, y, z] = p.position, r = p.diameter / 2, cx = atY(side * y), cy = atZ(z), px = atX(x);
  const picked = meant().includes(index), own = side === 1;
  const name = `grab${own ? "" : " twin"}${picked ? " chosen" : ""}${side * y < f.low ? " off" : ""}`;
  for (const view of [front, plan]) view.node.setAttribute("class", name);
  const rim = rimOf(p, side);
  front.disc.setAttribute("d", path(rim.map(([, b, c]) => [cx + b * f.scale, cy - c * f.scale])));
  plan.disc.setAttribute("d", path(rim.map(([a, b]) => [cx + b * f.scale, px + a * f.scale])));
  const sense = senseOf(p.spin, y) * side;
  front.turn.setAttribute("d", sense && Math.abs(p.incidence) < 60 ? turnArrow(cx, cy, r * f.scale, sense) : "");
  put(front.ring, { cx, cy, r: r * f.scale + 4 });
  put(front.hit, { cx, cy, r: Math.max(r * f.scale, REACH / 2) });
  const deep = 2 * Math.max(...rim.map(([a]) => a)) * f.scale;
  const wide = Math.max(2 * r * f.scale, REACH), high = Math.max(deep, REACH), ring = Math.max(deep + 10, 16);
  put(plan.hit, { x: cx - wide / 2, y: px - high / 2, width: wide, height: high });
  put(plan.ring, { x: cx - wide / 2 - 3, y: px - ring / 2, width: wide + 6, height: ring });
  if (!own) return;
  const words = `${p.name}, ${placeWords(p)}`;
  put(front.node, { "aria-label": `${words}; from behind` });
  put(plan.node, { "aria-label": `${words}; from above` });
  const top = cy - Math.max(...rim.map(([, , c]) => c)) * f.scale, above = Math.max(top - 20, REACH / 2);
  front.rim.classList.toggle("off", !picked);
  front.stem.setAttribute("d", picked ? `M${cx} ${top}V${above}` : "");
  put(front.mark, { x: cx - 6, y: above - 6 });
  put(front.target, { x: cx - REACH / 2, y: above - REACH / 2 });
}

export function placeWords(p) {
  const [x, y, z] = p.position.map((value) => shown(value, placeDigits()));
  return `x ${x}, y ${y}, z ${z}, diameter ${shown(p.diameter, placeDigits())} m`;
}

// ---- pointer ----------------------------------------------------------------------------------

function take(event, node, index, view, kind) {
  if (event.button > 0) return;
  event.preventDefault();
  if (kind === "place") node.focus({ preventScroll: true });
  choose(index);
  state.grip = { index, view, kind, x: event.clientX, y: event.clientY,
    positions: positions(), diameters: diameters(), tag: {} };
  const ends = ["pointerup", "pointercancel"];
  const drop = () => {
    window.removeEventListener("pointermove", move);
    for (const end of ends) window.removeEventListener(end, drop);
    const moved = state.grip && state.grip.moved;
    state.grip = null;
    if (moved) ask(false);
    tell();
  };
  window.addEventListener("pointermove", move);
  for (const end of ends) window.addEventListener(end, drop);
}

function move(event) {
  const grip = state.grip, scale = framed().scale;
  const right = (event.clientX - grip.x) / scale, down = (event.clientY - grip.y) / scale;
  grip.moved = true;
  change(grip.kind === "size" ? sized(grip.diameters, grip.index, grip.diameters[grip.index] - 2 * down)
    : shifted(grip.positions, grip.index, grip.view === "front" ? { right, up: -down } : { right, aft: down }),
  grip.tag, true);
}

// ---- keys -------------------------------------------------------------------------------------

const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

function press(event, index, view) {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const part = (event.shiftKey && ARROWS[event.key] ? FINE : STEP) * state.opened.span / 2;
  const sizing = { "+": 1, "=": 1, "-": -1, "_": -1 }[event.key];
  if (sizing) {
    const now = diameters();
    change(sized(now, index, round(now[index] + sizing * part)), `size ${index}`, true);
  } else if (ARROWS[event.key]) {
    const [right, down] = ARROWS[event.key].map((sign) => sign * part);
    change(shifted(positions(), index, view === "front" ? { right, up: -down } : { right, aft: down }),
      `${view} ${index}`, true);
  } else return;
  event.preventDefault();
}
