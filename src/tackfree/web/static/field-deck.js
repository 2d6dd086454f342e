// A section's floor and kit cells as a drawing: pan, pinch, tap. Metres in, the deck's frame kept.

import { el, svg } from "/static/field-dom.js";

const SLIP = 10; // px a gloved finger may slip and still tap

const ring = (points, put) => `M${points.map((p) => put(p).join(" ")).join("L")}Z`;
const path = (polygons, put) => polygons.flatMap((rings) => rings.map((r) => ring(r.slice(0, -1), put))).join("");

function bounds(polygons) {
  let [x0, y0, x1, y1] = [Infinity, Infinity, -Infinity, -Infinity];
  for (const rings of polygons) {
    for (const [x, y] of rings[0]) { x0 = Math.min(x0, x); y0 = Math.min(y0, y); x1 = Math.max(x1, x); y1 = Math.max(y1, y); }
  }
  return [x0, y0, x1, y1];
}

const area = (points) => points.reduce((sum, [x, y], i) => {
  const [u, v] = points[(i + 1) % points.length];
  return sum + (x * v - u * y) / 2;
}, 0);

// A point inside the largest polygon where its number can stand.
export function middle(polygons) {
  const big = polygons.reduce((a, b) => (Math.abs(area(b[0])) > Math.abs(area(a[0])) ? b : a))[0];
  const [x0, y0, x1, y1] = bounds([[big]]);
  const cx = (x0 + x1) / 2, cy = (y0 + y1) / 2;
  if (inside([[big]], cx, cy)) return [cx, cy];
  // Scan a few lines for the widest stretch inside.
  let best = [cx, cy], width = -1;
  for (let k = 1; k < 12; k += 1) {
    const y = y0 + ((y1 - y0) * k) / 12;
    const cuts = crossings(big, y);
    for (let i = 0; i + 1 < cuts.length; i += 2) {
      if (cuts[i + 1] - cuts[i] > width) { width = cuts[i + 1] - cuts[i]; best = [(cuts[i] + cuts[i + 1]) / 2, y]; }
    }
  }
  return best;
}

function crossings(points, y) {
  const found = [];
  points.forEach(([x, v], i) => {
    const [u, w] = points[(i + 1) % points.length];
    if ((v > y) !== (w > y)) found.push(x + ((y - v) / (w - v)) * (u - x));
  });
  return found.sort((a, b) => a - b);
}

export function inside(polygons, x, y) {
  return polygons.some((rings) => rings.filter((r) => crossings(r, y).filter((c) => c > x).length % 2).length % 2 === 1);
}

// The drawing of one section. `cells` [{n, outline}], `states` n -> done|next|open,
// `old` [{cell, outline}] of marks cut anew since, `dots` [{x, y, word}]. `ontap({cell, x, y})` in the deck's frame.
export function drawing({ floor, cells, states, old = [], dots, label, cellLabel, ontap, space }) {
  const every = floor.length ? floor : cells.flatMap((c) => c.outline);
  const [x0, y0, x1, y1] = bounds(every);
  // Turned by a quarter where the section fills its space better that way.
  const fit = (w, h) => Math.min(space[0] / w, space[1] / h);
  const turned = fit(y1 - y0, x1 - x0) > 1.15 * fit(x1 - x0, y1 - y0);
  const put = turned ? ([x, y]) => [y - y0, x - x0] : ([x, y]) => [x - x0, y1 - y];
  const back = turned ? ([a, b]) => [b + x0, a + y0] : ([a, b]) => [a + x0, y1 - b];
  const round = (p) => put(p).map((v) => Number(v.toFixed(3)));
  const [w, h] = turned ? [y1 - y0, x1 - x0] : [x1 - x0, y1 - y0];
  const edge = 0.03 * Math.max(w, h) + 0.2;
  const whole = { x: -edge, y: -edge, w: w + 2 * edge, h: h + 2 * edge };
  let view = null; // {x, y, w, h} with the proportions of the box

  const picture = svg("svg", { class: "cells", role: "group", "aria-label": label, preserveAspectRatio: "xMidYMid meet" },
    svg("defs", {},
      svg("pattern", { id: "cell-done", width: "8", height: "8", patternUnits: "userSpaceOnUse", class: "hatch-done" },
        svg("path", { d: "M0 8L8 0M-2 2L2 -2M6 10L10 6", class: "s-ink" }))),
    svg("path", { class: "floor", d: path(floor, round), "fill-rule": "evenodd" }));
  for (const cell of cells) {
    const state = states(cell.n);
    const [cx, cy] = round(middle(cell.outline));
    picture.append(svg("g", { class: `cell ${state}`, "data-cell": cell.n, role: "button", tabindex: "-1", "aria-label": cellLabel(cell, state) },
      svg("path", { class: "cell-ground", d: path(cell.outline, round), "fill-rule": "evenodd" }),
      state === "done" && svg("path", { class: "cell-hatch", d: path(cell.outline, round), "fill-rule": "evenodd", fill: "url(#cell-done)" }),
      svg("text", { x: cx, y: cy, class: "cell-n", "aria-hidden": "true" }, String(cell.n))));
  }
  for (const { cell, outline } of old) {
    const ring = [[[...outline, outline[0]]]];
    const [cx, cy] = round(middle(ring));
    picture.append(svg("g", { class: "cell-old", "aria-hidden": "true" },
      svg("path", { d: path(ring, round) }), svg("text", { x: cx, y: cy, class: "cell-n" }, `(${cell})`)));
  }
  for (const dot of dots) {
    const [cx, cy] = round([dot.x, dot.y]);
    picture.append(svg("g", { class: "dot", "aria-label": dot.word, role: "img" },
      svg("path", { d: `M${cx} ${cy}m-1 0h2m-1 -1v2`, class: "dot-cross" }),
      svg("text", { x: cx, y: cy, class: "dot-n", "aria-hidden": "true" }, dot.word)));
  }
  const box = el("div", { class: "deck", tabindex: "0", role: "group", "aria-label": label }, picture);

  const scale = () => Math.min(box.clientWidth / view.w, box.clientHeight / view.h) || 1;
  function draw() {
    if (!box.clientWidth) return;
    if (!view || Math.abs(view.h / view.w - box.clientHeight / box.clientWidth) > 1e-6) return show(view ?? fitted());
    picture.setAttribute("viewBox", `${view.x} ${view.y} ${view.w} ${view.h}`);
    picture.style.setProperty("--px", String(1 / scale()));
    const s = 1 / scale();
    picture.querySelector("pattern").setAttribute("patternTransform", `scale(${s})`);
    for (const cross of picture.querySelectorAll(".dot-cross")) {
      const [, cx, cy] = cross.getAttribute("d").match(/M(\S+) (\S+?)m/);
      const r = 7 * s;
      cross.setAttribute("d", `M${cx} ${cy}m${-r} 0h${2 * r}m${-r} ${-r}v${2 * r}`);
    }
  }
  const tall = () => box.clientHeight / box.clientWidth;
  const fitted = () => {
    const width = Math.max(whole.w, whole.h / tall());
    return { x: whole.x + (whole.w - width) / 2, y: whole.y + (whole.h - width * tall()) / 2, w: width };
  };
  const limit = (width) => Math.min(fitted().w, Math.max(fitted().w / 24, width));
  const show = (v) => {
    const width = limit(v.w);
    const height = width * tall();
    // A side that shows all of the drawing is centred; otherwise the view stays on it.
    const keep = (value, size, from, length) => (size >= length ? from + (length - size) / 2 : Math.min(Math.max(value, from), from + length - size));
    view = { x: keep(v.x, width, whole.x, whole.w), y: keep(v.y, height, whole.y, whole.h), w: width, h: height };
    requestAnimationFrame(draw);
  };
  const zoom = (by, p = { x: view.x + view.w / 2, y: view.y + view.h / 2 }) => {
    const width = limit(view.w / by);
    const k = width / view.w;
    show({ x: p.x - (p.x - view.x) * k, y: p.y - (p.y - view.y) * k, w: width });
  };
  const at = (e) => new DOMPoint(e.clientX, e.clientY).matrixTransform(picture.getScreenCTM().inverse());

  const fingers = new Map();
  let slipped = 0;
  box.addEventListener("pointerdown", (e) => {
    if (e.button) return;
    if (!fingers.size) slipped = 0;
    fingers.set(e.pointerId, { x: e.clientX, y: e.clientY });
    box.setPointerCapture(e.pointerId);
  });
  box.addEventListener("pointermove", (e) => {
    const old = fingers.get(e.pointerId);
    if (!old) return;
    const other = [...fingers].find(([id]) => id !== e.pointerId)?.[1];
    const dx = e.clientX - old.x, dy = e.clientY - old.y;
    slipped += Math.hypot(dx, dy);
    fingers.set(e.pointerId, { x: e.clientX, y: e.clientY });
    if (slipped <= SLIP) return;
    const s = scale();
    if (!other) show({ x: view.x - dx / s, y: view.y - dy / s, w: view.w });
    else {
      const apart = Math.hypot(e.clientX - other.x, e.clientY - other.y);
      const was = Math.hypot(old.x - other.x, old.y - other.y) || 1;
      zoom(apart / was, at({ clientX: (e.clientX + other.x) / 2, clientY: (e.clientY + other.y) / 2 }));
    }
  });
  box.addEventListener("pointerup", (e) => {
    const alone = fingers.size === 1;
    fingers.delete(e.pointerId);
    if (!alone || slipped > SLIP || e.button) return;
    const p = at(e);
    const [x, y] = back([p.x, p.y]);
    tap(cells.find((c) => inside(c.outline, x, y)), x, y);
  });
  box.addEventListener("pointercancel", (e) => fingers.delete(e.pointerId));
  box.addEventListener("wheel", (e) => { e.preventDefault(); zoom(Math.exp(-e.deltaY * 0.0015), at(e)); }, { passive: false });
  const tap = (cell, x, y) => ontap({ cell, x: Number(x.toFixed(3)), y: Number(y.toFixed(3)) });

  // Keys: arrows walk the cells in their order, Enter taps the one in focus.
  const groups = [...picture.querySelectorAll(".cell")];
  box.addEventListener("keydown", (e) => {
    const here = groups.indexOf(document.activeElement);
    const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[e.key];
    if (step && groups.length) groups[Math.min(groups.length - 1, Math.max(0, here + step))].focus();
    else if (e.key === "Enter" && here >= 0) { const c = cells[here]; tap(c, ...middle(c.outline)); }
    else if (e.key === "+" || e.key === "=") zoom(1.5);
    else if (e.key === "-") zoom(1 / 1.5);
    else return;
    e.preventDefault();
  });

  new ResizeObserver(draw).observe(box);
  // Open near a cell, so that its number can be read and its outline hit.
  const near = (cell) => {
    const [a, b, c, d] = bounds(cell.outline.map((rings) => rings.map((r) => r.map(round))));
    const width = limit(Math.max(c - a, (d - b) / tall()) * 2.8);
    show({ x: (a + c) / 2 - width / 2, y: (b + d) / 2 - (width * tall()) / 2, w: width });
  };
  return { box, zoom, all: () => show(fitted()), near, tall: whole.h / whole.w };
}
