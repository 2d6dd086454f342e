// Sending and fetching: try, wait longer each time, try again. Nothing is ever dropped here.

import * as store from "/static/field-db.js";

export const BATCH = 50;
const FIRST_MS = 2000;
const MOST_MS = 60000;
const POLL_MS = 15000;
const ABORT_MS = 10000;
const PHOTO_ABORT_MS = 60000;
const PAGE = 500;
const JUMP_MS = 1000; // the wall clock against the steady one, over one request

export const headers = (token) => (token ? { Authorization: `Device ${token}` } : {});

// `state`: {reached_ms, since_ms, status, skew_ms, sending}. Told through `onChange(state, what)`
// where `what` is "state" or "entries".
export function makeSync(db, { onChange, token = () => null, now = () => Date.now() }) {
  const state = { reached_ms: 0, since_ms: 0, status: 0, skew_ms: 0, sending: false };
  const me = Math.random().toString(36).slice(2);
  let delay = FIRST_MS, timer = 0, running = null, again = false, size = BATCH;

  async function ask(path, options = {}, abortMs = ABORT_MS) {
    const control = new AbortController();
    const stop = setTimeout(() => control.abort(), abortMs);
    const begun = now(), steady = performance.now();
    try {
      const answer = await fetch(path, {
        ...options, cache: "no-store", signal: control.signal,
        headers: { Accept: "application/json", ...headers(token()), ...options.headers },
      });
      const there = Date.parse(answer.headers.get("Date") ?? "");
      const jumped = Math.abs(now() - begun - (performance.now() - steady)) > JUMP_MS;
      // a clock set anew while the answer was under way says nothing: the next answer will
      if (Number.isFinite(there) && !jumped) state.skew_ms = Math.round((begun + now()) / 2 - there - 500);
      state.reached_ms = now();
      state.since_ms = 0;
      const text = await answer.text(); // inside the time limit: a cut answer is no answer
      return { ok: answer.ok, status: answer.status, body: text ? JSON.parse(text) : null };
    } finally {
      clearTimeout(stop);
    }
  }

  async function post(rows) {
    return ask("/api/entries", {
      method: "POST", headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ entries: rows.map((r) => r.sent) }),
    });
  }

  // One pass over what waits. A batch that is refused whole is sent in halves, so that
  // one entry the server cannot take never blocks those behind it.
  async function sendEntries(list) {
    let rows = await list();
    while (rows.length) {
      const batch = rows.slice(0, size);
      const answer = await post(batch);
      if (answer.ok) {
        await store.mark(db, answer.body.results);
        onChange(state, "entries");
        const answered = new Set(answer.body.results.map((r) => r.id));
        if (!batch.some((r) => answered.has(r.id))) throw new Error("answered for none");
        rows = rows.filter((r) => !answered.has(r.id));
      } else if ([400, 413, 422].includes(answer.status) && batch.length > 1) {
        size = Math.max(1, batch.length >> 1);
      } else if ([400, 413, 422].includes(answer.status)) {
        await store.mark(db, [{ id: batch[0].id, status: "held", faults: answer.body?.refused ?? [] }]);
        onChange(state, "entries");
        rows = rows.slice(1);
        size = BATCH;
      } else {
        throw Object.assign(new Error(`HTTP ${answer.status}`), { status: answer.status });
      }
    }
    size = BATCH;
  }

  async function sendPhotos() {
    for (const row of await store.photosWaiting(db)) {
      const answer = await ask(`/api/photos/${row.sha}`, {
        method: "PUT", headers: { "Content-Type": row.blob.type || "image/jpeg" }, body: row.blob,
      }, PHOTO_ABORT_MS);
      if (answer.ok) await store.markPhoto(db, row.sha, "safe");
      else if ([400, 413, 415, 422].includes(answer.status)) {
        await store.markPhoto(db, row.sha, "held", answer.body?.refused ?? []);
      } else throw Object.assign(new Error(`HTTP ${answer.status}`), { status: answer.status });
      onChange(state, "entries");
    }
  }

  async function fetchOthers() {
    for (;;) {
      const after = (await store.get(db, "cursor")) ?? 0;
      const answer = await ask(`/api/entries?after=${after}&limit=${PAGE}`);
      if (!answer.ok) throw Object.assign(new Error(`HTTP ${answer.status}`), { status: answer.status });
      const { entries, next } = answer.body;
      if (entries.length) {
        await store.take(db, entries, next);
        onChange(state, "entries");
      }
      if (entries.length < PAGE) return;
    }
  }

  async function pass() {
    await sendEntries(() => store.waiting(db));
    await sendPhotos();
    await fetchOthers();
  }

  async function alone(work) {
    if (navigator.locks) {
      return navigator.locks.request("tackfree-field-send", { ifAvailable: true }, (lock) => (lock ? work() : false));
    }
    return (await store.lease(db, me, now())) ? work() : false;
  }

  function plan(ms) {
    clearTimeout(timer);
    timer = setTimeout(() => go(), ms * (0.75 + Math.random() / 2));
  }

  // Try now. Calls while a pass runs start one more pass after it.
  function go() {
    clearTimeout(timer);
    if (running) { again = true; return running; }
    running = (async () => {
      state.sending = true;
      onChange(state, "state");
      try {
        const did = await alone(async () => { await pass(); return true; });
        state.status = 0;
        delay = FIRST_MS;
        plan(did ? POLL_MS : FIRST_MS);
      } catch (fault) {
        state.status = fault.status ?? 0;
        state.since_ms ||= now();
        plan(delay);
        delay = Math.min(MOST_MS, delay * 2);
      }
      state.sending = false;
      running = null;
      onChange(state, "state");
      if (again) { again = false; if (!state.since_ms) go(); }
    })();
    return running;
  }

  // Something changed for the better: a save, signal, the page in view again.
  function nudge() {
    delay = FIRST_MS;
    return go();
  }

  // Ask again about what was held: it may have been an entry that came early.
  async function askAgain() {
    try {
      await alone(() => sendEntries(async () => (await store.held(db)).filter((r) => !r.mended)));
    } catch { /* the next pass says what is wrong */ }
  }

  function start() {
    addEventListener("online", nudge);
    document.addEventListener("visibilitychange", () => { if (!document.hidden) nudge(); });
    return askAgain().then(nudge);
  }

  return { state, go, nudge, start, askAgain };
}
