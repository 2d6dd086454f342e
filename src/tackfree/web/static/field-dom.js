// Elements, made without markup in strings.

const SVG = "http://www.w3.org/2000/svg";

function fill(node, attributes, children) {
  for (const [name, value] of Object.entries(attributes ?? {})) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (name === "value") node.value = value;
    else node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...children.flat(3).filter((c) => c !== null && c !== undefined && c !== false && c !== ""));
  return node;
}

export const el = (tag, attributes, ...children) => fill(document.createElement(tag), attributes, children);
export const svg = (tag, attributes, ...children) => fill(document.createElementNS(SVG, tag), attributes, children);

// A large button; the first argument is its word.
export const button = (word, act, attributes = {}) =>
  el("button", { type: "button", class: "big", onclick: act, ...attributes }, word);

// The dialog at the bottom edge, under the thumb. Resolves when it is closed.
export function sheet(title, content, closeWord, onclose = () => {}) {
  const heading = el("h2", { id: "sheet-title", tabindex: "-1" }, title);
  const box = el("dialog", { class: "sheet-up", "aria-labelledby": "sheet-title" },
    el("div", { class: "sheet-head" }, heading,
      el("button", { type: "button", class: "close", "aria-label": closeWord, onclick: () => box.close() }, "×")),
    content);
  box.addEventListener("close", () => { box.remove(); onclose(); document.dispatchEvent(new Event("sheet-closed")); });
  document.body.append(box);
  box.showModal();
  heading.focus();
  return box;
}
