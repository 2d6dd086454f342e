// The three screens worked from: today, the deck, and the forms to log with.

import { verdict } from "/static/field-air.js";
import { overBy, plannedClock, running, slabFor, clockOf, stands } from "/static/field-clocks.js";
import { toCalendar } from "/static/field-calendar.js";
import { drawing } from "/static/field-deck.js";
import { button, el, sheet } from "/static/field-dom.js";
import { choice, coatWord, keepDraft, lastValues, makeForm } from "/static/field-forms.js";
import { cautions, mixing, pail } from "/static/field-kit.js";
import { reading } from "/static/field-reading.js";
import { at as happened, balance, left, next, older, open, placedAt } from "/static/field-state.js";
import * as time from "/static/field-time.js";
import { show } from "/static/field-units.js";
import { say, sayOr, spoken } from "/static/field-words.js";

const OLD_MS = 2 * 3600000; // readings older than this: measure again (practice: every 2 to 4 h)
const short = (app, section) => section.id.replace(`${section.deck}-`, "") || section.id;

// ---- today

export function today(app) {
  const now = app.trueNow();
  const folded = app.folded();
  const lines = running(app.doc, folded, now);
  return [alarms(app, lines, folded, now), weather(app, folded, now), points(app, folded, now), sections(app, lines, folded, now), later(app, lines, now)];
}

export function alarms(app, lines, folded, now) {
  const bad = lines.filter((l) => l.stands === "shutting" || l.stands === "shut")
    .sort((a, b) => a.clock.before - b.clock.before);
  const told = [
    ...bad.map((l) => el("li", {}, el("button", { type: "button", class: "goto", onclick: () => app.go("deck", { section: l.section.id, coat: l.following.id }) },
      say(l.stands === "shut" ? "alarm-shut" : "alarm-shutting", {
        section: l.section.id, coat: coatWord(l.coat.id), at: time.said(l.clock.before, app.zone, now, spoken()),
        span: time.span(Math.abs(l.clock.before - now)), next: coatWord(l.following.id),
      })))),
    ...folded.holds.map((h) => el("li", {}, say("hold-open", {
      section: h.sent.body.section ?? "", reason: h.sent.body.reason, by: h.sent.person }))),
  ];
  return told.length ? el("section", { class: "alarm", role: "alert", "aria-label": say("alarms") }, el("ul", {}, told)) : null;
}

export function verdictWords(app, found) {
  const reasons = found.reasons.map((r) => say(`wait.${r.id}`, {
    value: show(r.value, r.of, app.units, app.comma), limit: show(r.limit, r.of, app.units, app.comma) }));
  return `${say(`verdict.${found.word}`)}${reasons.length ? `: ${reasons.join("; ")}` : ""}`;
}

function weather(app, folded, now) {
  const last = folded.conditions.at(-1);
  const log = button(say("log-conditions"), () => openForm(app, "conditions"), { class: "big strong" });
  if (!last) return el("section", { class: "part" }, el("h2", {}, say("go-or-wait")), el("p", {}, say("no-conditions")), log);
  const body = last.sent.body;
  const age = now - happened(last);
  const ahead = age < -60000; // written by a clock that ran ahead: how old it is, nobody knows
  const products = productsNow(app, folded, now);
  const any = verdict(body, {});
  return el("section", { class: "part" }, el("h2", {}, say("go-or-wait")),
    el("p", {}, say(ahead ? "typed-ahead" : "typed-values", {
      slab: show(body.slab_c, "temperature", app.units, app.comma), dew: show(any.dew_c, "temperature", app.units, app.comma),
      spread: show(any.spread_k, "difference", app.units, app.comma), age: time.span(age), person: last.sent.person })),
    age > OLD_MS || ahead
      ? el("p", { class: "warn" }, say(ahead ? "measure-ahead" : "measure-again", { age: time.span(age) }))
      : products.map((p) => {
        const found = verdict(body, app.doc.products[p].limits);
        return el("p", { class: `verdict ${found.word}` }, el("b", {}, p), " ", verdictWords(app, found));
      }),
    el("p", { class: "note" }, say("advice")), log);
}

// Hold points called: what was answered, and who still has to say something.
function points(app, folded, now) {
  const shown = folded.notices.filter(({ row, answer }) => !answer || Date.parse(row.sent.body.ready_at) > now - 24 * 3600000);
  if (!shown.length) return null;
  return el("section", { class: "part" }, el("h2", {}, say("points-title")),
    el("ul", { class: "ruled" }, shown.map(({ row, answer }) => {
      const b = row.sent.body;
      const ready = time.said(Date.parse(b.ready_at), app.zone, now, spoken());
      const place = [b.section, b.coat && coatWord(b.coat)].filter(Boolean).join(" ");
      return el("li", {},
        el("p", {}, el("b", {}, b.point), place ? ` · ${place}` : ""),
        el("p", { class: "quiet" }, say("point-called", { to: b.to, ready })),
        answer
          ? el("p", {}, `${choice("answer", answer.sent.body.answer)}${answer.sent.body.who ? ` (${answer.sent.body.who})` : ""}`)
          : button(say("point-answer"), () => openForm(app, "notice-answer", { notice: row.id })));
    })));
}

// Products of the coats planned for the day, else of all coats.
function productsNow(app, folded, now) {
  const day = time.day(now, app.zone);
  const named = new Set();
  for (const s of app.doc.sections) {
    for (const step of s.steps) {
      const coat = s.coats.find((c) => c.id === step.step);
      if (coat && time.day(step.from_s * 1000, app.zone) === day) named.add(coat.product);
    }
  }
  const found = named.size ? named : new Set(app.doc.sections.flatMap((s) => s.coats.map((c) => c.product)));
  return [...found].filter((p) => app.doc.products[p]);
}

function plannedDay(app, now) {
  const days = new Set(app.doc.sections.flatMap((s) => s.steps.map((p) => time.day(p.from_s * 1000, app.zone))));
  const here = time.day(now, app.zone);
  if (days.has(here)) return here;
  return [...days].filter((d) => d > here).sort()[0] ?? null;
}

function sections(app, lines, folded, now) {
  const day = plannedDay(app, now);
  const here = time.day(now, app.zone);
  const items = [];
  for (const section of app.doc.sections) {
    const steps = section.steps.filter((p) => time.day(p.from_s * 1000, app.zone) === day).sort((a, b) => a.from_s - b.from_s);
    const clocks = lines.filter((l) => l.section.id === section.id);
    if (!steps.length && !clocks.length) continue;
    const first = steps.find((s) => section.coats.some((c) => c.id === s.step))?.step ?? clocks[0]?.following?.id ?? section.coats[0]?.id;
    items.push({ at: steps[0]?.from_s ?? 0, node: el("li", {},
      el("button", { type: "button", class: "goto", onclick: () => app.go("deck", { section: section.id, coat: first }) }, section.id),
      steps.map((s) => el("p", {}, el("b", {}, coatWord(s.step)), ` ${time.clock(s.from_s * 1000, app.zone)}–${time.clock(s.to_s * 1000, app.zone)} · ${s.crew} `, el("span", { class: "quiet" }, say("by-plan")))),
      clocks.map((l) => clockLine(app, l, now))) });
  }
  items.sort((a, b) => a.at - b.at);
  return el("section", { class: "part" },
    el("h2", {}, day === here || !day ? say("today-sections") : say("next-sections", { day: dayWords(day) })),
    items.length ? el("ul", { class: "ruled" }, items.map((i) => i.node)) : el("p", {}, say("nothing-planned")));
}

export const dayWords = (day) => new Intl.DateTimeFormat(spoken(), { weekday: "short", day: "numeric", month: "short", timeZone: "UTC" }).format(new Date(`${day}T12:00Z`));

// A clock in words: when the next coat may start, by when it must be down.
export function clockLine(app, line, now) {
  const { clock, coat, following } = line;
  const at = (ms) => (ms === null ? say("no-number") : time.said(ms, app.zone, now, spoken()));
  const word = line.stands === "last"
    ? say("clock-last", { feet: at(clock.feet), cars: at(clock.cars) })
    : say(line.stands === "unknown" && !Number.isFinite(clock.slab_c) ? "clock-unread" : `clock-${line.stands}`, {
      next: coatWord(following.id), after: at(clock.after), before: at(clock.before),
      wait: clock.after === null ? "" : time.span(clock.after - now), left: clock.before === null ? "" : time.span(clock.before - now),
    });
  return el("div", { class: `clock ${line.stands}` },
    el("p", {}, el("b", {}, `${coatWord(coat.id)}:`), " ", word),
    el("p", { class: "quiet" }, say(Number.isFinite(clock.slab_c) ? "clock-from" : "clock-no-slab", {
      slab: show(clock.slab_c, "temperature", app.units, app.comma), first: at(clock.placed_from), last: at(clock.placed_to) }),
      clock.beyond ? ` ${say("clock-beyond")}` : ""));
}

// Sections over their window by any hour that is asked for.
function later(app, lines, now) {
  const live = lines.filter((l) => !l.last && l.clock.before !== null);
  if (!live.length) return null;
  const coming = live.filter((l) => l.clock.before > now);
  const hour = 3600000;
  const told = el("p", { role: "status" });
  const pick = el("input", { type: "datetime-local", id: "over-by", value: time.local(app.overBy ?? now + 12 * hour, app.zone), oninput: () => tell() });
  function tell() {
    if (!pick.value) { told.textContent = say("over-when"); return; }
    const by = time.moment(pick.value, app.zone);
    app.overBy = by; // kept when the screen is drawn again
    const found = overBy(live, by).sort((a, b) => a.clock.before - b.clock.before);
    told.replaceChildren(found.length
      ? el("ul", {}, found.map((l) => el("li", {}, `${l.section.id} ${coatWord(l.coat.id)}: ${time.said(l.clock.before, app.zone, now, spoken())}`)))
      : say("over-none"));
  }
  const quick = el("div", { class: "chips", role: "group", "aria-label": say("over-by") },
    [3, 6, 12, 24].map((h) => el("button", { type: "button", class: "chip-button", onclick: () => { pick.value = time.local(app.trueNow() + h * hour, app.zone); tell(); } }, `+${h} h`)));
  tell();
  return el("section", { class: "part" }, el("h2", {}, say("over-title")), el("label", { for: "over-by", class: "ask" }, say("over-by")), pick, quick, told,
    coming.length ? [button(say("to-calendar"), () => toCalendar(app, coming, now)), el("p", { class: "note" }, say("to-calendar-note"))] : null);
}

// ---- the deck

export function deck(app) {
  if (!app.doc.sections.length) return [el("p", { class: "warn" }, say("no-sections"))];
  const section = app.doc.sections.find((s) => s.id === app.where.section) ?? app.doc.sections[0];
  const coat = section.coats.find((c) => c.id === app.where.coat) ?? section.coats[0];
  const folded = app.folded();
  const choose = el("div", { class: "choose" },
    labelled("pick-section", el("select", { id: "pick-section", onchange: (e) => app.go("deck", { section: e.target.value, coat: coat?.id }) },
      app.doc.sections.map((s) => el("option", { value: s.id, selected: s.id === section.id }, s.id))), say("section")),
    labelled("pick-coat", el("select", { id: "pick-coat", onchange: (e) => app.go("deck", { section: section.id, coat: e.target.value }) },
      section.coats.map((c) => el("option", { value: c.id, selected: c.id === coat?.id }, coatWord(c.id)))), say("coat")));
  if (!coat) return [choose, el("p", { class: "warn" }, say("no-coats"))];
  const have = folded.coat(section.id, coat.id);
  const upcoming = next(coat, have);
  const mode = app.where.mode ?? "kits";
  const draw = drawing({
    floor: section.floor, cells: coat.cells, space: innerWidth < 900 ? [innerWidth, Math.max(240, 0.4 * innerHeight)] : [0.6 * innerWidth, innerHeight - 260],
    states: (n) => (placedAt(coat, have, coat.cells.find((c) => c.n === n)) ? "done" : n === upcoming?.n ? "next" : "open"),
    old: older(coat, have).filter((b) => b.outline),
    dots: have.readings.map((r) => ({ x: r.sent.body.x_m, y: r.sent.body.y_m, word: String(r.sent.body.wet_tooth ?? 0) })),
    label: say("deck-label", { section: section.id, coat: coatWord(coat.id) }),
    cellLabel: (c, s) => say(`cell-${s}`, { n: c.n, area: show(c.m2, "area", app.units, app.comma) }),
    ontap: (spot) => {
      if (app.justSaved()) return;
      if (mode === "readings") reading(app, section, coat, spot);
      else if (spot.cell) cellSheet(app, section, coat, spot.cell);
      else app.tell(say("no-cell-there"));
    },
  });
  // A long strip needs no tall box: the buttons below it come up under the thumb.
  if (innerWidth < 900) draw.box.style.height = `${Math.round(Math.min(Math.max(176, innerWidth * draw.tall + 12), Math.max(240, 0.4 * innerHeight)))}px`;
  app.afterRender(() => (upcoming && coat.cells.length > 12 ? draw.near(upcoming) : draw.all()));
  const toggle = el("div", { class: "chips modes", role: "group", "aria-label": say("mode") },
    ["kits", "readings"].map((m) => el("button", { type: "button", class: "chip-button", "aria-pressed": String(m === mode), onclick: () => app.go("deck", { ...app.where, section: section.id, coat: coat.id, mode: m }) }, say(`mode-${m}`))));
  const zoom = el("div", { class: "zooms" },
    [["+", say("zoom-in"), () => draw.zoom(1.6)], ["−", say("zoom-out"), () => draw.zoom(1 / 1.6)], ["▣", say("zoom-all"), () => draw.all()]]
      .map(([t, l, act]) => el("button", { type: "button", "aria-label": l, onclick: act }, t)));
  return [el("div", { class: "deck-side" }, choose, el("div", { class: "deck-bar" }, toggle, zoom), draw.box),
    el("div", { class: "deck-lines" },
      mode === "kits" ? nextKit(app, section, coat, have, upcoming) : el("p", { class: "hint" }, say("tap-to-read")),
      pails(app, section, coat, have), counts(app, section, coat, have), clockHere(app, section, coat, folded),
      cautions(coat.cautions, app.now(), app.zone))];
}

const kitsWord = (kits) => (kits.toFixed(2) === "1.00" ? say("kit-one") : say("kits-n", { n: Number(kits.toFixed(2)) }));
const labelled = (id, node, word) => el("div", { class: "labelled" }, el("label", { for: id }, word), node);

function nextKit(app, section, coat, have, upcoming) {
  if (!upcoming) return el("div", { class: "next" }, el("p", {}, coat.cells.length ? say("all-cells") : say("no-cells")), button(say("mix-kit"), () => mixing(app, section, coat, null)));
  return el("div", { class: "next" },
    el("p", {}, el("b", {}, say("next-cell", { n: upcoming.n })), ` ${show(upcoming.m2, "area", app.units, app.comma)} · ${kitsWord(upcoming.kits)}`),
    el("div", { class: "pair" },
      button(say("mix-kit"), () => mixing(app, section, coat, upcoming)),
      button(say("spread-cell", { n: upcoming.n }), () => through(app, section, coat, upcoming.n), { class: "big strong" })));
}

function pails(app, section, coat, have) {
  const rows = open(have);
  if (!rows.length) return null;
  return el("ul", { class: "pails", "aria-label": say("open-pails") }, rows.map((row) => {
    const p = pail(row, (id) => app.doc.products[id]);
    const count = el("span", { class: "count", "data-ends": p ? p.ends_ms : null }, p ? time.countdown(p.ends_ms - app.trueNow()) : "–");
    return el("li", {}, `${row.sent.body.kit} `, count, p && !p.known ? el("span", { class: "quiet" }, ` ${say("pail-guess")}`) : "");
  }));
}

function counts(app, section, coat, have) {
  const l = left(coat, have);
  const b = balance(coat, have, coat.kit_l);
  const film = (v) => show(v, "film", app.units, app.comma);
  const before = coat.cells.length ? new Set(older(coat, have).map((b) => b.kit)).size : 0;
  return el("div", { class: "counts" },
    el("p", {}, say("kits-left", { mixed: l.mixed, of: coat.kits, left: l.kits, area: show(l.area_m2, "area", app.units, app.comma) }),
      l.need > l.kits + l.open + 0.05 && coat.cells.length ? el("b", {}, ` ${say("kits-short", { need: l.need.toFixed(1), left: l.kits + l.open })}`) : ""),
    before ? el("p", {}, before === 1 ? say("older-marks-one") : say("older-marks-n", { n: before })) : null,
    coat.bags ? el("p", {}, say("bags-thrown", { bags: have.bags, of: coat.bags })) : null,
    b && el("p", {}, say("film-by-volume", { film: film(b.film_um), wanted: film(b.wanted_um) }),
      b.short ? el("b", {}, ` ${say("film-short")}`) : ""),
    b?.clash ? el("p", { class: "warn" }, say("gauge-clash", { gauge: film(b.gauge_um), film: film(b.film_um), n: b.readings })) : null);
}

function clockHere(app, section, coat, folded) {
  const now = app.trueNow();
  const k = section.coats.indexOf(coat);
  const under = section.coats[k - 1];
  const lines = [];
  if (under) {
    const clock = clockOf(app.doc.products[under.product], folded.coat(section.id, under.id), slabFor(folded, section));
    if (clock) lines.push(clockLine(app, { section, coat: under, clock, following: coat, stands: stands(clock, now) }, now));
  }
  const planned = app.doc.clocks.find((c) => c.section_id === section.id && c.coat_id === coat.id);
  if (!folded.coat(section.id, coat.id).last_ms && planned) {
    const clock = plannedClock(planned);
    lines.push(el("p", { class: "quiet" }, say("planned-clock", {
      from: time.said(clock.placed_from, app.zone, now, spoken()), to: time.said(clock.placed_to, app.zone, now, spoken()) })));
  }
  return lines.length ? el("div", {}, lines) : null;
}

function cellSheet(app, section, coat, cell) {
  const have = app.folded().coat(section.id, coat.id);
  const done = placedAt(coat, have, cell);
  const before = coat.cells.filter((c) => c.n < cell.n && !placedAt(coat, have, c));
  const box = sheet(`${say("cell-n", { n: cell.n })} · ${coatWord(coat.id)}`, [
    el("p", {}, `${show(cell.m2, "area", app.units, app.comma)} · ${kitsWord(cell.kits)}`),
    done
      ? [el("p", {}, say("cell-done-by", { kit: done.sent.body.kit, at: time.said(Date.parse(done.sent.wall), app.zone, app.now(), spoken()), person: done.sent.person })),
        button(say("withdraw"), async () => { if (await app.withdraw([done], say("withdrawn-by-hand"))) box.close(); })]
      : [button(say("mix-for-this"), () => { box.close(); mixing(app, section, coat, cell); }),
        button(say("spread-here"), async () => { if (await spread(app, section, coat, [cell])) box.close(); }, { class: "big strong" }),
        before.length ? button(say("through-cell", { n: cell.n, count: before.length + 1 }), async () => { if (await through(app, section, coat, cell.n)) box.close(); }) : null],
    button(say("read-here"), () => { box.close(); reading(app, section, coat, { cell, ...spotOf(cell) }); }),
  ], say("close"));
}

const spotOf = (cell) => {
  const r = cell.outline[0][0];
  const n = r.length - 1;
  return { x: Number((r.slice(0, n).reduce((s, p) => s + p[0], 0) / n).toFixed(3)), y: Number((r.slice(0, n).reduce((s, p) => s + p[1], 0) / n).toFixed(3)) };
};

// Placements for cells in their order; each takes the oldest open kit, or a kit of its own.
async function spread(app, section, coat, cells) {
  const free = open(app.folded().coat(section.id, coat.id)).map((r) => r.sent.body.kit);
  const entries = [];
  for (const cell of cells) {
    let kit = free.shift();
    if (!kit) {
      kit = app.kitName();
      entries.push({ kind: "batch", body: { kit, product: coat.product, section: section.id, coat: coat.id, ...(coat.kit_l ? { volume_l: coat.kit_l } : {}) } });
    }
    const whole = cell.outline.length === 1 ? cell.outline[0][0].slice(0, -1) : null;
    entries.push({ kind: "placement", body: {
      kit, section: section.id, coat: coat.id, cell: String(cell.n), area_m2: cell.m2,
      ...(cell.layout ?? coat.layout ? { layout: cell.layout ?? coat.layout } : {}),
      ...(whole && whole.length >= 3 && whole.length <= 500 ? { outline: whole } : {}),
      ...(cell.kits < 0.995 && coat.kit_l && !free.length && cell === cells.at(-1) ? { leftover_l: Number((coat.kit_l * (1 - cell.kits)).toFixed(3)) } : {}),
    } });
  }
  const names = cells.length > 1 ? `${cells[0].n}–${cells.at(-1).n}` : String(cells[0].n);
  return app.save(entries, say("saved-cell", { n: names }));
}

export function through(app, section, coat, n) {
  const have = app.folded().coat(section.id, coat.id);
  return spread(app, section, coat, coat.cells.filter((c) => c.n <= n && !placedAt(coat, have, c)));
}

// ---- forms

export function log(app) {
  const groups = ["weather", "surface", "work", "judged", "people"];
  return groups.map((group) => el("section", { class: "part" }, el("h2", {}, say(`group.${group}`)),
    el("div", { class: "menu" }, app.doc.forms.filter((f) => f.group === group).map((f) =>
      button(say(`record.kind.${f.kind}`), () => openForm(app, f.kind))))));
}

// `held`: a row that was refused; saving mends it by a new entry that names it.
export function openForm(app, kind, initial = null, held = null) {
  const form = app.form(kind);
  const ctx = app.context();
  const draft = held || initial ? undefined : app.drafts.get(kind); // a form begun on one thing takes no other
  for (const p of draft?.pictures ?? []) ctx.photos.set(p.sha, p);
  const names = draft ? { ...(draft.names.photos.length ? { photos: draft.names.photos } : {}), ...(draft.names.sha256 ? { sha256: draft.names.sha256 } : {}) } : {};
  const start = initial ?? { ...lastValues(form, app.rows), ...(app.where.section && form.asks.some((a) => a.name === "section") ? { section: app.where.section } : {}) };
  const made = makeForm(form, ctx, { ...start, ...names });
  const live = kind === "conditions" ? el("p", { class: "verdict live", role: "status" }) : null;
  const forget = held ? () => {} : keepDraft(made, ctx, draft, (found) => app.keepDraft(kind, found));
  const box = sheet(held ? say("mend-title", { kind: say(`record.kind.${kind}`) }) : say(`record.kind.${kind}`), [
    live, made.node,
    button(say("save"), async () => {
      const read = made.read();
      if (!read) return;
      const body = held ? { ...read.body, mends: held.id } : read.body;
      if (await app.save([{ kind, body, v: form.v }], say("saved-kind", { kind: say(`record.kind.${kind}`) }), read.photos)) {
        forget();
        box.close();
      }
    }, { class: "big strong save" }),
  ], say("close"));
  if (held) made.refuse(held.faults);
  if (live) {
    const tell = () => {
      const value = (name, of) => {
        const t = made.node.querySelector(`#f-conditions-${name}`).value;
        return t.trim() ? app.si(t, of) : NaN;
      };
      const body = { slab_c: value("slab_c", "temperature"), air_c: value("air_c", "temperature"), rh: value("rh", "share"), wind_m_s: value("wind_m_s", "speed") };
      if (!Number.isFinite(body.slab_c + body.air_c + body.rh)) { live.textContent = say("spread-when-typed"); return; }
      const found = verdict(body, {});
      const words = productsNow(app, app.folded(), app.trueNow()).map((p) => `${p}: ${verdictWords(app, verdict(body, app.doc.products[p].limits))}`);
      live.replaceChildren(el("b", {}, say("spread-now", { spread: show(found.spread_k, "difference", app.units, app.comma), dew: show(found.dew_c, "temperature", app.units, app.comma) })),
        ...words.map((w) => el("span", {}, w)));
    };
    made.node.addEventListener("input", tell);
    tell();
  }
}
