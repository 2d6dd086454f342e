// Pan, pinch and wheel over the deck drawing; a tap follows the section's own link.
// Everything on the page works without this file; it only moves the view.

const box = document.querySelector("#drawing");
const svg = box?.querySelector("svg");
const MOST = 16; // closest view, times the whole deck
const TAP = 8; // px a finger may slip and still tap
const READABLE = 0.7; // screen px per drawing px below which own type is too small

function follow() {
  const id = location.hash.startsWith("#s-") ? location.hash.slice(3) : "";
  for (const g of document.querySelectorAll(".sec")) g.classList.toggle("chosen", g.id === `sec-${id}`);
  if (id) document.getElementById(`s-${id}`)?.focus({ preventScroll: true });
}

// A word that its section has no room for is left out; the lines beside the drawing have it.
function fit(tag) {
  const word = tag.querySelector(".tag-word");
  if (!word) return;
  word.classList.remove("tight");
  const { wide, high } = tag.dataset;
  const type = parseFloat(getComputedStyle(tag).fontSize);
  const fits = tag.classList.contains("turned")
    ? tag.getComputedTextLength() < high
    : word.getComputedTextLength() < wide && 3.6 * type < high;
  word.classList.toggle("tight", !fits);
}

if (svg) {
  const all = svg.viewBox.baseVal;
  const whole = { x: all.x, y: all.y, w: all.width, h: all.height };
  let view = { ...whole };
  let asked = false;
  let slipped = 0;
  const fingers = new Map();

  const scale = () => Math.min(box.clientWidth / view.w, box.clientHeight / view.h) || 1;
  const at = (e) => {
    const p = new DOMPoint(e.clientX, e.clientY).matrixTransform(svg.getScreenCTM().inverse());
    return { x: p.x, y: p.y };
  };
  const draw = () => {
    asked = false;
    svg.setAttribute("viewBox", `${view.x} ${view.y} ${view.w} ${view.h}`);
    box.classList.toggle("far", scale() < READABLE);
    svg.style.setProperty("--per-px", String(1 / scale()));
    for (const tag of svg.querySelectorAll(".tag")) fit(tag);
  };
  const show = (next) => {
    const w = Math.min(whole.w, Math.max(whole.w / MOST, next.w));
    const h = (w * whole.h) / whole.w;
    const keep = (v, size, from, length) => Math.min(Math.max(v, from), from + length - size);
    view = { x: keep(next.x, w, whole.x, whole.w), y: keep(next.y, h, whole.y, whole.h), w, h };
    if (!asked) requestAnimationFrame(draw);
    asked = true;
  };
  const zoom = (by, p) => {
    const w = Math.min(whole.w, Math.max(whole.w / MOST, view.w / by));
    const k = w / view.w;
    show({ x: p.x - (p.x - view.x) * k, y: p.y - (p.y - view.y) * k, w });
  };
  const middle = () => ({ x: view.x + view.w / 2, y: view.y + view.h / 2 });
  const move = (dx, dy) => show({ x: view.x + dx, y: view.y + dy, w: view.w });

  box.addEventListener("wheel", (e) => {
    e.preventDefault();
    zoom(Math.exp(-e.deltaY * (e.deltaMode ? 0.05 : 0.0015)), at(e));
  }, { passive: false });

  box.addEventListener("pointerdown", (e) => {
    if (e.button) return;
    if (!fingers.size) slipped = 0;
    fingers.set(e.pointerId, { x: e.clientX, y: e.clientY });
  });
  addEventListener("pointermove", (e) => {
    const old = fingers.get(e.pointerId);
    if (!old) return;
    const other = [...fingers].find(([id]) => id !== e.pointerId)?.[1];
    const dx = e.clientX - old.x;
    const dy = e.clientY - old.y;
    slipped += Math.hypot(dx, dy);
    fingers.set(e.pointerId, { x: e.clientX, y: e.clientY });
    if (slipped <= TAP) return;
    const s = scale();
    if (!other) move(-dx / s, -dy / s);
    else {
      const apart = Math.hypot(e.clientX - other.x, e.clientY - other.y);
      const was = Math.hypot(old.x - other.x, old.y - other.y) || 1;
      zoom(apart / was, at({ clientX: (e.clientX + other.x) / 2, clientY: (e.clientY + other.y) / 2 }));
      move(-dx / 2 / s, -dy / 2 / s);
    }
  });
  for (const kind of ["pointerup", "pointercancel"]) addEventListener(kind, (e) => fingers.delete(e.pointerId));
  box.addEventListener("click", (e) => { if (slipped > TAP) e.preventDefault(); }, true);
  box.addEventListener("dragstart", (e) => e.preventDefault());

  box.addEventListener("keydown", (e) => {
    const step = view.w / 8;
    const keys = {
      ArrowLeft: () => move(-step, 0), ArrowRight: () => move(step, 0),
      ArrowUp: () => move(0, -step), ArrowDown: () => move(0, step),
      "+": () => zoom(1.4, middle()), "=": () => zoom(1.4, middle()),
      "-": () => zoom(1 / 1.4, middle()), 0: () => show(whole),
    };
    if (!keys[e.key] || e.ctrlKey || e.metaKey || e.altKey) return;
    e.preventDefault();
    keys[e.key]();
  });
  for (const button of document.querySelectorAll("[data-zoom]")) {
    const acts = { in: () => zoom(1.6, middle()), out: () => zoom(1 / 1.6, middle()), all: () => show(whole) };
    button.addEventListener("click", acts[button.dataset.zoom]);
  }
  document.querySelector(".zoom").hidden = false;
  new ResizeObserver(draw).observe(box);
  draw();
}

addEventListener("hashchange", follow);
follow();
for (const here of document.querySelectorAll(".days [aria-current], .stages [aria-current]")) {
  const strip = here.closest("ol, ul");
  strip.scrollLeft = here.offsetLeft - strip.offsetLeft - (strip.clientWidth - here.offsetWidth) / 2;
}
