// Words, dots and rings of a section keep their size on the screen; a word that finds no room
// among those before it waits for a closer view. The lines beside the drawing say them all.

const PLACES = {
  thin: [[11, 6, "start"], [-11, 6, "end"], [16, -17, "start"], [-16, -17, "end"], [16, 30, "start"], [-16, 30, "end"]],
  reading: [[8, 6, "start"], [-8, 6, "end"], [0, -9, "middle"], [0, 22, "middle"]],
  ringed: [[18, 6, "start"], [-18, 6, "end"], [0, -18, "middle"], [0, 32, "middle"]],
  patch: [[6, 20, "start"], [6, 40, "start"], [6, 60, "start"], [-6, 20, "end"]],
  cell: [[0, 6, "middle"], [0, 18, "middle"], [0, -6, "middle"]],
};
const meet = (a, b) => a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;
const within = (a, b) => a.left >= b.left && a.right <= b.right && a.top >= b.top && a.bottom <= b.bottom;

function place(svg) {
  const ctm = svg.getScreenCTM();
  if (!ctm?.a) return;
  if (!svg.closest("#drawing")) svg.style.setProperty("--per-px", String(1 / ctm.a));
  const sheet = svg.getBoundingClientRect();
  const taken = [...svg.querySelectorAll(".ring, .dot")].map((g) => g.getBoundingClientRect());
  for (const lab of svg.querySelectorAll(".lab")) {
    const word = lab.querySelector("text");
    lab.classList.remove("tight");
    const least = parseFloat(lab.dataset.high ?? Infinity) * ctm.a; // a name stays in its part
    const found = PLACES[lab.classList[1]].find(([x, y, anchor]) => {
      if (y > 20 && y > least) return false;
      word.setAttribute("x", x);
      word.setAttribute("y", y);
      word.setAttribute("text-anchor", anchor);
      const box = word.getBoundingClientRect();
      return within(box, sheet) && !taken.some((other) => meet(box, other)) && taken.push(box);
    });
    lab.classList.toggle("tight", !found);
  }
}

for (const svg of document.querySelectorAll(".drawing svg, .spots svg")) {
  if (!svg.querySelector(".lab, .ring")) continue;
  let asked = false;
  const soon = () => {
    if (!asked) requestAnimationFrame(() => { asked = false; place(svg); });
    asked = true;
  };
  new MutationObserver(soon).observe(svg, { attributes: true, attributeFilter: ["viewBox"] });
  new ResizeObserver(soon).observe(svg);
  document.fonts.ready.then(soon);
  soon();
}
