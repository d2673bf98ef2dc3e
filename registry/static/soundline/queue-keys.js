/* Single keys for the registrar's queue and result pages. Everything they do is a link or a button too.
   They can be switched off, are silent while somebody types, and never fire with a modifier key. */
"use strict";
(() => {
  const help = document.querySelector("[data-key-help]");
  if (!help) return;
  const store = "soundline-keys";
  const control = help.querySelector("[data-key-switch]");
  let on = localStorage.getItem(store) !== "off";
  const show = () => {
    help.hidden = false;
    control.textContent = on ? control.dataset.on : control.dataset.off;
    for (const key of help.querySelectorAll("kbd")) key.parentElement.hidden = !on;
  };
  control.addEventListener("click", () => {
    on = !on;
    localStorage.setItem(store, on ? "on" : "off");
    show();
  });
  show();

  const rows = [...document.querySelectorAll("[data-keys] tbody tr")];
  let place = -1;
  const move = (by) => {
    if (!rows.length) {
      const link = document.querySelector(`a[rel=${by > 0 ? "next" : "prev"}]`);
      if (link) link.click();
      return;
    }
    place = Math.min(Math.max(place + by, 0), rows.length - 1);
    rows[place].querySelector("a").focus();
  };
  const open = (key) => {
    const deed = document.querySelector(`[data-deed=${key}]`);
    if (!deed) return;
    if (deed.tagName === "DETAILS") deed.open = true;
    const first = deed.querySelector("textarea, button[type=submit]");
    if (first) first.focus();
  };
  const deeds = {
    j: () => move(1),
    k: () => move(-1),
    x: () => {
      const box = rows[place] && rows[place].querySelector("input[type=checkbox]");
      if (box) box.click();
    },
    "/": () => {
      const search = document.querySelector("#filter-q");
      if (search) search.focus();
    },
    a: () => open("a"),
    r: () => open("r"),
    d: () => open("d"),
    "?": () => help.scrollIntoView(),
  };
  document.addEventListener("keydown", (event) => {
    if (!on || event.ctrlKey || event.altKey || event.metaKey) return;
    if (event.target.closest("input:not([type=checkbox]), textarea, select")) return;
    const deed = deeds[event.key];
    if (deed) {
      event.preventDefault();
      deed();
    }
  });
})();
