// Named states with their results: compared with each other, restored, deleted.
import { replaceAll } from "./acting.js";
import { changeShown, find, html, shown } from "./dom.js";
import { ROWS, digitsOf, valueOf } from "./numbers.js";
import { atRest, state, tell, valueAt } from "./state.js";

const COLUMNS = ["lift", "CL", "CD", "CD_induced", "ratio", "thrust", "power"];
let snapshots = [], against = null, count = 0;

export const reference = () => snapshots.find((one) => one.id === against) || null;

export function keep(name) {
  if (!atRest()) return;
  count += 1;
  const { totals, strips, profile } = state.result;
  snapshots = [...snapshots, { id: count, name: name || `State ${count}`, totals, strips, profile, edits: state.edits }];
  if (against === null) against = count;
  drawSnapshots();
  tell();
}

export function drawSnapshots() {
  const table = find("kept"), base = reference(), rows = COLUMNS.map((key) => ROWS.find((row) => row.key === key));
  const focused = document.activeElement && document.activeElement.id;
  table.tHead.replaceChildren();
  const head = html(table.tHead, "tr");
  for (const text of ["Reference", "Name and what was changed", ...rows.map((row) => row.label), ""]) html(head, "th", {}, text);
  table.tBodies[0].replaceChildren();
  for (const one of snapshots) {
    const line = html(table.tBodies[0], "tr");
    const pick = html(html(line, "td", { className: "pick" }), "input", { type: "radio", name: "against", id: `pick-${one.id}`, checked: one.id === against });
    const naming = [];
    label(pick, "Compare with", one, naming);
    pick.addEventListener("change", () => { against = one.id; drawSnapshots(); tell(); });
    const cell = html(line, "th", { scope: "row" });
    const name = html(cell, "input", { type: "text", id: `name-${one.id}`, value: one.name, maxLength: 60 });
    name.setAttribute("aria-label", "Name of the snapshot");
    name.addEventListener("change", () => { // the row stays, so that the focus can go on from it
      one.name = name.value = name.value.trim() || `State ${one.id}`;
      naming.forEach((again) => again());
      tell();
    });
    html(cell, "small", {}, words(one.edits));
    for (const row of rows) {
      const value = valueOf(row, one.totals), digits = digitsOf(row, one.totals);
      const number = html(line, "td", { className: "n" }, shown(value, digits));
      if (base && base !== one) html(number, "small", {}, changeShown(value, valueOf(row, base.totals), digits));
    }
    const acts = html(line, "td", { className: "acts" });
    label(button(acts, "Restore", `restore-${one.id}`, () => replaceAll(one.edits)), "Restore", one, naming);
    label(button(acts, "Delete", `delete-${one.id}`, () => drop(one)), "Delete", one, naming);
  }
  if (focused && find(focused)) find(focused).focus();
}

function button(parent, text, id, act) {
  const node = html(parent, "button", { type: "button", id }, text);
  node.addEventListener("click", act);
  return node;
}

function label(node, verb, one, naming) {
  const put = () => node.setAttribute("aria-label", `${verb} ${one.name}`);
  naming.push(put);
  put();
}

function drop(one) {
  const next = snapshots[snapshots.indexOf(one) + 1] || snapshots[snapshots.indexOf(one) - 1];
  snapshots = snapshots.filter((other) => other !== one);
  if (against === one.id) against = snapshots.length ? snapshots[0].id : null;
  drawSnapshots();
  find(next ? `delete-${next.id}` : "keep").focus();
  tell();
}

// The edits of a state in a line: what, from what, to what.
function words(edits) {
  const found = Object.entries(edits).map(([path, value]) => {
    const [table, index, key] = path.split("."), was = valueAt(state.opened, path);
    if (table === "flow") return `${index} ${said(value)}`;
    if (table === "wing") return `flap ${Number(path.split(".")[2]) + 1} ${said(value)} deg`;
    const name = state.opened.propellers[index].name;
    if (key !== "position") return `${name} ${key.replace("_", " ")} ${said(value)}`;
    return `${name} ${["x", "y", "z"].filter((_, k) => value[k] !== was[k]).map((axis) => `${axis} ${said(value["xyz".indexOf(axis)])}`).join(", ")}`;
  });
  if (!found.length) return "as opened";
  return found.length > 3 ? `${found.slice(0, 3).join("; ")}; and ${found.length - 3} more` : found.join("; ");
}

const said = (value) => String(value).replace("_", " ").replace("-", "−");
