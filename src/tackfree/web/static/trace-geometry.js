// Plane geometry of the tracing editor: numbers in, numbers out; metres, x right, y up.
// A ring is a list of corners that does not repeat its first.

export const dist = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]);
export const same = (a, b, near = 1e-9) => Math.abs(a[0] - b[0]) <= near && Math.abs(a[1] - b[1]) <= near;
export const between = (a, b, t = 0.5) => [a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t];

const turn = (a, b, c) => (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);

// Twice the signed area would lose digits far from the origin, so the first corner is taken off.
export function ringArea(ring) {
  let sum = 0;
  const [x0, y0] = ring[0] ?? [0, 0];
  for (let i = 0; i < ring.length; i += 1) {
    const a = ring[i];
    const b = ring[(i + 1) % ring.length];
    sum += (a[0] - x0) * (b[1] - y0) - (b[0] - x0) * (a[1] - y0);
  }
  return sum / 2;
}

// Outlines less their holes; `groups` says how many rings each part has, outline first.
export function areaOf(paths, groups) {
  let sum = 0;
  let at = 0;
  for (const rings of groups) {
    for (let i = 0; i < rings; i += 1) sum += (i ? -1 : 1) * Math.abs(ringArea(paths[at + i]));
    at += rings;
  }
  return sum;
}

export function lengthOf(path, closed = false) {
  let sum = 0;
  for (let i = 1; i < path.length; i += 1) sum += dist(path[i - 1], path[i]);
  return closed && path.length > 1 ? sum + dist(path[path.length - 1], path[0]) : sum;
}

export function nearestOn(p, a, b) {
  const [dx, dy] = [b[0] - a[0], b[1] - a[1]];
  const long = dx * dx + dy * dy;
  const t = long ? Math.min(1, Math.max(0, ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / long)) : 0;
  return [a[0] + dx * t, a[1] + dy * t];
}

// Where two sides cross inside both; null where they only touch, run along each other or miss.
export function crossing(a, b, c, d, near = 1e-9) {
  const scale = Math.max(dist(a, b), dist(c, d), near);
  const small = near * scale;
  const [s1, s2, s3, s4] = [turn(a, b, c), turn(a, b, d), turn(c, d, a), turn(c, d, b)];
  if (s1 * s2 >= 0 || s3 * s4 >= 0) return null;
  if (Math.min(Math.abs(s1), Math.abs(s2), Math.abs(s3), Math.abs(s4)) < small) return null;
  return between(a, b, s3 / (s3 - s4));
}

function sides(path, closed) {
  const out = [];
  for (let i = 1; i < path.length; i += 1) out.push([path[i - 1], path[i]]);
  if (closed && path.length > 2) out.push([path[path.length - 1], path[0]]);
  return out;
}

const apart = (a, b, c, d) =>
  Math.max(a[0], b[0]) < Math.min(c[0], d[0]) || Math.max(c[0], d[0]) < Math.min(a[0], b[0]) ||
  Math.max(a[1], b[1]) < Math.min(c[1], d[1]) || Math.max(c[1], d[1]) < Math.min(a[1], b[1]);

// The first place at which a path crosses itself, or a corner lies on another side, or null.
export function selfCrossing(path, closed) {
  const all = sides(path, closed);
  for (let i = 0; i < all.length; i += 1) {
    for (let j = i + 1; j < all.length; j += 1) {
      const [a, b] = all[i];
      const [c, d] = all[j];
      if (apart(a, b, c, d)) continue;
      const beside = j === i + 1 || (closed && i === 0 && j === all.length - 1);
      if (!beside) {
        const at = crossing(a, b, c, d);
        if (at) return at;
        if (closed) for (const p of [a, b]) if (dist(nearestOn(p, c, d), p) < 1e-6) return p;
        if (closed) for (const p of [c, d]) if (dist(nearestOn(p, a, b), p) < 1e-6) return p;
      } else if (folded(j === i + 1 ? [a, b, d] : [c, d, b])) {
        return j === i + 1 ? b : d;
      }
    }
  }
  return null;
}

// Two sides in a row that run back over each other.
function folded([a, b, c]) {
  const back = (b[0] - a[0]) * (c[0] - b[0]) + (b[1] - a[1]) * (c[1] - b[1]) < 0;
  return back && Math.abs(turn(a, b, c)) < 1e-9 * Math.max(dist(a, b) * dist(b, c), 1e-12);
}

export function inRing(p, ring) {
  let inside = false;
  for (let i = 0, j = ring.length - 1; i < ring.length; j = i, i += 1) {
    const [a, b] = [ring[i], ring[j]];
    if (a[1] > p[1] !== b[1] > p[1] && p[0] < ((b[0] - a[0]) * (p[1] - a[1])) / (b[1] - a[1]) + a[0]) inside = !inside;
  }
  return inside;
}

// Inside an outline and in none of its holes.
export function inside(p, paths, groups) {
  let at = 0;
  for (const rings of groups) {
    const odd = paths.slice(at, at + rings).filter((r) => inRing(p, r)).length === 1;
    if (odd && inRing(p, paths[at])) return true;
    at += rings;
  }
  return false;
}

export function edgeDistance(p, paths, closed) {
  let least = Infinity;
  for (const path of paths) {
    for (const [a, b] of sides(path, closed)) least = Math.min(least, dist(p, nearestOn(p, a, b)));
    if (path.length === 1) least = Math.min(least, dist(p, path[0]));
  }
  return least;
}

export function boundsOf(paths) {
  let [x0, y0, x1, y1] = [Infinity, Infinity, -Infinity, -Infinity];
  for (const path of paths) {
    for (const [x, y] of path) {
      x0 = Math.min(x0, x); y0 = Math.min(y0, y);
      x1 = Math.max(x1, x); y1 = Math.max(y1, y);
    }
  }
  return [x0, y0, x1, y1];
}

// A place on which two areas lie over each other by more than `near`, or null. The areas of
// it are the server's to say; this only finds it at once.
export function overlap(a, b, near = 0.005) {
  const [ax0, ay0, ax1, ay1] = boundsOf(a.paths);
  const [bx0, by0, bx1, by1] = boundsOf(b.paths);
  if (ax1 - near < bx0 || bx1 - near < ax0 || ay1 - near < by0 || by1 - near < ay0) return null;
  const deep = (p, z) => inside(p, z.paths, z.groups) && edgeDistance(p, z.paths, true) > near;
  for (const [one, two] of [[a, b], [b, a]]) {
    for (const path of one.paths) {
      for (const [p, q] of sides(path, true)) {
        for (const t of [0, 0.5]) if (deep(between(p, q, t), two)) return between(p, q, t);
      }
    }
  }
  for (const pa of a.paths) {
    for (const [p, q] of sides(pa, true)) {
      const cuts = [0, 1];
      for (const pb of b.paths) for (const [c, d] of sides(pb, true)) {
        const at = apart(p, q, c, d) ? null : crossing(p, q, c, d);
        if (at) cuts.push(dist(p, at) / dist(p, q));
      }
      cuts.sort((s, t) => s - t);
      for (let i = 1; cuts.length > 2 && i < cuts.length; i += 1) {
        const middle = between(p, q, (cuts[i - 1] + cuts[i]) / 2);
        if (deep(middle, b)) return middle;
      }
    }
  }
  const inner = placeIn(a);
  return inner && deep(inner, b) && deep(inner, a) ? inner : null;
}

// A point well inside an area: the middle of the widest stretch of a few level lines.
export const placeIn = (area) => roomIn(area)?.at ?? null;

// The same with the width that is free there, for a name to stand in.
export function roomIn({ paths, groups }) {
  const [, y0, , y1] = boundsOf(paths);
  let best = null;
  let wide = -1;
  for (const part of [0.5, 0.37, 0.63, 0.21, 0.79]) {
    const y = y0 + (y1 - y0) * part;
    const xs = [];
    for (const path of paths) {
      for (const [a, b] of sides(path, true)) {
        if (a[1] > y !== b[1] > y) xs.push(a[0] + ((y - a[1]) / (b[1] - a[1])) * (b[0] - a[0]));
      }
    }
    xs.sort((p, q) => p - q);
    for (let i = 1; i < xs.length; i += 1) {
      const p = [(xs[i - 1] + xs[i]) / 2, y];
      if (xs[i] - xs[i - 1] > wide && inside(p, paths, groups)) [best, wide] = [p, xs[i] - xs[i - 1]];
    }
  }
  return best && { at: best, wide };
}

const FINE = 0.001; // metres a chord may lie off its arc

// An arc through three points as chords, its ends included; the points themselves where they
// lie in a line. Chords lie slightly outside, so that they enclose nearly what the arc does.
export function arcThrough(a, m, b) {
  const d = 2 * turn(a, m, b);
  const far = Math.max(dist(a, m), dist(m, b), dist(a, b));
  if (Math.abs(d) < 1e-6 * far * far) return [a, m, b];
  const [px, py, qx, qy] = [m[0] - a[0], m[1] - a[1], b[0] - a[0], b[1] - a[1]];
  const [p2, q2] = [px * px + py * py, qx * qx + qy * qy];
  const c = [a[0] + (qy * p2 - py * q2) / d, a[1] + (px * q2 - qx * p2) / d];
  const r = dist(a, c);
  const at = (p) => Math.atan2(p[1] - c[1], p[0] - c[0]);
  const whole = 2 * Math.PI;
  const left = d > 0;
  const sweep = ((left ? at(b) - at(a) : at(a) - at(b)) + 2 * whole) % whole;
  const n = Math.max(2, Math.ceil(sweep / (2 * Math.acos(Math.max(0, 1 - FINE / r)))));
  const step = sweep / n;
  const wide = r * Math.sqrt(step / Math.sin(step)); // a chord polygon of the sector's own area
  const out = [a];
  for (let i = 1; i < n; i += 1) {
    const t = at(a) + (left ? 1 : -1) * step * i;
    out.push([c[0] + wide * Math.cos(t), c[1] + wide * Math.sin(t)]);
  }
  return [...out, b];
}

const SQUARE_WITHIN = Math.sin((8 * Math.PI) / 180); // a side nearer to its direction is made to run along it

// Sides that nearly run along or across the longest one are made to; the rest stay.
export function squared(path, closed) {
  const all = sides(path, closed);
  const [a, b] = all.reduce((x, y) => (dist(...y) > dist(...x) ? y : x), all[0] ?? [path[0], path[0]]);
  const long = dist(a, b);
  if (!long) return path;
  const u = [(b[0] - a[0]) / long, (b[1] - a[1]) / long];
  const flat = path.map(([x, y]) => [x * u[0] + y * u[1], y * u[0] - x * u[1]]);
  const n = flat.length;
  // groups of corners that share a line: across[i] for one side's height, along[i] for its place
  const lines = [flat.map((_, i) => i), flat.map((_, i) => i)];
  const root = (g, i) => (g[i] === i ? i : root(g, g[i]));
  for (let i = 0; i < (closed && n > 2 ? n : n - 1); i += 1) {
    const j = (i + 1) % n;
    const size = dist(flat[i], flat[j]);
    for (const axis of [0, 1]) {
      if (Math.abs(flat[i][axis] - flat[j][axis]) <= SQUARE_WITHIN * size) lines[axis][root(lines[axis], i)] = root(lines[axis], j);
    }
  }
  const even = [0, 1].map((axis) => flat.map((_, i) => {
    const mine = flat.filter((_, j) => root(lines[axis], j) === root(lines[axis], i));
    return mine.reduce((sum, p) => sum + p[axis], 0) / mine.length;
  }));
  return path.map((_, i) => [even[0][i] * u[0] - even[1][i] * u[1], even[0][i] * u[1] + even[1][i] * u[0]]);
}
