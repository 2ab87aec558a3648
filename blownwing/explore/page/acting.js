// What a hand can do to the case: change values, move and size discs, go back.
import { settle } from "./asking.js";
import { DRIVES, commit, goBack, goForward, meant, state, tell, withValues } from "./state.js";

// The grain that places are rounded to, m: about a ten-thousandth of the span, a millimetre at most.
const grain = () => Math.min(1e-3, 10 ** (Math.round(Math.log10(state.opened.span)) - 4));
export const placeDigits = () => Math.max(0, -Math.round(Math.log10(grain())));
export const round = (value) => Number((Math.round(value / grain()) * grain()).toFixed(placeDigits()));

export function change(values, tag, moving = false) {
  if (commit(withValues(state.edits, values), tag)) settle(moving);
  tell();
}

export function replaceAll(edits) {
  if (commit({ ...edits }, {})) settle(false);
  tell();
}

export function back() { if (goBack()) { settle(false); tell(); } }
export function forward() { if (goForward()) { settle(false); tell(); } }

// One key of the propellers that are meant, or of those among them that have it.
export function setOfMeant(key, value, tag, moving) {
  const values = {};
  for (const k of meant()) {
    const p = state.model.propellers[k];
    if (p[key] === null) continue;
    if (key === "spin" && p.position[1] === 0 && value.endsWith("_up")) continue; // no inboard side
    values[`propellers.${k}.${key}`] = value;
  }
  change(values, tag, moving);
}

// Hold another of thrust, speed and power: at what it is now.
export function setDrive(drive) {
  const values = {};
  for (const k of meant()) {
    const p = state.model.propellers[k];
    const found = (state.result ? state.result.propellers : []).find((q) => q.name === p.name);
    if (p[drive] !== null || !found || found[drive] === undefined) continue;
    if (p.kind === "disc" || p.trim === "pitch") continue;
    for (const other of DRIVES) values[`propellers.${k}.${other}`] = null;
    values[`propellers.${k}.${drive}`] = Number(found[drive].toPrecision(5));
  }
  change(values, {});
}

// Positions after a shift of the propellers that are meant, from where they were.
// `right` is along y as the hand moves at the propeller `at`; with all of them it means outboard.
export function shifted(before, at, { aft = 0, right = 0, up = 0 }) {
  const side = (y) => Math.sign(y), values = {};
  for (const k of meant()) {
    const [x, y, z] = before[k], mirrored = state.model.propellers[k].mirror;
    const along = state.together ? right * side(before[at][1]) * side(y) : right;
    let across = round(y + along);
    if (mirrored && across * side(y) < 10 * grain()) across = side(y) * 10 * grain();
    values[`propellers.${k}.position`] = [round(x + aft), right ? across : y, round(z + up)];
  }
  return values;
}

export const positions = () => state.model.propellers.map((p) => [...p.position]);
export const diameters = () => state.model.propellers.map((p) => p.diameter);

// Diameters of those that are meant, all in the ratio of the one that is held.
export function sized(before, at, diameter) {
  const values = {}, ratio = Math.max(diameter, 10 * grain()) / before[at];
  for (const k of meant()) values[`propellers.${k}.diameter`] = round(before[k] * ratio);
  return values;
}

export function choose(index) {
  if (!state.together) state.chosen = index;
  tell();
}
