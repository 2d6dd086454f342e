// What the entries add up to: kits, cells, readings, holds. A fold over the rows; it keeps nothing.

import { filmByVolume } from "/static/field-air.js";

// When an entry happened, by its wall time, corrected by the skew its phone knew of.
export const at = (row) => Date.parse(row.sent.wall) - (row.skew_ms ?? 0);

// A number alone names no cell: marks cut anew use it again. Layout and number do.
const cellKey = (layout, n) => `${layout ?? ""} ${n}`;
export const placedAt = (doc, coat, cell) => coat.placed.get(cellKey(cell.layout ?? doc.layout, cell.n));

const key = (section, coat) => `${section} ${coat}`;

function blank() {
  return { batches: [], placed: new Map(), spread: [], readings: [], bags: 0, first_ms: null, last_ms: null };
}

// rows: as the store keeps them. Held rows of ours count as typed until they are mended:
// the kit is on the floor whatever the server thinks of its entry.
export function fold(rows) {
  const live = [];
  const gone = new Set();
  for (const row of rows) {
    const { corrects, mends } = row.sent.body;
    if (corrects) gone.add(corrects);
    if (mends) gone.add(mends);
  }
  for (const row of [...rows].sort((a, b) => at(a) - at(b) || (a.id < b.id ? -1 : 1))) {
    if (!gone.has(row.id) && row.sent.kind !== "correction") live.push(row);
  }
  const coats = new Map();
  const of = (body) => {
    const k = key(body.section, body.coat);
    if (!coats.has(k)) coats.set(k, blank());
    return coats.get(k);
  };
  const conditions = [], holds = [], notices = [], checks = new Map(), ended = new Set(), answers = new Map(), releases = [];
  for (const row of live) {
    const { kind, body } = row.sent;
    if (kind === "batch") of(body).batches.push(row);
    else if (kind === "placement") {
      const c = of(body);
      c.spread.push(row);
      if (body.cell) c.placed.set(cellKey(body.layout, body.cell), row);
      c.first_ms = Math.min(c.first_ms ?? Infinity, at(row));
      c.last_ms = Math.max(c.last_ms ?? -Infinity, at(row));
    } else if (kind === "film-reading") of(body).readings.push(row);
    else if (kind === "aggregate") of(body).bags += body.bags;
    else if (kind === "conditions") conditions.push(row);
    else if (kind === "hold") holds.push(row);
    else if (kind === "notice") notices.push(row);
    else if (kind === "notice-answer") answers.set(body.notice, row);
    else if (kind === "release") {
      releases.push(row);
      if (body.ends_hold) ended.add(body.ends_hold);
    } else if (kind === "instrument-check") checks.set(body.instrument, row);
  }
  return {
    live, gone, coats, conditions, checks, releases,
    holds: holds.filter((h) => !ended.has(h.id)),
    notices: notices.map((row) => ({ row, answer: answers.get(row.id) ?? null })),
    coat: (section, coat) => coats.get(key(section, coat)) ?? blank(),
  };
}

// Kits mixed and not yet spread, the oldest first.
export function open(coat) {
  const spread = new Set(coat.spread.map((r) => r.sent.body.kit));
  return coat.batches.filter((b) => !spread.has(b.sent.body.kit));
}

// The cell to pour next: the first that is not placed, in the order of the marks.
export const next = (doc, coat) => doc.cells.find((c) => !placedAt(doc, coat, c));

// Kits of a section and coat: those mixed, what is left of the count, and the area left.
export function left(doc, coat) {
  const mixed = coat.batches.length;
  const cells = doc.cells ?? [];
  const area = cells.filter((c) => !placedAt(doc, coat, c)).reduce((sum, c) => sum + c.m2, 0);
  const need = cells.filter((c) => !placedAt(doc, coat, c)).reduce((sum, c) => sum + c.kits, 0);
  return { mixed, open: open(coat).length, kits: Math.max(0, doc.kits - mixed), area_m2: area, need, done: cells.length > 0 && area === 0 };
}

// What was spread on cells of marks that have been cut anew since: bodies, by their entries.
// They tick none of the cells shown.
export function older(doc, coat) {
  const shown = new Set((doc.cells ?? []).map((c) => cellKey(c.layout ?? doc.layout, c.n)));
  return coat.spread.map((r) => r.sent.body).filter((b) => b.cell && b.layout !== doc.layout && !shown.has(cellKey(b.layout, b.cell)));
}

// Volume against area and against the gauge. It names what cannot be; it passes nothing.
// {film_um, wanted_um, gauge_um, short, clash, over_used}
export function balance(doc, coat, litresOf) {
  const cells = doc.cells ?? [];
  const placed = cells.filter((c) => placedAt(doc, coat, c));
  const area = placed.reduce((sum, c) => sum + c.m2, 0) * (doc.slope ?? 1);
  if (!placed.length) return null;
  const kits = new Set(placed.map((c) => placedAt(doc, coat, c).sent.body.kit));
  let litres = 0;
  for (const b of coat.batches) if (kits.has(b.sent.body.kit)) litres += b.sent.body.volume_l ?? litresOf ?? 0;
  for (const c of placed) litres -= placedAt(doc, coat, c).sent.body.leftover_l ?? 0;
  const film = filmByVolume(litres, area);
  const wanted = (doc.wft_um ?? 0) + (doc.fill_um ?? 0);
  const looks = coat.readings.filter((r) => !r.sent.body.after_sand && r.sent.body.wet_tooth !== undefined);
  const um = (r) => r.sent.body.wet_tooth * (r.sent.body.unit === "mil" ? 25.4 : 1);
  const gauge = looks.length ? looks.reduce((sum, r) => sum + um(r), 0) / looks.length : null;
  return {
    film_um: film, wanted_um: wanted, gauge_um: gauge, readings: looks.length, area_m2: area,
    short: film !== null && wanted > 0 && film < 0.92 * wanted, // practice: ±8 % of the mass balance
    // Even the last wetted teeth stand higher than all that was poured: both cannot be right.
    clash: gauge !== null && looks.length >= 3 && film !== null && gauge > 1.08 * film,
  };
}
