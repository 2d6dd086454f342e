// The deck in the editor as plain values that are never changed: every edit gives a new one,
// so that any step can be taken back. Nothing here knows of a page or a server.

import { areaOf, overlap, placeIn, selfCrossing, same } from "./trace-geometry.js";

// What can be drawn. form: area, line or point; needs: sizes that go with it.
export const KINDS = {
  zone: { form: "area", key: "z" },
  column: { form: "area", key: "c" },
  opening: { form: "area", key: "o" },
  crack: { form: "line", key: "k", needs: ["width_m"] },
  joint: { form: "line", key: "j", needs: ["width_m", "depth_m"] },
  upturn: { form: "line", key: "u", needs: ["height_m"] },
  termination: { form: "line", key: "t" },
  "stop-line": { form: "line", key: "l" },
  drain: { form: "point", key: "d" },
  penetration: { form: "point", key: "p" },
  stall: { form: "area", key: "s" },
};
const FORMS = { Point: "point", MultiPoint: "point", LineString: "line", MultiLineString: "line", Polygon: "area", MultiPolygon: "area" };
const LEAST = { area: 3, line: 2, point: 1 };

const opened = (ring) => (ring.length > 1 && same(ring[0], ring[ring.length - 1], 0) ? ring.slice(0, -1) : ring).map(([x, y]) => [x, y]);

// A shape of GeoJSON as form, paths and groups; null where there is none.
export function pathsOf(shape) {
  if (!shape) return { form: "none", paths: [], groups: [] };
  const c = shape.coordinates;
  switch (shape.type) {
    case "Point": return { form: "point", paths: [[[c[0], c[1]]]], groups: [] };
    case "LineString": return { form: "line", paths: [c.map(([x, y]) => [x, y])], groups: [] };
    case "MultiLineString": return { form: "line", paths: c.map((l) => l.map(([x, y]) => [x, y])), groups: [] };
    case "Polygon": return { form: "area", paths: c.map(opened), groups: [c.length] };
    case "MultiPolygon": return { form: "area", paths: c.flat().map(opened), groups: c.map((p) => p.length) };
    default: return { form: FORMS[shape.type] ?? "none", paths: [], groups: [] };
  }
}

export function shapeOf({ form, paths, groups }) {
  if (form === "point") return { type: "Point", coordinates: paths[0][0] };
  if (form === "line") return paths.length === 1 ? { type: "LineString", coordinates: paths[0] } : { type: "MultiLineString", coordinates: paths };
  const rings = paths.map((r) => [...r, r[0]]);
  let at = 0;
  const parts = groups.map((n) => rings.slice(at, (at += n)));
  return parts.length === 1 ? { type: "Polygon", coordinates: parts[0] } : { type: "MultiPolygon", coordinates: parts };
}

// The document of a deck as the server describes it.
export function docOf(state) {
  const item = (x, kind) => {
    const { shape, ...rest } = x;
    return { ...rest, kind, ...pathsOf(shape) };
  };
  return {
    id: state.id,
    name: state.name,
    post_tensioned: state.post_tensioned,
    drawing: state.drawing,
    page: state.page,
    calibration: state.calibration,
    stretched: state.stretched,
    scale: state.scale_m,
    released: [],
    items: [...state.zones.map((z) => item(z, "zone")), ...state.features.map((f) => item(f, f.kind))],
  };
}

// What is sent to be checked or saved.
export function sentOf(doc, base) {
  const zones = doc.items.filter((x) => x.kind === "zone");
  const features = doc.items.filter((x) => x.kind !== "zone" && x.from !== "layer");
  return {
    base,
    id: doc.id,
    name: doc.name,
    post_tensioned: doc.post_tensioned,
    drawing: doc.drawing,
    page: doc.page,
    calibration: doc.calibration.map(({ start, end, length }) => ({ start, end, length })),
    stretched: doc.stretched,
    released: doc.released,
    zones: zones.map((z) => ({
      id: z.id, name: z.name, duty: z.duty, exposure: z.exposure, build_up: z.build_up, slope: z.slope ?? null,
      shape: z.from === "traced" && z.paths.length ? shapeOf(z) : null,
    })),
    features: features.map((f) => ({
      id: f.id, kind: f.kind, shape: shapeOf(f), width_m: f.width_m ?? null, depth_m: f.depth_m ?? null,
      height_m: f.height_m ?? null, count: f.count ?? 1, label: f.label ?? "", connects: f.connects ?? [],
      source: f.source ?? "drawn",
    })),
  };
}

export const itemOf = (doc, id) => doc.items.find((x) => x.id === id) ?? null;
export const enough = (form, path) => path.length >= LEAST[form];

function freeId(doc, kind, used) {
  const taken = new Set([...doc.items.map((x) => x.id), ...used]);
  for (let n = 1; ; n += 1) {
    const id = kind === "zone" ? `${doc.id}-Z${n}` : `${doc.id}-${kind.toUpperCase()}-${String(n).padStart(3, "0")}`;
    if (!taken.has(id)) return id;
  }
}

// A new item of what was drawn; `about` holds build-up or sizes.
export function added(doc, kind, path, about, used = []) {
  const id = freeId(doc, kind, used);
  const { form } = KINDS[kind];
  const item = { id, kind, from: "traced", form, paths: [path], groups: form === "area" ? [1] : [], source: "drawn", count: 1, label: "", connects: [], ...about };
  if (kind === "zone") item.name = about.name || id;
  return { doc: { ...doc, items: [...doc.items, item] }, id };
}

const withItem = (doc, id, change) => ({ ...doc, items: doc.items.map((x) => (x.id === id ? change(x) : x)) });

export const patched = (doc, id, values) => withItem(doc, id, (x) => ({ ...x, ...values }));
export const removed = (doc, id) => ({ ...doc, items: doc.items.filter((x) => x.id !== id) });

export const moved = (doc, { id, path, point }, to) =>
  withItem(doc, id, (x) => ({ ...x, paths: x.paths.map((p, i) => (i === path ? p.map((q, j) => (j === point ? to : q)) : p)) }));

// A corner put in after corner `point`.
export const inserted = (doc, { id, path, point }, at) =>
  withItem(doc, id, (x) => ({ ...x, paths: x.paths.map((p, i) => (i === path ? [...p.slice(0, point + 1), at, ...p.slice(point + 1)] : p)) }));

// A corner taken out; an item left with too few goes as a whole, a hole alone goes alone.
export function cornerRemoved(doc, { id, path, point }) {
  const item = itemOf(doc, id);
  if (item.paths[path].length > LEAST[item.form]) {
    return withItem(doc, id, (x) => ({ ...x, paths: x.paths.map((p, i) => (i === path ? p.filter((_, j) => j !== point) : p)) }));
  }
  let at = 0;
  for (const [part, rings] of item.groups.entries()) {
    if (path > at && path < at + rings) {
      const groups = item.groups.map((n, i) => (i === part ? n - 1 : n));
      return withItem(doc, id, (x) => ({ ...x, groups, paths: x.paths.filter((_, i) => i !== path) }));
    }
    at += rings;
  }
  return removed(doc, id);
}

// An item of the drawing becomes a traced one. Features of one kind go together, because a
// layer of the drawing is one line of the deck's document.
export function takenOver(doc, id) {
  const item = itemOf(doc, id);
  if (item.kind === "zone") return patched(doc, id, { from: "traced" });
  return {
    ...doc,
    released: [...new Set([...doc.released, item.kind])],
    items: doc.items.map((x) => (x.kind === item.kind && x.from === "layer" ? { ...x, from: "traced" } : x)),
  };
}

// Everything traced over a drawing keeps its place on it when the scale changes.
export function rescaled(doc, scale) {
  if (!doc.scale) return { ...doc, scale };
  const [kx, ky] = [scale[0] / doc.scale[0], scale[1] / doc.scale[1]];
  if (kx === 1 && ky === 1) return { ...doc, scale };
  return {
    ...doc,
    scale,
    items: doc.items.map((x) => (x.from === "tape" ? x : { ...x, paths: x.paths.map((p) => p.map(([a, b]) => [a * kx, b * ky])) })),
  };
}

const looked = new WeakMap(); // an item never changes, so it is looked at once

function crossedAt(item) {
  if (!looked.has(item)) {
    let found = null;
    for (const path of item.paths) found ??= selfCrossing(path, true);
    looked.set(item, found);
  }
  return looked.get(item);
}

// What is wrong at once, each with its place: crossed outlines, no area, overlapping zones.
export function faultsOf(doc) {
  const out = [];
  const areas = doc.items.filter((x) => x.form === "area" && x.paths.length);
  for (const x of areas) {
    const found = crossedAt(x);
    if (found) out.push({ fault: "crossed", ids: [x.id], at: found });
    else if (areaOf(x.paths, x.groups) < 1e-6) out.push({ fault: "no-area", ids: [x.id], at: x.paths[0][0] });
  }
  const faulty = new Set(out.flatMap((f) => f.ids));
  const zones = areas.filter((x) => x.kind === "zone" && !faulty.has(x.id));
  for (let i = 0; i < zones.length; i += 1) {
    for (let j = i + 1; j < zones.length; j += 1) {
      const at = overlap(zones[i], zones[j]);
      if (at) out.push({ fault: "overlap", ids: [zones[i].id, zones[j].id], at });
    }
  }
  for (const x of doc.items) {
    const lacking = (KINDS[x.kind]?.needs ?? []).filter((n) => !x[n]);
    if (lacking.length && x.paths.length) out.push({ fault: "size", ids: [x.id], at: x.paths[0][0] });
    if (x.kind === "zone" && !x.build_up) out.push({ fault: "build-up", ids: [x.id], at: (x.paths.length && placeIn(x)) || [0, 0] });
  }
  return out;
}

// Steps that can be taken back without end. A state is { doc, draft }.
export const history = (present) => ({ past: [], present, future: [] });
export const stepped = (h, present) => (present === h.present ? h : { past: [...h.past, h.present], present, future: [] });
export const undone = (h) => (h.past.length ? { past: h.past.slice(0, -1), present: h.past[h.past.length - 1], future: [h.present, ...h.future] } : h);
export const redone = (h) => (h.future.length ? { past: [...h.past, h.present], present: h.future[0], future: h.future.slice(1) } : h);
