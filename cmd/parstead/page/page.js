// The status page looks again each minute and puts what has changed in place,
// without moving what is being read. Without this file the page reloads itself.
"use strict";

const every = 60000, patience = 20000; // milliseconds: between looks, for an answer
const stale = document.querySelector("#stale");
let seen = Date.now();

const clock = (at) => new Date(at).toTimeString().slice(0, 5);
const minutes = (ms) => { const n = Math.floor(ms / 60000); return n === 1 ? "1 minute" : n + " minutes"; };

function showAge() {
  const age = Date.now() - seen;
  stale.hidden = age < 2 * every;
  document.body.classList.toggle("stale", !stale.hidden);
  if (!stale.hidden) stale.textContent = `No news for ${minutes(age)}. What stands below was seen at ${clock(seen)}. This screen can't reach the daemon: look at the network, then at the machine beside the rack.`;
}

// put sets fresh content in the place of the old; what was open stays open, what
// was in focus stays so, and nothing moves.
function put(fresh) {
  const live = document.querySelector("#live"), at = [scrollX, scrollY];
  const opened = [...live.querySelectorAll("details")].map((d) => d.open);
  const all = (root) => [...root.querySelectorAll("a, summary, [tabindex]")];
  const focus = all(live).indexOf(document.activeElement);
  fresh.querySelectorAll("details").forEach((d, i) => { d.open = opened[i] ?? false; });
  live.replaceWith(document.adoptNode(fresh));
  if (focus >= 0) all(fresh)[focus]?.focus({ preventScroll: true });
  scrollTo(...at);
}

async function look() {
  try {
    const answer = await fetch(location.pathname, { signal: AbortSignal.timeout(patience) });
    if (!answer.ok) throw new Error(answer.status);
    const page = new DOMParser().parseFromString(await answer.text(), "text/html"), fresh = page.querySelector("#live");
    if (fresh && !getSelection().toString()) {
      put(fresh);
      document.title = page.title;
    }
    if (fresh) seen = Date.now();
  } catch { /* said once it lasts */ }
  showAge();
}

setInterval(look, every);
setInterval(showAge, 10000);
addEventListener("online", look);
document.addEventListener("visibilitychange", () => document.hidden || look());
