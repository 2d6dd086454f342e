// The board counts down by the server's clock; when a deadline passes it asks anew.
const board = document.querySelector(".board[data-live]");

function fill(form, values) {
  return form.replace(/\{(\w+)\}/g, (_, name) => values[name]);
}

function left(seconds) {
  const minutes = Math.floor(Math.abs(seconds) / 60);
  const hours = Math.floor(minutes / 60);
  const days = Math.floor(minutes / 1440);
  const d = board.dataset;
  const time = days >= 2 ? fill(d.days, { d: days, h: hours % 24 })
    : hours ? fill(d.hours, { h: hours, m: minutes % 60 })
    : fill(d.minutes, { m: minutes % 60 });
  return fill(seconds >= 0 ? d.in : d.ago, { time });
}

if (board) {
  const ahead = Number(board.dataset.now) - Date.now() / 1000;
  const begun = Date.now() / 1000 + ahead;
  const marks = [...board.querySelectorAll("[data-by]")];
  const tick = () => {
    const now = Date.now() / 1000 + ahead;
    for (const mark of marks) mark.textContent = left(Number(mark.dataset.by) - now);
    const passed = marks.some((m) => Number(m.dataset.by) > begun && Number(m.dataset.by) <= now);
    if ((passed && now - begun > 60) || now - begun > 900) location.reload();
  };
  setInterval(tick, 5000);
  tick();
}
