// What is in the record and what still waits; the outbox as a file; this phone's settings.

import { dewPoint } from "/static/field-air.js";
import * as store from "/static/field-db.js";
import { button, el } from "/static/field-dom.js";
import { choice, coatWord } from "/static/field-forms.js";
import { openForm } from "/static/field-screens.js";
import * as time from "/static/field-time.js";
import { rule, show, typed } from "/static/field-units.js";
import { languages, say, sayOr, spoken } from "/static/field-words.js";

const SHOWN = 120;
export const SKEW_TOLD_MS = 90000;

// One line about an entry.
export function brief(app, row) {
  const b = row.sent.body;
  const place = [b.section, b.coat && coatWord(b.coat)].filter(Boolean).join(" ");
  const said = {
    conditions: () => say("brief-conditions", { slab: show(b.slab_c, "temperature", app.units, app.comma), spread: show(b.slab_c - dewPoint(b.air_c, b.rh), "difference", app.units, app.comma) }),
    batch: () => b.kit,
    placement: () => (b.cell ? say("cell-n", { n: b.cell }) : b.kit),
    "film-reading": () => `${b.wet_tooth ?? 0}–${b.dry_tooth ?? "…"} ${b.unit}${b.reader === "inspector" ? ` · ${choice("reader", "inspector")}` : ""}`,
    aggregate: () => say("brief-bags", { n: b.bags }),
    "detail-length": () => `${choice("detail", b.detail)} ${show(b.length_m, "length", app.units, app.comma)}`,
    "crew-hours": () => `${b.crew} ${b.people} × ${b.hours} ${rule("hours").unit}`,
    delivery: () => `${b.product} ${say("kits-n", { n: b.kits })}`,
    release: () => choice("of", b.of),
  }[row.sent.kind]?.() ?? b.text ?? b.reason ?? b.saw ?? b.shows ?? (b.what && sayOr(`choice.what.${b.what}`, b.what)) ?? (b.cause && choice("cause", b.cause)) ?? "";
  return [place, said].filter(Boolean).join(" · ");
}

export function record(app) {
  const rows = [...app.rows].reverse();
  const bad = rows.filter((r) => r.state === "held" && !r.mended);
  return [
    el("section", { class: "part" }, el("h2", {}, say("state-title")), el("p", { role: "status" }, app.stateWords()),
      app.problem ? el("p", { class: "warn" }, app.problem) : null,
      button(say("try-now"), () => app.sync.nudge()),
      button(say("outbox-file"), () => exportOutbox(app)),
      app.prefs.reader === "inspector" ? el("a", { class: "target", href: "/daily/inspector.zip", download: "" }, say("inspector-copy")) : null),
    bad.length ? el("section", { class: "part held" }, el("h2", {}, say("held-title", { n: bad.length })),
      el("ul", { class: "ruled" }, bad.map((r) => el("li", {}, head(app, r),
        r.faults.map((f) => el("p", { class: "warn" }, `${f.where ? `${sayOr(`label.${f.where}`, f.where)}: ` : ""}${f.what} ${f.do}`)),
        button(say("mend"), () => openForm(app, r.sent.kind, r.sent.body, r)))))) : null,
    el("section", { class: "part" }, el("h2", {}, say("entries-title", { n: rows.length })),
      rows.length ? el("ul", { class: "ruled" }, rows.slice(0, SHOWN).map((r) => el("li", {}, head(app, r), picture(app, r)))) : el("p", {}, say("no-entries"))),
    settings(app),
  ];
}

function head(app, row) {
  const gone = app.folded().gone.has(row.id);
  return el("p", { class: gone ? "gone" : "" },
    el("b", {}, sayOr(`record.kind.${row.sent.kind}`, row.sent.kind)), ` ${brief(app, row)} `,
    el("span", { class: "quiet" }, `${time.said(Date.parse(row.sent.wall), app.zone, app.now(), spoken())} · ${row.sent.person} · ${say(`row.${gone ? "gone" : row.mended ? "mended" : row.state}`)}`));
}

function picture(app, row) {
  const sha = row.sent.body.sha256;
  if (row.sent.kind !== "photo" || !/^[0-9a-f]{64}$/.test(sha)) return null;
  const image = el("img", { class: "thumb", alt: row.sent.body.shows ?? say("record.kind.photo"), loading: "lazy", width: "96", height: "96" });
  store.photo(app.db, sha).then(async (kept) => {
    if (kept?.blob) image.src = URL.createObjectURL(kept.blob);
    else {
      const answer = await fetch(`/api/photos/${sha}/small`, { headers: app.headers() });
      if (answer.ok) image.src = URL.createObjectURL(await answer.blob());
      else image.remove();
    }
  }).catch(() => image.remove()); // without signal the line stands alone
  image.addEventListener("load", () => URL.revokeObjectURL(image.src), { once: true });
  return image;
}

// The last resort: everything not acknowledged, as files to send or carry.
async function exportOutbox(app) {
  const { lines, photos } = await store.outbox(app.db);
  const name = `outbox-${app.doc.job.id}-${time.day(app.now(), app.zone)}.jsonl`;
  const ending = (type) => ({ "image/png": "png", "image/webp": "webp" })[type] ?? "jpg";
  const files = [
    new File([lines], name, { type: "application/jsonl" }),
    ...photos.map((p) => new File([p.blob], `${p.sha}.${ending(p.blob.type)}`, { type: p.blob.type })),
  ];
  if (navigator.canShare?.({ files })) {
    try { await navigator.share({ files }); return; } catch { /* saved as downloads below */ }
  }
  for (const file of files) {
    const link = el("a", { href: URL.createObjectURL(file), download: file.name });
    document.body.append(link);
    link.click();
    link.remove();
  }
}

function settings(app) {
  const field = (id, word, node) => el("div", { class: "labelled" }, el("label", { for: id }, word), node);
  const skew = app.sync.state.skew_ms;
  const pick = (id, pairs, value, set) => {
    const node = el("select", { id, onchange: (e) => set(e.target.value) }, pairs.map(([v, w]) => el("option", { value: v, selected: v === value }, w)));
    return node;
  };
  const gauge = app.gauge();
  const name = el("input", { id: "set-name", type: "text", autocomplete: "name", maxlength: "200", value: app.person ?? "", onchange: (e) => app.setPerson(e.target.value.trim()) });
  const gaugeName = el("input", { id: "set-gauge", type: "text", autocomplete: "off", maxlength: "200", value: gauge.name });
  const teeth = el("input", { id: "set-teeth", type: "text", inputmode: "numeric", autocomplete: "off", value: gauge.teeth.join(" ") });
  const told = el("p", { class: "fault", role: "alert", hidden: true });
  const keep = () => {
    const list = teeth.value.split(/[\s;]+/).filter(Boolean).map(typed);
    const rising = list.length > 1 && list.every((t, i) => t > 0 && (i === 0 || t > list[i - 1]));
    told.hidden = rising;
    told.textContent = rising ? "" : say("fault.teeth");
    if (rising) app.setPref("gauge", { name: gaugeName.value.trim() || "1", unit: gauge.unit, teeth: list });
  };
  gaugeName.addEventListener("change", keep);
  teeth.addEventListener("change", keep);
  return el("section", { class: "part" }, el("h2", {}, say("phone-title")),
    field("set-name", say("your-name"), name),
    field("set-lang", say("language"), pick("set-lang", languages(), spoken(), (v) => app.setPref("lang", v))),
    field("set-units", say("units"), pick("set-units", [["us", say("units-us")], ["si", say("units-si")]], app.units, (v) => app.setPref("units", v))),
    field("set-ground", say("ground"), pick("set-ground", [["system", say("ground-system")], ["day", say("ground-day")], ["night", say("ground-night")]], app.prefs.ground ?? "system", (v) => app.setPref("ground", v))),
    field("set-reader", say("label.reader"), pick("set-reader", [["crew", choice("reader", "crew")], ["inspector", choice("reader", "inspector")]], app.prefs.reader ?? "crew", (v) => app.setPref("reader", v))),
    field("set-feet", say("label.feet"), pick("set-feet", [["peaks", choice("feet", "peaks")], ["valleys", choice("feet", "valleys")]], app.prefs.feet ?? "peaks", (v) => app.setPref("feet", v))),
    field("set-gauge", say("gauge-name"), gaugeName),
    field("set-gauge-unit", say("label.unit"), pick("set-gauge-unit", [["mil", "mil"], ["um", "µm"]], gauge.unit, (v) => app.setPref("gauge", { name: gauge.name, unit: v, teeth: app.doc.teeth[v] }))),
    field("set-teeth", say("gauge-teeth"), teeth), told,
    instruments(app),
    el("p", { class: Math.abs(skew) > SKEW_TOLD_MS ? "warn" : "note" }, skewWords(app)),
    el("p", { class: "note" }, say("device-line", { device: app.device ?? "–", zone: app.zone })),
    app.doc.lacks.length ? el("p", { class: "note" }, say("doc-lacks", { files: app.doc.lacks.join(", ") })) : null,
    el("p", { class: "note" }, say("doc-line", { job: app.doc.job.name, built: app.doc.built_at || app.doc.as_of || "–" }), app.doc.job.invented ? ` ${say("invented")}` : ""));
}

export function skewWords(app) {
  const skew = app.sync.state.skew_ms;
  if (!app.sync.state.reached_ms) return say("skew-unknown");
  if (Math.abs(skew) <= SKEW_TOLD_MS) return say("skew-fine");
  return say(skew > 0 ? "skew-ahead" : "skew-behind", { span: time.span(Math.abs(skew)) });
}

// Instruments with the date of their last check and the next.
function instruments(app) {
  const checks = [...app.folded().checks.values()];
  if (!checks.length) return el("p", { class: "note" }, say("no-checks"));
  return el("div", {}, el("h3", {}, say("instruments")), el("ul", { class: "ruled" }, checks.map((r) => {
    const b = r.sent.body;
    const over = b.due && b.due < time.day(app.now(), app.zone);
    return el("li", {}, `${b.instrument} · ${say(b.passed ? "check-passed" : "check-failed")} ${r.sent.wall.slice(0, 10)}`,
      b.due ? el(over ? "b" : "span", {}, ` ${say(over ? "check-over" : "check-due", { due: b.due })}`) : "");
  })));
}
