// A press on a bare cell marks its kit; on a wet one it opens its line. Forms are sent
// here so that the view of the drawing stays; without this file they reload the page.

const svg = document.querySelector("#drawing svg");
const live = document.querySelector("#live");
let busy = false;

function say(text) {
  const count = live.querySelector(".count");
  if (count) count.textContent = text;
}

async function send(action, data) {
  if (busy) return;
  busy = true;
  for (const b of live.querySelectorAll("button")) b.disabled = true;
  try {
    const answer = await fetch(action, { method: "POST", body: new URLSearchParams(data), headers: { accept: "text/html" } });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = page.querySelector("#live");
    if (fresh) {
      live.replaceChildren(...fresh.childNodes);
      svg.innerHTML = page.querySelector("#drawing svg").innerHTML;
      live.querySelector(".big")?.focus({ preventScroll: true });
    } else {
      say(page.querySelector(".refused")?.textContent.trim().replace(/\s+/g, " ") || live.dataset.failed);
    }
  } catch {
    say(live.dataset.failed);
  }
  for (const b of live.querySelectorAll("button")) b.disabled = false;
  busy = false;
}

live.addEventListener("submit", (e) => {
  const data = new FormData(e.target);
  if (e.submitter?.name) data.append(e.submitter.name, e.submitter.value);
  e.preventDefault();
  send(e.target.action, data);
});

function press(cell) {
  const number = cell.dataset.tap;
  const row = document.getElementById(`c-${number}`);
  const form = row?.querySelector("form[action='/marks/tap']");
  if (live.dataset.writes === "yes" && !cell.classList.contains("is-in")) {
    const data = new FormData(form ?? live.querySelector("#next"));
    data.set("cell", number);
    send("/marks/tap", data);
  } else if (row) {
    row.scrollIntoView({ block: "center" });
    row.focus({ preventScroll: true });
    row.querySelector("details")?.setAttribute("open", "");
  }
}

if (svg) {
  svg.addEventListener("click", (e) => {
    const cell = e.target.closest(".cell");
    if (cell && !e.defaultPrevented) press(cell);
  });
  svg.addEventListener("keydown", (e) => {
    const cell = e.target.closest?.(".cell");
    if (!cell || (e.key !== "Enter" && e.key !== " ")) return;
    e.preventDefault();
    press(cell);
  });
}
