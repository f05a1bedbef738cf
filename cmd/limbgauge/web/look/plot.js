// Plots of a run: read values off at a cursor, zoom into a stretch and back, by pointer, finger or keys.
// Without this script they are drawings with words beside them.
"use strict";
(() => {
  const svgNS = "http://www.w3.org/2000/svg";
  const four = (s) => s.split(" ").map(Number);
  const nice = (v, span) => {
    const text = v.toFixed(Math.max(0, Math.min(6, 2 - Math.floor(Math.log10(Math.abs(span) || 1)))));
    return text.replace("-", "\u2212");
  };
  const steps = 400; // of the cursor, from edge to edge
  const near = 6; // px within which a mark is read off

  // The strokes of a path as lists of points; marks are closed, of which the middle counts.
  const strokes = (d) => {
    const out = [];
    let x = 0, y = 0, from = [0, 0];
    for (const [, op, dx, dy] of d.matchAll(/([mlz])(?:(-?[\d.]+) ?(-?[\d.]+))?/g)) {
      if (op === "z") {
        out.at(-1).closed = true;
        [x, y] = from;
        continue;
      }
      x += Number(dx); y += Number(dy);
      if (op === "m") { from = [x, y]; out.push([]); }
      out.at(-1).push([x, y]);
    }
    return out;
  };
  // Where a line is at a place across, in pixels: crossings of what is stroked, else the nearest mark.
  const heights = (pieces, x) => {
    const out = [];
    let mark = null;
    for (const p of pieces) {
      if (p.closed) {
        const at = [0, 1].map((i) => p.reduce((sum, q) => sum + q[i], 0) / p.length);
        if (Math.abs(at[0] - x) <= near && (!mark || Math.abs(at[0] - x) < Math.abs(mark[0] - x))) mark = at;
        continue;
      }
      for (let i = 1; i < p.length; i++) {
        const [[ax, ay], [bx, by]] = [p[i - 1], p[i]];
        if (Math.min(ax, bx) <= x && x <= Math.max(ax, bx)) out.push(bx === ax ? by : ay + (by - ay) * (x - ax) / (bx - ax));
      }
    }
    return out.length || !mark ? out : [mark[1]];
  };

  const lists = document.querySelectorAll("svg.plot[data-values], svg.plot[data-stops]:not([data-stops=''])");
  // A cursor over a curve goes evenly across and reads every line off.
  const curve = (plot, left, right, top, bottom) => {
    const [x0, x1, y0, y1] = four(plot.dataset.values);
    // "load torque in N·m" is a name and a unit.
    const [across, upward] = [plot.dataset.x, plot.dataset.y].map((s) => [s.replace(/ in [^ ]+$/, ""), (/ in [^ ]+$/.exec(s) || [""])[0].replace(" in", "")]);
    const lines = new Map(); // by name, since what a line strokes and its marks may lie apart
    for (const g of plot.querySelectorAll("g[data-line]")) {
      const pieces = [...g.querySelectorAll("path")].flatMap((p) => strokes(p.getAttribute("d")));
      lines.set(g.dataset.line, (lines.get(g.dataset.line) || []).concat(pieces));
    }
    const up = (y) => nice(y0 + (y - top) / (bottom - top) * (y1 - y0), y0 - y1);
    const at = (step) => {
      const x = left + (right - left) * step / steps, ends = [], words = [];
      for (const [name, pieces] of lines) {
        const ys = heights(pieces, x).filter((y) => y >= top - 1 && y <= bottom + 1).sort((a, b) => b - a);
        if (!ys.length) continue;
        ends.push(ys[0], ys.at(-1));
        const values = [...new Set(ys.map(up))];
        words.push((lines.size > 1 ? name + " " : "") + (values.length < 3 ? values.join(" and ") : values[0] + " to " + values.at(-1)));
      }
      const text = `${across[0]} ${nice(x0 + (x - left) / (right - left) * (x1 - x0), x1 - x0)}${across[1]}: ` +
        (words.length ? `${upward[0]} ${words.join(", ")}${upward[1]}` : "nothing drawn here");
      return { x, ys: ends, text };
    };
    return { last: steps, start: steps / 2, at, nearest: (x) => steps * (x - left) / (right - left) };
  };
  // A cursor over runs goes from one to the next.
  const runs = (plot) => {
    const list = plot.dataset.stops.split("|").map((s) => /^(\S+) (\S+) (.*)$/s.exec(s)).filter(Boolean).map(([, x, y, text]) => ({ x: Number(x), ys: y === "-" ? [] : [Number(y)], text }));
    const nearest = (x) => list.reduce((best, r, i) => Math.abs(r.x - x) < Math.abs(list[best].x - x) ? i : best, 0);
    return { last: list.length - 1, start: list.length - 1, at: (step) => list[step], nearest };
  };

  const how = document.createElement("details");
  if (lists.length) {
    how.className = "how";
    how.append(document.createElement("summary"), document.createElement("p"));
    how.firstChild.textContent = "How to read a plot off";
    how.lastChild.textContent = "The slider below each plot, or a pointer on it, reads values off. Keys on the slider: arrows, Page Up and Page Down, Home and End move the cursor; + and \u2212 zoom, 0 shows the whole plot. When zoomed in, drag the plot to move it.";
  }
  for (const plot of lists) {
    const [left, right, top, bottom] = four(plot.dataset.px);
    const whole = four(plot.getAttribute("viewBox"));
    const title = plot.getAttribute("aria-label");
    const { last, start, at: told, nearest } = plot.dataset.stops ? runs(plot) : curve(plot, left, right, top, bottom);
    let view = [...whole];
    const show = () => plot.setAttribute("viewBox", view.map((v) => v.toFixed(2)).join(" "));
    const within = (i, v) => Math.max(0, Math.min(whole[i + 2] - view[i + 2], v));
    // Zoom about a point of the drawing, never beyond the whole of it.
    const zoom = (k, x, y) => {
      const w = Math.min(whole[2], view[2] * k), h = whole[3] * w / whole[2];
      const [px, py] = [(x - view[0]) / view[2], (y - view[1]) / view[3]];
      view = [0, 0, w, h];
      view[0] = within(0, x - px * w); view[1] = within(1, y - py * h);
      show();
    };

    const cross = document.createElementNS(svgNS, "path");
    cross.setAttribute("class", "s-quiet cross");
    cross.setAttribute("fill", "none");
    plot.append(cross);
    const cursor = document.createElement("input");
    cursor.type = "range"; cursor.min = 0; cursor.max = last; cursor.step = 1; cursor.value = start;
    cursor.setAttribute("aria-label", "Cursor in " + title);
    cursor.setAttribute("aria-keyshortcuts", "+ - 0");
    // The slider lies below what it reads.
    cursor.style.marginLeft = 100 * left / whole[2] + "%";
    cursor.style.width = 100 * (right - left) / whole[2] + "%";
    const ruler = document.createElement("div"); // as wide as the plot
    ruler.className = "ruler";
    ruler.append(cursor);
    const said = document.createElement("p");
    said.className = "reading";
    let at = [(left + right) / 2, (top + bottom) / 2];
    const read = () => {
      const { x, ys, text } = told(Number(cursor.value));
      at = [x, ys.length ? ys[0] : at[1]];
      cross.setAttribute("d", `M${x} ${top}V${bottom}` + ys.map((y) => `M${x - 4} ${y}h8`).join(""));
      said.textContent = text;
      cursor.setAttribute("aria-valuetext", text);
      if (x < view[0] || x > view[0] + view[2]) { view[0] = within(0, x - view[2] / 2); show(); }
    };
    cursor.addEventListener("input", read);
    cursor.addEventListener("focus", read);
    const wholeAgain = () => { view = [...whole]; show(); };
    cursor.addEventListener("keydown", (e) => {
      if (e.ctrlKey || e.altKey || e.metaKey) return;
      const does = { "+": () => zoom(0.6, ...at), "=": () => zoom(0.6, ...at), "-": () => zoom(1 / 0.6, ...at), "0": wholeAgain }[e.key];
      if (does) { e.preventDefault(); does(); }
    });
    // The buttons do what the keys do, so that Tab goes from plot to plot.
    const buttons = document.createElement("p");
    buttons.className = "read";
    for (const [word, does] of [["closer", () => zoom(0.6, ...at)], ["wider", () => zoom(1 / 0.6, ...at)], ["whole", wholeAgain]]) {
      const b = document.createElement("button");
      b.type = "button"; b.textContent = word; b.tabIndex = -1;
      b.setAttribute("aria-label", `${word}: ${title}`);
      b.addEventListener("click", does);
      buttons.append(b, " ");
    }
    plot.after(ruler, said, buttons);
    if (plot === lists[0]) (plot.closest(".drawn-wide") || buttons).after(how); // there is a narrow one beside a wide one
    said.textContent = "\u00a0"; // its line is there before it says something

    const where = (e) => {
      const p = new DOMPoint(e.clientX, e.clientY).matrixTransform(plot.getScreenCTM().inverse());
      return [p.x, p.y];
    };
    const point = (e) => {
      const [x, y] = where(e);
      if (x < left || x > right || y < top || y > bottom) return;
      cursor.value = nearest(x);
      read();
    };
    let held = null;
    plot.addEventListener("pointerdown", (e) => {
      point(e);
      if (view[2] >= whole[2]) return; // the whole can not be moved: let a phone scroll
      held = where(e); plot.setPointerCapture(e.pointerId); e.preventDefault();
    });
    plot.addEventListener("pointermove", (e) => {
      if (!held) { point(e); return; }
      const [x, y] = where(e);
      view[0] = within(0, view[0] + held[0] - x);
      view[1] = within(1, view[1] + held[1] - y);
      show();
    });
    for (const end of ["pointerup", "pointercancel"]) plot.addEventListener(end, () => { held = null; });
    plot.addEventListener("wheel", (e) => {
      if (!e.ctrlKey) return; // a bare wheel scrolls the page
      e.preventDefault();
      zoom(e.deltaY < 0 ? 0.8 : 1.25, ...where(e));
    }, { passive: false });
    plot.addEventListener("dblclick", (e) => zoom(0.5, ...where(e)));
  }
})();
