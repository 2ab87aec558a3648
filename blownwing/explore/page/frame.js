// Scales shared by everything drawn over the span; one unit of a drawing is one CSS pixel.
import { find, line, make, put, ticks } from "./dom.js";
import { state } from "./state.js";

export const LEFT = 46, RIGHT = 10, FOOT = 20;
const HALF_BELOW = 600; // px: narrower, the starboard half of a mirrored case fills the width

let frame = null;
export const framed = () => frame;

// The scales of the case as drawn; they stay as they are while something is dragged.
export function refit() {
  if (state.grip && frame) return;
  const { outline: o, propellers, mirrored } = state.model;
  const width = Math.max(240, find("views").clientWidth);
  let side = Math.max(...o.y.map(Math.abs));
  for (const p of propellers) side = Math.max(side, Math.abs(p.position[1]) + p.diameter / 2);
  const high = 1.04 * side, half = mirrored && width < HALF_BELOW;
  let low = half ? -0.05 * side : -high;
  for (const p of half ? propellers : []) low = Math.min(low, p.position[1] - 0.6 * p.diameter);
  const scale = (width - LEFT - RIGHT) / (high - low), room = 14 / scale;
  const reach = Math.max(0, ...propellers.map((p) => p.diameter)) / 4; // room to move into
  const z = [...o.z, ...propellers.flatMap((p) => [p.position[2] + p.diameter / 2, p.position[2] - p.diameter / 2])];
  const deep = (p) => p.diameter / 2 * Math.abs(Math.sin(p.incidence * Math.PI / 180));
  const x = [...o.lead, ...propellers.map((p) => p.position[0] - deep(p))];
  frame = { width, low, high, scale, half,
    top: Math.max(...z) + reach + 34 / scale, bottom: Math.min(...z) - reach - room,
    ahead: Math.min(...x) - reach - room, aft: Math.max(...o.trail, ...propellers.map((p) => p.position[0] + deep(p))) + room };
  frame.top = Math.max(frame.top, frame.bottom + 90 / scale);
}

export const atY = (y) => LEFT + (y - frame.low) * frame.scale;
export const atZ = (z) => (frame.top - z) * frame.scale;
export const atX = (x) => (x - frame.ahead) * frame.scale;
export const frontHeight = () => (frame.top - frame.bottom) * frame.scale;
export const planHeight = () => (frame.aft - frame.ahead) * frame.scale;

export function size(svg, height) {
  put(svg, { viewBox: `0 0 ${frame.width} ${(height + FOOT).toFixed(1)}`,
    height: (height + FOOT).toFixed(1), width: frame.width });
}

// Metres along the span under a drawing.
export function spanAxis(svg, height) {
  line(svg, [[LEFT, height], [frame.width - RIGHT, height]], "axis");
  for (const y of ticks(frame.low, frame.high, Math.max(4, (frame.width - LEFT) / 70))) {
    const x = atY(y);
    line(svg, [[x, height], [x, height + 4]], "axis");
    make(svg, "text", { x, y: height + 16, "text-anchor": "middle" }, String(y).replace("-", "−"));
  }
  make(svg, "text", { x: 2, y: height + 16 }, "y, m");
}

// Values up the left side; `at` turns one into a place. What was drawn into the margin is covered.
export function sideAxis(svg, low, high, at, most, grid) {
  make(svg, "rect", { class: "margin", x: 0, y: 0, width: LEFT, height: Math.max(at(low), at(high)) });
  for (const v of ticks(low, high, most)) {
    const y = at(v);
    if (!grid && y < 22) continue; // the name of the axis stands there
    line(svg, [[grid ? LEFT : LEFT - 4, y], [grid ? frame.width - RIGHT : LEFT, y]], v === 0 && grid ? "axis" : grid ? "grid" : "axis");
    make(svg, "text", { x: LEFT - 7, y: Math.max(y + 4, 11), "text-anchor": "end" }, String(v).replace("-", "−"));
  }
}
