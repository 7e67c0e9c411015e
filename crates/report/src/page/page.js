"use strict";
// Selecting a hole anywhere selects it everywhere; printing opens what is folded.
(function () {
  const rows = Array.from(document.querySelectorAll("tr[data-hole]"));
  const listeners = [];
  function select(hole, from) {
    rows.forEach((row) => {
      const on = row.dataset.hole === hole;
      row.classList.toggle("selected", on);
      if (on) row.setAttribute("aria-current", "true"); else row.removeAttribute("aria-current");
    });
    listeners.forEach((listener) => listener(hole, from));
  }
  window.pilothole = { select, onSelect: (listener) => listeners.push(listener) };
  rows.forEach((row) => {
    row.addEventListener("click", () => select(row.dataset.hole, "table"));
    row.addEventListener("focusin", () => select(row.dataset.hole, "table"));
  });
  let opened = [];
  window.addEventListener("beforeprint", () => {
    opened = Array.from(document.querySelectorAll("details:not([open])"));
    opened.forEach((d) => { d.open = true; });
  });
  window.addEventListener("afterprint", () => { opened.forEach((d) => { d.open = false; }); });
})();
