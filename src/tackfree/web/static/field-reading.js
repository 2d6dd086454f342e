// A film reading in two taps: where, and the last wet tooth. The next tooth is the dry one.

import { button, el, sheet } from "/static/field-dom.js";
import { coatWord } from "/static/field-forms.js";
import * as time from "/static/field-time.js";
import { say } from "/static/field-words.js";

const DAY = 86400000;

// Teeth that stand near the film wanted come first into view.
export function reading(app, section, coat, spot) {
  const gauge = app.gauge();
  const teeth = gauge.teeth;
  const checked = app.folded().checks.get(gauge.name);
  const today = checked && checked.sent.body.passed && time.day(Date.parse(checked.sent.wall), app.zone) === time.day(app.now(), app.zone);
  const wanted = coat.wft_um ? coat.wft_um / (gauge.unit === "mil" ? 25.4 : 1) : null;
  const save = (wet, dry) => async () => {
    const body = {
      section: section.id, coat: coat.id, x_m: spot.x, y_m: spot.y, unit: gauge.unit,
      ...(wet === null ? {} : { wet_tooth: wet }), ...(dry === null ? {} : { dry_tooth: dry }),
      gauge: gauge.name, gauge_checked: Boolean(today), reader: app.prefs.reader ?? "crew",
      feet: app.prefs.feet ?? "peaks",
      after_sand: sand.querySelector("input").checked,
      ...(spot.cell ? { cell: String(spot.cell.n) } : {}),
    };
    if (await app.save([{ kind: "film-reading", body }], say("saved-reading", { wet: wet ?? "0", unit: gauge.unit }))) box.close();
  };
  const sand = el("label", { class: "chip" }, el("input", { type: "checkbox" }), el("span", {}, say("after-sand")));
  const near = wanted === null ? -1 : teeth.findLastIndex((t) => t <= wanted);
  const grid = el("div", { class: "teeth" },
    button(say("none-wet"), save(null, teeth[0]), { class: "tooth" }),
    teeth.map((tooth, k) => button(String(tooth), save(tooth, teeth[k + 1] ?? null), {
      class: `tooth${k === near ? " wanted" : ""}`,
      "aria-label": say("tooth-wet", { tooth, unit: gauge.unit }),
    })));
  const box = sheet(say("last-wet-tooth", { unit: gauge.unit }), [
    el("p", {}, coatWord(coat.id), spot.cell ? ` · ${say("cell-n", { n: spot.cell.n })}` : "",
      wanted ? ` · ${say("wanted", { value: wanted.toFixed(gauge.unit === "mil" ? 1 : 0), unit: gauge.unit })}` : ""),
    el("p", { class: checked ? "note" : "warn" }, checked ? checkedWord(app, gauge, checked) : say("gauge-not-checked", { gauge: gauge.name })),
    grid, sand,
    el("p", { class: "note" }, say("reading-help")),
  ], say("close"));
  box.querySelector(".wanted")?.scrollIntoView({ block: "center" });
}

export function checkedWord(app, gauge, row) {
  const { due, passed } = row.sent.body;
  const days = Math.floor((app.now() - Date.parse(row.sent.wall)) / DAY);
  const over = due && due < time.day(app.now(), app.zone);
  return say(!passed ? "gauge-failed" : over ? "gauge-overdue" : "gauge-checked", { gauge: gauge.name, days, due: due ?? "–" });
}
