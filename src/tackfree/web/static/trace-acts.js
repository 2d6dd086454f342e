// What a hand or a key does: placing points, ending lines, choosing, moving and taking out.

import { arcThrough, areaOf, dist, edgeDistance, inside, same, squared } from "./trace-geometry.js";
import { listen, listenKeys } from "./trace-hand.js";
import * as model from "./trace-model.js";
import { nextAlong, snap } from "./trace-snap.js";
import { handlesOf } from "./trace-view.js";

const REACH = { mouse: 11, touch: 22 };

// Gives `app` its acts: place, end, drop, placeAlong, remove, insert, handles.
export function makeActs(app, board, view) {
  // ---- placing -----------------------------------------------------------------------

  function snapped(p, px, without = null) {
    if (!app.snapping) return { at: p, on: "" };
    const d = app.draft?.points ?? [];
    const corners = [...d];
    const edges = [];
    for (const x of app.shown.items) {
      for (const [i, path] of x.paths.entries()) {
        for (const [j, q] of path.entries()) {
          if (without && x.id === without.id && i === without.path && j === without.point) continue;
          corners.push(q);
        }
        if (without?.id === x.id || x.form === "point") continue;
        for (let j = 1; j < path.length; j += 1) edges.push([path[j - 1], path[j]]);
        if (x.form === "area" && path.length > 2) edges.push([path[path.length - 1], path[0]]);
      }
    }
    for (const ring of app.spare) corners.push(...ring);
    const around = without ? neighbours(without) : { last: d[d.length - 1], before: d[d.length - 2], first: d.length > 2 ? d[0] : null };
    return snap(p, app.near(px), { corners, ends: app.ends, edges: app.tool === "scale" ? [] : edges, ...around });
  }
  function neighbours({ id, path, point }) {
    const item = model.itemOf(app.shown, id);
    const points = item.paths[path];
    const n = points.length;
    if (n < 2) return {};
    const ring = item.form === "area";
    const [a, b] = [points[point - 1] ?? (ring ? points[n - 1] : null), points[point + 1] ?? (ring ? points[0] : null)];
    return a ? { last: a, first: b, before: null } : { last: b };
  }

  app.place = (at) => {
    if (!app.form()) return;
    const points = app.draft?.points ?? [];
    const first = points[0];
    if (points.length && same(points[points.length - 1], at, app.near(1))) return;
    if (app.form() === "point") return finish([at]);
    if (app.about.stamp && app.tool !== "scale") return finish(stamp(at, app.about.stamp));
    if (app.about.box && points.length === 1) {
      const [a, b] = [points[0], at];
      if (Math.abs(a[0] - b[0]) > 1e-6 && Math.abs(a[1] - b[1]) > 1e-6) finish([a, [b[0], a[1]], b, [a[0], b[1]]]);
      return;
    }
    if (app.form() === "area" && points.length > 2 && same(first, at, 1e-9)) return finish(points);
    const next = [...points, at];
    app.step({ draft: { tool: app.tool, points: next } });
    if (app.tool === "scale" && next.length === 2) app.options.askLength(next);
  };
  function stamp([x, y], { wide, deep }) {
    const [a, b] = [wide / 2, deep / 2];
    return [[x - a, y - b], [x + a, y - b], [x + a, y + b], [x - a, y + b]];
  }
  function finish(points) {
    if (!model.enough(app.form(), points)) return;
    const used = app.tool === "zone" ? app.elsewhere.zones : [];
    const made = model.added(app.doc, app.tool, points, app.options.values(app.tool), used);
    app.step({ doc: made.doc, draft: null });
    if (app.tool === "zone") app.options.zoned(made.id);
  }
  app.end = () => {
    const points = app.draft?.points;
    if (!points) return;
    if (app.tool !== "scale" && !app.about.box && model.enough(app.form(), points)) finish(points);
    else if (app.tool !== "scale" || points.length < 2) app.step({ draft: null });
  };
  app.drop = () => app.draft && app.step({ draft: null });

  // The last three points of what is being drawn become an arc through the middle one.
  app.bends = () => {
    const open = app.draft?.points;
    return Boolean(open && open.length > 2 && app.tool !== "scale" && app.form() !== "point" && !app.about.box);
  };
  app.bend = () => {
    if (!app.bends()) return;
    const open = app.draft.points;
    app.step({ draft: { tool: app.tool, points: [...open.slice(0, -3), ...arcThrough(...open.slice(-3))] } });
  };
  // The chosen outline or line with its nearly right angles made right.
  app.squares = () => {
    const item = app.chosen && !app.tool && model.itemOf(app.doc, app.chosen);
    return item?.from === "traced" && item.form !== "point" && item.paths.some((p) => p.length > 2) ? item : null;
  };
  app.square = () => {
    const item = app.squares();
    if (item) app.step({ doc: model.patched(app.doc, item.id, { paths: item.paths.map((p) => squared(p, item.form === "area")) }) });
  };

  // A typed length places the next point that far off, the way the crosshair stands.
  app.placeAlong = (metres) => {
    const points = app.draft?.points;
    const last = points?.[points.length - 1];
    const to = app.cursor?.at ?? app.key;
    if (!last || !to || same(last, to, 1e-9)) return false;
    const d = dist(last, to);
    app.place([last[0] + ((to[0] - last[0]) / d) * metres, last[1] + ((to[1] - last[1]) / d) * metres]);
    const now = app.draft?.points;
    if (now) app.key = now[now.length - 1];
    return true;
  };

  // ---- choosing and moving -----------------------------------------------------------

  function under(p, reach) {
    const zoneLast = (x) => (x.kind === "zone" ? 2 : x.form === "area" ? 1 : 0);
    const hits = app.shown.items.filter((x) => x.paths.length && (x.form === "area" ? inside(p, x.paths, x.groups) || edgeDistance(p, x.paths, true) < reach : edgeDistance(p, x.paths, false) < reach));
    const size = (x) => (x.form === "area" ? Math.abs(areaOf(x.paths, x.groups)) : 0);
    return hits.sort((a, b) => zoneLast(a) - zoneLast(b) || size(a) - size(b))[0] ?? null;
  }
  app.handles = () => (app.chosen && !app.tool ? handlesOf(model.itemOf(app.shown, app.chosen), view.toScreen, board) : []);

  listen(board, {
    drawing: () => Boolean(app.form()) && !(app.tool === "scale" && app.draft?.points.length === 2),
    hover(p, touch) {
      app.touching = touch;
      if (!app.form()) return;
      app.cursor = snapped(view.toWorld(p), touch ? REACH.touch : REACH.mouse);
      app.key = app.cursor.at;
      app.marks();
    },
    place(p) {
      const found = snapped(view.toWorld(p), app.touching ? REACH.touch : REACH.mouse);
      app.key = found.at;
      app.place(found.at);
    },
    grab(p, reach) {
      const found = app.handles().map((x) => ({ x, d: Math.hypot(...view.toScreen(x.at).map((v, i) => v - p[i])) }))
        .filter(({ d }) => d <= reach).sort((a, b) => a.d - b.d || Number(a.x.middle) - Number(b.x.middle))[0]?.x;
      if (!found) return null;
      const ref = { id: app.chosen, path: found.path, point: found.point };
      return { ref, at: found.at, middle: found.middle, from: app.doc };
    },
    drag(thing, from, to, touch) {
      const put = thing.middle ? { ...thing.ref, point: thing.ref.point + 1 } : thing.ref;
      thing.base ??= thing.middle ? model.inserted(thing.from, thing.ref, thing.at) : thing.from;
      app.held = thing.base;
      const [x, y] = view.toScreen(thing.at);
      const found = snapped(view.toWorld([x + to[0] - from[0], y + to[1] - from[1]]), touch ? REACH.touch : REACH.mouse, put);
      app.held = model.moved(thing.base, put, found.at);
      [app.cursor, app.touching, app.corner] = [found, touch, { path: put.path, point: put.point }];
      app.render();
    },
    drop(thing, moved, still) {
      const made = app.held;
      [app.held, app.cursor, app.touching] = [null, null, false];
      if (moved && made) app.step({ doc: made });
      else if (still && thing.middle) {
        app.corner = { path: thing.ref.path, point: thing.ref.point + 1 };
        app.step({ doc: model.inserted(app.doc, thing.ref, thing.at) });
      } else if (still) app.corner = { path: thing.ref.path, point: thing.ref.point };
      app.render();
    },
    choose(p, reach) {
      const found = under(view.toWorld(p), app.near(reach));
      app.choose(found?.id ?? null);
    },
    end: () => app.end(),
    leave() { [app.cursor, app.touching] = [null, false]; app.marks(); },
    pan(dx, dy) { view.pan(dx, dy); app.marks(); },
    zoom(by, p) { view.zoom(by, p); app.marks(); },
  });

  // ---- keys --------------------------------------------------------------------------

  const points = () => {
    const own = app.shown.items.flatMap((x) => x.paths.flat());
    return [...own, ...(app.draft?.points ?? []), ...app.ends.points, ...app.spare.flat()];
  };
  const start = () => app.key ?? app.draft?.points.at(-1) ?? view.toWorld([board.clientWidth / 2, board.clientHeight / 2]);
  function show(at, on = "") {
    app.key = at;
    view.reveal(at);
    app.cursor = on ? { at, on } : snapped(at, 3);
    if (!app.snapping || !app.cursor.on) app.cursor = { at, on: "" };
    app.touching = false;
    app.marks();
  }
  function shift(to, on) {
    if (app.chosen && app.corner && !app.tool) {
      const ref = { id: app.chosen, ...app.corner };
      app.key = to;
      app.step({ doc: model.moved(app.doc, ref, to) });
      view.reveal(to);
      app.marks();
    } else show(to, on);
  }
  const heldCorner = () => (app.chosen && app.corner && !app.tool ? model.itemOf(app.shown, app.chosen)?.paths[app.corner.path]?.[app.corner.point] : null);
  listenKeys(board, {
    nudge(dx, dy, fine) {
      const from = heldCorner() ?? start();
      const by = app.near(fine ? 1 : 10);
      shift([from[0] + dx * by, from[1] + dy * by]);
    },
    jump(dx, dy) {
      const from = heldCorner() ?? start();
      const found = nextAlong(from, [dx, dy], points().filter((q) => !same(q, from, 1e-9)), app.near(2));
      if (found) shift([...found], "end");
    },
    enter() {
      if (!app.form()) return app.choose(under(start(), app.near(14))?.id ?? null);
      const found = app.cursor ?? { at: start() };
      app.key = found.at;
      app.place(found.at);
    },
    escape() {
      if (app.draft) app.end();
      else if (app.tool) app.use("");
      else app.choose(null);
    },
    back: () => app.draft && app.undo(),
    remove: () => app.remove(),
    insert: () => app.insert(),
    corner(way) {
      const item = app.chosen && model.itemOf(app.shown, app.chosen);
      if (!item || item.from !== "traced" || !item.paths.length) return;
      const all = item.paths.flatMap((p, path) => p.map((_, point) => ({ path, point })));
      const now = all.findIndex((c) => c.path === app.corner?.path && c.point === app.corner?.point);
      app.corner = all[(now + way + all.length) % all.length];
      view.reveal(heldCorner());
      app.render();
    },
    undo: app.undo,
    redo: app.redo,
    zoom(by) { view.zoom(by, app.key ? view.toScreen(app.key) : undefined); app.marks(); },
    fit() { view.fit(); app.marks(); },
    kind(letter) {
      if (letter === "a" && app.bends()) return app.bend() ?? true;
      if (letter === "q" && app.squares()) return app.square() ?? true;
      const found = letter === "b" ? "scale" : letter === "v" ? "" : Object.keys(model.KINDS).find((k) => model.KINDS[k].key === letter);
      if (found === undefined) return false;
      app.use(found);
      return true;
    },
    typed: (text) => Boolean(app.draft && app.tool !== "scale" && app.options.typed(text)),
  });
  app.remove = () => {
    const item = app.chosen && model.itemOf(app.doc, app.chosen);
    if (!item || item.from !== "traced") return;
    const gone = app.corner ? model.cornerRemoved(app.doc, { id: item.id, ...app.corner }) : model.removed(app.doc, item.id);
    app.corner = null;
    app.step({ doc: gone });
  };
  app.insert = () => {
    const item = app.chosen && model.itemOf(app.doc, app.chosen);
    if (!item || item.from !== "traced" || item.form === "point" || !app.corner) return;
    const path = item.paths[app.corner.path];
    const next = path[app.corner.point + 1] ?? (item.form === "area" ? path[0] : null);
    if (!next) return;
    const at = path[app.corner.point].map((v, i) => (v + next[i]) / 2);
    const made = model.inserted(app.doc, { id: item.id, ...app.corner }, at);
    app.corner = { ...app.corner, point: app.corner.point + 1 };
    app.step({ doc: made });
  };
}
