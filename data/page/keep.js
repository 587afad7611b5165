"use strict";
// What is typed and ticked is kept in this browser, under the job's fingerprint: it never leaves it.
(() => {
  const under = "recurve: " + document.body.dataset.kept;
  const told = document.getElementById("kept");
  const say = (words) => { told.textContent = words; };
  let kept = {};
  const keep = () => {
    try {
      localStorage.setItem(under, JSON.stringify(kept));
      say("What you type is kept in this browser, for this job only.");
    } catch {
      say("This browser does not keep what you type: print the page before you close it.");
    }
  };
  try {
    kept = JSON.parse(localStorage.getItem(under)) || {};
  } catch {
    kept = {};
  }
  for (const part of document.querySelectorAll("section")) {
    [...part.querySelectorAll("input")].forEach((box, number) => {
      const name = part.id + " " + number;
      const held = box.type === "checkbox" ? "checked" : "value";
      if (name in kept) box[held] = kept[name];
      box.addEventListener("input", () => {
        kept[name] = box[held];
        keep();
      });
    });
  }
  keep();
})();
