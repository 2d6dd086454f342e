// The tracing editor: holds the state, and joins model, view, hand, panels and server.

import { makeActs } from "./trace-acts.js";
import { makeBoard } from "./trace-board.js";
import { bringing } from "./trace-bring.js";
import * as model from "./trace-model.js";
import { makeOptions } from "./trace-options.js";
import { makePanels } from "./trace-panels.js";
import { pointIndex } from "./trace-snap.js";
import { ask, dropDraft, keepDraft, keptDraft } from "./trace-store.js";
import { makeView } from "./trace-view.js";

const main = document.querySelector("#trace");
const taste = { lang: main.dataset.lang, units: main.dataset.units };
const deckId = main.dataset.deck;
const WAIT = 500; // ms of rest before the server is asked to judge
const get = (id) => document.getElementById(id);

function editor(words, opened) {
  const board = get("board");
  const view = makeView(board, get("loupe"));
  const say = (name, values = {}) => (words[name] ?? name).replace(/\{(\w+)\}/g, (_, k) => values[k] ?? "");
  const app = {
    words: say, taste, job: opened.job_id, build_ups: opened.build_ups, elsewhere: opened.elsewhere,
    base: opened.base, ground: opened.ground, faults: opened.faults, offset: opened.offset_m,
    saved: model.docOf(opened), tool: "", about: {}, chosen: null, corner: null, snapping: true,
    verdict: null, online: true, busy: false, faulty: [],
    cursor: null, // the crosshair: { at, on } in metres
    key: null, // the same as keys move it
    touching: false,
    held: null, // the deck while a corner of it is dragged
    ends: pointIndex([], 1), // of the drawing, to snap to
    rawEnds: [], chains: [], spare: opened.spare.flatMap((x) => model.pathsOf(x.shape).paths),
  };
  let h = model.history({ doc: app.saved, draft: null });
  let timer = 0;
  Object.defineProperties(app, {
    doc: { get: () => h.present.doc },
    draft: { get: () => h.present.draft },
    shown: { get: () => app.held ?? h.present.doc },
  });
  app.near = (px) => px / view.view.k;
  app.form = () => (app.tool === "scale" ? "line" : model.KINDS[app.tool]?.form);

  // ---- steps -------------------------------------------------------------------------

  app.step = (next, { quiet = false } = {}) => {
    const before = app.doc;
    h = model.stepped(h, { ...h.present, ...next });
    after(before, quiet);
  };
  app.undo = () => { const b = app.doc; h = model.undone(h); after(b); };
  app.redo = () => { const b = app.doc; h = model.redone(h); after(b); };

  function after(before, quiet = false) {
    const now = app.doc;
    if (app.chosen && !model.itemOf(now, app.chosen)) app.chosen = app.corner = null;
    if (now.drawing !== before.drawing || now.page !== before.page) app.newGround();
    else if (now.scale !== before.scale) app.lay();
    if (app.draft && app.draft.tool !== app.tool) app.use(app.draft.tool, true);
    if (!quiet) keep();
    if (now !== before) judgeSoon();
    render();
  }
  function keep() {
    if (app.doc === app.saved && !app.draft) dropDraft(app.job, deckId);
    else if (!keepDraft(app.job, deckId, { base: app.base, doc: h.present.doc, draft: app.draft })) panels.news("unkept", say("unkept"));
  }

  app.use = (tool, silent = false) => {
    if (tool !== "scale" && tool && !app.shown.scale && app.ground.kind !== "none") tool = "scale";
    if (tool && app.tool !== tool && app.draft && app.draft.tool !== tool) {
      h = model.stepped(h, { ...h.present, draft: null });
      keep();
    }
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

  // ---- server ------------------------------------------------------------------------

  function judgeSoon() {
    clearTimeout(timer);
    timer = setTimeout(app.judge, WAIT);
  }
  app.judge = async () => {
    const asked = app.doc;
    if (!asked.items.some((x) => x.kind === "zone")) {
      app.verdict = null;
      return panels.takeoff();
    }
    try {
      const found = await ask("/trace/check", { method: "POST", body: model.sentOf(asked, app.base), taste });
      if (asked === app.doc) app.verdict = found;
      app.online = true;
    } catch (fault) {
      app.online = fault.status !== 0;
      if (asked === app.doc) app.verdict = { faults: fault.faults ?? [], elsewhere: [], notes: [], rows: [], zones: {}, total: "" };
    }
    panels.takeoff();
  };
  app.save = async (over = false) => {
    if (app.busy) return;
    app.end();
    const sent = app.doc;
    app.busy = true;
    render();
    try {
      const found = await ask(`/trace/deck/${deckId}${over ? "?over=1" : ""}`, { method: "PUT", body: model.sentOf(sent, app.base), taste });
      Object.assign(app, { base: found.base, saved: sent, online: true, faults: [] });
      if (sent === app.doc) app.verdict = found;
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

  function render() {
    app.faulty = app.held ? [] : model.faultsOf(app.shown);
    view.showItems(app.shown, app.chosen, new Set(app.faulty.flatMap((f) => f.ids)));
    app.marks();
    for (const b of document.querySelectorAll("[data-kind]")) b.setAttribute("aria-pressed", String(b.dataset.kind === app.tool));
    get("undo").disabled = !h.past.length;
    get("redo").disabled = !h.future.length;
    const open = app.draft?.points;
    get("end").hidden = !open || app.tool === "scale" || !model.enough(app.form(), open) || Boolean(app.about.box);
    get("drop").hidden = !open;
    get("bend").hidden = !app.bends();
    get("square").hidden = !app.squares();
    get("save").disabled = app.busy || (app.doc === app.saved && !main.dataset.new) || !app.doc.items.some((x) => x.kind === "zone");
    if (!app.held) panels.show();
  }
  app.render = render;

  makeBoard(app, board, view);
  makeActs(app, board, view);
  const options = makeOptions(app, get("options"));
  const panels = makePanels(app);
  Object.assign(app, { options, panels, board });
  for (const b of document.querySelectorAll("[data-kind]")) b.addEventListener("click", () => { app.use(b.dataset.kind); board.focus({ preventScroll: true }); });
  const zooms = { in: () => view.zoom(1.5), out: () => view.zoom(1 / 1.5), all: () => view.fit() };
  for (const b of document.querySelectorAll("[data-zoom]")) b.addEventListener("click", () => { zooms[b.dataset.zoom](); app.marks(); });
  const buttons = { undo: app.undo, redo: app.redo, end: app.end, drop: app.drop, bend: app.bend, square: app.square, print: () => print(), save: () => app.save() };
  for (const [id, act] of Object.entries(buttons)) get(id).addEventListener("click", act);
  // On paper the board keeps what it shows now, as large as the sheet allows.
  addEventListener("beforeprint", () => board.setAttribute("viewBox", `0 0 ${board.clientWidth} ${board.clientHeight}`));
  addEventListener("afterprint", () => board.removeAttribute("viewBox"));
  let seen = false;
  new ResizeObserver(() => { if (seen) view.place(); else app.lay(); seen = true; app.marks(); }).observe(board);

  const kept = keptDraft(app.job, deckId);
  if (kept) {
    h = { past: [h.present], present: { doc: kept.doc, draft: kept.draft ?? null }, future: [] };
    panels.restored(kept, app.base);
    app.base = kept.base; // where the deck changed meanwhile, a save is refused with what to do
  }
  const first = app.shown.scale ? (app.shown.items.some((x) => x.kind === "zone") ? "" : "zone") : app.ground.kind === "none" ? "" : "scale";
  app.use(app.draft?.tool ?? first);
  const groundOf = async () => {
    const other = app.doc.drawing !== opened.drawing || app.doc.page !== opened.page;
    await (other ? app.newGround() : app.loadGround());
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
  bringing(words, taste, app, main.dataset.job);
}
begin();
