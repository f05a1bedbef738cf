// What a test asks of an open page. Each function answers with a list of what is wrong, in words.
window.look = (() => {
  const all = (q, from = document) => [...from.querySelectorAll(q)];
  const shown = (e) => e.checkVisibility({ visibilityProperty: true, opacityProperty: true });
  const name = (e) => {
    const text = (e.textContent || "").trim().replace(/\s+/g, " ").slice(0, 40);
    return e.tagName.toLowerCase() + (e.id ? "#" + e.id : "") + (e.getAttribute("class") ? "." + e.getAttribute("class").trim().replace(/\s+/g, ".") : "") + (text ? ` "${text}"` : "");
  };

  // Colours as WCAG 2.2 has them. A canvas reads any colour a style sheet may name.
  const pot = new OffscreenCanvas(1, 1).getContext("2d", { willReadFrequently: true });
  const rgba = (colour) => {
    pot.clearRect(0, 0, 1, 1);
    pot.fillStyle = colour;
    pot.fillRect(0, 0, 1, 1);
    const [r, g, b, a] = pot.getImageData(0, 0, 1, 1).data;
    return [r, g, b, a / 255];
  };
  const over = (top, share, ground) => [0, 1, 2].map((i) => top[i] * top[3] * share + ground[i] * (1 - top[3] * share));
  const luminance = (c) => {
    const [r, g, b] = c.map((v) => v / 255).map((v) => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const contrast = (a, b) => {
    const [hi, lo] = [luminance(a), luminance(b)].sort((x, y) => y - x);
    return (hi + 0.05) / (lo + 0.05);
  };
  // The ground of an element: what its ancestors paint, from the canvas of the page up.
  const ground = (e) => {
    const above = [];
    for (let n = e; n; n = n.parentElement) above.unshift(n);
    const scheme = matchMedia("(prefers-color-scheme: dark)").matches ? [18, 18, 18] : [255, 255, 255];
    return above.reduce((g, n) => over(rgba(getComputedStyle(n).backgroundColor), 1, g), scheme);
  };
  const textContrast = (e) => contrast(over(rgba(getComputedStyle(e).color), 1, ground(e)), ground(e));

  // Text of drawings on the page's ground and on whatever the drawing paints below it.
  const drawnText = () => {
    const out = [];
    for (const t of all("svg text")) {
      if (!t.textContent.trim() || !shown(t)) continue;
      const svg = t.ownerSVGElement, box = t.getBBox(), style = getComputedStyle(t);
      let below = ground(svg.parentElement);
      const at = [0.1, 0.5, 0.9].map((k) => new DOMPoint(box.x + k * box.width, box.y + box.height / 2).matrixTransform(t.getScreenCTM()));
      for (const s of all("path, rect, circle, ellipse, polygon", svg)) {
        if (!(s.compareDocumentPosition(t) & Node.DOCUMENT_POSITION_FOLLOWING) || s.closest("defs, symbol, pattern, clipPath, marker")) continue;
        const paint = getComputedStyle(s);
        if (paint.fill === "none" || !shown(s)) continue;
        const back = s.getScreenCTM().inverse();
        if (!at.some((p) => s.isPointInFill(p.matrixTransform(back)))) continue;
        if (paint.fill.startsWith("url")) { out.push(`${name(t)} lies on a pattern`); continue; }
        below = over(rgba(paint.fill), paint.fillOpacity * paint.opacity, below);
      }
      const got = contrast(over(rgba(style.fill), style.fillOpacity * style.opacity, below), below);
      if (got < 4.5) out.push(`${name(t)}: ${got.toFixed(2)}:1`);
    }
    return out;
  };

  // Text smaller than so many rem.
  const small = (rem, remDrawn) => {
    const root = parseFloat(getComputedStyle(document.documentElement).fontSize), out = new Set();
    const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    while (walk.nextNode()) {
      const e = walk.currentNode.parentElement;
      if (!walk.currentNode.data.trim() || !shown(e) || e.closest("script, style, title, desc, noscript, option")) continue;
      const drawn = e instanceof SVGElement;
      const px = parseFloat(getComputedStyle(e).fontSize) * (drawn ? e.getScreenCTM().a : 1);
      if (px < (drawn ? remDrawn : rem) * root - 0.05) out.add(`${name(e)}: ${(px / root).toFixed(2)} rem`);
    }
    return [...out];
  };

  // Drawings that are pictures tell in words what they show.
  const untold = () => all("svg, canvas, img").filter((e) => shown(e) && !e.closest("[aria-hidden=true]") && !e.parentElement.closest("svg")).flatMap((e) => {
    const said = e.querySelector(":scope > desc")?.textContent || e.getAttribute("aria-label") || "";
    return said.trim().length < 20 ? [`${name(e)} says only "${said}"`] : [];
  });

  // Lines of text that lie on each other, and text cut off by its box.
  const collisions = () => {
    const lines = [], out = new Set();
    const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    while (walk.nextNode()) {
      const e = walk.currentNode.parentElement;
      if (!walk.currentNode.data.trim() || !shown(e) || e.closest("svg, script, style, noscript, select, .past, .unseen, thead")) continue;
      const r = document.createRange();
      r.selectNodeContents(walk.currentNode);
      for (const b of r.getClientRects()) if (b.width > 1 && b.height > 1) lines.push({ e, b });
    }
    lines.sort((a, b) => a.b.top - b.b.top);
    lines.forEach((a, i) => {
      for (let k = i + 1; k < lines.length && lines[k].b.top < a.b.bottom; k++) {
        const b = lines[k];
        const wide = Math.min(a.b.right, b.b.right) - Math.max(a.b.left, b.b.left);
        const high = Math.min(a.b.bottom, b.b.bottom) - Math.max(a.b.top, b.b.top);
        // Line boxes reach a little beyond the letters in them.
        if (wide > 2 && high > 0.4 * Math.min(a.b.height, b.b.height)) out.add(`${name(a.e)} and ${name(b.e)} lie on each other`);
      }
    });
    for (const e of all("body *")) {
      const s = getComputedStyle(e);
      if (shown(e) && e.clientWidth > 1 && !e.closest("svg") && /hidden|clip/.test(s.overflowX + s.overflowY) && (e.scrollWidth > e.clientWidth + 1 || e.scrollHeight > e.clientHeight + 1)) out.add(`${name(e)} is cut off`);
    }
    return [...out];
  };

  const wide = () => {
    const far = document.scrollingElement.scrollWidth - innerWidth;
    if (far <= 0) return [];
    const who = all("body *").filter((e) => e.getBoundingClientRect().right > innerWidth + 0.5).at(-1);
    return [`${far} px stand out to the side, as ${who ? name(who) : "something"} does`];
  };

  // More air between letters, words and lines, as far as a reader may ask for it (WCAG 2.2, 1.4.12).
  const air = () => {
    const sheet = new CSSStyleSheet();
    sheet.replaceSync("* { line-height: 1.5 !important; letter-spacing: 0.12em !important; word-spacing: 0.16em !important } p { margin-bottom: 2em !important }");
    document.adoptedStyleSheets = [sheet];
    return getComputedStyle(document.body).letterSpacing === "normal" ? ["no more air was given"] : [];
  };

  // What a page is to be found by: its language, title, heading, the content, and in the way to the pages which one it is.
  const framed = () => {
    const want = (n, q) => all(q).filter(shown).length === n ? [] : [`${all(q).length} of ${q}, want ${n}`];
    const way = document.querySelector("nav[aria-label=Pages]");
    return [
      ...(document.documentElement.lang === "en" ? [] : ["no language"]), ...(document.title.length > 3 ? [] : [`title "${document.title}"`]),
      ...want(1, "h1"), ...want(1, "main"), ...(way ? want(1, "nav[aria-label=Pages] [aria-current]") : []),
      ...(!way || document.querySelector("link[rel=icon]") ? [] : ["no icon"]),
    ];
  };

  // What moves by itself although less of it was asked for.
  const restless = () => document.getAnimations().map((a) => "moves: " + name(a.effect.target)).concat(
    all("body *").filter((e) => parseFloat(getComputedStyle(e).transitionDuration) > 0.01).map((e) => "glides: " + name(e)));

  // Where the focus goes: begin() listens, and steps() tells what had it, in order, with what was wrong there.
  const canFocus = () => all("a[href], button, input, select, textarea, summary, [tabindex]").filter((e) => {
    if (e.disabled || e.tabIndex < 0 || !shown(e) || e.tagName === "SUMMARY" && e !== e.parentElement.querySelector(":scope > summary")) return false;
    if (e.type !== "radio") return true;
    const group = all(`input[type=radio][name="${e.name}"]:not(:disabled)`, e.form || document);
    return e === (group.find((r) => r.checked) || group[0]);
  });
  let went = [];
  const begin = () => {
    went = [];
    document.addEventListener("focusin", (event) => {
      const e = event.target, wrong = [];
      if (!(e.matches(":focus-visible"))) wrong.push("is not shown as focused");
      let ring = e;
      const has = (n) => { const s = getComputedStyle(n); return s.outlineStyle === "auto" || s.outlineStyle !== "none" && parseFloat(s.outlineWidth) >= 2; };
      if (!has(ring)) ring = e.closest("label") || e;
      const style = getComputedStyle(ring);
      if (!has(ring)) wrong.push("has no outline");
      else if (style.outlineStyle !== "auto" && contrast(over(rgba(style.outlineColor), 1, [0, 0, 0]), ground(ring.parentElement)) < 3) wrong.push("has an outline too pale");
      const b = e.getBoundingClientRect();
      if (b.bottom <= 0 || b.top >= innerHeight || b.right <= 0 || b.left >= innerWidth) wrong.push("is out of sight");
      else {
        const x = (Math.max(b.left, 0) + Math.min(b.right, innerWidth)) / 2, y = (Math.max(b.top, 0) + Math.min(b.bottom, innerHeight)) / 2;
        const top = document.elementFromPoint(x, y);
        if (top && !e.contains(top) && !top.contains(e) && !(e.closest("label") && e.closest("label").contains(top))) wrong.push("is covered by " + name(top));
      }
      went.push({ e, wrong });
    });
  };
  const steps = () => {
    const out = [], want = canFocus();
    went.forEach(({ e, wrong }, i) => {
      for (const w of wrong) out.push(`${name(e)} ${w}`);
      if (want[i] !== e) out.push(`step ${i + 1} is ${name(e)}, want ${want[i] ? name(want[i]) : "to leave the page"}`);
    });
    if (went.length < want.length) out.push(`only ${went.length} of ${want.length} were reached; the next would be ${name(want[went.length])}`);
    return out.slice(0, 20);
  };

  // What an engine of accessibility rules finds, by tags or by single rules. The rule of the least size of what is
  // touched is off by itself.
  const axeOn = async (names) => {
    const tags = names.some((n) => n.startsWith("wcag"));
    const got = await axe.run(document, {
      runOnly: { type: tags ? "tag" : "rule", values: names },
      rules: tags ? { "target-size": { enabled: true } } : {},
      resultTypes: ["violations", "incomplete"],
    });
    const out = [];
    for (const r of got.violations) for (const n of r.nodes) out.push(`${r.id}: ${n.html.slice(0, 160)} (${n.failureSummary.replace(/\s+/g, " ").slice(0, 200)})`);
    for (const r of got.incomplete) for (const n of r.nodes) {
      const e = document.querySelector(n.target.at(-1));
      if (r.id === "color-contrast" && e) { // what the engine leaves open is computed here
        const big = parseFloat(getComputedStyle(e).fontSize), least = big >= 24 || big >= 18.66 && getComputedStyle(e).fontWeight >= 700 ? 3 : 4.5;
        if (textContrast(e) >= least) continue;
        out.push(`color-contrast, computed: ${name(e)} ${textContrast(e).toFixed(2)}:1`);
      } else out.push(`${r.id}, undecided: ${n.html.slice(0, 160)}`);
    }
    return out;
  };

  return { air, framed, axeOn, drawnText, small, untold, collisions, wide, restless, begin, steps, count: () => canFocus().length };
})();
