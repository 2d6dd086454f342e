// While a search is at work its part of the page is asked for every second; the rest of
// the page comes anew when the search is over. Without this file the link does the same.

const EVERY = 1000; // ms
const live = () => document.querySelector("#again");

function at_work() {
  return live().hasAttribute("data-at-work");
}

async function look() {
  try {
    const answer = await fetch(`${live().dataset.live}${location.search}`, { headers: { accept: "text/html" } });
    if (!answer.ok) throw new Error(answer.status);
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("#again");
    if (!fresh.hasAttribute("data-at-work")) {
      location.reload();
      return;
    }
    update(fresh);
  } catch {
    // no signal: what stands on the page stays, and is asked for again
  }
  setTimeout(look, EVERY);
}

// Only what changed is put in, so that a button under a finger stays.
function update(fresh) {
  const now = live();
  if (now.dataset.state !== fresh.dataset.state) {
    now.replaceWith(fresh);
    return;
  }
  for (const part of [".count b", ".spent", ".goals"].filter((p) => now.querySelector(p) || fresh.querySelector(p))) {
    const [old, next] = [now.querySelector(part), fresh.querySelector(part)];
    if (old && next && old.innerHTML !== next.innerHTML) old.replaceChildren(...next.childNodes);
    else if (!old && next) {
      now.replaceWith(fresh);
      return;
    }
  }
}

if (at_work()) {
  for (const link of document.querySelectorAll("[data-look]")) link.hidden = true;
  setTimeout(look, EVERY);
}
