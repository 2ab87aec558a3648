// Talks with the server, one question at a time, and keeps what the last answer is worth.
import { find } from "./dom.js";
import { state, tell } from "./state.js";

const REST = 350;   // ms without a change before the case's own model is asked for
const WATCH = 5000; // ms between two looks at whether the server is still there
export const GONE = "The server does not answer any more; was it stopped? Start it again to go on.";

const WORDS = {
  solving: "Solving with the case's own model …",
  moving: "Moving: the case's own model.",
  provisional: "Provisional: a coarser model while something moves.",
  rest: "At rest: the case's own model.",
};
let busy = false, waiting = null, timer = 0, gone = false;

export async function post(name, body) {
  try {
    const answer = await fetch(name, {
      method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body),
    });
    return await answer.json();
  } catch (error) {
    return { error: GONE };
  }
}

// A change has been made: ask at once, and once more for the case's own model when it rests.
export function settle(moving) {
  clearTimeout(timer);
  if (moving) timer = setTimeout(() => ask(false), REST);
  ask(moving);
}

export async function ask(moving) {
  if (busy) { waiting = moving; return; }
  busy = true;
  if (!moving) stand(state.standing === "rest" || state.standing === "none" ? "solving" : state.standing, WORDS.solving);
  if (!moving) find("pace").textContent = "";
  const start = performance.now(), asked = state.edits;
  const found = await post("solve", { edits: asked, dragging: moving });
  busy = false;
  if (found.error) stand("stale", found.error);
  else {
    state.result = found.result;
    state.answered = asked;
    const settled = asked === state.edits;
    if (settled) state.model = found.case; // as the case's own rules have it
    stand(found.result.provisional ? "provisional" : moving || !settled ? "moving" : "rest");
    find("pace").textContent = `${(1000 * found.result.seconds).toFixed(0)} ms`;
    if (moving) performance.measure("drag answered", { start, end: performance.now() });
  }
  if (waiting !== null) { const next = waiting; waiting = null; ask(next); }
}

function stand(standing, words = WORDS[standing]) {
  state.standing = standing;
  state.words = words;
  const text = find("state");
  if (text.textContent !== words) text.textContent = words; // spoken once, not at every answer
  text.classList.toggle("wrong", standing === "stale");
  tell();
}

async function watch() {
  let here = true;
  try { here = (await fetch("alive")).ok; } catch (error) { here = false; }
  if (!here && !gone) stand("stale", GONE);
  if (here && gone) ask(false);
  gone = !here;
}

// The case as opened and the name proposed for saving; null where there is no server.
export async function opening() {
  setInterval(watch, WATCH);
  try {
    return await (await fetch("case")).json();
  } catch (error) {
    stand("stale", GONE);
    return null;
  }
}
