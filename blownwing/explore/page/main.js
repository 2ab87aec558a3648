// Starts the page: opens the case, ties the buttons, draws everything whenever something changes.
import { back, forward, placeDigits, replaceAll } from "./acting.js";
import { ask, opening, post } from "./asking.js";
import { drawCurves } from "./curves.js";
import { find, shown } from "./dom.js";
import { buildChoice, drawFields } from "./fields.js";
import { framed, refit } from "./frame.js";
import { drawNumbers } from "./numbers.js";
import { drawSnapshots, keep, reference } from "./snapshots.js";
import { atRest, canRedo, canUndo, listen, meant, open, state } from "./state.js";
import { buildViews, drawViews, placeWords } from "./views.js";

let drawChoice = () => {}, drawn = {};

function draw() {
  document.body.dataset.standing = state.standing;
  if (!state.model) return;
  refit();
  halfNote();
  drawViews();
  drawChoice();
  drawFields();
  readout();
  enable("undo", canUndo());
  enable("redo", canRedo());
  enable("reset", Object.keys(state.edits).length > 0);
  enable("keep", atRest());
  if (atRest() && !reference() && !drawn.opened) {
    drawn.opened = true;
    keep(Object.keys(state.edits).length ? "" : "As opened");
    return;
  }
  if (!state.result) return;
  const base = reference(), now = [state.result, state.standing, state.words, base, base && base.name];
  if (drawn.now && now.every((part, k) => part === drawn.now[k]) && drawn.width === find("views").clientWidth) return;
  drawn.now = now;
  drawn.width = find("views").clientWidth;
  drawCurves(base);
  drawNumbers(base);
}

// A button without use stays reachable, so that the focus on it is not lost.
function enable(id, on) {
  find(id).setAttribute("aria-disabled", String(!on));
}

function press(id, act) {
  find(id).addEventListener("click", () => { if (find(id).getAttribute("aria-disabled") !== "true") act(); });
}

function readout() {
  const { propellers } = state.model;
  find("readout").replaceChildren(...(propellers.length ? meant() : []).map((k) => {
    const node = document.createElement("span");
    node.textContent = state.together ? `${propellers[k].name} y ${shown(propellers[k].position[1], placeDigits())}` : `${propellers[k].name}: ${placeWords(propellers[k])}`;
    return node;
  }));
}

function halfNote() {
  for (const node of document.querySelectorAll(".half")) node.hidden = !framed().half;
}

async function save(replace) {
  const file = find("file").value.trim(), title = find("casetitle").value.trim();
  const found = await post("save", { edits: { ...state.edits, title }, file, replace });
  if (found.exists && window.confirm(`${found.exists} exists. Replace it?`)) return save(true);
  find("saved").textContent = found.error || (found.saved ? `Saved ${found.saved}${found.comments ? ", comments kept" : ", without the comments of the opened file"}` : "Not saved");
}

function keys(event) {
  const typing = event.target.matches("input[type=text], input[type=number]");
  if (!(event.ctrlKey || event.metaKey) || typing || state.grip) return;
  const key = event.key.toLowerCase();
  if (key === "z" && !event.shiftKey) back();
  else if (key === "y" || key === "z") forward();
  else return;
  event.preventDefault();
}

async function start() {
  press("undo", back);
  press("redo", forward);
  press("reset", () => replaceAll({}));
  press("keep", () => { keep(find("keepname").value.trim()); find("keepname").value = ""; });
  find("keepname").addEventListener("keydown", (event) => { if (event.key === "Enter") find("keep").click(); });
  find("save").addEventListener("click", () => save(false));
  document.addEventListener("keydown", keys);
  listen(draw);
  const found = await opening();
  if (!found) return;
  open(found.case);
  find("title").textContent = found.case.title;
  find("casetitle").value = `${found.case.title}, explored`;
  find("file").value = found.file;
  find("caution").textContent = found.case.caution;
  buildViews();
  drawChoice = buildChoice();
  drawSnapshots();
  draw();
  new ResizeObserver(() => { if (drawn.width !== find("views").clientWidth) draw(); }).observe(find("views"));
  ask(true); // twice: the second answer, started from the first, tells the pace of a drag
  ask(false);
}

start();
