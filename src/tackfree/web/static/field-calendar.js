// Windows about to shut, for the phone's own calendar: it rings with the browser closed.

import { el } from "/static/field-dom.js";
import { coatWord } from "/static/field-forms.js";
import * as time from "/static/field-time.js";
import { say } from "/static/field-words.js";

const BEFORE = "-PT3H";
const utc = (ms) => new Date(ms).toISOString().replace(/[-:]|\.\d{3}/g, "");
const text = (words) => words.replace(/[\\;,]/g, "\\$&").replace(/\n/g, "\\n");

// RFC 5545, 3.1: lines of at most 75 octets, the rest on lines that begin with a space.
function folded(line) {
  const bytes = new TextEncoder();
  const out = [];
  let part = "";
  for (const letter of line) {
    if (bytes.encode(part + letter).length > 74) { out.push(part); part = " "; }
    part += letter;
  }
  return [...out, part].join("\r\n");
}

// One event for each section and coat, from the time the next coat may start to the time it
// must be down; the alarm stands three hours before that end.
export function calendar(app, lines, nowMs) {
  const events = lines.flatMap(({ section, coat, following, clock }) => {
    const from = Math.min(clock.after ?? clock.placed_to, clock.before);
    const words = say("calendar-event", { section: section.id, next: coatWord(following.id), coat: coatWord(coat.id), at: time.clock(clock.before, app.zone) });
    return ["BEGIN:VEVENT", `UID:${app.doc.job.id}-${section.id}-${coat.id}-window@tackfree`.toLowerCase(),
      `DTSTAMP:${utc(nowMs)}`, `DTSTART:${utc(from)}`, `DTEND:${utc(clock.before)}`, `SUMMARY:${text(words)}`,
      "BEGIN:VALARM", "ACTION:DISPLAY", `TRIGGER;RELATED=END:${BEFORE}`, `DESCRIPTION:${text(words)}`, "END:VALARM",
      "END:VEVENT"];
  });
  return ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Tackfree//windows//EN", ...events, "END:VCALENDAR", ""].map(folded).join("\r\n");
}

export async function toCalendar(app, lines, nowMs) {
  const file = new File([calendar(app, lines, nowMs)], `windows-${app.doc.job.id}.ics`, { type: "text/calendar" });
  if (navigator.canShare?.({ files: [file] })) {
    try { await navigator.share({ files: [file] }); return; } catch { /* saved as a download below */ }
  }
  const link = el("a", { href: URL.createObjectURL(file), download: file.name });
  document.body.append(link);
  link.click();
  link.remove();
}
