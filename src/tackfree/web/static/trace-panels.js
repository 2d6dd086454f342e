// The lines beside the drawing: takeoff, the chosen item, all items, the deck, former states.

import { choice, field, fill, h } from "./trace-dom.js";
import { areaOf, lengthOf } from "./trace-geometry.js";
import { KINDS, docOf, itemOf, patched, takenOver } from "./trace-model.js";
import { ask, dropDraft } from "./trace-store.js";
import { area, length, size } from "./trace-units.js";

const DUTIES = ["pedestrian", "light", "heavy", "extra-heavy"];
const EXPOSURES = ["open-sky", "covered", "over-occupied", "enclosed", "on-grade", "split-slab"];

export function makePanels(app) {
  const { words: say, taste } = app;
  const out = (id) => document.querySelector(`#${id} .out`);
  const news = document.querySelector("#news");
  let shown = {};

  const button = (text, act, more = {}) => h("button", { type: "button", class: "act", onclick: act, ...more }, text);
  const sizesOf = (x) => [x.width_m, x.depth_m, x.height_m].filter(Boolean).map((v) => size(v, taste.units)).join(" × ");
  const amountOf = (x) => {
    if (!x.paths.length) return "–";
    if (x.form === "area") return area(areaOf(x.paths, x.groups), taste.units);
    if (x.form === "line") return length(x.paths.reduce((s, p) => s + lengthOf(p), 0), taste.units);
    return x.count > 1 ? `×${x.count}` : "";
  };

  // ---- takeoff -----------------------------------------------------------------------

  function takeoff() {
    const v = app.verdict;
    if (!v) return fill(out("takeoff"), h("p", { class: "note" }, say("no-takeoff")));
    const faults = [...v.faults];
    const parts = [];
    if (!app.online) parts.push(h("p", { class: "warn" }, say("offline")));
    if (faults.length) parts.push(h("ul", { class: "plain faults" }, faults.map((f) => h("li", {}, h("b", {}, f.where), `: ${f.what} ${f.do}`))));
    if (v.total) parts.push(h("p", { class: "total", "data-saved": app.doc === app.saved ? "yes" : "no" }, `${say("total")} `, h("b", { class: "n", id: "total" }, v.total), ` ${say(app.doc === app.saved ? "is-saved" : "not-saved")}`));
    const zones = [...new Set(v.rows.map((r) => r.zone))];
    if (zones.length) {
      parts.push(h("table", { class: "takeoff" },
        h("thead", {}, h("tr", {}, [["item"], ["quantity"], ["basis"]].map(([c]) => h("th", { scope: "col" }, say(c))))),
        zones.map((z) => h("tbody", { "data-zone": z },
          h("tr", {}, h("th", { scope: "rowgroup", colspan: 3 }, z, h("span", { class: "quiet" }, ` ${v.rows.find((r) => r.zone === z).build_up}`))),
          v.rows.filter((r) => r.zone === z).map((r) => h("tr", { "data-item": r.key, "data-value": r.value, class: r.key === "field" ? "strong" : null },
            h("th", { scope: "row" }, r.item), h("td", { class: "n" }, r.amount), h("td", {}, r.basis)))))));
    }
    for (const n of v.notes) parts.push(h("p", { class: "note" }, n));
    fill(out("takeoff"), parts);
  }

  // ---- the chosen item ---------------------------------------------------------------

  function one() {
    const item = app.chosen && itemOf(app.doc, app.chosen);
    document.querySelector("#one").hidden = !item;
    if (!item) return;
    const set = (values) => app.step({ doc: patched(app.doc, item.id, values) });
    const parts = [h("p", { class: "about" }, h("b", {}, item.id), ` ${say(`kind.${item.kind}`)} `, h("span", { class: "quiet n" }, amountOf(item)))];
    if (item.from !== "traced" && item.kind !== "zone") {
      parts.push(h("p", { class: "note" }, say("drawn-there")), button(say("take-over-kind", { kind: say(`kind.${item.kind}`) }), () => app.step({ doc: takenOver(app.doc, item.id) })));
      return fill(out("one"), parts);
    }
    if (item.from !== "traced") parts.push(h("p", { class: "note" }, say(item.from === "tape" ? "taped-there" : "drawn-there")), button(say("take-over"), () => app.step({ doc: takenOver(app.doc, item.id) })));
    if (item.kind === "zone") parts.push(...zoneFields(item, set));
    for (const key of KINDS[item.kind]?.needs ?? []) parts.push(sizeField(item, key, set));
    if (item.form === "point") parts.push(field(say("count"), h("input", { type: "number", name: "count", min: 1, max: 10000, value: item.count ?? 1, onchange: (e) => { const n = Math.round(Number(e.target.value)); if (n >= 1 && n <= 10000) set({ count: n }); } })));
    if (item.kind === "stall") parts.push(field(say("stall-label"), h("input", { type: "text", name: "label", maxlength: 20, value: item.label ?? "", onchange: (e) => set({ label: e.target.value.trim() }) })));
    if (item.from === "traced") {
      parts.push(h("p", { class: "buttons" },
        app.corner && item.form !== "point" ? button(say("insert"), app.insert) : null,
        app.corner && item.form !== "point" ? button(say("remove-corner"), app.remove) : null,
        button(say("remove"), () => { app.corner = null; app.remove(); })));
    }
    fill(out("one"), parts);
  }

  function zoneFields(z, set) {
    const fit = app.build_ups.find((b) => b.id === z.build_up);
    const odd = fit && !(fit.duties.includes(z.duty) && fit.exposures.includes(z.exposure));
    const take = (id) => {
      const b = app.build_ups.find((x) => x.id === id);
      set({
        build_up: id,
        duty: b && !b.duties.includes(z.duty) ? b.duties[0] : z.duty,
        exposure: b && !b.exposures.includes(z.exposure) ? b.exposures[0] : z.exposure,
      });
    };
    const known = app.build_ups.map((b) => [b.id, `${b.id} · ${b.name}`]);
    const slope = (i) => h("input", {
      type: "text", name: `slope-${i}`, size: 6, value: z.slope?.[i] ?? "", placeholder: "0 %",
      onchange: (e) => {
        const next = [...(z.slope ?? ["0 %", "0 %"])];
        next[i] = e.target.value.trim() || "0 %";
        set({ slope: next.every((s) => s === "0 %") ? null : next });
      },
    });
    return [
      field(say("zone-name"), h("input", { type: "text", name: "name", maxlength: 80, value: z.name, onchange: (e) => e.target.value.trim() && set({ name: e.target.value.trim() }) })),
      field(say("build-up"), choice("build_up", fit ? known : [[z.build_up, z.build_up || "–"], ...known], z.build_up, take)),
      field(say("duty"), choice("duty", DUTIES.map((d) => [d, say(`duty.${d}`)]), z.duty, (duty) => set({ duty }))),
      field(say("exposure"), choice("exposure", EXPOSURES.map((d) => [d, say(`exposure.${d}`)]), z.exposure, (exposure) => set({ exposure }))),
      odd ? h("p", { class: "warn" }, say("does-not-fit", { build_up: z.build_up })) : null,
      ...(z.made_as ? [h("p", { class: "note" }, say("made-as", { form: z.made_as }))] : [field(say("slope-x"), slope(0)), field(say("slope-y"), slope(1))]),
    ];
  }

  const NAMES = { width_m: "width", depth_m: "depth", height_m: "height" };
  function sizeField(item, key, set) {
    return field(say(NAMES[key]), h("input", {
      type: "text", name: key, size: 8, autocomplete: "off", value: item[key] ? size(item[key], taste.units).replaceAll("\u00a0", " ") : "",
      onchange: async (e) => {
        try {
          const found = await ask("/trace/length", { method: "POST", body: { text: e.target.value }, taste });
          if (found.length_m > 0) set({ [key]: found.length_m });
        } catch (fault) {
          refused(fault);
        }
      },
    }));
  }

  // ---- all items, by kind ------------------------------------------------------------

  function list() {
    const kinds = ["zone", ...new Set(app.doc.items.map((x) => x.kind).filter((k) => k !== "zone"))];
    const row = (x) => h("li", {}, h("button", { type: "button", class: "row", "aria-pressed": String(x.id === app.chosen), "data-id": x.id, onclick: () => { app.choose(x.id); app.board.focus({ preventScroll: true }); } },
      h("span", {}, x.kind === "zone" ? x.name : x.id, h("span", { class: "quiet" }, ` ${x.kind === "zone" ? x.build_up : sizesOf(x)}${x.from !== "traced" ? ` · ${say("from-drawing")}` : ""}`)),
      h("span", { class: "n" }, amountOf(x))));
    fill(out("parts"), app.doc.items.length ? kinds.map((k) => {
      const all = app.doc.items.filter((x) => x.kind === k);
      if (!all.length) return null;
      const rows = h("ul", { class: "rows" }, all.map(row));
      if (k === "zone" || all.length < 4) return rows;
      return h("details", { open: all.some((x) => x.id === app.chosen) }, h("summary", {}, `${say(`kind.${k}`)} × ${all.length}`), rows);
    }) : h("p", { class: "note" }, say("hint.empty")));
  }

  // ---- the deck ----------------------------------------------------------------------

  function facts() {
    const d = app.doc;
    const off = app.scaleSaid?.off_percent;
    const differ = d.calibration.length === 2 && off !== null && off !== undefined;
    fill(out("facts"),
      field(say("deck-name"), h("input", { type: "text", name: "deck-name", maxlength: 80, value: d.name, onchange: (e) => e.target.value.trim() && app.step({ doc: { ...d, name: e.target.value.trim() } }) })),
      field(say("tendons"), choice("tendons", ["unknown", "no", "yes"].map((v) => [v, say(`tendons.${v}`)]), d.post_tensioned, (v) => app.step({ doc: { ...d, post_tensioned: v } }))),
      h("h3", {}, say("scale")),
      h("p", { class: "note" }, d.drawing ? `${d.drawing}${d.page > 1 ? `, ${say("page")} ${d.page}` : ""}` : say("no-drawing")),
      ...(d.calibration.length ? [h("ol", { class: "plain" }, d.calibration.map((c, i) => h("li", {}, `${say(i ? "checked-by" : "set-by")} `, h("b", { class: "n" }, c.length))))] : []),
      d.drawing && !d.scale ? h("p", { class: "warn" }, say("no-scale")) : null,
      differ ? h("p", { id: "off", class: app.scaleSaid.agrees ? "note" : "warn", "data-percent": off }, say(app.scaleSaid.agrees ? "agrees" : "differs", { percent: Math.abs(off).toFixed(2), most: app.scaleSaid.off_most_percent })) : null,
      differ && (!app.scaleSaid.agrees || d.stretched) ? h("label", { class: "check" }, h("input", { type: "checkbox", name: "stretched", checked: d.stretched, onchange: (e) => app.options.rescale(d.calibration, e.target.checked) }), h("span", {}, say("use-both"))) : null,
      d.calibration.length ? h("p", { class: "buttons" }, button(say("measure-anew"), () => { app.scaleSaid = null; app.step({ doc: { ...d, calibration: [], stretched: false } }); app.use("scale"); })) : null,
      app.base ? h("p", { class: "buttons" }, button(say("put-away"), putAway)) : null);
  }
  async function putAway() {
    if (!confirm(say("put-away-ask", { deck: app.doc.id }))) return;
    try {
      await ask(`/trace/deck/${app.doc.id}?base=${app.base}`, { method: "DELETE" });
      dropDraft(app.job, app.doc.id);
      location.assign("/trace");
    } catch (fault) {
      refused(fault);
    }
  }

  // ---- former states -----------------------------------------------------------------

  async function formers() {
    const found = await ask(`/trace/former/${app.doc.id}`, {}).catch(() => []);
    fill(out("formers"), found.length ? h("ul", { class: "rows" }, found.slice(0, 12).map((f) => h("li", {},
      h("button", { type: "button", class: "row", onclick: () => look(f.number) },
        h("span", {}, say("revision", { number: f.number }), h("span", { class: "quiet" }, ` ${f.made.slice(0, 16).replace("T", " ")} UTC`)),
        h("span", { class: "n" }, say("zones-n", { zones: f.zones })))))) : h("p", { class: "note" }, say("no-formers")));
  }
  async function look(number) {
    try {
      const state = await ask(`/trace/former/${app.doc.id}/${number}`, { taste });
      const doc = docOf(state);
      app.step({ doc: { ...doc, scale: doc.scale ?? app.doc.scale }, draft: null });
      tell("looking", say("looking", { number }));
    } catch (fault) {
      refused(fault);
    }
  }

  // ---- news --------------------------------------------------------------------------

  function tell(kind, text, ...more) {
    news.hidden = false;
    news.dataset.kind = kind;
    fill(news, h("p", { class: kind === "saved" ? "note" : "warn" }, text), more.length ? h("p", { class: "buttons" }, more) : null);
  }
  function refused(fault) {
    if (fault.status === 0 || !fault.faults) return tell("offline", say("offline-save"));
    const text = fault.faults.map((f) => `${f.where}: ${f.what} ${f.do}`).join(" ");
    if (fault.status === 409) {
      tell("changed", text,
        button(say("open-saved"), () => { dropDraft(app.job, app.doc.id); location.reload(); }),
        button(say("save-over"), () => { news.hidden = true; app.save(true); }));
    } else tell("refused", text);
    news.scrollIntoView({ block: "nearest" });
  }
  function restored(kept, base) {
    const at = new Date(kept.at).toLocaleString(taste.lang);
    tell("restored", say(kept.base === base ? "restored" : "restored-changed", { at }),
      button(say("discard"), () => { dropDraft(app.job, app.doc.id); location.reload(); }));
  }

  function show() {
    const now = { doc: app.doc, chosen: app.chosen, corner: app.corner, saved: app.saved, off: app.scaleSaid };
    if (Object.keys(now).every((k) => now[k] === shown[k])) return;
    if (now.saved !== shown.saved) takeoff();
    shown = now;
    one();
    list();
    facts();
  }
  if (app.faults.length) tell("faults", app.faults.map((f) => `${f.where}: ${f.what} ${f.do}`).join(" "));
  return { show, takeoff, formers, news: tell, refused, restored };
}
