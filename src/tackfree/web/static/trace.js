// The tracing editor: holds the state, and joins model, view, hand, panels and server.

import { areaOf, dist, edgeDistance, inside, lengthOf, same, selfCrossing } from "./trace-geometry.js";
import { bringing } from "./trace-bring.js";
import { listen, listenKeys } from "./trace-hand.js";
import * as model from "./trace-model.js";
import { makeOptions } from "./trace-options.js";
import { makePanels } from "./trace-panels.js";
import { nextAlong, pointIndex, snap } from "./trace-snap.js";
import { ask, dropDraft, keepDraft, keptDraft } from "./trace-store.js";
import { area, length } from "./trace-units.js";
import { handlesOf, makeView } from "./trace-view.js";

const main = document.querySelector("#trace");
const taste = { lang: main.dataset.lang, units: main.dataset.units };
const deckId = main.dataset.deck;
const REACH = { mouse: 11, touch: 22 };
const WAIT = 500; // ms of rest before the server is asked to judge
const get = (id) => document.getElementById(id);

function editor(words, opened) {
  const board = get("board");
  const view = makeView(board, get("loupe"));
  const say = (name, values = {}) => (words[name] ?? name).replace(/\{(\w+)\}/g, (_, k) => values[k] ?? "");
  const app = {
    words: say, taste, job: opened.job_id, build_ups: opened.build_ups, elsewhere: opened.elsewhere,
    base: opened.base, ground: opened.ground, faults: opened.faults, notes: opened.notes, offset: opened.offset_m,
    saved: model.docOf(opened), tool: "", about: {}, chosen: null, corner: null, snapping: true,
    verdict: null, online: true, busy: false, faulty: [],
  };
  let h = model.history({ doc: app.saved, draft: null });
  let cursor = null; // { at, on } in metres
  let touching = false;
  let key = null; // the crosshair as keys move it, in metres
  let ends = pointIndex([], 1);
  let rawEnds = [];
  let spare = opened.spare.flatMap((s) => model.pathsOf(s.shape).paths);
  let chains = [];
  let timer = 0;
  let held = null; // the doc while a corner is dragged

  const doc = () => held ?? h.present.doc;
  const draft = () => h.present.draft;
  Object.defineProperties(app, { doc: { get: () => h.present.doc }, draft: { get: draft } });
  const near = (px) => px / view.view.k;
  const form = () => (app.tool === "scale" ? "line" : model.KINDS[app.tool]?.form);

  // ---- steps -------------------------------------------------------------------------

  app.step = (next, { quiet = false } = {}) => {
    const before = h.present.doc;
    h = model.stepped(h, { ...h.present, ...next });
    after(before, quiet);
  };
  app.undo = () => { const b = h.present.doc; h = model.undone(h); after(b); };
  app.redo = () => { const b = h.present.doc; h = model.redone(h); after(b); };

  function after(before, quiet = false) {
    const now = h.present.doc;
    if (app.chosen && !model.itemOf(now, app.chosen)) app.chosen = app.corner = null;
    if (now.scale !== before.scale || now.drawing !== before.drawing || now.page !== before.page) lay();
    if (draft() && draft().tool !== app.tool) app.use(draft().tool, true);
    if (!quiet) keep();
    if (now !== before) judgeSoon();
    render();
  }
  function keep() {
    if (h.present.doc === app.saved && !draft()) dropDraft(app.job, deckId);
    else app.kept = keepDraft(app.job, deckId, { base: app.base, doc: h.present.doc, draft: draft() });
  }

  app.use = (tool, silent = false) => {
    if (tool !== "scale" && tool && !doc().scale && app.ground.kind !== "none") tool = "scale";
    if (tool && app.tool !== tool && draft() && draft().tool !== tool) h = model.stepped(h, { ...h.present, draft: null });
    app.tool = tool;
    app.chosen = tool ? null : app.chosen;
    app.corner = null;
    app.about = options.about(tool);
    if (!silent) render();
    options.show();
  };
  app.choose = (id, corner = null) => {
    if (app.tool) app.use("");
    [app.chosen, app.corner] = [id, corner];
    render();
  };

  // ---- placing -----------------------------------------------------------------------

  function snapped(p, px, without = null) {
    if (!app.snapping) return { at: p, on: "" };
    const d = draft()?.points ?? [];
    const corners = [...d];
    const edges = [];
    for (const x of doc().items) {
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
    for (const ring of spare) corners.push(...ring);
    const around = without ? neighbours(without) : { last: d[d.length - 1], before: d[d.length - 2], first: d.length > 2 ? d[0] : null };
    return snap(p, near(px), { corners, ends, edges: app.tool === "scale" ? [] : edges, ...around });
  }
  function neighbours({ id, path, point }) {
    const item = model.itemOf(doc(), id);
    const points = item.paths[path];
    const n = points.length;
    if (n < 2) return {};
    const ring = item.form === "area";
    const [a, b] = [points[point - 1] ?? (ring ? points[n - 1] : null), points[point + 1] ?? (ring ? points[0] : null)];
    return a ? { last: a, first: b, before: null } : { last: b };
  }

  app.place = (at) => {
    if (!form()) return;
    const points = draft()?.points ?? [];
    const first = points[0];
    if (points.length && same(points[points.length - 1], at, near(1))) return;
    if (form() === "point") return finish([at]);
    if (app.about.stamp && app.tool !== "scale") return finish(stamp(at, app.about.stamp));
    if (app.about.box && points.length === 1) {
      const [a, b] = [points[0], at];
      if (Math.abs(a[0] - b[0]) > 1e-6 && Math.abs(a[1] - b[1]) > 1e-6) finish([a, [b[0], a[1]], b, [a[0], b[1]]]);
      return;
    }
    if (form() === "area" && points.length > 2 && same(first, at, 1e-9)) return finish(points);
    const next = [...points, at];
    app.step({ draft: { tool: app.tool, points: next } });
    if (app.tool === "scale" && next.length === 2) options.askLength(next);
  };
  function stamp([x, y], { wide, deep }) {
    const [a, b] = [wide / 2, deep / 2];
    return [[x - a, y - b], [x + a, y - b], [x + a, y + b], [x - a, y + b]];
  }
  function finish(points) {
    if (!model.enough(form(), points)) return;
    const used = app.tool === "zone" ? app.elsewhere.zones : [];
    const made = model.added(h.present.doc, app.tool, points, options.values(app.tool), used);
    app.step({ doc: made.doc, draft: null });
    if (app.tool === "zone") options.zoned(made.id);
  }
  app.end = () => {
    const points = draft()?.points;
    if (!points) return;
    if (app.tool !== "scale" && !app.about.box && model.enough(form(), points)) finish(points);
    else if (app.tool !== "scale" || points.length < 2) app.step({ draft: null });
  };
  app.drop = () => draft() && app.step({ draft: null });

  // A typed length places the next point that far off, the way the crosshair stands.
  app.placeAlong = (metres) => {
    const points = draft()?.points;
    const last = points?.[points.length - 1];
    const to = cursor?.at ?? key;
    if (!last || !to || same(last, to, 1e-9)) return false;
    const d = dist(last, to);
    app.place([last[0] + ((to[0] - last[0]) / d) * metres, last[1] + ((to[1] - last[1]) / d) * metres]);
    const now = draft()?.points;
    if (now) key = now[now.length - 1];
    return true;
  };

  // ---- choosing and moving -----------------------------------------------------------

  function under(p, reach) {
    const zoneLast = (x) => (x.kind === "zone" ? 2 : x.form === "area" ? 1 : 0);
    const hits = doc().items.filter((x) => x.paths.length && (x.form === "area" ? inside(p, x.paths, x.groups) || edgeDistance(p, x.paths, true) < reach : edgeDistance(p, x.paths, false) < reach));
    const size = (x) => (x.form === "area" ? Math.abs(areaOf(x.paths, x.groups)) : 0);
    return hits.sort((a, b) => zoneLast(a) - zoneLast(b) || size(a) - size(b))[0] ?? null;
  }
  const handles = () => (app.chosen && !app.tool ? handlesOf(model.itemOf(doc(), app.chosen), view.toScreen, board) : []);

  listen(board, {
    drawing: () => Boolean(form()) && !(app.tool === "scale" && draft()?.points.length === 2),
    hover(p, touch) {
      touching = touch;
      if (!form()) return;
      cursor = snapped(view.toWorld(p), touch ? REACH.touch : REACH.mouse);
      key = cursor.at;
      marks();
    },
    place(p) {
      const found = snapped(view.toWorld(p), touching ? REACH.touch : REACH.mouse);
      key = found.at;
      app.place(found.at);
    },
    grab(p, reach) {
      const found = handles().map((x) => ({ x, d: Math.hypot(...view.toScreen(x.at).map((v, i) => v - p[i])) }))
        .filter(({ d }) => d <= reach).sort((a, b) => a.d - b.d || Number(a.x.middle) - Number(b.x.middle))[0]?.x;
      if (!found) return null;
      const ref = { id: app.chosen, path: found.path, point: found.point };
      return { ref, at: found.at, middle: found.middle, from: h.present.doc };
    },
    drag(thing, from, to, touch) {
      const put = thing.middle ? { ...thing.ref, point: thing.ref.point + 1 } : thing.ref;
      thing.base ??= thing.middle ? model.inserted(thing.from, thing.ref, thing.at) : thing.from;
      held = thing.base;
      const [x, y] = view.toScreen(thing.at);
      const found = snapped(view.toWorld([x + to[0] - from[0], y + to[1] - from[1]]), touch ? REACH.touch : REACH.mouse, put);
      held = model.moved(thing.base, put, found.at);
      [cursor, touching, app.corner] = [found, touch, { path: put.path, point: put.point }];
      render();
    },
    drop(thing, moved, still) {
      const made = held;
      [held, cursor, touching] = [null, null, false];
      if (moved && made) app.step({ doc: made });
      else if (still && thing.middle) {
        app.corner = { path: thing.ref.path, point: thing.ref.point + 1 };
        app.step({ doc: model.inserted(h.present.doc, thing.ref, thing.at) });
      } else if (still) app.corner = { path: thing.ref.path, point: thing.ref.point };
      render();
    },
    choose(p, reach) {
      const found = under(view.toWorld(p), near(reach));
      app.choose(found?.id ?? null);
    },
    end: () => app.end(),
    leave() { [cursor, touching] = [null, false]; marks(); },
    pan(dx, dy) { view.pan(dx, dy); marks(); },
    zoom(by, p) { view.zoom(by, p); marks(); },
  });

  // ---- keys --------------------------------------------------------------------------

  const points = () => {
    const own = doc().items.flatMap((x) => x.paths.flat());
    return [...own, ...(draft()?.points ?? []), ...ends.points, ...spare.flat()];
  };
  const start = () => key ?? draft()?.points.at(-1) ?? view.toWorld([board.clientWidth / 2, board.clientHeight / 2]);
  function show(at, on = "") {
    key = at;
    view.reveal(at);
    cursor = on ? { at, on } : snapped(at, 3);
    if (!app.snapping || !cursor.on) cursor = { at, on: "" };
    touching = false;
    marks();
  }
  function shift(to, on) {
    if (app.chosen && app.corner && !app.tool) {
      const ref = { id: app.chosen, ...app.corner };
      key = to;
      app.step({ doc: model.moved(h.present.doc, ref, to) });
      view.reveal(to);
      marks();
    } else show(to, on);
  }
  const heldCorner = () => (app.chosen && app.corner && !app.tool ? model.itemOf(doc(), app.chosen)?.paths[app.corner.path]?.[app.corner.point] : null);
  listenKeys(board, {
    nudge(dx, dy, fine) {
      const from = heldCorner() ?? start();
      const by = near(fine ? 1 : 10);
      shift([from[0] + dx * by, from[1] + dy * by]);
    },
    jump(dx, dy) {
      const from = heldCorner() ?? start();
      const found = nextAlong(from, [dx, dy], points().filter((q) => !same(q, from, 1e-9)), near(2));
      if (found) shift([...found], "end");
    },
    enter() {
      if (!form()) return app.choose(under(start(), near(14))?.id ?? null);
      const found = cursor ?? { at: start() };
      key = found.at;
      app.place(found.at);
    },
    escape() {
      if (draft()) app.end();
      else if (app.tool) app.use("");
      else app.choose(null);
    },
    back: () => draft() && app.undo(),
    remove: () => app.remove(),
    insert: () => app.insert(),
    corner(way) {
      const item = app.chosen && model.itemOf(doc(), app.chosen);
      if (!item || item.from !== "traced" || !item.paths.length) return;
      const all = item.paths.flatMap((p, path) => p.map((_, point) => ({ path, point })));
      const now = all.findIndex((c) => c.path === app.corner?.path && c.point === app.corner?.point);
      app.corner = all[(now + way + all.length) % all.length];
      view.reveal(heldCorner());
      render();
    },
    undo: app.undo,
    redo: app.redo,
    zoom(by) { view.zoom(by, key ? view.toScreen(key) : undefined); marks(); },
    fit() { view.fit(); marks(); },
    kind(letter) {
      const found = letter === "b" ? "scale" : letter === "v" ? "" : Object.keys(model.KINDS).find((k) => model.KINDS[k].key === letter);
      if (found === undefined) return false;
      app.use(found);
      return true;
    },
    typed: (text) => Boolean(draft() && app.tool !== "scale" && options.typed(text)),
  });
  app.remove = () => {
    const item = app.chosen && model.itemOf(h.present.doc, app.chosen);
    if (!item || item.from !== "traced") return;
    const gone = app.corner ? model.cornerRemoved(h.present.doc, { id: item.id, ...app.corner }) : model.removed(h.present.doc, item.id);
    app.corner = null;
    app.step({ doc: gone });
  };
  app.insert = () => {
    const item = app.chosen && model.itemOf(h.present.doc, app.chosen);
    if (!item || item.from !== "traced" || item.form === "point" || !app.corner) return;
    const path = item.paths[app.corner.path];
    const next = path[app.corner.point + 1] ?? (item.form === "area" ? path[0] : null);
    if (!next) return;
    const at = path[app.corner.point].map((v, i) => (v + next[i]) / 2);
    const made = model.inserted(h.present.doc, { id: item.id, ...app.corner }, at);
    app.corner = { ...app.corner, point: app.corner.point + 1 };
    app.step({ doc: made });
  };

  // ---- server ------------------------------------------------------------------------

  function judgeSoon() {
    clearTimeout(timer);
    timer = setTimeout(app.judge, WAIT);
  }
  app.judge = async () => {
    const asked = h.present.doc;
    if (!asked.items.some((x) => x.kind === "zone")) {
      app.verdict = null;
      return panels.takeoff();
    }
    try {
      const found = await ask("/trace/check", { method: "POST", body: model.sentOf(asked, app.base), taste });
      if (asked === h.present.doc) app.verdict = found;
      app.online = true;
    } catch (fault) {
      app.online = fault.status !== 0;
      if (asked === h.present.doc) app.verdict = { faults: fault.faults ?? [], elsewhere: [], notes: [], rows: [], zones: {}, total: "" };
    }
    panels.takeoff();
  };
  app.save = async (over = false) => {
    if (app.busy || draft()) app.end();
    const sent = h.present.doc;
    app.busy = true;
    render();
    try {
      const found = await ask(`/trace/deck/${deckId}${over ? "?over=1" : ""}`, { method: "PUT", body: model.sentOf(sent, app.base), taste });
      Object.assign(app, { base: found.base, saved: sent, online: true, faults: [] });
      if (sent === h.present.doc) app.verdict = found;
      if (sent.released.length) h = model.history({ doc: (app.saved = { ...sent, released: [] }), draft: null });
      keep();
      panels.news("saved", say("saved", { revision: found.revision }));
      if (main.dataset.new) {
        main.dataset.new = "";
        history.replaceState(null, "", `/trace?open=${deckId}`);
      }
      panels.formers();
    } catch (fault) {
      app.online = fault.status !== 0;
      panels.refused(fault);
    }
    app.busy = false;
    render();
    panels.takeoff();
  };

  // ---- showing -----------------------------------------------------------------------

  // Lay the drawing under the deck at its scale.
  function lay() {
    const d = doc();
    const scale = d.scale ?? [1, 1];
    const off = app.offset ?? [0, 0];
    view.showGround({ ...app.ground, scale, offset: off, chains: app.ground.kind === "lines" ? chains : [], href: d.drawing ? `/trace/picture/${d.drawing}?page=${d.page}` : "" });
    const placed = [];
    for (let i = 0; i < rawEnds.length; i += 2) placed.push([rawEnds[i] * scale[0] - off[0], rawEnds[i + 1] * scale[1] - off[1]]);
    const boxes = [...d.items.flatMap((x) => x.paths), ...spare, ...(app.ground.kind === "lines" ? [placed] : [])];
    if (app.ground.size[0]) boxes.push([[0, 0], [app.ground.size[0] * scale[0], app.ground.size[1] * scale[1]]]);
    let box = [Infinity, Infinity, -Infinity, -Infinity];
    for (const path of boxes) for (const [x, y] of path) box = [Math.min(box[0], x), Math.min(box[1], y), Math.max(box[2], x), Math.max(box[3], y)];
    const whole = Number.isFinite(box[0]) && box[2] > box[0] ? box : [0, 0, 60, 40];
    ends = pointIndex(placed, Math.max(whole[2] - whole[0], whole[3] - whole[1]) / 200 || 1);
    view.setWhole(whole);
    view.fit();
    key = cursor = null;
  }
  app.lay = lay;
  app.loadGround = async () => {
    chains = rawEnds = [];
    if (app.ground.vector && h.present.doc.drawing) {
      const name = h.present.doc.drawing;
      const found = await ask(`/trace/lines/${name}?page=${h.present.doc.page}`, {}).catch(() => null);
      if (found && name === h.present.doc.drawing) [chains, rawEnds] = [found.chains, found.points];
    }
    lay();
    render();
  };
  app.changeDrawing = async (drawing, page) => {
    app.ground = await ask(`/trace/ground/${drawing}?page=${page}`, {});
    app.offset = [0, 0];
    app.step({ doc: { ...h.present.doc, drawing, page, calibration: [], stretched: false, scale: null }, draft: null });
    await app.loadGround();
    app.use("scale");
    board.scrollIntoView({ block: "center" });
  };

  function marks() {
    const d = draft();
    const open = d ? d.points : null;
    const lengths = d?.tool === "scale" ? [] : options.lengths();
    const wrong = open && form() === "area" && cursor ? selfCrossing([...open, cursor.at], false) : open && form() === "area" ? selfCrossing(open, false) : null;
    view.showDraft(app.about.box && open?.length === 1 && cursor ? boxOf(open[0], cursor.at) : open, form(), app.about.box ? null : form() && cursor?.at, wrong);
    view.showMarks({
      doc: doc(), chosen: app.chosen, corner: app.corner, touching, path: open, cursor, lengths,
      faults: wrong ? [...app.faulty, { at: wrong }] : app.faulty, handles: handles(),
      named: (x) => area(areaOf(x.paths, x.groups), taste.units),
    });
    reading(wrong);
  }
  const boxOf = (a, b) => [a, [b[0], a[1]], b, [a[0], b[1]], a];

  function reading(wrong) {
    const d = draft();
    const live = get("live");
    let [text, m2, m] = ["", "", ""];
    if (d) {
      const all = cursor && form() ? (app.about.box && d.points.length === 1 ? boxOf(d.points[0], cursor.at).slice(0, 4) : [...d.points, cursor.at]) : d.points;
      const leg = all.length > 1 && !app.about.box ? dist(all.at(-2), all.at(-1)) : 0;
      if (app.tool === "scale") text = "";
      else if (form() === "area") {
        m2 = areaOf([all], [1]);
        text = [area(m2, taste.units), leg ? length(leg, taste.units) : ""].filter(Boolean).join(" · ");
      } else {
        m = lengthOf(all);
        text = [length(m, taste.units), leg && all.length > 2 ? length(leg, taste.units) : ""].filter(Boolean).join(" · ");
      }
    } else {
      const item = app.chosen && model.itemOf(doc(), app.chosen);
      if (item?.form === "area") text = `${item.name ?? item.id} ${area((m2 = areaOf(item.paths, item.groups)), taste.units)}`;
      else if (item?.form === "line") text = `${item.id} ${length((m = item.paths.reduce((s, p) => s + lengthOf(p), 0)), taste.units)}`;
      else if (item) text = item.id;
    }
    live.textContent = text;
    Object.assign(live.dataset, { m2, m });
    const fault = wrong ? say("fault.crossed", { ids: "" }) : app.faulty.length ? app.faulty.map((f) => say(`fault.${f.fault}`, { ids: f.ids.join(", ") }))[0] : "";
    const hint = get("hint");
    hint.textContent = fault || options.hint();
    hint.classList.toggle("wrong", Boolean(fault));
  }

  function render() {
    app.faulty = held ? [] : model.faultsOf(doc());
    view.showItems(doc(), app.chosen, new Set(app.faulty.flatMap((f) => f.ids)));
    marks();
    for (const b of document.querySelectorAll("[data-kind]")) b.setAttribute("aria-pressed", String(b.dataset.kind === app.tool));
    get("undo").disabled = !h.past.length;
    get("redo").disabled = !h.future.length;
    const open = draft()?.points;
    get("end").hidden = !open || app.tool === "scale" || !model.enough(form(), open) || Boolean(app.about.box);
    get("drop").hidden = !open;
    get("save").disabled = app.busy || (h.present.doc === app.saved && !main.dataset.new) || !h.present.doc.items.some((x) => x.kind === "zone");
    if (!held) panels.show();
  }
  app.render = render;

  const options = makeOptions(app, get("options"));
  const panels = makePanels(app);
  Object.assign(app, { options, panels, board });
  for (const b of document.querySelectorAll("[data-kind]")) b.addEventListener("click", () => { app.use(b.dataset.kind); board.focus({ preventScroll: true }); });
  const zooms = { in: () => view.zoom(1.5), out: () => view.zoom(1 / 1.5), all: () => view.fit() };
  for (const b of document.querySelectorAll("[data-zoom]")) b.addEventListener("click", () => { zooms[b.dataset.zoom](); marks(); });
  const buttons = { undo: app.undo, redo: app.redo, end: app.end, drop: app.drop, save: () => app.save() };
  for (const [id, act] of Object.entries(buttons)) get(id).addEventListener("click", act);
  let seen = false;
  new ResizeObserver(() => { if (seen) view.place(); else lay(); seen = true; marks(); }).observe(board);

  app.open = (present, past) => {
    h = { past, present, future: [] };
    app.chosen = app.corner = null;
    after(app.saved, true);
    keep();
  };
  const kept = keptDraft(app.job, deckId);
  if (kept) {
    h = { past: [h.present], present: { doc: kept.doc, draft: kept.draft ?? null }, future: [] };
    panels.restored(kept, app.base);
    app.mine = kept.base;
    if (kept.base !== app.base) app.base = kept.base; // a save is then refused with what to do
  }
  const first = doc().scale ? (doc().items.some((x) => x.kind === "zone") ? "" : "zone") : app.ground.kind === "none" ? "" : "scale";
  app.use(draft()?.tool ?? first);
  const groundOf = async () => {
    if (doc().drawing !== opened.drawing || doc().page !== opened.page) app.ground = await ask(`/trace/ground/${doc().drawing}?page=${doc().page}`, {}).catch(() => app.ground);
    await app.loadGround();
    if (innerWidth < 900) get("sheet").scrollIntoView();
    main.dataset.ready = "yes";
  };
  groundOf();
  render();
  judgeSoon();
  panels.formers();
  return app;
}

async function begin() {
  const words = await ask("/trace/words", { taste });
  let app = null;
  if (deckId) {
    const { drawing, page } = main.dataset;
    const more = main.dataset.new ? { new: "1", page, ...(drawing ? { drawing } : {}) } : {};
    try {
      const opened = await ask(`/trace/deck/${deckId}`, { taste: { ...taste, ...more } });
      app = editor(words, opened);
    } catch (fault) {
      if (!fault.faults) throw fault;
      get("hint").textContent = fault.faults.map((f) => `${f.where}: ${f.what} ${f.do}`).join(" ") || words.offline;
    }
  }
  bringing(words, taste, app);
}
begin();
