// The results as numbers, with differences from the reference snapshot.
import { changeShown, find, html, make, put, shown } from "./dom.js";
import { state } from "./state.js";

const squared = (t) => (t.CL && t.CD_induced !== undefined ? t.CD_induced / t.CL ** 2 : undefined);

const force = (t) => Math.max(Math.abs(t.lift || 0), Math.abs(t.drag || 0), Math.abs(t.thrust || 0));
const power = (t) => Math.abs(t.power || 0);

export const ROWS = [
  { key: "lift", label: "Lift, N", digits: 0, scale: force },
  { key: "half_lift", label: "of the half", digits: 0, scale: force },
  { key: "CL", label: "CL blown", digits: 4 },
  { key: "CL_unblown", label: "CL unblown", digits: 4 },
  { key: "CL_from_thrust", label: "CL of thrust", digits: 4 },
  { key: "CD", label: "CD of the wing", digits: 5 },
  { key: "CD_induced", label: "CD induced", digits: 5 },
  { key: "ratio", label: "CD induced / CL²", digits: 5, of: squared },
  { key: "drag", label: "Wing drag, N", digits: 1, scale: force },
  { key: "half_drag", label: "of the half", digits: 1, scale: force },
  { key: "C_pitch", label: "C_pitch", digits: 4 },
  { key: "thrust", label: "Thrust, N", digits: 0, scale: force },
  { key: "half_thrust", label: "of the half", digits: 0, scale: force },
  { key: "net_axial_force", label: "Net axial force, N", digits: 0, scale: force },
  { key: "half_net_axial_force", label: "of the half", digits: 0, scale: force },
  { key: "power", label: "Shaft power, W", digits: 0, scale: power },
  { key: "half_power", label: "of the half", digits: 0, scale: power },
  { key: "efficiency", label: "Efficiency", digits: 4 },
];
const GLANCE = ["lift", "CL", "CD_induced", "power"];
const MARKS = {
  none: "", rest: "", moving: "Moving",
  provisional: "Provisional: coarser model",
  stale: "Not of what is drawn: the last state that was solved",
  solving: "Of the state before; being solved anew",
};

// A coarser model's difference from the reference's own model would mostly tell of the models.
const by = (value, other, digits) => (state.standing === "provisional" ? "…" : changeShown(value, other, digits));

// Decimals of a row: at least those that give the largest force, or the power, four figures.
export function digitsOf(row, totals) {
  const scale = row.scale ? row.scale(totals) : 0;
  return scale ? Math.max(row.digits, Math.min(6, 3 - Math.floor(Math.log10(scale)))) : row.digits;
}

export const valueOf = (row, totals) => (row.of ? row.of(totals) : totals[row.key]);

export function drawNumbers(reference) {
  const { result, standing } = state, about = standing === "provisional" ? "≈ " : "";
  find("standing").textContent = MARKS[standing];
  const table = find("totals");
  table.tHead.rows[0].cells[2].textContent = reference ? `against “${reference.name}”` : "";
  table.tBodies[0].replaceChildren();
  for (const row of ROWS) {
    const value = valueOf(row, result.totals);
    if (value === undefined) continue;
    const line = html(table.tBodies[0], "tr", { id: `row-${row.key}` }), digits = digitsOf(row, result.totals);
    html(line, "th", { scope: "row", className: row.key.startsWith("half_") ? "half-model" : "" }, row.label);
    html(line, "td", { className: "n" }, about + shown(value, digits));
    const other = reference && valueOf(row, reference.totals);
    html(line, "td", { className: "n by" }, reference ? by(value, other, digits) : "");
  }
  glance(reference, about);
  propellers(about);
  const notes = find("notes");
  notes.replaceChildren();
  for (const note of result.notes) html(notes, "li", {}, note);
  dragBars();
}

function glance(reference, about) {
  const box = find("glance");
  box.replaceChildren();
  for (const key of GLANCE) {
    const row = ROWS.find((one) => one.key === key), value = state.result.totals[key];
    if (value === undefined) continue;
    const cell = html(box, "span");
    html(cell, "small", {}, row.label);
    const digits = digitsOf(row, state.result.totals);
    html(cell, "b", {}, about + shown(value, digits));
    if (reference) html(cell, "i", {}, by(value, reference.totals[key], digits));
  }
  html(box, "em", {}, state.standing === "stale" ? `Last state that was solved. ${state.words}` : MARKS[state.standing]);
}

function propellers(about) {
  const table = find("discs");
  table.tBodies[0].replaceChildren();
  for (const p of state.result.propellers) {
    const line = html(table.tBodies[0], "tr");
    html(line, "th", { scope: "row" }, p.spin === "none" ? p.name : `${p.name}, ${p.spin}`);
    for (const [key, digits] of [["thrust", 1], ["power", 0], ["rpm", 0], ["J", 3], ["efficiency", 3]]) {
      html(line, "td", { className: "n" }, p[key] === undefined || p[key] === null ? "–" : about + shown(p[key], digits));
    }
  }
}

function dragBars() {
  const svg = find("drag"), t = state.result.totals;
  svg.replaceChildren();
  if (t.CD_induced === undefined) return;
  const parts = [["induced, unblown", t.CD_induced_unblown], ["induced, blown", t.CD_induced],
    ["profile", t.CD_profile]].filter((part) => part[1] !== undefined && part[1] !== null);
  const low = Math.min(0, ...parts.map((part) => part[1])), high = Math.max(1e-9, ...parts.map((part) => part[1]));
  const at = (value) => 134 + 96 * (value - low) / (high - low);
  put(svg, { viewBox: `0 0 300 ${26 * parts.length + 6}` });
  parts.forEach(([label, value], k) => {
    make(svg, "text", { x: 0, y: 20 + 26 * k }, `CD ${label}`);
    make(svg, "rect", { class: `part-${k}`, x: Math.min(at(0), at(value)), y: 8 + 26 * k, height: 16,
      width: Math.abs(at(value) - at(0)) });
    make(svg, "text", { x: Math.max(at(0), at(value)) + 6, y: 20 + 26 * k }, shown(value, 5));
  });
}
