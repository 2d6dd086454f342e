// What the editor keeps on this machine, and what it asks of the server.

const name = (job, deck) => `tackfree-trace|${job}|${deck}`;

// Written at once with every step, so that closing the tab loses nothing.
export function keepDraft(job, deck, kept) {
  try {
    localStorage.setItem(name(job, deck), JSON.stringify({ ...kept, at: new Date().toISOString() }));
    return true;
  } catch {
    return false; // the browser's room is full, or it keeps nothing
  }
}

export function keptDraft(job, deck) {
  try {
    const found = JSON.parse(localStorage.getItem(name(job, deck)) ?? "null");
    return found?.doc?.id === deck && Array.isArray(found.doc.items) ? found : null;
  } catch {
    return null;
  }
}

// Decks of a job with unsaved work on this machine.
export function draftsOf(job) {
  try {
    const begin = name(job, "");
    return Object.keys(localStorage).filter((k) => k.startsWith(begin)).map((k) => keptDraft(job, k.slice(begin.length))).filter(Boolean);
  } catch {
    return [];
  }
}

export function dropDraft(job, deck) {
  try {
    localStorage.removeItem(name(job, deck));
  } catch {
    // nothing is kept where nothing can be
  }
}

export class Refusal extends Error {
  constructor(status, faults) {
    super(faults.map((f) => `${f.what} ${f.do}`).join(" "));
    this.status = status;
    this.faults = faults;
  }
}

// One request to our own server; a refusal comes as `Refusal`, a lost line as status 0.
export async function ask(path, { method = "GET", body = null, taste = {}, json = true } = {}) {
  const url = new URL(path, location.origin);
  for (const [k, v] of Object.entries(taste)) url.searchParams.set(k, v);
  let answer;
  try {
    answer = await fetch(url, {
      method,
      body: body === null ? null : json ? JSON.stringify(body) : body,
      headers: { accept: "application/json", ...(body !== null ? { "content-type": json ? "application/json" : "application/octet-stream" } : {}) },
    });
  } catch {
    throw new Refusal(0, []);
  }
  const found = await answer.json().catch(() => null);
  if (!answer.ok) throw new Refusal(answer.status, found?.refused ?? [{ where: path, what: `${answer.status}`, do: "" }]);
  return found;
}
