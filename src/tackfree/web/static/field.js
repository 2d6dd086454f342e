// The field page: boots from what the phone keeps, then looks for the server.

import * as store from "/static/field-db.js";
import { button, el, sheet } from "/static/field-dom.js";
import { fold } from "/static/field-state.js";
import { shrink } from "/static/field-photo.js";
import { brief, record, SKEW_TOLD_MS, skewWords } from "/static/field-record.js";
import { deck, log, openForm, today } from "/static/field-screens.js";
import { headers, makeSync } from "/static/field-sync.js";
import * as time from "/static/field-time.js";
import { toSi, typed } from "/static/field-units.js";
import { learn, say, speak, spoken } from "/static/field-words.js";

const UNDO_MS = 60000;
const SCREENS = { today, deck, log, record };
const root = document.querySelector("#field");
const EMPTY = { job: { id: "", name: "", units: "us", time_zone: "UTC" }, decks: [], crews: [], sections: [], clocks: [], products: {}, teeth: { mil: [1], um: [25] }, forms: [], lacks: [] };

const prefs = (() => { try { return JSON.parse(localStorage.getItem("tackfree-field") ?? "{}"); } catch { return {}; } })();
const asked = new URLSearchParams(location.search);
for (const name of ["lang", "units", "ground"]) if (asked.get(name)) prefs[name] = asked.get(name);

const app = {
  db: null, doc: EMPTY, rows: [], prefs, person: null, device: null, problem: "",
  where: { screen: "today" }, drafts: new Map(), sync: null, after: [], folding: null, savedAt: 0, saving: false,
  get zone() { return this.doc.job.time_zone; },
  get units() { return prefs.units ?? root.dataset.units; },
  get comma() { return say("decimal-mark") === "," && this.units === "si"; },
  now: () => Date.now(),
  trueNow() { const s = this.sync?.state.skew_ms ?? 0; return Date.now() - (Math.abs(s) > SKEW_TOLD_MS ? s : 0); },
  folded() { return (this.folding ??= fold(this.rows)); },
  form(kind) { return this.doc.forms.find((f) => f.kind === kind) ?? { kind, v: 1, group: "", asks: [] }; },
  token: () => localStorage.getItem("tackfree-device-token"),
  headers: () => headers(app.token()),
  context() {
    return { doc: this.doc, units: this.units, comma: this.comma, zone: this.zone, now: () => this.now(), rows: () => this.folded().live, brief: (r) => brief(this, r), shrink, photos: new Map() };
  },
  si: (text, of) => toSi(typed(text), of, app.units),
  gauge() { return prefs.gauge ?? { name: say("gauge-default"), unit: this.units === "si" ? "um" : "mil", teeth: this.doc.teeth[this.units === "si" ? "um" : "mil"] }; },
  kitName() { this.kits = (this.kits ?? 0) + 1; return `K-${this.device.slice(-4)}-${Math.floor(this.now() / 1000).toString(36).slice(-5)}-${this.kits}`.toUpperCase(); },
  justSaved() { return performance.now() - this.savedAt < 500; },
  afterRender(act) { this.after.push(act); },
  go(screen, more = {}) { this.where = { ...more, screen }; history.replaceState(null, "", `#${screen}`); render(); scrollTo(0, 0); },
  tell: (text) => toast(text),
  stateWords, save, withdraw, keepDraft, setPref, setPerson,
};

// ---- saving

// Entries go to the phone's store; the tick shows only when that has completed.
async function save(entries, word, photos = []) {
  if (app.saving) return false; // the second of two taps
  if (!app.person) { askName(); return false; }
  app.saving = true;
  try {
    const ms = Date.now();
    const common = { job: app.doc.job.id, person: app.person, wall: time.wall(ms, app.zone), zone: app.zone, ms, skew_ms: skewNow() };
    const drafts = entries.map((e) => ({ ...common, kind: e.kind, v: e.v ?? 1, body: e.body }));
    const rows = await store.save(app.db, drafts, photos);
    app.savedAt = performance.now();
    app.problem = "";
    await reload();
    toast(`✓ ${word}`, rows);
    navigator.vibrate?.(40);
    app.sync.nudge();
    channel?.postMessage("saved");
    return true;
  } catch (fault) {
    app.problem = store.isFull(fault) ? say("full-disk") : say("not-saved", { why: fault?.message ?? String(fault) });
    if (store.isFull(fault)) store.prune(app.db, Date.now()).catch(() => {});
    toast(app.problem, null, true);
    status();
    return false;
  } finally {
    app.saving = false;
  }
}

const skewNow = () => { const s = app.sync.state.skew_ms; return Math.abs(s) > SKEW_TOLD_MS ? s : 0; };

// Entries are never changed: what was wrong is withdrawn by one more entry.
async function withdraw(rows, reason) {
  return save(rows.map((r) => ({ kind: "correction", body: { corrects: r.id, reason } })), say("withdrawn"));
}

// A form half filled in is on the disk before the next letter; a full disk is told when saving.
function keepDraft(kind, draft) {
  if (draft) app.drafts.set(kind, draft);
  else app.drafts.delete(kind);
  store.setDraft(app.db, kind, draft).catch(() => {});
}

let toastTimer = 0;
function toast(text, rows = null, alarm = false) {
  document.querySelector("#toast")?.remove();
  clearInterval(toastTimer);
  const node = el("div", { id: "toast", class: alarm ? "toast alarm" : "toast", role: alarm ? "alert" : "status" }, el("span", {}, text));
  const until = Date.now() + (rows ? UNDO_MS : 6000);
  const undoable = rows?.length && rows[0].sent.kind !== "correction";
  const undo = undoable && button(say("undo"), async () => {
    node.remove();
    await withdraw(rows, say("undone"));
  }, { class: "undo" });
  if (undo) node.append(undo);
  const close = el("button", { type: "button", class: "close", "aria-label": say("close"), onclick: () => node.remove() }, "×");
  node.append(close);
  ((alarm && document.querySelector("dialog[open]")) || root).append(node);
  toastTimer = setInterval(() => { if (Date.now() > until || Date.now() < until - UNDO_MS - 1000) { node.remove(); clearInterval(toastTimer); } }, 1000);
}

// ---- state line

function stateWords() {
  const waiting = app.rows.filter((r) => r.state === "waiting").length + app.photosWaiting;
  const held = app.rows.filter((r) => r.state === "held" && !r.mended).length;
  const s = app.sync?.state ?? {};
  const words = [waiting ? say("waiting-n", { n: waiting }) : say("all-safe")];
  if (held) words.push(say("held-n", { n: held }));
  if (s.status === 401 || s.status === 403) words.push(say("not-known-here"));
  else if (s.status) words.push(say("server-fault", { status: s.status, at: time.clock(s.since_ms, app.zone) }));
  else if (s.since_ms) words.push(say("not-reached", { at: time.clock(s.since_ms, app.zone) }));
  return words.join(" · ");
}
app.photosWaiting = 0;

function status() {
  const node = document.querySelector("#sync");
  if (!node) return;
  const text = app.problem || stateWords();
  if (node.textContent !== text) node.textContent = text;
  node.classList.toggle("warn", Boolean(app.problem || app.sync?.state.since_ms || app.rows.some((r) => r.state === "held" && !r.mended)));
}

async function reload() {
  app.rows = (await store.all(app.db)).sort((a, b) => Date.parse(a.sent.wall) - Date.parse(b.sent.wall) || (a.id < b.id ? -1 : 1));
  app.photosWaiting = (await store.photosWaiting(app.db)).length;
  app.folding = null;
  if (!document.querySelector("dialog[open]")) render();
  else status();
}

// ---- the frame

function render() {
  document.documentElement.lang = spoken();
  const focus = document.activeElement?.id;
  const screen = app.where.screen in SCREENS ? app.where.screen : "today";
  const skew = app.sync && Math.abs(app.sync.state.skew_ms) > SKEW_TOLD_MS;
  const top = el("header", { class: "f-top" },
    el("h1", {}, say("title"), el("span", { class: "quiet" }, ` ${app.doc.job.id}`)),
    el("a", { class: "target", href: "/" }, say("office")),
    el("button", { type: "button", id: "sync", class: "sync", onclick: () => app.go("record") }));
  const banner = [
    isSecureContext ? null : el("p", { class: "banner" }, say("not-secure")),
    skew ? el("p", { class: "banner skew" }, skewWords(app)) : null,
  ];
  app.after = [];
  const main = el("main", { id: "view", class: `screen-${screen}`, tabindex: "-1" }, ...banner, SCREENS[screen](app));
  const nav = el("nav", { class: "f-nav", "aria-label": say("screens") },
    Object.keys(SCREENS).map((name) => el("button", { type: "button", id: `nav-${name}`, "aria-current": name === screen ? "page" : null, onclick: () => app.go(name, name === "deck" ? { section: app.where.section ?? app.lastDeck?.section, coat: app.where.coat ?? app.lastDeck?.coat } : {}) }, say(`screen-${name}`))));
  if (screen === "deck") app.lastDeck = app.where;
  const kept = document.querySelector("#toast");
  root.replaceChildren(top, main, nav);
  if (kept && !kept.closest("dialog")) root.append(kept);
  for (const act of app.after) requestAnimationFrame(act);
  if (focus) document.getElementById(focus)?.focus({ preventScroll: true });
  status();
}

function setPref(name, value) {
  prefs[name] = value;
  localStorage.setItem("tackfree-field", JSON.stringify(prefs));
  if (["lang", "units", "ground"].includes(name)) fetch(`/field?${name}=${value}`, { cache: "no-store" }).catch(() => {});
  dress();
  render();
}

function dress() {
  speak(prefs.lang ?? root.dataset.lang);
  if (!prefs.ground || prefs.ground === "system") delete document.documentElement.dataset.ground;
  else document.documentElement.dataset.ground = prefs.ground;
}

async function setPerson(name) {
  if (!name) return;
  app.person = name;
  await store.set(app.db, "person", name);
}

function askName() {
  const input = el("input", { id: "first-name", type: "text", autocomplete: "name", maxlength: "200" });
  const told = el("p", { class: "fault", role: "alert" });
  const box = sheet(say("who-writes"), [
    el("div", { class: "labelled" }, el("label", { for: "first-name" }, say("your-name")), input), told,
    el("p", { class: "note" }, say("name-help")),
    button(say("ok"), async () => {
      if (!input.value.trim()) { told.textContent = say("fault.needed"); return; }
      await setPerson(input.value.trim());
      box.close();
      render();
    }, { class: "big strong" }),
  ], say("close"));
  input.focus();
}

// ---- boot

const channel = "BroadcastChannel" in window ? new BroadcastChannel("tackfree-field") : null;

async function fetchDocument() {
  const answer = await fetch("/api/field", { headers: app.headers() });
  if (!answer.ok) return;
  const doc = await answer.json();
  await store.set(app.db, "doc", doc);
  const same = JSON.stringify(app.doc) === JSON.stringify(doc); // marks may be cut anew without a build
  app.doc = doc;
  if (!same || !app.rows.length) await reload();
}

async function whoAmI() {
  const answer = await fetch("/api/me", { headers: app.headers() });
  if (!answer.ok) return;
  const me = await answer.json();
  if (me.mode !== "team") return;
  // In a team the server knows whose phone this is; an entry in another name would be held.
  await setPerson(me.person);
  if (me.device && me.device !== app.device) app.device = await store.adopt(app.db, me.device);
}

async function fetchWords() {
  const kept = await store.get(app.db, "words");
  if (kept) learn(kept);
  try {
    const fresh = await (await fetch("/field/words")).json();
    learn(fresh);
    await store.set(app.db, "words", fresh);
  } catch (fault) {
    if (!kept) throw fault;
  }
}

async function boot() {
  app.db = await store.openDb();
  navigator.storage?.persist?.();
  app.device = await store.device(app.db);
  app.drafts = await store.drafts(app.db);
  await fetchWords();
  dress();
  app.doc = (await store.get(app.db, "doc")) ?? EMPTY;
  app.person = (await store.get(app.db, "person")) ?? null;
  app.where = { screen: location.hash.slice(1) || "today" };
  app.sync = makeSync(app.db, {
    token: app.token,
    onChange: (state, what) => {
      if (what === "entries") { reload(); channel?.postMessage("sent"); } else status();
      // A clock found wrong, or right again, changes every time on the page.
      if (skewNow() !== 0 !== Boolean(document.querySelector(".banner.skew")) && !document.querySelector("dialog[open]")) render();
    },
  });
  channel?.addEventListener("message", () => reload());
  await reload();
  root.dataset.ready = "yes";
  if ("serviceWorker" in navigator) navigator.serviceWorker.register("/sw.js", { scope: "/field" }).catch(() => {});
  await fetchDocument().catch(() => {});
  await whoAmI().catch(() => {});
  app.sync.start();
  if (!app.person && !document.querySelector("dialog[open]")) askName();
  store.prune(app.db, Date.now()).catch(() => {});
  document.addEventListener("visibilitychange", () => { if (!document.hidden) fetchDocument().catch(() => {}); });
  setInterval(tick, 1000);
}

// Every second the pails count down; every half minute the clocks are read again.
document.addEventListener("sheet-closed", () => { if (!document.querySelector("dialog[open]")) render(); });
let ticks = 0, lastTick = Date.now();
function tick() {
  const now = Date.now();
  ticks += 1;
  for (const node of document.querySelectorAll(".count[data-ends]")) {
    const left = Number(node.dataset.ends) - app.trueNow();
    node.textContent = left > 0 ? time.countdown(left) : say("pail-over");
    node.classList.toggle("over", left <= 0);
  }
  const jumped = Math.abs(now - lastTick - 1000) > 30000;
  lastTick = now;
  const busy = document.querySelector("dialog[open]") || document.activeElement?.matches("main select, main input");
  if (jumped) app.sync.nudge();
  if ((ticks % 30 === 0 || jumped) && !busy && app.where.screen === "today") render();
}

addEventListener("unhandledrejection", (e) => { app.problem = String(e.reason?.message ?? e.reason); status(); });
boot().catch((fault) => {
  root.querySelector("#view")?.replaceChildren(el("p", { class: "warn", role: "alert" }, `${say("cannot-start")} ${fault?.message ?? fault}`));
  throw fault;
});

export { app, openForm };
