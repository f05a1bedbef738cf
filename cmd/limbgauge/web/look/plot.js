// Plots of a run: read a value off at the pointer, zoom into a stretch and back. Without this script
// they are drawings with words beside them.
"use strict";
(() => {
  const svgNS = "http://www.w3.org/2000/svg";
  const four = (s) => s.split(" ").map(Number);
  const nice = (v, span) => v.toFixed(Math.max(0, Math.min(6, 2 - Math.floor(Math.log10(Math.abs(span) || 1)))));
  for (const plot of document.querySelectorAll("svg.plot[data-px]")) {
    const [left, right, top, bottom] = four(plot.dataset.px);
    const [x0, x1, y0, y1] = four(plot.dataset.values);
    const whole = four(plot.getAttribute("viewBox"));
    let view = [...whole];
    const figure = plot.closest("figure") || plot.parentElement;
    const bar = document.createElement("p");
    bar.className = "read";
    const button = (word, label, does) => {
      const b = document.createElement("button");
      b.type = "button"; b.textContent = word; b.setAttribute("aria-label", label);
      b.addEventListener("click", does);
      bar.append(b, " ");
    };
    const told = document.createElement("output");
    const show = () => plot.setAttribute("viewBox", view.map((v) => v.toFixed(2)).join(" "));
    // Zoom about a point of the drawing, never beyond the whole of it.
    const zoom = (k, x, y) => {
      const w = Math.min(whole[2], view[2] * k), h = whole[3] * w / whole[2];
      const at = (lo, size, all, p, q) => Math.max(0, Math.min(all - size, p - (p - lo) * q));
      view = [at(view[0], w, whole[2], x, w / view[2]), at(view[1], h, whole[3], y, h / view[3]), w, h];
      show();
    };
    const middle = () => [view[0] + view[2] / 2, view[1] + view[3] / 2];
    button("+", "zoom in", () => zoom(0.6, ...middle()));
    button("\u2212", "zoom out", () => zoom(1 / 0.6, ...middle()));
    button("whole", "show the whole plot", () => { view = [...whole]; show(); });
    bar.append(told);
    figure.append(bar);
    const cross = document.createElementNS(svgNS, "path");
    cross.setAttribute("class", "s-quiet"); cross.setAttribute("fill", "none"); cross.setAttribute("stroke-width", "0.8");
    plot.append(cross);
    const where = (e) => {
      const p = new DOMPoint(e.clientX, e.clientY).matrixTransform(plot.getScreenCTM().inverse());
      return [p.x, p.y];
    };
    const read = (e) => {
      const [x, y] = where(e);
      if (x < left || x > right || y < top || y > bottom) { cross.removeAttribute("d"); told.textContent = ""; return; }
      cross.setAttribute("d", `M${left} ${y}H${right}M${x} ${top}V${bottom}`);
      const across = x0 + (x - left) / (right - left) * (x1 - x0), up = y0 + (y - top) / (bottom - top) * (y1 - y0);
      told.textContent = `across ${nice(across, x1 - x0)}, up ${nice(up, y0 - y1)}`;
    };
    let held = null;
    plot.addEventListener("pointerdown", (e) => {
      if (view[2] >= whole[2]) return; // the whole can not be moved: let a phone scroll
      held = where(e); plot.setPointerCapture(e.pointerId); e.preventDefault();
    });
    plot.addEventListener("pointermove", (e) => {
      if (held) {
        const [x, y] = where(e);
        view[0] = Math.max(0, Math.min(whole[2] - view[2], view[0] + held[0] - x));
        view[1] = Math.max(0, Math.min(whole[3] - view[3], view[1] + held[1] - y));
        show();
      }
      read(e);
    });
    for (const end of ["pointerup", "pointercancel"]) plot.addEventListener(end, () => { held = null; });
    plot.addEventListener("pointerleave", () => { cross.removeAttribute("d"); });
    plot.addEventListener("wheel", (e) => {
      if (!e.ctrlKey) return; // a bare wheel scrolls the page
      e.preventDefault();
      zoom(e.deltaY < 0 ? 0.8 : 1.25, ...where(e));
    }, { passive: false });
    plot.addEventListener("dblclick", (e) => zoom(0.5, ...where(e)));
  }
})();
