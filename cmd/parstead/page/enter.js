// Entry on a phone. The screens are those of enter.html, made here so that they
// need no signal; an entry is kept on the phone until the daemon has said that it
// is stored. Without this file the same screens come from the daemon.
"use strict";

const main = document.querySelector("main"), said = document.querySelector("#said"), queueLine = document.querySelector("#queue");

// --- what is kept on the phone

const kept = (name, otherwise) => JSON.parse(localStorage.getItem("parstead." + name) ?? JSON.stringify(otherwise));
const keep = (name, value) => localStorage.setItem("parstead." + name, JSON.stringify(value));

const queue = () => kept("queue", []); // of {id, at, parts, said}; said: why it can't be stored as it is
const change = (id, how) => { keep("queue", queue().flatMap((e) => e.id === id ? how(e) : [e])); showQueue(); };
let offer = kept("offer", null);

const newID = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");

function store(parts, instead) {
  const entry = { id: newID(), at: Date.now(), parts };
  keep("queue", [...queue().filter((e) => e.id !== instead), entry]);
  const plant = offer.plants.find((p) => p.code === parts.plant);
  if (plant && parts.what === "harvest") plant.fate = "harvested";
  const net = parts.tare ? Number(parts.value.replace(",", ".")) - Number(parts.tare.replace(",", ".")) : parts.value;
  if (plant && parts.what === "harvest") plant.values = { ...plant.values, [parts.outcome]: String(net) };
  if (plant && parts.what === "harvest" && parts.day) plant.date = parts.day;
  if (plant && parts.what === "lost") plant.fate = "lost";
  if (plant && parts.what === "alive") plant.fate = "";
  keep("offer", offer);
  showQueue();
  send();
}

// --- sending it

const atOnce = 20, patience = 15; // entries in a request; seconds between tries
let sending = false, trouble = "", timer = 0;

async function send() {
  if (sending) return;
  const due = queue().filter((e) => !e.said).slice(0, atOnce);
  if (due.length === 0) return;
  sending = true;
  clearTimeout(timer);
  let wait = patience;
  try {
    const entries = due.map((e) => ({ ...e.parts, id: e.id, age: String(Math.max(0, Math.round((Date.now() - e.at) / 1000))) }));
    const answer = await fetch("/enter/entries", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ entries }), signal: AbortSignal.timeout?.(30000) });
    const reply = await answer.json();
    if (!answer.ok) {
      trouble = reply.says + (reply.code ? " Give the code; nothing is lost." : "");
      wait = Number(answer.headers.get("Retry-After")) || patience;
    } else {
      trouble = "";
      wait = 0;
      for (const a of reply.answers) {
        if (a.state === "stored") say("Stored: " + [a.says, ...(a.remarks ?? [])].join(" "), false);
        if (a.state === "later") { trouble = "Not yet: " + a.says; wait = patience; }
        change(a.id, (e) => a.state === "stored" ? [] : a.state === "wrong" ? [{ ...e, said: a.says }] : [e]);
      }
    }
  } catch {
    trouble = "There is no signal to the daemon.";
  }
  sending = false;
  showQueue();
  if (wait === 0) refresh().then(renew);
  timer = setTimeout(send, wait * 1000);
}

// today is the day that the daemon offers; without signal since yesterday, the phone's.
const phoneDay = () => new Date(Date.now() - new Date().getTimezoneOffset() * 60000).toISOString().slice(0, 10);
const today = () => offer.asked === phoneDay() ? offer.today : [phoneDay(), offer.ends].sort()[0];

// refresh asks for what can be entered now; without signal the last answer stays.
async function refresh() {
  try {
    const answer = await fetch("/enter/offer.json", { signal: AbortSignal.timeout?.(10000) }); // a weak signal is none
    if (answer.ok && (!offer || !queue().some((e) => !e.said))) keep("offer", offer = { ...(await answer.json()).offer, asked: phoneDay() });
  } catch { /* no signal: the screens are as they were */ }
}

// --- showing it

const escaped = (x) => String(x ?? "").replace(/[&<>"']/g, (c) => "&#" + c.charCodeAt(0) + ";");
class Markup { constructor(text) { this.text = text; } }
const markup = (x) => x instanceof Markup ? x.text : Array.isArray(x) ? x.map(markup).join("") : x === false ? "" : escaped(x);
const html = (texts, ...values) => new Markup(texts.reduce((all, text, i) => all + markup(values[i - 1]) + text));
const to = (screen, parts) => "/enter" + (screen && "/" + screen) + "?" + new URLSearchParams(parts);
const key = (words, screen, parts, label) => html`<a class="key" href="${to(screen, parts)}" ${label && html`aria-label="${label}"`}>${words}</a>`;
const hidden = (parts) => Object.entries(parts).map(([name, value]) => html`<input type="hidden" name="${name}" value="${value}">`);
const form = (parts, inner) => html`<form method="post" action="/enter">${hidden(parts)}${inner}</form>`;

const gone = (p) => p.fate === "lost" || p.fate === "withdrawn";
const named = (p) => html`${p.code}${p.fate && html`<small>${p.fate}</small>`}`;
const place = (p) => p.bin ? `${p.bin}, row ${p.row}, column ${p.column}` : "no place";
const at = (bin, row, column) => offer.plants.filter((p) => p.bin === bin && p.row === row && p.column === column);

const squeezed = (code) => code.toLowerCase().replace(/\s/g, "");
const number = (code) => code.match(/\d+$/)?.[0].replace(/^0+(?=\d)/, "");

// matching are the plants that may be meant: of that code, else of that number, else
// those whose code ends so.
function matching(typed) {
  typed = squeezed(typed);
  if (!typed) return [];
  const is = [(code) => code === typed, (code) => /^\d+$/.test(typed) && number(code) === number(typed), (code) => code.endsWith(typed)];
  return is.map((same) => offer.plants.filter((p) => same(squeezed(p.code)))).find((found) => found.length > 0) ?? [];
}

function following(plant, what, outcome) {
  return offer.plants.slice(offer.plants.indexOf(plant) + 1).find((p) => !gone(p) && p.outcomes.includes(outcome) &&
    (what === "count" || (outcome in (p.values ?? {})) === (what === "again")));
}

function grid(name, cell) {
  const bin = offer.bins.find((b) => b.name === name);
  const upTo = (n) => Array.from({ length: n }, (_, i) => i + 1);
  return html`<div class="scroll" tabindex="0" role="group" aria-label="Positions of bin ${name}"><table class="places">
<thead><tr><th scope="col"><span class="unseen">row</span></th>${upTo(bin.columns).map((c) => html`<th scope="col">${c}</th>`)}</tr></thead>
<tbody>${upTo(bin.rows).map((r) => html`<tr><th scope="row">${r}</th>${upTo(bin.columns).map((c) => html`<td>${cell(r, c)}</td>`)}</tr>`)}</tbody></table></div>`;
}

const digit = (k) => html`<button type="button" class="key" data-key="${k}">${k}</button>`;
const pad = (whole) => html`<div class="pad">${[..."789456123"].map(digit)}${whole ? html`<span></span>` : digit(".")}${digit("0")}<button type="button" class="key" data-key="" aria-label="delete the last">⌫</button></div>`;

const doing = {
  count: "counted or measured today, one more line in the sheet of counts",
  harvest: "found at the harvest, for good",
  again: "weighed a second time at the harvest",
};

const screens = {
  home: () => html`<h1>Find a plant</h1>
<form action="/enter/plant"><label>Code, its number or its end <input name="plant" autocomplete="off" autocapitalize="characters" required></label><button class="key">Find</button></form>
${offer.bins.length > 0 && html`<h2>Or by its place</h2><p class="keys">${offer.bins.map((b) => key(b.name, "bin", { bin: b.name }))}</p>`}`,

  bin: (q) => html`<h1>Bin ${q.bin} <small>Which plant?</small></h1>${grid(q.bin, (r, c) => at(q.bin, r, c).map((p) => html`<a class="key${gone(p) && " gone"}" href="${to("plant", { plant: p.code })}">${named(p)}</a>`))}`,

  which: (q) => html`<h1>Which one?</h1>
<p class="keys">${matching(q.plant).map((p) => html`<a class="key${gone(p) && " gone"}" href="${to("plant", { plant: p.code })}">${p.code}<small>${place(p)}${p.fate && "; " + p.fate}</small></a>`)}</p>
<p><a href="/enter">Another plant</a></p>`,

  plant: (q, p) => html`<h1>${p.code} <small>${place(p)}${p.fate && "; " + p.fate}</small></h1>
${p.fate === "lost" && form({ what: "alive", plant: p.code }, html`<button class="key">It is not lost after all</button>`)}
${!gone(p) && html`<h2>Count ${p.code} today</h2><p class="quiet">A count or measurement during the season.</p><p class="keys">${offer.outcomes.filter((o) => p.outcomes.includes(o.name)).map((o) => key(o.name, "value", { plant: p.code, what: "count", outcome: o.name }, `count ${o.name} of ${p.code}`))}</p>
<h2>Harvest ${p.code} for good</h2><p class="quiet">What is found when it leaves the rack.</p><p class="keys">${offer.outcomes.filter((o) => o.harvest && p.outcomes.includes(o.name)).map((o) => key(html`${o.name} <small>${p.values?.[o.name]}</small>`, "value", { plant: p.code, what: "harvest", outcome: o.name }, `harvest ${o.name} of ${p.code}`))}
${offer.outcomes.filter((o) => o.kind === "measure" && p.values?.[o.name]).map((o) => key(o.name + " weighed again", "value", { plant: p.code, what: "again", outcome: o.name }))}</p>
<h2>Else</h2><p class="keys">${key("lost", "lost", { plant: p.code })}${p.bin && key("moved", "move", { plant: p.code })}${key("note", "note", { plant: p.code })}</p>`}
<p class="keys">${key("photo", "photo", { plant: p.code })}<a class="key" href="/plant/${encodeURIComponent(p.code)}">its light and log</a></p>`,

  value: (q, p) => {
    const o = offer.outcomes.find((o) => o.name === q.outcome), next = following(p, q.what, q.outcome), stands = q.what === "harvest" && p.values?.[o.name];
    const store = html`<button class="key">${q.what === "count" ? "Store the count" : "Store the harvest"}</button>`;
    const field = (words, name, value) => html`<label>${words} <input class="value" name="${name}" inputmode="none" autocomplete="off" required value="${value}"></label>`;
    const unit = o.name + (o.unit && " in " + o.unit || "");
    return html`<h1>${p.code} <small>${place(p)}</small></h1><p class="quiet">${o.name}: ${doing[q.what]}</p>
${form({ what: q.what, plant: p.code, outcome: o.name, next: next?.code }, html`
${stands && html`<p>${stands} stands in the sheet. What is stored now takes its place; the log keeps both.</p>`}
${q.what === "again" && html`<p>Weigh it anew, without looking at the first value: the pair tells how well weighing repeats.</p>`}
${o.kind === "yes_no" ? html`<p>${o.name}</p><p class="keys"><button class="key" name="value" value="yes">yes</button><button class="key" name="value" value="no">no</button></p>`
    : html`${o.gross && q.what === "harvest" ? [field(unit + ", with the dish", "value", q.value), field("The dish alone, 0 for none", "tare", q.tare)] : field(unit, "value", q.value)}${pad(o.kind === "count")}${store}`}
${q.what === "harvest" && html`<label>Harvested on <input type="date" name="day" value="${q.day || p.date || today()}"></label>`}`)}
${next && html`<p><a href="${to("value", { plant: next.code, what: q.what, outcome: q.outcome, day: q.day ?? "", tare: q.tare ?? "" })}">Leave out; go on to ${next.code}</a></p>`}
<p><a href="${to("plant", { plant: p.code })}">Something else about ${p.code}</a></p>`;
  },

  lost: (q, p) => html`<h1>${p.code} is lost <small>${place(p)}</small></h1>
${form({ what: "lost", plant: p.code }, html`<label>Lost on <input type="date" name="day" required value="${q.day || today()}"></label><p>What of?</p>
<p class="keys">${offer.causes.map((c) => html`<button class="key" name="cause" value="${c}">${c}</button>`)}</p>`)}
<p>An accident is no treatment's loss. What died of rot or pests leaves the rack in a closed bag; wear gloves, and a mask with mould.</p>`,

  move: (q, p) => {
    const other = q.row && at(q.bin, Number(q.row), Number(q.column)).find((x) => !gone(x) && x !== p);
    return html`<h1>${p.code} has moved <small>from ${place(p)}</small></h1>${q.row ? html`
${form({ what: "move", plant: p.code, bin: q.bin, row: q.row, column: q.column }, html`<p>To ${q.bin}, row ${q.row}, column ${q.column}, just now.</p>
${other ? html`<p>${other.code} stands there${other.fate && "; " + other.fate}.</p><button class="key" name="swap" value="${other.code}">The two have changed places</button>` : html`<button class="key">Store</button>`}`)}
<p><a href="${to("move", { plant: p.code, bin: q.bin })}">Another place</a></p>`
      : q.bin ? html`<p>To which place of ${q.bin}?</p>${grid(q.bin, (r, c) => key(at(q.bin, r, c).filter((x) => !gone(x)).map(named)[0] ?? "free", "move", { plant: p.code, bin: q.bin, row: r, column: c }))}`
        : html`<p>To which bin?</p><p class="keys">${offer.bins.map((b) => key(b.name, "move", { plant: p.code, bin: b.name }))}</p>`}`;
  },

  photo: (q, p) => html`<h1>Photo of ${p.code} <small>${place(p)}</small></h1>
<form method="post" action="/enter/photo" enctype="multipart/form-data">${hidden({ plant: p.code })}
<label>Take it, or choose one <input type="file" name="photo" accept="image/jpeg" required></label><button class="key">Store the photo</button></form>
<p>It needs signal. Where and with what it was taken is not kept.</p>`,

  note: (q, p) => html`<h1>Note${p && " on " + p.code}</h1>
${form({ what: "note", plant: p?.code }, html`<label>What kind <select name="kind">${offer.kinds.map((k) => html`<option${k === q.kind && " selected"}>${k}</option>`)}</select></label>
${!p && html`<label>Bin <select name="bin"><option value="">the whole rack</option>${offer.bins.map((b) => html`<option${b.name === q.bin && " selected"}>${b.name}</option>`)}</select></label>
<label>Sensor <select name="sensor"><option value="">none</option>${offer.sensors.map((s) => html`<option${s === q.sensor && " selected"}>${s}</option>`)}</select></label>`}
<label>What happened <textarea name="text" rows="3" maxlength="1000">${q.text}</textarea></label><button class="key">Store</button>`)}
<p>Kinds that name a lamp, the reflector or a sensor end the light map there: survey again. For <code>ignore</code>, <code>timed</code> and <code>mute</code>, and for another time than now, use <code>parstead note</code>.</p>`,
};

let field; // that the keys write into
let shown = 0; // when the screen came, by the events' clock

function show() {
  shown = performance.now();
  const q = Object.fromEntries(new URLSearchParams(location.search));
  let name = location.pathname.split("/")[2] ?? "home";
  const found = q.plant ? matching(q.plant) : [], plant = found.length === 1 ? found[0] : undefined;
  const known = Object.keys(screens).includes(name) && name !== "which" && (plant || (!q.plant && !["plant", "value", "lost", "move", "photo"].includes(name))) &&
    (!q.bin || offer.bins.some((b) => b.name === q.bin)) && (name !== "bin" || q.bin) && (name !== "value" || offer.outcomes.some((o) => o.name === q.outcome));
  if (!known) name = found.length > 1 ? "which" : "home";
  main.innerHTML = screens[name](q, plant).text;
  if (name === "home" && q.plant) say(`There is no plant ${q.plant}: give its whole code, or find it by its bin.`, true);
  scrollTo(0, 0);
  const first = main.querySelector("input.value") ?? main.querySelector("h1");
  first.tabIndex = first.matches("h1") ? -1 : 0;
  first.focus();
}

// renew shows what the daemon now says of a plant or a bin; where something is
// being typed, the screen stays.
function renew() {
  if (offer && main.querySelector("h1") && /^\/enter\/(plant|bin)$/.test(location.pathname)) show();
}

function say(words, wrong) {
  said.className = wrong ? "wrong" : "";
  said.textContent = words;
}

const screenOf = { count: "value", harvest: "value", again: "value", lost: "lost", alive: "plant", move: "move", note: "note" };

function showQueue() {
  const all = queue(), wrong = all.filter((e) => e.said), due = all.length - wrong.length;
  queueLine.innerHTML = html`${due > 0 && html`<p>${due === 1 ? "1 entry is" : due + " entries are"} kept on this phone and not stored yet. ${trouble}</p>`}
${wrong.map((e) => html`<div class="wrong"><p>Not stored: ${[e.parts.plant, e.parts.outcome, e.parts.value || e.parts.text].filter(Boolean).join(" ")}: ${e.said}</p>
<p class="keys"><a class="key" href="${to(screenOf[e.parts.what], { ...e.parts, instead: e.id })}">correct</a><button type="button" class="key" data-drop="${e.id}">throw away</button></p></div>`)}`.text;
}

// --- taking it in

const doubled = 350; // milliseconds

function go(url) {
  say("");
  history.pushState(null, "", url);
  show();
}

function listen() {
  document.addEventListener("click", (event) => {
    const link = event.target.closest("a"), url = link && new URL(link.href);
    if (url && url.origin === location.origin && /^\/enter(\/|$)/.test(url.pathname) && url.pathname !== "/enter/code") {
      event.preventDefault();
      go(link.href);
    }
    const typed = event.target.closest("[data-key]")?.dataset.key, value = main.contains(field) ? field : main.querySelector("input.value");
    if (typed !== undefined) value.value = typed ? value.value + typed : value.value.slice(0, -1);
  });
  document.addEventListener("focusin", (event) => { if (event.target.matches("input.value")) field = event.target; });
  document.addEventListener("submit", (event) => {
    if (event.timeStamp - shown < doubled) { // the second touch of a wet thumb was not meant for this screen
      event.preventDefault();
      return;
    }
    const parts = Object.fromEntries(new FormData(event.target, event.submitter));
    if (event.target.method === "get") {
      event.preventDefault();
      go(to("plant", parts));
      return;
    }
    if (new URL(event.target.action).pathname !== "/enter") return; // the code
    const { next, id, ...entry } = parts;
    try {
      store(entry, new URLSearchParams(location.search).get("instead"));
    } catch {
      return; // the phone keeps nothing: the form goes to the daemon itself
    }
    event.preventDefault();
    go(next && entry.outcome ? to("value", { plant: next, what: entry.what, outcome: entry.outcome, day: entry.day ?? "", tare: entry.tare ?? "" }) : entry.plant ? to("plant", { plant: entry.plant }) : "/enter");
  });
  addEventListener("popstate", show);
  if (isSecureContext) navigator.serviceWorker?.ready.then((worker) => worker.active.postMessage("keep"));
  takeOver();
}

// takeOver shows the script's own screen in place of the daemon's. What somebody has
// begun on that one is not taken from under the thumb: it stays, and its form works.
function takeOver() {
  const begun = [...main.querySelectorAll("input, textarea, select")].some((f) => f.type !== "hidden" &&
    (f.options ? f.selectedIndex !== Math.max(0, [...f.options].findIndex((o) => o.defaultSelected)) : f.value !== f.defaultValue));
  if (begun) return;
  if (main.querySelector(":active")) setTimeout(takeOver, 50); // a touch is on its way
  else show();
}

queueLine.addEventListener("click", (event) => {
  const id = event.target.dataset.drop;
  if (id && confirm("Throw this entry away?")) change(id, () => []);
});
addEventListener("online", send);
document.addEventListener("visibilitychange", () => document.hidden || (send(), refresh()));

if (isSecureContext && "serviceWorker" in navigator) navigator.serviceWorker.register("/worker.js", { scope: "/enter" });
showQueue();
refresh().then(() => {
  if (offer && !main.querySelector("[name=code]")) listen();
});
send();
