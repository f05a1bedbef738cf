// The page of the stand: asks for motion, shows it, and ends it. What moves is decided by the
// server; this page only asks, and says that it is there.
"use strict";
(() => {
  const $ = (id) => document.getElementById(id);
  const token = document.body.dataset.token;
  // A mark of this page, so that the server knows which one armed.
  const page = Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");
  const form = $("ask"), facts = JSON.parse(form.dataset.joints) || [];
  const aliveEveryMS = 400;
  let state = "limp", mine = false, alive = 0, ran = "";

  const body = (more) => new URLSearchParams({ page, token, ...more });
  const post = async (path, more) => {
    let r;
    try {
      r = await fetch(path, { method: "POST", body: body(more), keepalive: path !== "/arm" });
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
  const say = (text, hint) => {
    $("state").textContent = text;
    $("hint").textContent = hint || "";
    $("hint").hidden = !hint;
  };

  // What the person does.
  const agreed = () => $("agree").checked;
  const buttons = () => {
    $("arm").disabled = !(state === "limp" && agreed());
    $("start").disabled = !(state === "armed" && mine);
    $("stop").hidden = state === "limp";
    for (const f of form.querySelectorAll("input:not(#agree), select")) f.disabled = state !== "limp";
    $("agree").disabled = state !== "limp";
  };
  $("agree").addEventListener("change", buttons);
  form.addEventListener("submit", (e) => {
    e.preventDefault();
    const f = new FormData(form);
    const sweep = JSON.stringify({ joints: [f.get("joint")], routine: f.get("routine"), revision: f.get("revision"), assembly: f.get("assembly").trim(), note: f.get("note").trim() });
    post("/arm", { sweep });
  });
  $("start").addEventListener("click", () => post("/start"));
  const halt = () => post("/stop");
  $("stop").addEventListener("click", halt);
  // The space bar stops whatever has the focus: while something may move nothing else is typed.
  document.addEventListener("keydown", (e) => {
    if (e.code !== "Space" || state === "limp") return;
    e.preventDefault();
    halt();
  }, true);
  addEventListener("pagehide", () => { if (mine) navigator.sendBeacon("/gone", body()); });

  // What the stand says.
  const news = new EventSource("/live?page=" + page);
  news.addEventListener("state", (e) => {
    const s = JSON.parse(e.data), began = s.state === "moving" && state !== "moving";
    state = s.state;
    mine = s.owner === page;
    clearInterval(alive);
    if (mine) alive = setInterval(() => post("/alive"), aliveEveryMS);
    if (began) clear();
    if (state !== "limp") $("moving").hidden = state === "armed";
    else if (s.run || s.bad) $("agree").checked = false; // each run is agreed to anew
    say(s.text, s.hint);
    if (state === "armed") say(mine ? "Armed. " + s.text : "Armed by another page. " + s.text, mine ? "Start moves it now; the space bar leaves it." : "");
    if (s.run) {
      ran = s.run;
      const a = document.createElement("a");
      a.href = "/runs/" + encodeURIComponent(s.run);
      a.textContent = "See run " + s.run + ".";
      $("hint").append(s.hint ? " " : "", a);
      $("hint").hidden = false;
    }
    buttons();
  });
  news.addEventListener("said", (e) => { $("said").textContent = JSON.parse(e.data); $("said").hidden = false; });
  news.addEventListener("error", () => say("This page has lost limbgauge; if it armed the stand, motion ends.", "It tries again by itself."));
  news.addEventListener("moved", (e) => {
    const m = JSON.parse(e.data);
    const n = m.t.length - 1;
    if (n < 0) return;
    if (state === "limp") { state = m.state; buttons(); } // its word was lost on the way
    $("moving").hidden = false;
    const put = (id, v, digits) => { $(id).textContent = v === null ? "–" : v.toFixed(digits); };
    put("command", m.command[n], 1);
    put("angle", m.angle[n], 1);
    put("current", m.current[n], 2);
    put("supply", m.supply[n], 2);
    $("lost").textContent = m.lost + m.damaged;
    const left = Math.round(m.left_s);
    $("left").textContent = Math.floor(left / 60) + ":" + String(left % 60).padStart(2, "0");
    $("move").textContent = m.joint + ", " + (m.move ? m.move + ", move " + m.segment + " of " + m.moves : "at rest") + ", " + m.samples + " samples";
    $("share").value = m.share;
    take(m);
  });

  // The drawings: a ring of the last seconds, and the loop since the start.
  const spanS = 20, most = 4000, mostLoop = 20000;
  let joint = null, ring = [], loop = [], wanted = false;
  const clear = () => {
    ring = []; loop = []; joint = null; draw();
    for (const id of ["command", "angle", "current", "supply", "left"]) $(id).textContent = "–";
    $("lost").textContent = "0"; $("move").textContent = ""; $("share").value = 0;
  };
  const take = (m) => {
    if (!joint || joint.name !== m.joint) {
      joint = facts.find((f) => f.name === m.joint) || { name: m.joint, range: [-90, 90], torque_nm: 0, down_deg: 0, current_max_a: 2 };
      ring = []; loop = [];
    }
    for (let i = 0; i < m.t.length; i++) {
      const p = { t: m.t[i], command: m.command[i], angle: m.angle[i], current: m.current[i] };
      ring.push(p);
      if (m.move !== "step" && p.command !== null && p.angle !== null) loop.push([joint.torque_nm * Math.sin((p.angle - joint.down_deg) * Math.PI / 180), p.angle - p.command]);
    }
    const last = ring[ring.length - 1].t;
    while (ring.length > most || ring.length && ring[0].t < last - spanS) ring.shift();
    if (loop.length > mostLoop) loop.splice(0, loop.length - mostLoop);
    if (!wanted) { wanted = true; requestAnimationFrame(() => { wanted = false; draw(); }); }
  };

  const tone = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const sheet = (id) => {
    const c = $(id), ratio = devicePixelRatio || 1, w = c.clientWidth, h = c.clientHeight;
    if (c.width !== Math.round(w * ratio) || c.height !== Math.round(h * ratio)) { c.width = Math.round(w * ratio); c.height = Math.round(h * ratio); }
    const g = c.getContext("2d");
    g.setTransform(ratio, 0, 0, ratio, 0, 0);
    g.clearRect(0, 0, w, h);
    g.font = getComputedStyle(c).fontSize + " " + getComputedStyle(c).fontFamily;
    return { g, w, h };
  };
  const line = (g, points, stroke, width) => {
    g.beginPath();
    let pen = false;
    for (const [x, y] of points) {
      if (x === null || y === null || !isFinite(x) || !isFinite(y)) { pen = false; continue; }
      if (pen) g.lineTo(x, y); else g.moveTo(x, y);
      pen = true;
    }
    g.strokeStyle = stroke; g.lineWidth = width; g.stroke();
  };
  // Steps of a scale: 1, 2 or 5 times a power of ten.
  const stepOf = (span, n) => {
    const raw = span / n, ten = 10 ** Math.floor(Math.log10(raw));
    return [1, 2, 5, 10].map((k) => k * ten).find((v) => v >= raw);
  };
  const digits = (step) => Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
  const scaleY = (g, box, lo, hi, n, unit) => {
    const step = stepOf(hi - lo, n), y = (v) => box.bottom - (v - lo) / (hi - lo) * (box.bottom - box.top);
    g.strokeStyle = tone("--p-grid"); g.fillStyle = tone("--p-quiet"); g.lineWidth = 1; g.textAlign = "right"; g.textBaseline = "middle";
    for (let v = Math.ceil(lo / step) * step; v <= hi + 1e-9; v += step) {
      g.beginPath(); g.moveTo(box.left, y(v)); g.lineTo(box.right, y(v)); g.stroke();
      g.fillText(v.toFixed(digits(step)), box.left - 6, y(v));
    }
    g.textAlign = "left"; g.textBaseline = "top";
    g.fillText(unit, box.left + 4, box.top - 2);
    return y;
  };
  const draw = () => { if (!$("moving").hidden) { course(); deflection(); } };
  const course = () => {
    const { g, w, h } = sheet("course"), left = 52, right = w - 8;
    if (!joint || !ring.length) return;
    const last = ring[ring.length - 1].t, x = (t) => right - (last - t) / spanS * (right - left);
    const [lo, hi] = joint.range, pad = (hi - lo) * 0.04;
    const split = h * 0.68;
    const angle = scaleY(g, { left, right, top: 14, bottom: split }, lo - pad, hi + pad, 5, "deg");
    line(g, ring.map((p) => [x(p.t), p.command === null ? null : angle(p.command)]), tone("--p-command"), 3);
    line(g, ring.map((p) => [x(p.t), p.angle === null ? null : angle(p.angle)]), tone("--p-value"), 1.6);
    const amps = scaleY(g, { left, right, top: split + 24, bottom: h - 8 }, 0, joint.current_max_a, 2, "A");
    line(g, ring.map((p) => [x(p.t), p.current === null ? null : amps(Math.min(p.current, joint.current_max_a))]), tone("--p-up"), 1.6);
  };
  const deflection = () => {
    const { g, w, h } = sheet("loop"), left = 52, right = w - 8, bottom = h - 26;
    if (!joint || !loop.length) return;
    let most = 0.5;
    for (const [, d] of loop) most = Math.max(most, Math.abs(d));
    const peak = joint.peak_nm || 1;
    const y = scaleY(g, { left, right, top: 14, bottom }, -1.1 * most, 1.1 * most, 5, "deg");
    const x = (v) => left + (v + 1.05 * peak) / (2.1 * peak) * (right - left);
    g.fillStyle = tone("--p-quiet"); g.textBaseline = "bottom"; g.textAlign = "center";
    const step = stepOf(2 * peak, 6);
    for (let v = Math.ceil(-peak / step) * step; v <= peak + 1e-9; v += step) g.fillText(v.toFixed(digits(step)), x(v), h - 4);
    g.textAlign = "right"; g.fillText("N·m", right, h - 18);
    line(g, loop.map(([t, d]) => [x(t), y(d)]), tone("--p-value"), 1);
    const [t, d] = loop[loop.length - 1];
    g.beginPath(); g.arc(x(t), y(d), 4, 0, 7); g.fillStyle = tone("--p-limit"); g.fill();
  };
  addEventListener("resize", draw);
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
  buttons();
})();
