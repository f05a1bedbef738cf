// The page of the stand: asks for motion, shows it, and ends it. What moves is decided by the
// server; this page only asks, and says that it is there.
import { Curves } from "./curves.js";

const $ = (id) => document.getElementById(id);
const token = document.body.dataset.token;
// A mark of this page, so that the server knows which one armed.
const page = Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");
const form = $("ask"), facts = JSON.parse(form.dataset.joints) || [];
const curves = new Curves(facts, { course: $("course"), amps: $("amps"), loop: $("loop") });
const aliveEveryMS = 400, figuresEveryMS = 200, wordsEveryMS = 1000;
const gait = "gait"; // the routine that means an endurance test
let state = "limp", mine = false, lost = false;

const body = (more) => new URLSearchParams({ page, token, ...more });
const ask = (path, more) => fetch(path, { method: "POST", body: body(more), headers: { "X-Limbgauge-Token": token }, keepalive: path !== "/arm" });
// post says whether it was done, and otherwise on the page why not.
const post = async (path, more) => {
  let r;
  try {
    r = await ask(path, more);
  } catch {
    say("limbgauge does not answer; the stand stops by itself.", "See whether limbgauge serve still runs.");
    return false;
  }
  if (r.ok) return true;
  const text = await r.text();
  try {
    const { error, hint } = JSON.parse(text);
    say(error, hint);
  } catch { say(text, ""); }
  return false;
};
const show = (id, text) => { $(id).textContent = text || ""; $(id).hidden = !text; };
const say = (text, hint) => {
  show("mark", "");
  $("state").textContent = text;
  show("hint", hint);
};

// The page says that it is there: by the clock, and whenever it has heard something, since clocks of
// pages that nobody looks at run slowly.
let spoke = 0;
const alive = () => {
  if (!mine || state !== "moving" && state !== "armed" || performance.now() - spoke < aliveEveryMS * 0.9) return;
  spoke = performance.now();
  ask("/alive").catch(() => {}); // the stream says what is to be said of it
};
setInterval(alive, aliveEveryMS);

// What the person does.
const chosen = () => {
  const f = new FormData(form), number = (name) => Number(f.get(name)) || 0, routine = f.get("routine");
  const s = { joints: f.getAll("joint"), routine, revision: f.get("revision"), assembly: (f.get("assembly") || "").trim(), new_assembly: f.has("new_assembly"),
    bare_servo: f.has("bare_servo"), note: (f.get("note") || "").trim(), supply_v: number("supply_v"), ambient_c: number("ambient_c") };
  if (routine === gait) { s.routine = "check"; s.endure = { cycles: number("cycles"), check_every: number("check_every") }; }
  return s;
};
const clock = (s) => Math.floor(Math.round(s) / 60) + ":" + String(Math.round(s) % 60).padStart(2, "0");
const choose = () => {
  if (state !== "limp") { $("takes").textContent = ""; $("arm").disabled = true; return; }
  const s = chosen();
  $("endure").hidden = !s.endure;
  form.elements.assembly.disabled = s.new_assembly;
  let takes = 0;
  for (const f of facts) if (s.joints.includes(f.name)) takes += f.takes_s[s.routine] || 0;
  $("takes").textContent = !s.joints.length ? "Choose a joint." : s.endure ? (s.joints.length > 1 ? "An endurance test is of one joint." : "") : s.joints.join(", then ") + ": " + clock(takes) + " min of motion.";
  $("arm").disabled = !($("agree").checked && s.joints.length);
};
const settle = () => {
  document.body.dataset.stand = state;
  const busy = state === "moving" || state === "armed" && !mine || lost; // where this page armed it has "Do not start"
  if (!busy && document.activeElement === $("stop")) $("word").focus(); // its button goes
  $("stop").hidden = !busy;
  $("ready").hidden = !(state === "armed" && mine);
  for (const f of form.querySelectorAll("input, select")) f.disabled = state !== "limp";
  choose();
};
form.addEventListener("input", choose);
form.addEventListener("submit", async (e) => {
  e.preventDefault();
  if (!await post("/arm", { sweep: JSON.stringify(chosen()) })) $("word").focus(); // where it says why
});
$("start").addEventListener("click", () => post("/start"));
const halt = () => post("/stop");
$("stop").addEventListener("click", halt);
$("leave").addEventListener("click", halt);
// While something moves the space bar stops it, whatever has the focus: nothing else is typed then.
// Before, it is an ordinary key: it ticks boxes and presses buttons.
for (const kind of ["keydown", "keyup"]) {
  document.addEventListener(kind, (e) => {
    if (e.code === "Escape" && kind === "keydown" && state === "armed") halt();
    if (e.code !== "Space" || state !== "moving") return;
    e.preventDefault();
    e.stopPropagation();
    if (kind === "keydown" && !e.repeat) halt();
  }, true);
}
addEventListener("pagehide", () => { if (mine) navigator.sendBeacon("/gone", body()); });
addEventListener("pageshow", (e) => { if (e.persisted) location.reload(); }); // a page that was put aside hears nothing any more

// What the stand says.
const mark = (v) => {
  $("mark").className = "mark is-" + v.shape;
  const ns = "http://www.w3.org/2000/svg", svg = document.createElementNS(ns, "svg"), use = document.createElementNS(ns, "use");
  svg.setAttribute("viewBox", "0 0 16 16");
  svg.setAttribute("aria-hidden", "true");
  use.setAttribute("href", "#shape-" + v.shape);
  svg.append(use);
  $("mark").replaceChildren(svg, v.word);
  $("mark").hidden = false;
};
const angle = (v) => v.toFixed(1).replace("-", "−");
const cells = (t) => [t.joint + (t.bare_servo ? ", bare servo" : ""), "between " + angle(t.lo_deg) + " and " + angle(t.hi_deg) + " deg",
  t.deg_per_s.toFixed(0) + " deg/s" + (t.jumps ? ", and jumps as fast as the servo goes" : ""), t.takes_s < 5400 ? clock(t.takes_s) + " min" : (t.takes_s / 3600).toFixed(1) + " h"];
const turns = (list) => $("turns").replaceChildren(...list.map((t) => {
  const row = document.createElement("tr");
  row.append(...cells(t).map((text, i) => {
    const cell = document.createElement(i ? "td" : "th");
    if (!i) cell.scope = "row";
    cell.textContent = text;
    return cell;
  }));
  return row;
}));

const news = new EventSource("/live?page=" + page);
news.addEventListener("state", (e) => {
  const s = JSON.parse(e.data), was = state, first = lost || was === s.state;
  lost = false;
  state = s.state;
  mine = s.owner === page;
  alive();
  if (state === "moving") {
    if (was !== "moving") { // not again between the runs of a test
      curves.clear();
      clear();
      show("see", "");
      show("said", "");
    }
    $("moving").hidden = false;
    $("was").hidden = true;
    $("left-of").textContent = s.many ? "left of this run" : "left";
  }
  if (state === "armed") $("moving").hidden = true;
  if (state === "limp") {
    $("was").hidden = false;
    if (newest) { figures(); words(); }
  }
  if (state === "limp" && (s.run || s.bad)) $("agree").checked = false; // each run is agreed to anew
  if (state === "armed") {
    say(mine ? "Armed. Nothing moves yet." : "Armed by another page.", mine ? s.hint : s.text);
    turns(s.turns || []);
  } else if (s.verdict) {
    say(s.bad ? s.text : s.verdict.text, s.bad ? [s.hint, "What was recorded says: " + s.verdict.text].filter(Boolean).join(" ") : [s.text, s.hint].filter(Boolean).join(" "));
    if (!s.bad) mark(s.verdict);
  } else say(s.text, s.hint);
  if (s.bad) mark({ shape: "warning", word: "ended early" });
  const ways = [];
  if (s.further) ways.push(s.further);
  if (s.run) ways.push({ path: "/runs/" + encodeURIComponent(s.run), text: "See run " + s.run });
  if (ways.length) {
    $("see").replaceChildren(...ways.map(({ path, text }) => {
      const a = document.createElement("a");
      a.href = path;
      a.textContent = text;
      return a;
    }));
    $("see").hidden = false;
  }
  settle();
  if (first || !mine && was === "limp") return;
  if (state === "armed") $("start").focus();
  if (state === "moving") { $("stop").focus({ preventScroll: true }); scrollTo({ top: 0 }); }
  if (state === "limp" && was !== "armed") scrollTo({ top: 0 });
});
news.addEventListener("said", (e) => { alive(); show("said", JSON.parse(e.data)); });
news.addEventListener("beat", alive); // while nothing else is heard, as between the runs of a test
news.addEventListener("error", () => {
  lost = true;
  if (news.readyState === EventSource.CLOSED) say("This page does not watch the stand.", "Five pages of this browser do already, or limbgauge refused it: close one and load this page again. Stop works here too.");
  else say("This page has lost limbgauge; if it armed the stand, motion ends.", "It tries again by itself.");
  settle();
});

// Who answers after a while may be a later start of limbgauge, which takes nothing from this page: not even a stop.
news.addEventListener("open", async () => {
  if (!lost) return;
  try {
    if ((await ask("/alive")).status === 403) location.reload();
  } catch { } // it went again, and "error" says so
});

let figured = 0, worded = 0, newest = null;
const put = (id, v, digits) => { $(id).textContent = v === null || Number.isNaN(v) ? "–" : v.toFixed(digits); };
const clear = () => {
  newest = null;
  for (const id of ["command", "angle", "current", "off", "supply", "left"]) $(id).textContent = "–";
  $("lost").textContent = "0";
  $("move").textContent = "\u00a0";
  $("share").value = 0;
};
const figures = () => {
  const m = newest, n = m.t.length - 1;
  figured = performance.now();
  put("command", m.command[n], 1);
  put("angle", m.angle[n], 1);
  put("current", m.current[n], 2);
  put("off", m.angle[n] === null || m.command[n] === null ? null : m.angle[n] - m.command[n], 2);
  put("supply", m.supply[n], 2);
  $("lost").textContent = m.lost + m.damaged;
  $("left").textContent = clock(m.left_s);
  $("move").textContent = m.joint + ", " + (m.move ? m.move + ", move " + m.segment + " of " + m.moves : "at rest");
  $("share").value = m.share;
};
const words = () => {
  worded = performance.now();
  const all = curves.words();
  for (const id in all) $(id).setAttribute("aria-label", all[id]);
};
news.addEventListener("moved", (e) => {
  alive();
  const m = JSON.parse(e.data);
  if (!m.t.length) return;
  $("moving").hidden = false;
  curves.take(m);
  newest = m;
  const now = performance.now();
  if (now - figured >= figuresEveryMS) figures();
  if (now - worded >= wordsEveryMS) words();
});
settle();
