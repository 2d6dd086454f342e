// The line under the kinds: build-up, sizes and way of drawing; and the length of a measured line.

import { choice, fill, h } from "./trace-dom.js";
import { KINDS, itemOf, rescaled } from "./trace-model.js";
import { ask } from "./trace-store.js";
import { length, size } from "./trace-units.js";

// practice: width classes of cracks, and usual sizes to start from. [m]
const START = {
  us: { crack: 0.0015875, cracks: [0.000254, 0.0015875, 0.003175, 0.00635], joint: [0.0127, 0.0127], upturn: 0.1016, column: 0.6096 },
  si: { crack: 0.0015, cracks: [0.0003, 0.0015, 0.003, 0.006], joint: [0.012, 0.012], upturn: 0.1, column: 0.6 },
};

export function makeOptions(app, box) {
  const { words: say, taste } = app;
  const usual = START[taste.units];
  const set = {
    build_up: app.build_ups[0]?.id ?? "", zone: "outline", column: "stamp", opening: "outline", stall: "box",
    crack: usual.crack, joint_w: usual.joint[0], joint_d: usual.joint[1], upturn: usual.upturn, column_size: usual.column,
  };
  const place = { crack_width: "crack" }; // a field that shares a size with a list
  let open = ""; // a length being typed along a line
  let refused = "";

  const forms = (kind, ways) => choice("way", ways.map((w) => [w, say(`way.${w}`)]), set[kind], (v) => {
    set[kind] = v;
    app.about = about(kind);
    show();
    app.render();
  }, { "aria-label": say("way") });

  // A size typed as people write it; the server reads it, as it reads the job's documents.
  const sized = (name, label) => h("label", { class: "sized" }, h("span", {}, label), h("input", {
    type: "text", name, value: size(set[place[name] ?? name], taste.units).replaceAll("\u00a0", " "), size: 7, autocomplete: "off",
    onchange: async (e) => {
      try {
        const found = await ask("/trace/length", { method: "POST", body: { text: e.target.value }, taste });
        if (!(found.length_m > 0)) throw Object.assign(new Error(), { faults: [{ what: say("above-nothing"), do: "" }] });
        set[place[name] ?? name] = found.length_m;
        refused = "";
        app.about = about(app.tool);
      } catch (fault) {
        refused = fault.faults?.map((f) => `${f.what} ${f.do}`).join(" ") || say("offline");
      }
      show();
      app.render();
    },
  }));

  const rows = {
    scale() {
      const points = app.draft?.points ?? [];
      if (points.length < 2) return [];
      return [h("form", { class: "measure", onsubmit: (e) => { e.preventDefault(); setLength(e.target.elements.measured.value); } },
        h("label", { class: "sized" }, h("span", {}, say("measured")), h("input", { type: "text", name: "measured", size: 12, autocomplete: "off", placeholder: taste.units === "us" ? "120 ft 6 in" : "36,75 m" })),
        h("button", { type: "submit", class: "act" }, say(app.doc.calibration.length ? "check-scale" : "set-scale")))];
    },
    zone: () => [
      choice("build_up", [...app.build_ups.map((b) => [b.id, `${b.id} · ${b.name}`]), ...(app.build_ups.length ? [] : [["", say("no-build-ups")]])], set.build_up, (v) => { set.build_up = v; app.render(); }, { "aria-label": say("build-up") }),
      forms("zone", ["outline", "box"]),
    ],
    column: () => [forms("column", ["stamp", "outline", "box"]), set.column === "stamp" ? sized("column_size", say("side")) : null],
    opening: () => [forms("opening", ["outline", "box"])],
    stall: () => [forms("stall", ["box", "outline"])],
    crack: () => {
      const known = usual.cracks.includes(set.crack) && !set.other;
      return [
        choice("crack", [...usual.cracks.map((w) => [String(w), size(w, taste.units)]), ["other", say("other")]], known ? String(set.crack) : "other", (v) => {
          set.other = v === "other";
          if (!set.other) set.crack = Number(v);
          show();
        }, { "aria-label": say("width") }),
        known ? null : sized("crack_width", say("width")),
      ];
    },
    joint: () => [sized("joint_w", say("width")), sized("joint_d", say("depth"))],
    upturn: () => [sized("upturn", say("height"))],
  };

  function show() {
    const along = app.draft && app.tool && app.tool !== "scale" && KINDS[app.tool].form !== "point" && !app.about.box;
    fill(box,
      ...(rows[app.tool]?.() ?? []),
      along ? h("form", { class: "measure", onsubmit: (e) => { e.preventDefault(); placeTyped(e.target.elements.along.value); } },
        h("label", { class: "sized" }, h("span", {}, say("along")), h("input", { type: "text", name: "along", size: 9, value: open, autocomplete: "off" })),
        h("button", { type: "submit", class: "act" }, say("place"))) : null,
      refused ? h("p", { class: "warn", role: "alert" }, refused) : null,
      h("label", { class: "check" }, h("input", { type: "checkbox", name: "snap", checked: app.snapping, onchange: (e) => { app.snapping = e.target.checked; } }), h("span", {}, say("snap"))));
  }

  // A digit on the board opens the field for a typed length.
  function typed(text) {
    open = text;
    show();
    open = "";
    const input = box.querySelector("[name=along]");
    if (!input) return false;
    input.focus();
    input.setSelectionRange(text.length, text.length);
    return true;
  }
  async function placeTyped(text) {
    try {
      const found = await ask("/trace/length", { method: "POST", body: { text }, taste });
      refused = app.placeAlong(found.length_m) ? "" : say("no-direction");
    } catch (fault) {
      refused = fault.faults?.map((f) => `${f.what} ${f.do}`).join(" ") || say("offline");
    }
    show();
    if (!refused) app.board.focus({ preventScroll: true });
  }

  const toDrawing = ([x, y]) => {
    const [sx, sy] = app.doc.scale ?? [1, 1];
    const [ox, oy] = app.offset ?? [0, 0];
    return [(x + ox) / sx, (y + oy) / sy].map((v) => Math.round(v * 1e6) / 1e6);
  };
  function askLength() {
    refused = "";
    show();
    box.querySelector("[name=measured]")?.focus();
  }
  // The length between two points of the drawing: the first gives the scale, a second checks it.
  async function setLength(text) {
    const [a, b] = app.draft?.points ?? [];
    if (!b) return;
    const measured = { start: toDrawing(a), end: toDrawing(b), length: text.trim() };
    await rescale([...app.doc.calibration, measured], app.doc.stretched);
    if (!refused) {
      app.use("zone");
      app.board.focus({ preventScroll: true });
    }
  }
  async function rescale(lengths, stretched) {
    refused = "";
    try {
      if (lengths.length > 2) throw Object.assign(new Error(), { faults: [{ what: say("two-lengths"), do: "" }] });
      const found = await ask("/trace/scale", { method: "POST", body: { lengths, stretched, file: app.doc.drawing ?? "" }, taste });
      app.scaleSaid = found;
      app.step({ doc: { ...rescaled(app.doc, found.scale_m), calibration: lengths, stretched }, draft: null });
    } catch (fault) {
      refused = fault.faults?.map((f) => `${f.what} ${f.do}`).join(" ") || say("offline");
    }
    show();
    app.render();
  }

  function about(tool) {
    return {
      box: set[tool] === "box",
      stamp: tool === "column" && set.column === "stamp" ? { wide: set.column_size, deep: set.column_size } : null,
    };
  }
  function values(tool) {
    if (tool === "zone") {
      const b = app.build_ups.find((x) => x.id === set.build_up);
      const like = app.doc.items.filter((x) => x.kind === "zone" && x.build_up === set.build_up).at(-1);
      return { build_up: set.build_up, duty: like?.duty ?? b?.duties[0] ?? "light", exposure: like?.exposure ?? b?.exposures[0] ?? "open-sky", slope: like?.slope ?? null };
    }
    if (tool === "crack") return { width_m: set.crack };
    if (tool === "joint") return { width_m: set.joint_w, depth_m: set.joint_d };
    if (tool === "upturn") return { height_m: set.upturn };
    return {};
  }

  // What to do next, in one line.
  function hint() {
    const n = app.draft?.points.length ?? 0;
    const kind = app.tool ? say(`kind.${app.tool}`) : "";
    if (!app.tool) {
      const item = app.chosen && itemOf(app.doc, app.chosen);
      if (item) return say(item.from === "traced" ? (app.corner ? "hint.corner" : "hint.item") : "hint.drawn");
      return app.doc.items.length ? say("hint.choose") : say("hint.empty");
    }
    if (app.tool === "scale") {
      if (n === 2) return say("hint.length");
      if (n === 1) return say("hint.second");
      return say(app.doc.calibration.length ? "hint.check" : "hint.scale");
    }
    const { form } = KINDS[app.tool];
    if (form === "point" || app.about.stamp) return say("hint.point", { kind });
    if (app.about.box) return say(n ? "hint.box-2" : "hint.box-1", { kind });
    if (!n) return say("hint.first", { kind });
    return say(form === "area" ? (n > 2 ? "hint.close" : "hint.next") : "hint.line", { kind });
  }
  const lengths = () => {
    if (app.tool !== "scale") return [];
    const [sx, sy] = app.doc.scale ?? [1, 1];
    const [ox, oy] = app.offset ?? [0, 0];
    const out = ([x, y]) => [x * sx - ox, y * sy - oy];
    return app.doc.calibration.map((c) => ({ start: out(c.start), end: out(c.end), text: c.length }));
  };
  return {
    show, typed, askLength, rescale, about, values, hint, lengths,
    zoned: (id) => { app.last = id; },
    said: (m) => length(m, taste.units),
  };
}
