// The phone's own store. An entry is saved when its transaction has completed, not before.
// Number, predecessor and entry are read and written in one transaction, and the hash is
// made in between without waiting: so two tabs are one writer, in one chain.

import { hashOf, hexOf, ulid } from "/static/field-hash.js";

const NAME = "tackfree-field";
export const KEEP_MS = 45 * 86400000; // sent entries of this phone stay this long

const asked = (request) => new Promise((resolve, reject) => {
  request.onsuccess = () => resolve(request.result);
  request.onerror = () => reject(request.error);
});
const ended = (tx) => new Promise((resolve, reject) => {
  tx.oncomplete = () => resolve();
  tx.onabort = () => reject(tx.error ?? new DOMException("aborted", "AbortError"));
  tx.onerror = () => {}; // an abort follows
});

export async function openDb(name = NAME) {
  const request = indexedDB.open(name, 1);
  request.onupgradeneeded = () => {
    const db = request.result;
    const entries = db.createObjectStore("entries", { keyPath: "id" });
    entries.createIndex("state", "state");
    db.createObjectStore("photos", { keyPath: "sha" }).createIndex("state", "state");
    db.createObjectStore("meta");
  };
  const db = await asked(request);
  db.onversionchange = () => db.close(); // a newer page in another tab may go on
  return db;
}

const strict = (db, stores) => db.transaction(stores, "readwrite", { durability: "strict" });

export async function get(db, key) {
  return asked(db.transaction("meta").objectStore("meta").get(key));
}

export async function set(db, key, value) {
  const tx = db.transaction("meta", "readwrite");
  tx.objectStore("meta").put(value, key);
  return ended(tx);
}

// What is typed and not saved, by kind: on the disk at once, pictures with it.
const DRAFT = "draft ";

export async function setDraft(db, kind, draft) {
  const tx = strict(db, ["meta"]);
  if (draft) tx.objectStore("meta").put(draft, DRAFT + kind);
  else tx.objectStore("meta").delete(DRAFT + kind);
  return ended(tx);
}

export async function drafts(db) {
  const meta = db.transaction("meta").objectStore("meta");
  const found = new Map();
  for (const key of await asked(meta.getAllKeys(IDBKeyRange.bound(DRAFT, `${DRAFT}\uffff`)))) {
    found.set(key.slice(DRAFT.length), await asked(meta.get(key)));
  }
  return found;
}

const newDevice = () => ({ id: `field-${hexOf(crypto.getRandomValues(new Uint8Array(8)))}`, seq: 0, head: "" });

// This phone's id. A store that was emptied begins a new device, so that a gap in numbers is
// a true alarm.
export async function device(db) {
  const tx = strict(db, ["meta"]);
  const found = (await asked(tx.objectStore("meta").get("device"))) ?? newDevice();
  tx.objectStore("meta").put(found, "device");
  await ended(tx);
  return found.id;
}

// The id that a team gave this phone; its entries begin a chain of their own.
export async function adopt(db, id) {
  await set(db, "device", { id, seq: 0, head: "" });
  return id;
}

// Save drafts {kind, v, body, wall, zone, person, job, ms, skew_ms} with their photos, all or
// none.
export async function save(db, drafts, photos = []) {
  const tx = strict(db, ["entries", "photos", "meta"]);
  const done = ended(tx);
  done.catch(() => {}); // told to the caller below
  const meta = tx.objectStore("meta");
  const rows = [];
  try {
    const device = (await asked(meta.get("device"))) ?? newDevice();
    for (const draft of drafts) {
      const sent = {
        id: ulid(draft.ms), job: draft.job, device: device.id, seq: device.seq + 1,
        person: draft.person, wall: draft.wall, zone: draft.zone, kind: draft.kind, v: draft.v,
        body: draft.body, previous: device.head,
      };
      device.seq = sent.seq;
      device.head = hashOf(sent);
      const row = {
        id: sent.id, sent, sha: device.head, state: "waiting", mine: true, ms: draft.ms,
        skew_ms: draft.skew_ms ?? 0, faults: [],
      };
      tx.objectStore("entries").put(row);
      rows.push(row);
      if (draft.body.mends) {
        const old = await asked(tx.objectStore("entries").get(draft.body.mends));
        if (old) tx.objectStore("entries").put({ ...old, mended: sent.id });
      }
    }
    for (const photo of photos) tx.objectStore("photos").put({ ...photo, state: "waiting" });
    meta.put(device, "device");
  } catch (fault) {
    try { tx.abort(); } catch { /* it has ended by itself */ }
    throw fault;
  }
  await done;
  return rows;
}

export const isFull = (fault) => fault?.name === "QuotaExceededError" || /quota|disk|space/i.test(fault?.message ?? "");

export async function all(db) {
  return asked(db.transaction("entries").objectStore("entries").getAll());
}

const inState = async (db, store, state) =>
  asked(db.transaction(store).objectStore(store).index("state").getAll(state));

export const waiting = async (db) =>
  (await inState(db, "entries", "waiting")).sort((a, b) => a.sent.seq - b.sent.seq);
export const held = async (db) =>
  (await inState(db, "entries", "held")).sort((a, b) => a.sent.seq - b.sent.seq);
export const photosWaiting = (db) => inState(db, "photos", "waiting");

export async function photo(db, sha) {
  return asked(db.transaction("photos").objectStore("photos").get(sha));
}

// What the server said of entries: [{id, status, faults}]. Only an answer changes a state.
export async function mark(db, results) {
  const tx = strict(db, ["entries"]);
  const store = tx.objectStore("entries");
  let changed = 0;
  for (const { id, status, faults } of results) {
    const row = await asked(store.get(id));
    if (!row) continue;
    const state = status === "stored" || status === "duplicate" ? "safe" : "held";
    if (row.state !== state) changed += 1;
    store.put({ ...row, state, status, faults: state === "held" ? faults ?? [] : [] });
  }
  await ended(tx);
  return changed;
}

export async function markPhoto(db, sha, state, faults = []) {
  const tx = strict(db, ["photos"]);
  const store = tx.objectStore("photos");
  const row = await asked(store.get(sha));
  // The picture itself is let go once the server has it.
  if (row) store.put(state === "safe" ? { sha, state, name: row.name } : { ...row, state, faults });
  return ended(tx);
}

// Entries as the server lists them, ours and others'; the position read so far with them.
export async function take(db, listed, next) {
  const tx = db.transaction(["entries", "meta"], "readwrite");
  const store = tx.objectStore("entries");
  for (const one of listed) {
    const row = await asked(store.get(one.id));
    if (row) store.put({ ...row, pos: one.pos, state: row.mine ? "safe" : row.state, faults: [] });
    else store.put({ id: one.id, sent: one, state: "other", mine: false, pos: one.pos, faults: [] });
  }
  tx.objectStore("meta").put(next, "cursor");
  return ended(tx);
}

// Drop what was sent long ago, for a phone's sake. Nothing that waits or is held goes.
export async function prune(db, nowMs) {
  const tx = db.transaction("entries", "readwrite");
  const store = tx.objectStore("entries");
  for (const row of await asked(store.index("state").getAll("safe"))) {
    if (row.pos && nowMs - row.ms > KEEP_MS) store.delete(row.id);
  }
  return ended(tx);
}

// A lease for browsers without locks: one tab sends. Lost by itself after a while.
export async function lease(db, who, nowMs, lastsMs = 20000) {
  const tx = db.transaction("meta", "readwrite");
  const store = tx.objectStore("meta");
  const held_by = await asked(store.get("lease"));
  const free = !held_by || held_by.who === who || held_by.until < nowMs || held_by.until > nowMs + 10 * lastsMs;
  if (free) store.put({ who, until: nowMs + lastsMs }, "lease");
  await ended(tx);
  return free;
}

// The whole outbox: what the server has not acknowledged, one entry a line as it would be
// sent (`record import` takes it), and the pictures that wait, named by their hashes.
export async function outbox(db) {
  const rows = [...(await waiting(db)), ...(await held(db))].sort((a, b) => a.sent.seq - b.sent.seq);
  return { lines: rows.map((r) => `${JSON.stringify(r.sent)}\n`).join(""), photos: await photosWaiting(db) };
}
