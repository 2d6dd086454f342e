// Join by an invitation: this device gets a token of its own and keeps it.
const form = document.getElementById("join");
const told = document.getElementById("told");
const go = document.getElementById("go");

form?.addEventListener("submit", async (event) => {
  event.preventDefault();
  const button = form.querySelector("button");
  button.disabled = true;
  try {
    const answer = await fetch(form.dataset.address, {
      method: "POST",
      headers: { Accept: "application/json", "Content-Type": "application/x-www-form-urlencoded" },
      body: new URLSearchParams(new FormData(form)),
    });
    const found = await answer.json();
    if (!answer.ok) {
      told.textContent = found.refused.map((f) => `${f.what} ${f.do}`).join(" ");
      button.disabled = false;
      return;
    }
    localStorage.setItem("tackfree-device-token", found.token);
    told.textContent = told.dataset.done;
    form.hidden = true;
    go.hidden = false;
    go.focus();
  } catch {
    told.textContent = told.dataset.offline;
    button.disabled = false;
  }
});
