// What the board shows: the drawing at its scale, items, marks, and the reading line below.

import { areaOf, dist, lengthOf, selfCrossing } from "./trace-geometry.js";
import { itemOf } from "./trace-model.js";
import { pointIndex } from "./trace-snap.js";
import { ask } from "./trace-store.js";
import { area, length } from "./trace-units.js";

const get = (id) => document.getElementById(id);

// Gives `app` its ways to show: lay, loadGround, newGround, changeDrawing, marks.
export function makeBoard(app, board, view) {
  const { words: say, taste } = app;

  // Lay the drawing under the deck at its scale.
  app.lay = () => {
    const d = app.shown;
    const scale = d.scale ?? [1, 1];
    const off = app.offset ?? [0, 0];
    view.showGround({ ...app.ground, scale, offset: off, chains: app.ground.kind === "lines" ? app.chains : [], spare: app.spare, href: d.drawing ? `/trace/picture/${d.drawing}?page=${d.page}` : "" });
    const placed = [];
    for (let i = 0; i < app.rawEnds.length; i += 2) placed.push([app.rawEnds[i] * scale[0] - off[0], app.rawEnds[i + 1] * scale[1] - off[1]]);
    const boxes = [...d.items.flatMap((x) => x.paths), ...app.spare, ...(app.ground.kind === "lines" ? [placed] : [])];
    if (app.ground.size[0]) boxes.push([[0, 0], [app.ground.size[0] * scale[0], app.ground.size[1] * scale[1]]]);
    let box = [Infinity, Infinity, -Infinity, -Infinity];
    for (const path of boxes) for (const [x, y] of path) box = [Math.min(box[0], x), Math.min(box[1], y), Math.max(box[2], x), Math.max(box[3], y)];
    const whole = Number.isFinite(box[0]) && box[2] > box[0] ? box : [0, 0, 60, 40];
    app.ends = pointIndex(placed, Math.max(whole[2] - whole[0], whole[3] - whole[1]) / 200 || 1);
    view.setWhole(whole);
    view.fit();
    app.key = app.cursor = null;
  };
  // What lies under the deck when it has another drawing, by choice or by undo.
  app.newGround = async () => {
    const { drawing, page } = app.doc;
    const none = { kind: "none", size: [0, 0], vector: false };
    const found = drawing ? await ask(`/trace/ground/${drawing}?page=${page}`, {}).catch(() => none) : none;
    if (drawing === app.doc.drawing && page === app.doc.page) app.ground = found;
    await app.loadGround();
  };
  app.loadGround = async () => {
    app.chains = app.rawEnds = [];
    if (app.ground.vector && app.doc.drawing) {
      const name = app.doc.drawing;
      const found = await ask(`/trace/lines/${name}?page=${app.doc.page}`, {}).catch(() => null);
      if (found && name === app.doc.drawing) [app.chains, app.rawEnds] = [found.chains, found.points];
    }
    app.lay();
    app.render();
  };
  app.changeDrawing = async (drawing, page) => {
    app.offset = [0, 0];
    app.step({ doc: { ...app.doc, drawing, page, calibration: [], stretched: false, scale: null }, draft: null });
    await app.newGround();
    app.use("scale");
    board.scrollIntoView({ block: "center" });
  };

  app.marks = () => {
    const d = app.draft;
    const open = d ? d.points : null;
    const lengths = d?.tool === "scale" ? [] : app.options.lengths();
    const wrong = open && app.form() === "area" && app.cursor ? selfCrossing([...open, app.cursor.at], false) : open && app.form() === "area" ? selfCrossing(open, false) : null;
    view.showDraft(app.about.box && open?.length === 1 && app.cursor ? boxOf(open[0], app.cursor.at) : open, app.form(), app.about.box ? null : app.form() && app.cursor?.at, wrong);
    view.showMarks({
      doc: app.shown, chosen: app.chosen, corner: app.corner, touching: app.touching, path: open, cursor: app.cursor, lengths,
      faults: wrong ? [...app.faulty, { at: wrong }] : app.faulty, handles: app.handles(),
      named: (x) => area(areaOf(x.paths, x.groups), taste.units),
    });
    reading(wrong);
  };
  const boxOf = (a, b) => [a, [b[0], a[1]], b, [a[0], b[1]], a];

  function reading(wrong) {
    const d = app.draft;
    const live = get("live");
    let [text, m2, m] = ["", "", ""];
    if (d) {
      const all = app.cursor && app.form() ? (app.about.box && d.points.length === 1 ? boxOf(d.points[0], app.cursor.at).slice(0, 4) : [...d.points, app.cursor.at]) : d.points;
      const leg = all.length > 1 && !app.about.box ? dist(all.at(-2), all.at(-1)) : 0;
      if (app.tool === "scale") text = "";
      else if (app.form() === "area") {
        m2 = areaOf([all], [1]);
        text = [area(m2, taste.units), leg ? length(leg, taste.units) : ""].filter(Boolean).join(" · ");
      } else {
        m = lengthOf(all);
        text = [length(m, taste.units), leg && all.length > 2 ? length(leg, taste.units) : ""].filter(Boolean).join(" · ");
      }
    } else {
      const item = app.chosen && itemOf(app.shown, app.chosen);
      if (item?.form === "area") text = `${item.name ?? item.id} ${area((m2 = areaOf(item.paths, item.groups)), taste.units)}`;
      else if (item?.form === "line") text = `${item.id} ${length((m = item.paths.reduce((s, p) => s + lengthOf(p), 0)), taste.units)}`;
      else if (item) text = item.id;
    }
    live.textContent = text;
    Object.assign(live.dataset, { m2, m });
    const fault = wrong ? say("fault.crossed", { ids: "" }) : app.faulty.length ? app.faulty.map((f) => say(`fault.${f.fault}`, { ids: f.ids.join(", ") }))[0] : "";
    const hint = get("hint");
    hint.textContent = fault || app.options.hint();
    hint.classList.toggle("wrong", Boolean(fault));
  }
}
