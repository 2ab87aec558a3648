// What the page knows: the opened case, the edits made to it, the last answer, the way back.

export const state = {
  opened: null,      // the case as opened
  model: null,       // the case with the edits laid over it, as drawn
  edits: {},         // dotted path to value; every change makes a new object
  result: null,      // the last answer
  answered: null,    // the edits that it answers
  standing: "none",  // none, solving, moving, provisional, rest, stale: what the result is worth now
  words: "",         // the same in a sentence: the page's, or the server's where it refuses
  chosen: 0,         // index of the chosen propeller
  together: false,   // whether a move or a field means all of them
  grip: null,        // the drag under way
};

export const DRIVES = ["thrust", "rpm", "power", "speed_ratio"];
const GESTURE = 1200; // ms: changes of the same thing closer than this are one step back

const listeners = [];
export const listen = (heard) => listeners.push(heard);
export const tell = () => listeners.forEach((heard) => heard());

export function open(found) {
  state.opened = found;
  state.model = structuredClone(found);
}

// Whether the result is of the case's own model and of what is drawn.
export const atRest = () => state.standing === "rest" && state.answered === state.edits;

// Propellers that a change is meant for.
export function meant() {
  return state.together ? state.model.propellers.map((_, k) => k) : [state.chosen];
}

// ---- the case with edits ----------------------------------------------------------------------

export function overlaid(opened, edits) {
  const model = structuredClone(opened);
  for (const [path, value] of Object.entries(edits)) {
    const [table, index, key] = path.split(".");
    if (table === "flow") model[index] = value;
    else if (table === "wing") model.flaps[Number(path.split(".")[2])].deflection = value;
    else if (table === "propellers") {
      const p = model.propellers[index];
      if (DRIVES.includes(key)) {
        const stays = p.trim === "pitch" ? ["rpm", ...(key === "rpm" ? DRIVES : [])] : [];
        for (const other of DRIVES) if (other !== key && !stays.includes(other)) p[other] = null;
      }
      p[key] = value;
    }
  }
  return model;
}

export function valueAt(model, path) {
  const [table, index, key] = path.split(".");
  if (table === "flow") return model[index];
  if (table === "wing") return model.flaps[Number(path.split(".")[2])].deflection;
  return model.propellers[index][key];
}

const same = (a, b) => JSON.stringify(a) === JSON.stringify(b);

// Edits with new values; null takes an edit away, a value as opened needs none.
export function withValues(edits, values) {
  const next = { ...edits, ...values };
  for (const [path, value] of Object.entries(values)) {
    if (value === null || same(value, valueAt(state.opened, path))) delete next[path];
  }
  return next;
}

// ---- the way back -------------------------------------------------------------------------------

const past = [], future = [];
let lastTag = null, lastTime = 0;

export const canUndo = () => past.length > 0;
export const canRedo = () => future.length > 0;

function lay(edits) {
  state.edits = edits;
  state.model = overlaid(state.opened, edits);
}

export function commit(edits, tag) {
  const now = performance.now();
  if (same(edits, state.edits)) return false;
  if (tag !== lastTag || now - lastTime > GESTURE) past.push(state.edits);
  lastTag = tag;
  lastTime = now;
  future.length = 0;
  lay(edits);
  return true;
}

function go(from, to) {
  if (!from.length) return false;
  to.push(state.edits);
  lay(from.pop());
  lastTag = null;
  return true;
}

export const goBack = () => go(past, future);
export const goForward = () => go(future, past);
