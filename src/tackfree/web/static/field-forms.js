// Forms from one description of kinds: inputs for a gloved thumb, and all faults at once.

import { el } from "/static/field-dom.js";
import * as time from "/static/field-time.js";
import { fromSi, rule, show, toSi, typed } from "/static/field-units.js";
import { say, sayOr } from "/static/field-words.js";

const label = (kind, name) => sayOr(`label-of.${kind}.${name}`, sayOr(`label.${name}`, name));
export const choice = (name, value) => sayOr(`choice.${name}.${value}`, sayOr(`choice.${value}`, value));
export const coatWord = (id) => sayOr(`step.${id}`, id);

const chips = (name, pairs, value, labelledby) =>
  el("div", { class: "chips", role: "radiogroup", "aria-labelledby": labelledby },
    pairs.map(([v, word]) => el("label", { class: "chip" },
      el("input", { type: "radio", name, value: v, checked: v === value }), el("span", {}, word))));
const picked = (node, name) => node.querySelector(`input[name="${name}"]:checked`)?.value;
const select = (id, pairs, value) => {
  const node = el("select", { id }, el("option", { value: "" }, "–"), pairs.map(([v, w]) => el("option", { value: v }, w)));
  node.value = value ?? "";
  if (node.selectedIndex < 0) { // a value of an older job stays as it was typed
    node.append(el("option", { value }, value));
    node.value = value;
  }
  return node;
};

// The inputs of one ask: {node, read() -> value | undefined, fault id or null through `bad`}.
const MAKERS = {
  number(ask, id, value, ctx) {
    const { unit } = rule(ask.of, ctx.units);
    const input = el("input", {
      id, type: "text", inputmode: "decimal", autocomplete: "off", class: "number",
      value: value === undefined ? "" : fromSi(value, ask.of, ctx.units),
      "aria-describedby": unit ? `${id}-unit` : undefined,
    });
    return {
      node: [input, unit && el("span", { class: "unit", id: `${id}-unit` }, unit)],
      read(bad) {
        if (!input.value.trim()) return undefined;
        const number = typed(input.value);
        if (!Number.isFinite(number)) return bad("not-number");
        return toSi(number, ask.of, ctx.units);
      },
    };
  },
  whole(ask, id, value) {
    const input = el("input", { id, type: "text", inputmode: "numeric", autocomplete: "off", class: "number", value: value ?? "" });
    return {
      node: input,
      read(bad) {
        if (!input.value.trim()) return undefined;
        const number = typed(input.value);
        return Number.isInteger(number) ? number : bad("not-whole");
      },
    };
  },
  words(ask, id, value) {
    const input = el("input", { id, type: "text", autocomplete: "off", maxlength: "200", value: value ?? "" });
    return { node: input, read: () => input.value.trim() || undefined };
  },
  text(ask, id, value) {
    const input = el("textarea", { id, rows: "3", maxlength: "4000", value: value ?? "" });
    return { node: input, read: () => input.value.trim() || undefined };
  },
  choice(ask, id, value, ctx) {
    const pairs = ask.choices.map((c) => [c, choice(ask.name, c)]);
    if (pairs.length <= 4) {
      const node = chips(id, pairs, value, `${id}-label`);
      return { node, read: () => picked(node, id) };
    }
    const node = select(id, pairs, value);
    return { node, read: () => node.value || undefined };
  },
  "yes-no"(ask, id, value) {
    const node = chips(id, [["yes", say("yes")], ["no", say("no")], ["", say("not-said")]],
      value === true ? "yes" : value === false ? "no" : "", `${id}-label`);
    return { node, read: () => ({ yes: true, no: false })[picked(node, id)] };
  },
  when(ask, id, value, ctx) {
    const first = value ? time.local(Date.parse(value), ctx.zone) : ask.needed ? time.local(ctx.now(), ctx.zone) : "";
    const input = el("input", { id, type: "datetime-local", value: first });
    return {
      node: input,
      read: () => (input.value ? time.wall(time.moment(input.value, ctx.zone), ctx.zone) : undefined),
    };
  },
  day(ask, id, value) {
    const input = el("input", { id, type: "date", value: value ?? "" });
    return { node: input, read: () => input.value || undefined };
  },
  section(ask, id, value, ctx) {
    const node = select(id, ctx.doc.sections.map((s) => [s.id, s.id]), value);
    return { node, read: () => node.value || undefined };
  },
  sections(ask, id, value, ctx) {
    const node = el("div", { class: "chips many", role: "group", "aria-labelledby": `${id}-label` },
      ctx.doc.sections.map((s) => el("label", { class: "chip" },
        el("input", { type: "checkbox", value: s.id, checked: value?.includes(s.id) }), el("span", {}, s.id))));
    return {
      node: el("details", {}, el("summary", {}, say("choose-sections")), node),
      read() {
        const found = [...node.querySelectorAll("input:checked")].map((i) => i.value);
        return found.length ? found : undefined;
      },
    };
  },
  coat(ask, id, value, ctx) {
    const ids = [...new Set(ctx.doc.sections.flatMap((s) => s.coats.map((c) => c.id)))];
    const node = select(id, ids.map((c) => [c, coatWord(c)]), value);
    return { node, read: () => node.value || undefined };
  },
  step(ask, id, value, ctx) {
    const ids = [...new Set(ctx.doc.sections.flatMap((s) => [...s.steps.map((p) => p.step), ...s.coats.map((c) => c.id)]))];
    const node = select(id, ids.map((c) => [c, coatWord(c)]), value);
    return { node, read: () => node.value || undefined };
  },
  product(ask, id, value, ctx) {
    const ids = Object.keys(ctx.doc.products);
    if (!ids.length) return MAKERS.words(ask, id, value, ctx);
    const node = select(id, ids.map((p) => [p, `${p} · ${ctx.doc.products[p].name}`]), value);
    return { node, read: () => node.value || undefined };
  },
  crew(ask, id, value, ctx) {
    if (!ctx.doc.crews.length) return MAKERS.words(ask, id, value, ctx);
    const node = select(id, ctx.doc.crews.map((c) => [c, c]), value);
    return { node, read: () => node.value || undefined };
  },
  entry(ask, id, value, ctx) {
    const rows = ctx.rows().filter((r) => r.sent.kind === ask.of).slice(-60).reverse();
    const node = select(id, rows.map((r) => [r.id, `${r.sent.wall.slice(5, 16).replace("T", " ")} · ${ctx.brief(r)}`]), value);
    return { node, read: () => node.value || undefined };
  },
  lots(ask, id, value, ctx) {
    const parts = ctx.product?.kit?.parts.map((p) => p.name) ?? value?.map((p) => p.name) ?? ["A", "B"];
    const inputs = parts.map((name) => [name, el("input", {
      type: "text", autocomplete: "off", maxlength: "200", "aria-label": say("lot-of", { part: name }),
      value: value?.find((p) => p.name === name)?.lot ?? "",
    })]);
    return {
      node: el("div", { class: "lots" }, inputs.map(([name, input]) => el("label", {}, el("span", {}, say("lot-of", { part: name })), input))),
      read() {
        const found = inputs.filter(([, i]) => i.value.trim()).map(([name, i]) => ({ name, lot: i.value.trim() }));
        return found.length ? found : undefined;
      },
    };
  },
  "part-lots"(ask, id, value) {
    const list = el("div", { class: "part-lots" });
    const line = (part = {}) => list.append(el("fieldset", { class: "part-lot" },
      el("legend", {}, say("part-lot")),
      [["part", "words", part.part ?? ""], ["lot", "words", part.lot ?? ""], ["count", "whole", part.count ?? ""], ["damaged", "whole", part.damaged ?? ""]]
        .map(([name, , v]) => el("label", {}, el("span", {}, say(`label.${name}`)),
          el("input", { name, type: "text", inputmode: name === "count" || name === "damaged" ? "numeric" : "text", autocomplete: "off", value: String(v) })))));
    if (value?.length) value.forEach(line); else line({ part: "A" });
    return {
      node: [list, el("button", { type: "button", class: "big", onclick: () => line() }, say("one-more-part"))],
      read(bad) {
        const found = [];
        for (const set of list.children) {
          const [part, lot, count, damaged] = ["part", "lot", "count", "damaged"].map((n) => set.querySelector(`[name=${n}]`).value.trim());
          if (!lot && !count) continue;
          if (!lot || !part || !Number.isInteger(typed(count)) || (damaged && !Number.isInteger(typed(damaged)))) return bad("part-lot");
          found.push({ part, lot, count: typed(count), damaged: damaged ? typed(damaged) : 0 });
        }
        return found.length ? found : undefined;
      },
    };
  },
  photo(ask, id, value, ctx) {
    const input = el("input", { id, type: "file", accept: "image/*", capture: "environment" });
    const shown = el("p", { class: "note", role: "status" }, value ? say("photo-kept") : "");
    const kept = { sha: value };
    input.addEventListener("change", async () => {
      if (!input.files.length) return;
      shown.textContent = say("photo-working");
      const photo = await ctx.shrink(input.files[0]);
      ctx.photos.set(photo.sha, photo);
      kept.sha = photo.sha;
      shown.textContent = say("photo-ready", { kb: Math.round(photo.blob.size / 1024) });
      shown.dispatchEvent(new Event("input", { bubbles: true })); // the draft takes it along
    });
    return { node: [input, shown], read: () => kept.sha };
  },
};

// Whether a number is beyond what its kind allows: said here, before a server has to.
function outside(ask, value, ctx) {
  const word = (limit) => (ask.of ? show(limit, ask.of, ctx.units, ctx.comma) : String(limit));
  if (value < ask.least) return ["under", { limit: word(ask.least) }];
  if (value <= ask.above) return ["not-above", { limit: word(ask.above) }];
  if (value > ask.most) return ["over", { limit: word(ask.most) }];
  if (value >= ask.below) return ["not-below", { limit: word(ask.below) }];
  return [null, {}];
}

// A whole form. `initial` is a body in SI; keys it has and the form does not are kept.
// {node, read() -> {body} or null with the faults shown}
export function makeForm(form, ctx, initial = {}) {
  const lines = [];
  const summary = el("div", { class: "faults", role: "alert", tabindex: "-1", hidden: true });
  const rows = form.asks.map((ask) => {
    const id = `f-${form.kind}-${ask.name}`;
    const made = (MAKERS[ask.takes] ?? MAKERS.words)(ask, id, initial[ask.name], ctx);
    const word = label(form.kind, ask.name);
    const grouped = ["yes-no", "sections", "lots", "part-lots"].includes(ask.takes) || (ask.takes === "choice" && ask.choices.length <= 4);
    const head = el(grouped ? "p" : "label", { id: `${id}-label`, for: grouped ? undefined : id, class: "ask" },
      word, !ask.needed && el("span", { class: "quiet" }, ` ${say("optional")}`));
    const told = el("p", { class: "fault", id: `${id}-fault`, hidden: true });
    const row = el("div", { class: `row ${ask.takes}` }, head, el("div", { class: "input" }, made.node), told);
    lines.push({ ask, made, row, told, word, id });
    return row;
  });
  const extra = attach(ctx, initial.photos ?? [], form);
  const node = el("form", { class: "asked", novalidate: true, onsubmit: (e) => e.preventDefault() }, summary, rows, extra.node);

  function read() {
    const known = new Set(form.asks.map((a) => a.name));
    const body = Object.fromEntries(Object.entries(initial).filter(([k]) => !known.has(k) && k !== "photos"));
    const faults = [];
    for (const { ask, made, row, told, word, id } of lines) {
      let fault = null, values = {};
      const value = made.read((why) => { fault = why; });
      if (!fault && typeof value === "number") [fault, values] = outside(ask, value, ctx);
      if (!fault && ask.needed && value === undefined) fault = "needed";
      const input = row.querySelector("input, select, textarea");
      told.hidden = !fault;
      told.textContent = fault ? say(`fault.${fault}`, values) : "";
      if (fault) {
        input?.setAttribute("aria-invalid", "true");
        input?.setAttribute("aria-describedby", `${id}-fault`);
        faults.push(word);
      } else input?.removeAttribute("aria-invalid");
      if (value !== undefined) body[ask.name] = value;
    }
    if (extra.photos().length) body.photos = extra.photos();
    summary.hidden = !faults.length;
    summary.textContent = faults.length ? say("faults", { names: faults.join(", ") }) : "";
    if (faults.length) { summary.focus(); return null; }
    return { body, photos: [...ctx.photos.values()].filter((p) => body.sha256 === p.sha || body.photos?.includes(p.sha)) };
  }

  // What a server refused, shown where it belongs and kept at the top.
  function refuse(faults) {
    summary.hidden = !faults.length;
    summary.replaceChildren(...faults.map((f) => el("p", {}, `${f.where ? `${label(form.kind, f.where)}: ` : ""}${f.what} ${f.do}`)));
  }
  const pictures = () => ({
    sha256: lines.find((l) => l.ask.takes === "photo")?.made.read(), photos: [...extra.photos()],
  });
  return { node, read, refuse, pictures };
}

// Pictures beside any entry.
function attach(ctx, kept, form) {
  if (form.kind === "photo" || form.group === "") return { node: null, photos: () => kept };
  const photos = [...kept];
  const told = el("p", { class: "note", role: "status" }, photos.length ? say("photos-n", { n: photos.length }) : "");
  const input = el("input", { type: "file", accept: "image/*", capture: "environment", id: `f-${form.kind}-photos` });
  input.addEventListener("change", async () => {
    for (const file of input.files) {
      const photo = await ctx.shrink(file);
      ctx.photos.set(photo.sha, photo);
      photos.push(photo.sha);
    }
    input.value = "";
    told.textContent = say("photos-n", { n: photos.length });
    told.dispatchEvent(new Event("input", { bubbles: true }));
  });
  return {
    node: el("div", { class: "row" }, el("label", { class: "ask", for: `f-${form.kind}-photos` }, say("add-photo"), el("span", { class: "quiet" }, ` ${say("optional")}`)), el("div", { class: "input" }, input), told),
    photos: () => photos,
  };
}

// Values typed last in this kind, for the asks that begin with them.
export function lastValues(form, rows) {
  const last = {};
  for (const row of rows) {
    if (row.sent.kind !== form.kind) continue;
    for (const ask of form.asks) if (ask.last && row.sent.body[ask.name] !== undefined) last[ask.name] = row.sent.body[ask.name];
  }
  return last;
}

// What is typed and not saved, kept through a closed page and a dead battery.
// `kept` is the draft of last time or undefined; `keep(draft)` writes one, `keep(null)` drops it.
export function keepDraft(made, ctx, kept, keep) {
  const { node } = made;
  const inputs = () => [...node.querySelectorAll("input:not([type=file]), select, textarea")];
  const lots = () => [...node.querySelectorAll(".part-lots")];
  // Lines that were added by hand come back before what was typed in them.
  lots().forEach((list, i) => {
    for (let k = list.children.length; k < Math.min(kept?.lines[i] ?? 0, 40); k += 1) list.nextElementSibling.click();
  });
  if (kept && kept.values.length === inputs().length) {
    inputs().forEach((input, i) => {
      if (input.type === "radio" || input.type === "checkbox") input.checked = kept.values[i];
      else input.value = kept.values[i];
    });
  }
  let over = false;
  node.addEventListener("input", () => {
    if (over) return;
    const names = made.pictures();
    keep({
      lines: lots().map((list) => list.children.length),
      values: inputs().map((i) => (i.type === "radio" || i.type === "checkbox" ? i.checked : i.value)),
      names, pictures: [...ctx.photos.values()].filter((p) => p.sha === names.sha256 || names.photos.includes(p.sha)),
    });
  });
  return () => {
    over = true;
    keep(null);
  };
}
