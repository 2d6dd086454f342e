// One kit: cautions, mixing steps and timer from its sheet, "B in", the pail counting down.

import { potLife } from "/static/field-air.js";
import { button, el, sheet } from "/static/field-dom.js";
import { coatWord, makeForm } from "/static/field-forms.js";
import * as time from "/static/field-time.js";
import { show } from "/static/field-units.js";
import { say, sayOr } from "/static/field-words.js";

const KIT_C = 24; // practice: kits are stored near 75 °F; used until one is measured

export const night = (ms, zone) => { const h = time.hourOf(ms, zone); return h < 6 || h >= 20; };

export function cautions(ids, nowMs, zone) {
  const shown = ids.filter((id) => id !== "caution.night" || night(nowMs, zone));
  return el("details", { class: "cautions" }, el("summary", {}, say("cautions-n", { n: shown.length })),
    shown.map((id) => el("p", {}, sayOr(id, id))));
}

// When the pail of a batch is too old [ms], and on what that rests.
export function pail(row, sheetOf) {
  const body = row.sent.body;
  const known = Number.isFinite(body.temperature_c);
  const minutes = potLife(sheetOf(body.product)?.pot_life, known ? body.temperature_c : KIT_C);
  if (minutes === null) return null;
  const from = Date.parse(body.mixed_from ?? row.sent.wall) - (row.skew_ms ?? 0);
  return { ends_ms: from + minutes * 60000, minutes, known };
}

// The sheet that mixes a kit for a section and coat. `onsave(body)` saves and closes.
export function mixing(app, section, coat, cell) {
  const product = app.doc.products[coat.product];
  const folded = app.folded();
  const before = folded.coat(section.id, coat.id).batches.at(-1)?.sent.body ?? {};
  const begun = { ms: null, b_ms: null };
  const ctx = { ...app.context(), product };
  const form = {
    kind: "batch", v: 1, group: "",
    asks: app.form("batch").asks.filter((a) => ["parts", "temperature_c"].includes(a.name)),
  };
  const asked = makeForm(form, ctx, { parts: before.parts, temperature_c: before.temperature_c });
  const ticking = el("p", { class: "count", role: "timer" }, "");
  const bIn = button(say("b-in"), () => {
    begun.b_ms ??= app.now();
    bIn.setAttribute("aria-pressed", "true");
    bIn.textContent = say("b-in-at", { at: time.clock(begun.b_ms, app.zone) });
    save.disabled = false;
    save.textContent = say("kit-mixed");
    tick();
  }, { "aria-pressed": "false", class: "big strong" });
  const start = button(say("mix-start"), () => {
    begun.ms = app.now();
    start.hidden = true;
    tick();
  });
  const save = button(say("b-first"), async () => {
    const read = asked.read();
    if (!read) return;
    const from = begun.b_ms ?? begun.ms;
    const body = {
      ...read.body, kit: app.kitName(), product: coat.product, section: section.id, coat: coat.id,
      b_in: begun.b_ms !== null,
      ...(coat.kit_l ? { volume_l: coat.kit_l } : {}),
      ...(from ? { mixed_from: time.wall(from, app.zone), mixed_to: time.wall(Math.max(from, app.now()), app.zone) } : {}),
    };
    if (await app.save([{ kind: "batch", body }], say("saved-kit", { kit: body.kit }))) box.close();
  }, { class: "big strong save" });
  save.disabled = true;
  function tick() {
    const minutes = product?.mix_minutes;
    const now = app.now();
    if (begun.b_ms) {
      const t = asked.node.querySelector("input.number");
      const body = { product: coat.product, temperature_c: undefined };
      const read = t?.value ? Number(t.value.replace(",", ".")) : NaN;
      if (Number.isFinite(read)) body.temperature_c = app.units === "si" ? read : (read - 32) / 1.8;
      const p = pail({ sent: { body: { ...body, mixed_from: time.wall(begun.b_ms, app.zone) }, wall: "" } }, () => product);
      ticking.textContent = p ? say("pail-left", { left: time.countdown(p.ends_ms - now) }) : say("pail-unknown");
    } else if (begun.ms && minutes) {
      const left = begun.ms + minutes * 60000 - now;
      ticking.textContent = left > 0 ? say("mix-left", { left: time.countdown(left) }) : say("mix-done");
    } else if (begun.ms) ticking.textContent = time.countdown(now - begun.ms);
  }
  const timer = setInterval(tick, 1000);
  const life = product ? potLife(product.pot_life, KIT_C) : null;
  const box = sheet(
    cell ? say("mix-for-cell", { cell: cell.n, coat: coatWord(coat.id) }) : say("mix-for", { coat: coatWord(coat.id) }),
    [
      el("p", {}, el("b", {}, coat.product), product ? ` ${product.name}` : "", coat.kit_l ? ` · ${show(coat.kit_l, "volume", app.units, app.comma)}` : "",
        life ? ` · ${say("pail-about", { minutes: Math.round(life), at: show(KIT_C, "temperature", app.units, app.comma) })}` : ""),
      cautions(coat.cautions, app.now(), app.zone),
      product?.mix_steps.length
        ? el("ol", { class: "steps" }, product.mix_steps.map((s) => el("li", {}, s)))
        : el("p", { class: "warn" }, say("no-mix-steps")),
      el("p", { class: "note" }, say("whole-kits")),
      start, ticking, bIn, asked.node, save,
    ],
    say("close"), () => clearInterval(timer));
}
