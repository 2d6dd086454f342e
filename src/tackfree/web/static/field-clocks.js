// Recoat clocks on the phone: from real placing times and the last slab temperature typed.
// The office works the same clocks out from the slab's whole trace; these hold without signal.

import { cureHours } from "/static/field-air.js";

const H = 3600000;
export const SHUTTING_MS = 3 * H; // an alarm from here on

// {placed_from, placed_to, after, after_best, before, feet, cars, tack, beyond, slab_c, source}
// in Unix ms; null where the sheet gives no number. Recoat before runs on the wall clock from
// the first kit and cold never extends it; a hot slab takes the sheet's shorter one.
export function clockOf(sheet, coat, slabC) {
  if (!coat.last_ms || !sheet) return null;
  const from = coat.first_ms, to = coat.last_ms;
  const plus = (name, end) => {
    const hours = cureHours(sheet.cure, name, slabC);
    return hours ? to + hours[end] * H : null;
  };
  const hot = sheet.hot_from_c !== null && sheet.recoat_before_hot_h && slabC >= sheet.hot_from_c;
  const limit = hot ? Math.min(sheet.recoat_before_h ?? Infinity, sheet.recoat_before_hot_h) : sheet.recoat_before_h;
  return {
    placed_from: from, placed_to: to, slab_c: slabC,
    tack: plus("tack_free_h", "careful"),
    after: plus("recoat_after_h", "careful"), after_best: plus("recoat_after_h", "best"),
    before: limit ? from + limit * H : null,
    feet: plus("feet_after_h", "careful"), cars: plus("cars_after_h", "careful"),
    beyond: Boolean(cureHours(sheet.cure, "recoat_after_h", slabC)?.beyond),
    source: "placed",
  };
}

// The plan's clock of a coat that is not placed yet.
export function plannedClock(line) {
  const ms = (s) => (s === null || s === undefined ? null : s * 1000);
  return {
    placed_from: ms(line.placed_from_utc_s), placed_to: ms(line.placed_to_utc_s),
    tack: ms(line.tack_free?.careful_utc_s), after: ms(line.recoat_after.careful_utc_s),
    after_best: ms(line.recoat_after.hopeful_utc_s), before: ms(line.recoat_before_utc_s),
    feet: ms(line.feet_after?.careful_utc_s), cars: ms(line.cars_after?.careful_utc_s),
    source: "plan",
  };
}

// How a clock stands now: wait (too early), open, shutting, shut. `next` is placed: done.
export function stands(clock, nowMs) {
  if (clock.before !== null && nowMs > clock.before) return "shut";
  if (clock.before !== null && clock.before - nowMs < SHUTTING_MS) return "shutting";
  if (clock.after === null) return "unknown";
  return nowMs < clock.after ? "wait" : "open";
}

// Every section and coat whose clock runs, with how it stands; over by an hour given, too.
export function running(doc, folded, nowMs) {
  const lines = [];
  for (const section of doc.sections) {
    section.coats.forEach((coat, k) => {
      const have = folded.coat(section.id, coat.id);
      const clock = clockOf(doc.products[coat.product], have, slabFor(folded, section));
      const following = section.coats[k + 1];
      const followed = following && folded.coat(section.id, following.id).first_ms !== null;
      if (clock && !followed) {
        lines.push({ section, coat, clock, last: !following, following, stands: following ? stands(clock, nowMs) : "last" });
      }
    });
  }
  return lines;
}

// Sections that will be over their window by a moment, of those whose clock runs.
export const overBy = (lines, ms) => lines.filter((l) => !l.last && l.clock.before !== null && l.clock.before <= ms);

// The last slab temperature typed for a section, else for any section under the same sky.
export function slabFor(folded, section) {
  const all = [...folded.conditions].reverse();
  const mine = all.find((r) => r.sent.body.section === section.id);
  const any = all.find((r) => !r.sent.body.section) ?? all[0];
  return (mine ?? any)?.sent.body.slab_c ?? NaN;
}
