// Sentences of one language, with their braces filled. The words come with the page.

let all = { en: {} };
let language = "en";

export function learn(words) { all = words; }
export function speak(lang) { language = lang; }
export const spoken = () => language;
// [code, what the language calls itself] of every language that came along.
export const languages = () => Object.entries(all).map(([code, its]) => [code, its["own-name"] ?? code]);

export function say(id, values = {}) {
  const text = all[language]?.[id] ?? all.en?.[id] ?? id;
  return text.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? String(values[name]) : whole));
}
export const knows = (id) => id in (all[language] ?? {});
// A choice or label that has no word of ours is shown as it is.
export const sayOr = (id, otherwise) => (knows(id) ? say(id) : otherwise);
