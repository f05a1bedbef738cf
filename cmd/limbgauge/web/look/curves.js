// What moves, as curves: rings of fixed length, drawn when the browser is about to paint.
const spanS = 20; // of the courses
const ringOf = 4096, loopOf = 16384;

// A ring of rows of numbers; NaN was not measured.
class Ring {
  constructor(rows, columns) {
    this.rows = rows;
    this.columns = Array.from({ length: columns }, () => new Float32Array(rows));
    this.clear();
  }
  clear() { this.next = 0; this.length = 0; }
  push(...row) {
    row.forEach((v, i) => { this.columns[i][this.next] = v; });
    this.next = (this.next + 1) % this.rows;
    this.length = Math.min(this.length + 1, this.rows);
  }
  // at(c, i) is column c of the i-th oldest row.
  at(c, i) { return this.columns[c][(this.next - this.length + i + this.rows) % this.rows]; }
  last(c) { return this.length ? this.at(c, this.length - 1) : NaN; }
}

const T = 0, COMMAND = 1, ANGLE = 2, PEAK = 3; // of the courses
const TORQUE = 0, OFF = 1; // of the loop

// Steps of a scale: 1, 2 or 5 times a power of ten.
const stepOf = (span, n) => {
  const raw = span / n, ten = 10 ** Math.floor(Math.log10(raw));
  return [1, 2, 5, 10].map((k) => k * ten).find((v) => v >= raw);
};
const digitsOf = (step) => Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
const known = (v) => (v === null ? NaN : v);

export class Curves {
  constructor(facts, canvas) {
    this.facts = facts;
    this.canvas = canvas; // by name: course, amps, loop
    this.courses = new Ring(ringOf, 4);
    this.loop = new Ring(loopOf, 2);
    this.joint = null;
    this.asked = false;
    this.calm = matchMedia("(prefers-reduced-motion: reduce)");
    this.drawn = 0;
    addEventListener("resize", () => this.ask());
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.ask());
  }

  clear() { this.courses.clear(); this.loop.clear(); this.joint = null; this.ask(); }

  // take adds news of what moved.
  take(m) {
    const n = m.t.length;
    if (!this.joint || this.joint.name !== m.joint || m.t[0] < this.courses.last(T) - 0.5) { // another joint, or another run of it
      this.joint = this.facts.find((f) => f.name === m.joint) || { name: m.joint, range: [-90, 90], torque_nm: 0, down_deg: 0, current_max_a: 0 };
      this.courses.clear();
      this.loop.clear();
    }
    const j = this.joint;
    for (let i = 0; i < n; i++) {
      const command = known(m.command[i]), angle = known(m.angle[i]);
      this.courses.push(m.t[i], command, angle, known(m.peak[i]));
      if (m.move !== "step" && !Number.isNaN(angle - command)) this.loop.push(j.torque_nm * Math.sin((angle - j.down_deg) * Math.PI / 180), angle - command);
    }
    this.ask();
  }

  // ask draws at the next paint; once a second for who wants little to move.
  ask() {
    if (this.asked) return;
    this.asked = true;
    const wait = this.calm.matches ? Math.max(0, 1000 - (performance.now() - this.drawn)) : 0;
    const paint = () => requestAnimationFrame(() => { this.asked = false; this.drawn = performance.now(); this.draw(); });
    if (wait) setTimeout(paint, wait); else paint();
  }

  draw() {
    if (!this.canvas.course.offsetParent) return; // not shown
    this.style = getComputedStyle(document.documentElement);
    this.course();
    this.amps();
    this.deflection();
  }

  tone(name) { return this.style.getPropertyValue(name).trim(); }

  sheet(canvas) {
    const ratio = devicePixelRatio || 1, w = canvas.clientWidth, h = canvas.clientHeight;
    if (canvas.width !== Math.round(w * ratio) || canvas.height !== Math.round(h * ratio)) {
      canvas.width = Math.round(w * ratio);
      canvas.height = Math.round(h * ratio);
    }
    const g = canvas.getContext("2d"), own = getComputedStyle(canvas);
    g.setTransform(ratio, 0, 0, ratio, 0, 0);
    g.clearRect(0, 0, w, h);
    g.font = own.fontSize + " " + own.fontFamily;
    g.lineJoin = "round";
    const em = parseFloat(own.fontSize);
    return { g, w, h, em, left: 3.6 * em, right: w - 0.4 * em, top: 0.7 * em, bottom: h - 0.7 * em };
  }

  // scale draws the values of an upright scale and returns where a value stands.
  scale(s, lo, hi, n, unit) {
    const { g } = s, step = stepOf(hi - lo, n), y = (v) => s.bottom - (v - lo) / (hi - lo) * (s.bottom - s.top);
    g.strokeStyle = this.tone("--p-grid");
    g.fillStyle = this.tone("--p-quiet");
    g.lineWidth = 1;
    g.textAlign = "right";
    g.textBaseline = "middle";
    let above = -Infinity;
    for (let v = Math.ceil(lo / step - 1e-9) * step; v <= hi + 1e-9; v += step) {
      g.beginPath(); g.moveTo(s.left, y(v)); g.lineTo(s.right, y(v)); g.stroke();
      g.fillText(v.toFixed(digitsOf(step)), s.left - 0.5 * s.em, y(v));
      above = v;
    }
    s.unit = () => { // last, on a ground of its own
      g.fillStyle = this.tone("--sheet");
      g.fillRect(s.left, y(above) + 1, g.measureText(unit).width + 0.6 * s.em, 1.3 * s.em);
      g.fillStyle = this.tone("--p-quiet");
      g.textAlign = "left";
      g.textBaseline = "top";
      g.fillText(unit, s.left + 0.3 * s.em, y(above) + 0.2 * s.em);
    };
    return y;
  }

  // over draws a column over time: least and greatest of what falls on one pixel.
  over(s, column, y, stroke, width) {
    const { g } = s, r = this.courses, last = r.last(T), first = last - spanS;
    g.beginPath();
    let pixel = -1, lo = 0, hi = 0, end = 0, pen = false;
    const put = () => {
      if (pixel < 0) return;
      if (pen) g.lineTo(pixel, y(lo)); else g.moveTo(pixel, y(lo));
      if (hi !== lo) g.lineTo(pixel, y(hi));
      if (end !== hi) g.lineTo(pixel, y(end));
      pen = true;
      pixel = -1;
    };
    for (let i = 0; i < r.length; i++) {
      const t = r.at(T, i), v = r.at(column, i);
      if (t < first) continue;
      if (Number.isNaN(v)) { put(); pen = false; continue; }
      const x = Math.round(s.right - (last - t) / spanS * (s.right - s.left));
      if (x !== pixel) { put(); pixel = x; lo = hi = v; }
      lo = Math.min(lo, v); hi = Math.max(hi, v); end = v;
    }
    put();
    g.strokeStyle = stroke;
    g.lineWidth = width;
    g.stroke();
  }

  course() {
    const s = this.sheet(this.canvas.course);
    if (!this.courses.length) return;
    const [lo, hi] = this.joint.range, pad = (hi - lo) * 0.04;
    const y = this.scale(s, lo - pad, hi + pad, 4, "deg");
    this.over(s, COMMAND, y, this.tone("--p-command"), 5);
    this.over(s, ANGLE, y, this.tone("--p-value"), 2);
    s.unit();
  }

  amps() {
    const s = this.sheet(this.canvas.amps);
    if (!this.courses.length) return;
    let most = this.joint.current_max_a || 0.5;
    for (let i = 0; i < this.courses.length; i++) if (this.courses.at(PEAK, i) > most) most = this.courses.at(PEAK, i);
    const y = this.scale(s, 0, most * 1.04, 3, "A");
    this.over(s, PEAK, y, this.tone("--p-up"), 2);
    if (this.joint.current_max_a) { // where the stand trips
      const { g } = s;
      g.strokeStyle = this.tone("--p-limit");
      g.setLineDash([6, 4]);
      g.beginPath(); g.moveTo(s.left, y(this.joint.current_max_a)); g.lineTo(s.right, y(this.joint.current_max_a)); g.stroke();
      g.setLineDash([]);
    }
    s.unit();
  }

  deflection() {
    const s = this.sheet(this.canvas.loop), { g } = s, l = this.loop;
    if (!this.joint || !l.length) return;
    s.bottom -= 1.4 * s.em;
    let most = 0.5;
    for (let i = 0; i < l.length; i++) most = Math.max(most, Math.abs(l.at(OFF, i)));
    const peak = this.joint.peak_nm || 1, y = this.scale(s, -1.1 * most, 1.1 * most, 4, "deg");
    const x = (v) => s.left + (v + 1.05 * peak) / (2.1 * peak) * (s.right - s.left);
    const step = stepOf(2 * peak, 6);
    g.textBaseline = "bottom";
    g.textAlign = "center";
    for (let v = Math.ceil(-peak / step) * step; v <= peak + 1e-9; v += step) g.fillText((v + 0).toFixed(digitsOf(step)), x(v), s.h);
    g.textAlign = "right";
    g.fillText("N·m of load", s.right, s.h - 1.2 * s.em);
    g.beginPath();
    let px = NaN, py = NaN;
    for (let i = 0; i < l.length; i++) { // what would fall on the same pixel is left out
      const nx = x(l.at(TORQUE, i)), ny = y(l.at(OFF, i));
      if (Math.abs(nx - px) < 0.7 && Math.abs(ny - py) < 0.7) continue;
      if (i) g.lineTo(nx, ny); else g.moveTo(nx, ny);
      px = nx; py = ny;
    }
    g.strokeStyle = this.tone("--p-value");
    g.lineWidth = 1.2;
    g.stroke();
    s.unit();
    g.beginPath();
    g.arc(x(l.last(TORQUE)), y(l.last(OFF)), 5, 0, 7);
    g.fillStyle = this.tone("--p-limit");
    g.fill();
  }

  // words are what the pictures show, for who does not see them.
  words() {
    const r = this.courses, f = (v, d) => (Number.isNaN(v) ? "not measured" : v.toFixed(d));
    const span = (ring, c, from) => {
      let lo = Infinity, hi = -Infinity;
      for (let i = 0; i < ring.length; i++) {
        const v = ring.at(c, i);
        if (Number.isNaN(v) || from !== undefined && ring.at(T, i) < from) continue;
        lo = Math.min(lo, v); hi = Math.max(hi, v);
      }
      return lo > hi ? null : [lo, hi];
    };
    const range = (s, d, unit) => (s ? ", between " + f(s[0], d) + " and " + f(s[1], d) + " " + unit : "");
    const first = r.last(T) - spanS;
    return {
      course: "Angle of joint " + (this.joint ? this.joint.name : "") + ": asked " + f(r.last(COMMAND), 1) + " deg, reached " + f(r.last(ANGLE), 1) + " deg; in the last " + spanS + " s" + range(span(r, ANGLE, first), 1, "deg"),
      amps: "Current, by its peaks: " + f(r.last(PEAK), 2) + " A; in the last " + spanS + " s" + range(span(r, PEAK, first), 2, "A"),
      loop: "How far the joint lies off its command, by the torque of its load: now " + f(this.loop.last(OFF), 2) + " deg at " + f(this.loop.last(TORQUE), 2) + " N·m; since the start" + range(span(this.loop, OFF), 2, "deg"),
    };
  }
}
