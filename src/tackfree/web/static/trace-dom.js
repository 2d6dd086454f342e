// Small builders of page elements; text is always text, never markup.

export function h(name, attributes = {}, ...children) {
  const found = document.createElement(name);
  for (const [k, v] of Object.entries(attributes)) {
    if (k.startsWith("on")) found.addEventListener(k.slice(2), v);
    else if (v === true) found.setAttribute(k, "");
    else if (v !== false && v !== null && v !== undefined) found.setAttribute(k, v);
  }
  found.append(...children.flat().filter((c) => c !== null && c !== undefined && c !== ""));
  return found;
}

export const field = (label, control, after = null) => h("label", { class: "field" }, h("span", {}, label), control, after);

export function choice(name, options, value, onchange, more = {}) {
  return h("select", { name, onchange: (e) => onchange(e.target.value), ...more },
    options.map(([v, text]) => h("option", { value: v, selected: v === value }, text)));
}

// New content, with the focus where it was.
export function fill(box, ...children) {
  const here = box.contains(document.activeElement) ? document.activeElement : null;
  const [name, start] = [here?.getAttribute("name"), here instanceof HTMLInputElement && here.type === "text" ? here.selectionStart : null];
  box.replaceChildren(...children.flat().filter(Boolean));
  if (!name) return;
  const again = box.querySelector(`[name="${CSS.escape(name)}"]`);
  again?.focus({ preventScroll: true });
  if (again instanceof HTMLInputElement && start !== null) again.setSelectionRange(start, start);
}
