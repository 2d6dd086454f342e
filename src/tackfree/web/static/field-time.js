// Wall clocks, zones and how long until something.

const parts = new Map();
function partsIn(zone) {
  if (!parts.has(zone)) {
    parts.set(zone, new Intl.DateTimeFormat("en-US", {
      timeZone: zone, hourCycle: "h23", year: "numeric", month: "2-digit", day: "2-digit",
      hour: "2-digit", minute: "2-digit", second: "2-digit",
    }));
  }
  return parts.get(zone);
}

function fields(ms, zone) {
  const found = {};
  for (const { type, value } of partsIn(zone).formatToParts(new Date(ms))) found[type] = value;
  return found;
}

// Minutes that a zone is ahead of UTC at a moment.
export function offsetMinutes(ms, zone) {
  const f = fields(ms, zone);
  const there = Date.UTC(f.year, f.month - 1, f.day, f.hour, f.minute, f.second);
  return Math.round((there - Math.floor(ms / 1000) * 1000) / 60000);
}

// A moment as the record writes it: the job's wall clock and its offset.
export function wall(ms, zone) {
  const f = fields(ms, zone);
  const offset = offsetMinutes(ms, zone);
  const two = (n) => String(n).padStart(2, "0");
  const away = Math.abs(offset);
  return `${f.year}-${f.month}-${f.day}T${f.hour}:${f.minute}:${f.second}` +
    `${offset < 0 ? "-" : "+"}${two(Math.floor(away / 60))}:${two(away % 60)}`;
}

export const day = (ms, zone) => wall(ms, zone).slice(0, 10);
export const clock = (ms, zone) => wall(ms, zone).slice(11, 16);
export const local = (ms, zone) => wall(ms, zone).slice(0, 16); // for an input of type datetime-local
export const hourOf = (ms, zone) => Number(wall(ms, zone).slice(11, 13));

// The moment of a wall time typed without an offset; in the hour a clock jumps back, the first.
export function moment(text, zone) {
  const plain = Date.parse(`${text.length === 16 ? `${text}:00` : text}Z`);
  let ms = plain - offsetMinutes(plain, zone) * 60000;
  ms = plain - offsetMinutes(ms, zone) * 60000;
  const earlier = ms - 3600000;
  return local(earlier, zone) === local(plain, "UTC") ? earlier : ms;
}

// "14:05", or with the day where it is another one.
export function said(ms, zone, now, language) {
  if (day(ms, zone) === day(now, zone)) return clock(ms, zone);
  const name = new Intl.DateTimeFormat(language, { timeZone: zone, weekday: "short", day: "numeric", month: "short" });
  return `${name.format(new Date(ms))} ${clock(ms, zone)}`;
}

// "3 h 05", "12 min", "0:45" of a span that may be negative.
export function span(ms) {
  const sign = ms < 0 ? "−" : "";
  const minutes = Math.floor(Math.abs(ms) / 60000);
  if (minutes >= 48 * 60) return `${sign}${Math.floor(minutes / 1440)} d ${Math.floor((minutes % 1440) / 60)} h`;
  if (minutes >= 60) return `${sign}${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, "0")}`;
  return `${sign}${minutes} min`;
}

export function countdown(ms) {
  const s = Math.max(0, Math.ceil(ms / 1000));
  return `${Math.floor(s / 60)}:${String(s % 60).padStart(2, "0")}`;
}
