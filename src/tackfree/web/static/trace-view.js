// The drawing on the screen: ground, items, the path being drawn, handles, faults, loupe.
// World coordinates are metres, y up; `view` says which of them lie where on the board.

import { roomIn } from "./trace-geometry.js";

const SVG = "http://www.w3.org/2000/svg";
const MOST = 400; // closest view, times the whole
const LOUPE = 3; // times the board
const LETTER = 9.4; // px a letter takes
const CURVE = 60; // corners above which handles are not shown one by one

export function el(name, attributes = {}, parent = null) {
  const found = document.createElementNS(SVG, name);
  for (const [k, v] of Object.entries(attributes)) found.setAttribute(k, v);
  parent?.append(found);
  return found;
}

const pathData = (paths, closed) =>
  paths.map((p) => (p.length ? `M${p.map(([x, y]) => `${x} ${y}`).join("L")}${closed ? "Z" : ""}` : "")).join("");

export function makeView(board, loupe) {
  const world = board.querySelector("#world");
  const ground = world.querySelector("#ground");
  const items = world.querySelector("#items");
  const draft = world.querySelector("#draft");
  const marks = board.querySelector("#marks");
  const view = { k: 1, x: 0, y: 0 };
  let whole = [0, 0, 30, 20];
  const wide = () => board.clientWidth || 1;
  const high = () => board.clientHeight || 1;

  const toScreen = ([x, y]) => [wide() / 2 + (x - view.x) * view.k, high() / 2 - (y - view.y) * view.k];
  const toWorld = ([px, py]) => [view.x + (px - wide() / 2) / view.k, view.y - (py - high() / 2) / view.k];
  const least = () => Math.min(wide() / Math.max(whole[2] - whole[0], 1e-9), high() / Math.max(whole[3] - whole[1], 1e-9)) * 0.94;

  function place() {
    const [tx, ty] = toScreen([0, 0]);
    world.setAttribute("transform", `matrix(${view.k} 0 0 ${-view.k} ${tx} ${ty})`);
  }
  function fit() {
    Object.assign(view, { k: least(), x: (whole[0] + whole[2]) / 2, y: (whole[1] + whole[3]) / 2 });
    place();
  }
  function zoom(by, at = [wide() / 2, high() / 2]) {
    const held = toWorld(at);
    view.k = Math.min(least() * MOST, Math.max(least() * 0.5, view.k * by));
    const now = toWorld(at);
    view.x += held[0] - now[0];
    view.y += held[1] - now[1];
    place();
  }
  function pan(dx, dy) {
    view.x -= dx / view.k;
    view.y += dy / view.k;
    place();
  }
  // Bring a place into view, with room around it.
  function reveal(p) {
    const [x, y] = toScreen(p);
    const room = 24;
    pan(x < room ? room - x : x > wide() - room ? wide() - room - x : 0, y < room ? room - y : y > high() - room ? high() - room - y : 0);
  }

  function setWhole(box) {
    whole = box;
  }
  function showGround({ kind, size, scale, offset, href, chains, spare }) {
    ground.replaceChildren();
    const [sx, sy] = scale ?? [1, 1];
    if (kind === "pdf" || kind === "picture") {
      el("image", { href, width: size[0] * sx, height: size[1] * sy, preserveAspectRatio: "none", transform: `translate(0 ${size[1] * sy}) scale(1 -1)` }, ground);
      el("path", { class: "page-edge", d: `M0 0H${size[0] * sx}V${size[1] * sy}H0Z` }, ground);
    }
    if (spare?.length) el("path", { class: "ground-lines", d: pathData(spare, true) }, ground);
    if (chains?.length) {
      const moved = chains.map((c) => {
        const out = [];
        for (let i = 0; i < c.length; i += 2) out.push([c[i] * sx - offset[0], c[i + 1] * sy - offset[1]]);
        return out;
      });
      el("path", { class: "ground-lines", d: pathData(moved, false) }, ground);
    }
  }

  function showItems(doc, chosen, faulty) {
    items.replaceChildren();
    const order = { area: 0, line: 1, point: 2 };
    const sorted = [...doc.items].sort((a, b) => (a.kind === "zone" ? -1 : order[a.form]) - (b.kind === "zone" ? -1 : order[b.form]));
    for (const x of sorted) {
      if (!x.paths.length || x.form === "point") continue;
      const names = ["item", `k-${x.kind}`, `f-${x.form}`, x.from !== "traced" ? "drawn" : "", x.id === chosen ? "chosen" : "", faulty.has(x.id) ? "faulty" : ""];
      el("path", { d: pathData(x.paths, x.form === "area"), "fill-rule": "evenodd", class: names.filter(Boolean).join(" "), "data-id": x.id }, items);
    }
  }

  function showDraft(path, form, cursor, wrong) {
    draft.replaceChildren();
    if (!path) return;
    const all = cursor ? [...path, cursor] : path;
    if (form === "area" && all.length > 2) el("path", { class: "draft-area", d: pathData([all], true), "fill-rule": "evenodd" }, draft);
    el("path", { class: wrong ? "draft-line wrong" : "draft-line", d: pathData([all], false) }, draft);
  }

  // What keeps its size on the screen: names, points, handles, faults, the crosshair.
  function showMarks({ doc, chosen, corner, faults, lengths, path, cursor, touching, named, handles }) {
    marks.replaceChildren();
    const screen = (p) => toScreen(p).map((v) => Math.round(v * 10) / 10);
    for (const x of doc.items) {
      if (!x.paths.length) continue;
      if (x.form === "point") {
        const [px, py] = screen(x.paths[0][0]);
        const g = el("g", { class: `spot k-${x.kind}${x.id === chosen ? " chosen" : ""}${x.from !== "traced" ? " drawn" : ""}`, transform: `translate(${px} ${py})` }, marks);
        el("circle", { r: 9 }, g);
        el("path", { d: x.kind === "drain" ? "M-6 -6L6 6M-6 6L6 -6" : "M-9 0H9M0 -9V9" }, g);
        if ((x.count ?? 1) > 1) el("text", { x: 13, y: 5 }, g).textContent = `×${x.count}`;
      } else if (x.kind === "zone" && named) {
        const room = roomIn(x);
        const about = named(x);
        const free = room && (room.wide * view.k) / LETTER;
        if (!room || free < about.length) continue; // the list beside the drawing has it
        const [px, py] = screen(room.at);
        const name = free < x.name.length ? "" : x.name;
        if (name) el("text", { class: "zone-name", x: px, y: py - 4, "text-anchor": "middle" }, marks).textContent = name;
        el("text", { class: "zone-area", x: px, y: py + (name ? 16 : 6), "text-anchor": "middle" }, marks).textContent = about;
      }
    }
    for (const l of lengths) {
      const [a, b] = [screen(l.start), screen(l.end)];
      el("path", { class: "measured", d: `M${a.join(" ")}L${b.join(" ")}` }, marks);
      for (const [x, y] of [a, b]) el("path", { class: "tick", d: `M${x - 7} ${y + 7}L${x + 7} ${y - 7}` }, marks);
      el("text", { class: "measured-text", x: (a[0] + b[0]) / 2, y: (a[1] + b[1]) / 2 - 8, "text-anchor": "middle" }, marks).textContent = l.text;
    }
    for (const h of handles) {
      const [x, y] = screen(h.at);
      const held = corner && corner.path === h.path && corner.point === h.point && !h.middle;
      if (h.middle) el("path", { class: "middle", d: `M${x} ${y - 5}L${x + 5} ${y}L${x} ${y + 5}L${x - 5} ${y}Z` }, marks);
      else el("rect", { class: held ? "handle held" : "handle", x: x - 6, y: y - 6, width: 12, height: 12 }, marks);
    }
    for (const p of path ?? []) {
      const [x, y] = screen(p);
      el("rect", { class: "placed", x: x - 4, y: y - 4, width: 8, height: 8 }, marks);
    }
    for (const f of faults) {
      const [x, y] = screen(f.at);
      const g = el("g", { class: "fault", transform: `translate(${x} ${y})` }, marks);
      el("circle", { r: 16 }, g);
      el("path", { d: "M-8 -8L8 8M-8 8L8 -8" }, g);
    }
    if (cursor) {
      const [x, y] = screen(cursor.at);
      const g = el("g", { class: `cursor on-${cursor.on || "nothing"}`, transform: `translate(${x} ${y})` }, marks);
      el("path", { d: "M-22 0H-7M7 0H22M0 -22V-7M0 7V22" }, g);
      if (cursor.on) el(cursor.on === "square" ? "path" : "circle", cursor.on === "square" ? { d: "M4 -12H12V-4" } : { r: 7 }, g);
      showLoupe(touching ? [x, y] : null);
    } else showLoupe(null);
  }

  function showLoupe(at) {
    loupe.toggleAttribute("hidden", !at);
    if (!at) return;
    const half = loupe.clientWidth / 2;
    loupe.classList.toggle("right", at[0] < wide() / 2);
    loupe.querySelector("g").setAttribute("transform", `translate(${half - at[0] * LOUPE} ${half - at[1] * LOUPE}) scale(${LOUPE})`);
  }

  return { view, fit, zoom, pan, reveal, place, setWhole, showGround, showItems, showDraft, showMarks, toScreen, toWorld, least };
}

// Handles of an item: its corners, and the middles of its sides where a corner can be put in.
export function handlesOf(item, screen, board) {
  if (!item?.paths.length || item.from !== "traced") return [];
  const out = [];
  const many = item.paths.reduce((n, p) => n + p.length, 0) > CURVE;
  const seen = (p) => {
    const [x, y] = screen(p);
    return x > -20 && y > -20 && x < board.clientWidth + 20 && y < board.clientHeight + 20;
  };
  for (const [path, points] of item.paths.entries()) {
    for (const [point, at] of points.entries()) {
      if (!seen(at)) continue;
      out.push({ at, path, point, middle: false });
      const next = points[point + 1] ?? (item.form === "area" ? points[0] : null);
      if (!next || many || item.form === "point") continue;
      const [a, b] = [screen(at), screen(next)];
      if (Math.hypot(a[0] - b[0], a[1] - b[1]) > 64) out.push({ at: [(at[0] + next[0]) / 2, (at[1] + next[1]) / 2], path, point, middle: true });
    }
  }
  return out;
}
