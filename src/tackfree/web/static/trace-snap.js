// Where a point falls when it comes near something: ends, corners, right angles, edges.

import { dist, nearestOn } from "./trace-geometry.js";

const TURN = Math.sin((4 * Math.PI) / 180); // nearer than this to a right angle is one

// Points in square cells, so that the nearest is found among few.
export function pointIndex(points, cell) {
  const cells = new Map();
  for (const p of points) {
    const key = `${Math.floor(p[0] / cell)},${Math.floor(p[1] / cell)}`;
    const here = cells.get(key);
    if (here) here.push(p);
    else cells.set(key, [p]);
  }
  return { cells, cell, points };
}

export function nearestPoint(index, p, radius) {
  if (!index.points.length) return null;
  const reach = Math.ceil(radius / index.cell);
  let found = null;
  let least = radius;
  const look = (q) => {
    const d = dist(p, q);
    if (d <= least) [found, least] = [q, d];
  };
  if (reach > 24) {
    for (const q of index.points) look(q);
    return found;
  }
  const [cx, cy] = [Math.floor(p[0] / index.cell), Math.floor(p[1] / index.cell)];
  for (let i = -reach; i <= reach; i += 1) {
    for (let j = -reach; j <= reach; j += 1) for (const q of index.cells.get(`${cx + i},${cy + j}`) ?? []) look(q);
  }
  return found;
}

// The right angles that a point may fall on: level and upright through the last point, square
// to the last side, and the same through the first point, so that an outline closes square.
function guides({ last, before, first }) {
  const out = [];
  const through = (at, along) => out.push({ at, along });
  if (last) {
    through(last, [1, 0]);
    through(last, [0, 1]);
    if (before) {
      const long = dist(before, last);
      const d = [(last[0] - before[0]) / long, (last[1] - before[1]) / long];
      if (long > 0 && Math.min(Math.abs(d[0]), Math.abs(d[1])) > 1e-6) {
        through(last, d);
        through(last, [-d[1], d[0]]);
      }
    }
  }
  const closing = first && first !== last ? [{ at: first, along: [1, 0] }, { at: first, along: [0, 1] }] : [];
  return { from: out, closing };
}

const onto = (p, { at, along }) => {
  const t = (p[0] - at[0]) * along[0] + (p[1] - at[1]) * along[1];
  return [at[0] + along[0] * t, at[1] + along[1] * t];
};

const meet = (g, h) => {
  const det = g.along[0] * h.along[1] - g.along[1] * h.along[0];
  if (Math.abs(det) < 1e-9) return null;
  const [dx, dy] = [h.at[0] - g.at[0], h.at[1] - g.at[1]];
  const t = (dx * h.along[1] - dy * h.along[0]) / det;
  return [g.at[0] + g.along[0] * t, g.at[1] + g.along[1] * t];
};

// `near` is the reach in metres; returns the point and what it fell on ("" for nothing).
//   corners: corners traced so far; ends: index of the drawing's ends; edges: [a, b] sides.
export function snap(p, near, { corners = [], ends = null, edges = [], last = null, before = null, first = null }) {
  let found = null;
  let least = near;
  for (const q of corners) {
    const d = dist(p, q);
    if (d <= least) [found, least] = [q, d];
  }
  const end = ends && nearestPoint(ends, p, least);
  if (end && (!found || dist(p, end) < least - near * 1e-3)) return { at: [...end], on: "end" };
  if (found) return { at: [...found], on: "corner" };
  const { from, closing } = guides({ last, before, first });
  const square = from.filter((g) => {
    const q = onto(p, g);
    const off = dist(p, q);
    const long = dist(q, g.at);
    return long > near && (off <= near / 2 || off / Math.hypot(off, long) < TURN);
  }).sort((g, h) => dist(p, onto(p, g)) - dist(p, onto(p, h)))[0];
  if (square) {
    const both = closing.map((h) => meet(square, h)).filter((q) => q && dist(p, q) <= near)[0];
    if (both) return { at: both, on: "square" };
  }
  let edge = null;
  let edgeNear = near * 0.7;
  for (const [a, b] of edges) {
    const q = nearestOn(p, a, b);
    const d = dist(p, q);
    if (d > edgeNear) continue;
    const crossed = square && meet(square, { at: a, along: [b[0] - a[0], b[1] - a[1]] });
    edge = crossed && dist(crossed, p) <= near ? crossed : q;
    edgeNear = d;
  }
  if (edge) return { at: edge, on: "edge" };
  if (square) return { at: onto(p, square), on: "square" };
  return { at: p, on: "" };
}

// The next end or corner from a point in one direction, for people without a mouse.
export function nextAlong(p, [dx, dy], points, least) {
  let found = null;
  let best = Infinity;
  for (const q of points) {
    const along = (q[0] - p[0]) * dx + (q[1] - p[1]) * dy;
    if (along <= least) continue;
    const aside = Math.abs((q[0] - p[0]) * dy - (q[1] - p[1]) * dx);
    if (aside > along) continue;
    const cost = along + 4 * aside;
    if (cost < best) [found, best] = [q, cost];
  }
  return found;
}
