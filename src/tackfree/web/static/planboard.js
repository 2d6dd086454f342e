// Bars are drawn along their row or moved by keys; the server checks each move and
// answers with the whole board. Without this file the forms of the day do the same.

const SHOWN = "http://www.w3.org/2000/svg";
const TAP = 6; // px a pointer may slip and still be a tap
let busy = false;
let waiting = 0;

const live = () => document.querySelector("#live");
const time = () => document.querySelector(".board-time");
const bars = () => [...document.querySelectorAll(".board .op")];

// Where a bar may begin, as a rule under its row, while it is held or chosen.
function allowed(op) {
  for (const old of document.querySelectorAll(".allowed")) old.remove();
  if (!op) return;
  const { px, first } = time().dataset;
  const rect = op.querySelector("rect");
  const y = rect.y.baseVal.value + rect.height.baseVal.value + 2;
  for (const span of op.dataset.starts.split(" ").filter(Boolean)) {
    const [a, b] = span.split("-").map(Number);
    const mark = document.createElementNS(SHOWN, "rect");
    mark.setAttribute("class", "allowed");
    mark.setAttribute("x", (a - first) * px);
    mark.setAttribute("y", y);
    mark.setAttribute("width", Math.max(2, (b - a + 1) * px));
    mark.setAttribute("height", 4);
    op.parentNode.append(mark);
  }
}

function address(task, start, crew) {
  const to = new URL(location.href);
  const others = (to.searchParams.get("moves") || "").split("~").filter((m) => m && !m.startsWith(`${task}@`));
  to.searchParams.set("moves", [...others, `${task}@${start}@${crew}`].join("~"));
  return to;
}

async function show(to, task, keep = true) {
  if (busy) return;
  busy = true;
  try {
    const answer = await fetch(to, { headers: { accept: "text/html" } });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = page.querySelector("#live");
    if (!fresh) {
      location.href = to;
      return;
    }
    const left = document.querySelector(".board")?.scrollLeft ?? 0;
    const drawing = document.querySelector("#drawing svg");
    const next = fresh.querySelector("#drawing svg");
    if (drawing && next && drawing.getAttribute("aria-label") === next.getAttribute("aria-label")) {
      drawing.innerHTML = next.innerHTML;
      fresh.querySelector("#drawing").replaceWith(document.querySelector("#drawing"));
    }
    live().replaceChildren(...fresh.childNodes);
    for (const z of document.querySelectorAll(".zoom")) z.hidden = true;
    if (keep) history.pushState(null, "", to);
    start(left);
    const op = task && bars().find((b) => b.dataset.task === task);
    op?.focus({ preventScroll: true });
  } finally {
    busy = false;
  }
}

function shift(op, slots) {
  const { px } = time().dataset;
  op.setAttribute("transform", slots ? `translate(${slots * px} 0)` : "");
}

function start(left) {
  const board = document.querySelector(".board");
  if (!board) return;
  if (left !== undefined) board.scrollLeft = left;
  else {
    const now = document.querySelector(".days [aria-current]");
    const k = now ? [...now.closest("ol").children].indexOf(now.parentNode) : 0;
    board.scrollLeft = Math.max(0, k - 1) * time().dataset.day;
  }
}

let held = null; // the bar under the pointer: op, x, slots

document.addEventListener("pointerdown", (e) => {
  const op = e.target.closest?.(".board .op");
  if (!op || e.button || live().querySelector(".board") === null) return;
  op.setPointerCapture(e.pointerId);
  held = { op, x: e.clientX, slots: 0 };
  op.classList.add("held");
  allowed(op);
});
document.addEventListener("pointermove", (e) => {
  if (!held) return;
  held.slots = Math.abs(e.clientX - held.x) < TAP ? 0 : Math.round((e.clientX - held.x) / time().dataset.px);
  shift(held.op, held.slots);
});
function drop(take) {
  if (!held) return;
  const { op, slots } = held;
  held = null;
  op.classList.remove("held");
  if (take && slots) show(address(op.dataset.task, Number(op.dataset.start) + slots, op.dataset.crew), op.dataset.task);
  else shift(op, 0);
}
document.addEventListener("pointerup", () => drop(true));
document.addEventListener("pointercancel", () => drop(false));

// Keys gather for a moment, so that a held arrow asks the server once.
const keyed = { op: null, slots: 0 };
document.addEventListener("keydown", (e) => {
  const op = e.target.closest?.(".board .op");
  if (!op) return;
  const day = Math.round(time().dataset.day / time().dataset.px);
  const by = { ArrowLeft: -1, ArrowRight: 1 }[e.key];
  if (by) {
    e.preventDefault();
    if (keyed.op !== op) keyed.slots = 0;
    keyed.op = op;
    keyed.slots += by * (e.shiftKey ? day : 1);
    shift(op, keyed.slots);
    clearTimeout(waiting);
    waiting = setTimeout(() => {
      const slots = keyed.slots;
      keyed.op = null;
      keyed.slots = 0;
      if (slots) show(address(op.dataset.task, Number(op.dataset.start) + slots, op.dataset.crew), op.dataset.task);
    }, 350);
  } else if (e.key === "ArrowUp" || e.key === "ArrowDown") {
    e.preventDefault();
    const crews = live().dataset.crews.split(" ");
    const k = crews.indexOf(op.dataset.crew) + (e.key === "ArrowDown" ? 1 : -1);
    const crew = crews[(k + crews.length) % crews.length];
    if (crew !== op.dataset.crew) show(address(op.dataset.task, op.dataset.start, crew), op.dataset.task);
  } else if (e.key === "Escape") {
    clearTimeout(waiting);
    keyed.op = null;
    shift(op, 0);
  } else if (e.key === "z" && (e.ctrlKey || e.metaKey)) {
    const undo = live().querySelector("[data-act=undo]");
    if (undo) {
      e.preventDefault();
      show(new URL(undo.href), op.dataset.task);
    }
  }
});
document.addEventListener("focusin", (e) => {
  const op = e.target.closest?.(".board .op");
  allowed(op);
  op?.scrollIntoView({ block: "nearest", inline: "nearest" });
});
addEventListener("popstate", () => show(new URL(location.href), null, false));
start();
