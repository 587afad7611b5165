// What a page cannot do without a script of its own: go on to the next reading, show a slider's number, say that the server is gone.
(() => {
  "use strict";
  const each = (root, what, act) => root.querySelectorAll(what).forEach(act);
  const shows = (slider) => {
    const out = slider.parentElement.querySelector("output");
    if (out) out.textContent = `${slider.value} ${slider.dataset.shows}`;
  };
  document.addEventListener("input", (e) => { if (e.target.matches("[data-shows]")) shows(e.target); });
  document.addEventListener("reset", (e) => setTimeout(() => {
    each(e.target, "[data-shows]", shows);
    e.target.dispatchEvent(new Event("change", { bubbles: true }));
  }, 0));
  document.addEventListener("DOMContentLoaded", () => each(document, "[data-shows]", shows));
  document.addEventListener("htmx:load", (e) => each(e.target, "[data-shows]", shows));
  // The next reading: empty fields, the first in focus.
  document.addEventListener("htmx:afterRequest", (e) => {
    const form = e.target.closest("form[data-again]");
    if (form && e.detail.successful) {
      each(form, "input:not([type=hidden])", (one) => { one.value = ""; });
      form.querySelector("input:not([type=hidden])").focus();
    }
    document.getElementById("offline").hidden = true;
  });
  // Enter goes from speed to advance before it sends.
  document.addEventListener("keydown", (e) => {
    if (e.key !== "Enter" || !e.target.matches("form[data-again] input")) return;
    const open = [...e.target.form.querySelectorAll("input[required]")].find((one) => one.value === "");
    if (open && open !== e.target) { e.preventDefault(); open.focus(); }
  });
  // The file's answer instead of one's own.
  document.addEventListener("click", (e) => {
    const keep = e.target.closest("[data-keep]");
    if (keep) {
      const entry = keep.form.elements.value;
      entry.value = keep.dataset.keep;
      keep.form.requestSubmit();
    }
    const show = e.target.closest("[data-try-primary]");
    const form = document.getElementById("try");
    if (show && form) {
      const put = (name, value) => {
        const entry = form.elements[name];
        if (!entry) return;
        if (entry.tagName === "SELECT" && ![...entry.options].some((o) => o.value === value)) value = "";
        entry.value = value;
        if (entry.dataset.shows) shows(entry);
      };
      const base = document.querySelector("tr.best [data-try-primary]");
      for (const place of ["Primary", "Secondary"]) {
        put(`spring-${place.toLowerCase()}`, show.dataset[`try${place}`]);
        put(`bend-${place.toLowerCase()}`, (show.dataset[`bend${place}`] - base.dataset[`bend${place}`]).toFixed(2));
      }
      put("trim", (show.dataset.trim - base.dataset.trim).toFixed(2));
      form.dispatchEvent(new Event("change", { bubbles: true }));
      document.getElementById("tried").scrollIntoView({ block: "center" });
    }
  });
  for (const gone of ["htmx:sendError", "htmx:timeout"]) {
    document.addEventListener(gone, () => { document.getElementById("offline").hidden = false; });
  }
  // A refused answer is shown too: the server says in words what was wrong.
  document.addEventListener("htmx:beforeSwap", (e) => {
    if (e.detail.xhr.status >= 400) { e.detail.shouldSwap = false; document.getElementById("offline").hidden = false; }
  });
})();
