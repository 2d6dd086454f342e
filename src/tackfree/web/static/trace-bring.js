// Bringing a drawing: sent as it is, looked at by the server, then a page of it is chosen.

import { h } from "./trace-dom.js";
import { ask, draftsOf } from "./trace-store.js";

const SHOWN = 60; // pages offered as pictures

export function bringing(words, taste, app, job) {
  const form = document.querySelector("#bring-form");
  if (!form) return;
  const refused = document.querySelector("#bring-refused");
  const pages = document.querySelector("#bring-pages");
  const say = (name, values = {}) => (words[name] ?? name).replace(/\{(\w+)\}/g, (_, k) => values[k] ?? "");
  const ident = () => form.elements.id?.value.trim().toUpperCase() ?? "";

  const unsaved = document.querySelector("#unsaved");
  unsaved?.replaceChildren(...draftsOf(job).map((d) => {
    const url = new URL("/trace", location.origin);
    url.searchParams.set("open", d.doc.id);
    if (!d.base) {
      url.searchParams.set("new", "1");
      if (d.doc.drawing) url.searchParams.set("drawing", d.doc.drawing);
      url.searchParams.set("page", String(d.doc.page));
    }
    return h("li", {}, h("a", { class: "target", href: url.pathname + url.search }, say("unsaved", { deck: d.doc.id, at: new Date(d.at).toLocaleString(taste.lang) })));
  }));

  function tell(text) {
    refused.hidden = !text;
    refused.textContent = text;
  }
  function begin(drawing, page) {
    if (app) return app.changeDrawing(drawing, page);
    if (!form.reportValidity()) return undefined;
    const url = new URL("/trace", location.origin);
    url.searchParams.set("open", ident());
    url.searchParams.set("new", "1");
    if (drawing) url.searchParams.set("drawing", drawing);
    url.searchParams.set("page", String(page));
    location.assign(url);
    return undefined;
  }
  form.addEventListener("submit", (e) => {
    e.preventDefault();
    begin("", 1);
  });
  // A file may also be dropped onto the sheet.
  const sheet = document.querySelector(".invite") ?? document.querySelector("#sheet");
  sheet.addEventListener("dragover", (e) => { e.preventDefault(); sheet.classList.add("over-it"); });
  sheet.addEventListener("dragleave", () => sheet.classList.remove("over-it"));
  sheet.addEventListener("drop", (e) => {
    e.preventDefault();
    sheet.classList.remove("over-it");
    take(e.dataTransfer.files[0]);
  });
  form.elements.file.addEventListener("change", async (e) => {
    await take(e.target.files[0]);
    e.target.value = "";
  });
  if (form.elements.file.files.length) form.elements.file.dispatchEvent(new Event("change")); // chosen before we were ready
  async function take(file) {
    if (!file) return undefined;
    tell(say("sending"));
    pages.hidden = true;
    try {
      const found = await ask(`/trace/drawing/${encodeURIComponent(file.name)}`, { method: "PUT", body: file, json: false, taste });
      tell("");
      if (found.pages === 1) return begin(found.file, 1);
      pages.hidden = false;
      pages.replaceChildren(h("p", {}, say("which-page", { pages: found.pages })), h("ul", {}, Array.from({ length: Math.min(found.pages, SHOWN) }, (_, i) =>
        h("li", {}, h("button", { type: "button", class: "act page", onclick: () => begin(found.file, i + 1) },
          h("img", { src: `/trace/picture/${found.file}?page=${i + 1}&small=1`, alt: "", loading: "lazy", width: 120, height: 90 }), `${say("page")} ${i + 1}`)))));
    } catch (fault) {
      tell(fault.faults?.length ? fault.faults.map((f) => `${f.where}: ${f.what} ${f.do}`).join(" ") : say("offline"));
    }
    return undefined;
  }
}
