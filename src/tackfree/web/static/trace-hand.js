// Mouse and fingers on the board, turned into what they mean: hover, place, hold, move, choose.
// A finger never covers its point: the crosshair stands above it and the point falls where
// the crosshair is when the finger lifts. Two fingers move and zoom the drawing.

const SLIP = 5; // px a mouse may slip and still click
const TAP = 12; // the same for a finger
export const ABOVE = 64; // px from the finger up to the crosshair

// `acts` has: drawing() whether a point would be placed, hover(p, touch), place(p),
// grab(p, reach) → something held or null, drag(held, from, to), drop(held, moved),
// choose(p, reach), end(), leave(), pan(dx, dy), zoom(by, p).
export function listen(board, acts) {
  const fingers = new Map();
  let held = null; // what the first finger or the mouse holds
  let start = null;
  let slipped = 0;
  let two = false;

  const at = (e) => {
    const box = board.getBoundingClientRect();
    return [e.clientX - box.left, e.clientY - box.top];
  };
  const lifted = (e) => {
    const [x, y] = at(e);
    return e.pointerType === "touch" ? [x, y - ABOVE] : [x, y];
  };

  board.addEventListener("pointerdown", (e) => {
    if (e.pointerType === "mouse" && e.button === 2) return;
    board.setPointerCapture(e.pointerId);
    board.focus({ preventScroll: true });
    fingers.set(e.pointerId, at(e));
    if (fingers.size > 1) {
      if (held?.thing) acts.drop(held.thing, false);
      two = true;
      held = null;
      acts.leave();
      return;
    }
    two = false;
    slipped = 0;
    start = at(e);
    const touch = e.pointerType === "touch";
    if (acts.drawing() && e.button !== 1) {
      held = { placing: true };
      if (touch) acts.hover(lifted(e), true);
      return;
    }
    const thing = e.button === 1 ? null : acts.grab(start, touch ? 24 : 12);
    held = { thing };
  });

  board.addEventListener("pointermove", (e) => {
    const old = fingers.get(e.pointerId);
    if (!old) {
      if (e.pointerType === "mouse") acts.hover(at(e), false);
      return;
    }
    const now = at(e);
    const [dx, dy] = [now[0] - old[0], now[1] - old[1]];
    const other = [...fingers].find(([id]) => id !== e.pointerId)?.[1];
    fingers.set(e.pointerId, now);
    if (two) {
      if (!other) return;
      const apart = Math.hypot(now[0] - other[0], now[1] - other[1]);
      const was = Math.hypot(old[0] - other[0], old[1] - other[1]) || 1;
      acts.pan(dx / 2, dy / 2);
      acts.zoom(apart / was, [(now[0] + other[0]) / 2, (now[1] + other[1]) / 2]);
      return;
    }
    slipped += Math.hypot(dx, dy);
    const touch = e.pointerType === "touch";
    if (held?.placing && touch) acts.hover(lifted(e), true);
    else if (held?.thing) {
      if (slipped > SLIP) acts.drag(held.thing, start, now, touch);
    } else if (slipped > (touch ? TAP : SLIP)) acts.pan(dx, dy);
  });

  const finish = (e, whole) => {
    if (!fingers.delete(e.pointerId)) return;
    if (two) {
      if (!fingers.size) two = false;
      return;
    }
    const touch = e.pointerType === "touch";
    const still = slipped <= (touch ? TAP : SLIP);
    if (held?.placing) {
      if (whole && (touch || still)) acts.place(lifted(e));
      if (touch) acts.leave();
    } else if (held?.thing) acts.drop(held.thing, whole && !still, still);
    else if (whole && still) acts.choose(at(e), touch ? 24 : 10);
    held = null;
  };
  board.addEventListener("pointerup", (e) => finish(e, true));
  board.addEventListener("pointercancel", (e) => finish(e, false));
  board.addEventListener("pointerleave", (e) => { if (e.pointerType === "mouse" && !fingers.size) acts.leave(); });
  board.addEventListener("dblclick", (e) => { e.preventDefault(); acts.end(); });
  board.addEventListener("dragstart", (e) => e.preventDefault());
  board.addEventListener("wheel", (e) => {
    e.preventDefault();
    acts.zoom(Math.exp(-e.deltaY * (e.deltaMode ? 0.05 : 0.0015)), at(e));
  }, { passive: false });
}

// Keys on the board. `acts` has: nudge(dx, dy, fine), jump(dx, dy), enter(), escape(), back(),
// remove(), insert(), corner(step), undo(), redo(), zoom(by), fit(), kind(letter), typed(text).
export function listenKeys(board, acts) {
  const ways = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
  document.addEventListener("keydown", (e) => {
    const writing = e.target instanceof Element && e.target.matches("input, select, textarea");
    if (!(e.ctrlKey || e.metaKey) || writing || e.altKey) return;
    const letter = e.key.toLowerCase();
    if (letter === "z" || letter === "y") {
      e.preventDefault();
      if (letter === "y" || e.shiftKey) acts.redo();
      else acts.undo();
    }
  });
  board.addEventListener("keydown", (e) => {
    const way = ways[e.key];
    if (way && !e.altKey) {
      e.preventDefault();
      if (e.ctrlKey || e.metaKey) acts.jump(...way);
      else acts.nudge(...way, e.shiftKey);
      return;
    }
    if (e.ctrlKey || e.metaKey || e.altKey) return;
    const keys = {
      Enter: acts.enter, " ": acts.enter, Escape: acts.escape, Backspace: acts.back, Delete: acts.remove,
      Insert: acts.insert, i: acts.insert, ".": () => acts.corner(1), ",": () => acts.corner(-1),
      "+": () => acts.zoom(1.5), "=": () => acts.zoom(1.5), "-": () => acts.zoom(1 / 1.5), "#": acts.fit,
    };
    if (keys[e.key]) {
      e.preventDefault();
      keys[e.key]();
    } else if (/^[0-9]$/.test(e.key)) {
      if (acts.typed(e.key)) e.preventDefault();
    } else if (/^[a-z]$/i.test(e.key) && acts.kind(e.key.toLowerCase())) e.preventDefault();
  });
}
