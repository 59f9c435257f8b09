// What every page shares. No build step, no framework: a little plain script on pages that work without it.
"use strict";
(() => {
  const menu = document.querySelector("details.menu");
  const narrow = window.matchMedia("(max-width: 859px)");
  const fit = () => {
    if (menu) menu.open = !narrow.matches;
  };
  fit();
  narrow.addEventListener("change", fit);

  // Anything with data-confirm asks before it is sent.
  document.addEventListener("submit", (event) => {
    const ask = event.target.dataset.confirm || event.submitter?.dataset.confirm;
    if (ask && !window.confirm(ask)) event.preventDefault();
  });
})();
