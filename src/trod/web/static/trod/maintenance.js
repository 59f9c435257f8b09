// Locks: cover what was shown. Visits: hints that follow the camera chosen, and a key that keeps.
"use strict";
(() => {
  // A minute after numbers were shown they are covered again; so they are when the button is pressed.
  document.addEventListener("click", (event) => {
    if (event.target.matches("[data-cover]")) window.location.reload();
  });
  document.addEventListener("htmx:afterSwap", (event) => {
    if (event.target.querySelector?.("[data-cover]")) {
      event.target.querySelector("[data-cover]").focus();
      window.setTimeout(() => window.location.reload(), 60000);
    }
  });

  const sheet = document.querySelector("form.sheet");
  if (!sheet) return;
  const told = document.getElementById("standing");
  const standing = told ? JSON.parse(told.textContent) : {};
  const names = new Set(Object.values(standing).flatMap(Object.keys));
  const camera = sheet.elements.deployment;
  const hint = (name, words) => {
    const box = sheet.elements[name];
    const line = box && document.getElementById(`${box.id}_now`);
    if (line) line.textContent = words || "";
  };
  const follow = () => {
    const now = standing[camera?.value] || {};
    for (const name of names) hint(name, now[name]);
  };
  if (camera) {
    camera.addEventListener("change", follow);
    follow();
  }
  // Ctrl+Enter keeps from anywhere on the sheet.
  sheet.addEventListener("keydown", (event) => {
    if (event.key === "Enter" && (event.ctrlKey || event.metaKey)) {
      event.preventDefault();
      sheet.requestSubmit(sheet.querySelector("button.act"));
    }
  });
})();
