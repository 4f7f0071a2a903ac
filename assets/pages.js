// What helps the hand on every page. Without it everything works too.
"use strict";
(() => {
  // A form is sent once, however often its button is pressed.
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.dataset.sent) { event.preventDefault(); return; }
    if (form.method === "post") form.dataset.sent = "yes";
  });
  // A page that comes back from the browser's memory may send its forms again.
  addEventListener("pageshow", () => {
    for (const form of document.querySelectorAll("form[data-sent]")) delete form.dataset.sent;
  });
  // A box that ticks all others of its form.
  for (const all of document.querySelectorAll("input[data-ticks]")) {
    all.closest("[hidden]")?.removeAttribute("hidden");
    all.addEventListener("change", () => {
      for (const one of document.querySelectorAll(`input[name="${all.dataset.ticks}"]`)) one.checked = all.checked;
    });
  }
  // A list that shows itself as soon as something is chosen.
  for (const form of document.querySelectorAll("form[data-at-once]")) {
    form.addEventListener("change", (event) => { if (event.target.matches("select")) form.requestSubmit(); });
  }
})();
