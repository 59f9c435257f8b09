// Small comforts of the Questions page; all of it works without.
"use strict";
(() => {
  const print = document.querySelector("button.print");
  if (print) {
    print.hidden = false;
    print.addEventListener("click", () => window.print());
  }
  // What is ticked is told in the sentence at once.
  document.querySelectorAll("details.choose").forEach((choose) => {
    const summary = choose.querySelector("summary");
    const { none, many } = choose.dataset;
    const tell = () => {
      const names = [...choose.querySelectorAll("input:checked")].map((box) => box.parentElement.textContent.trim());
      summary.textContent =
        names.length === 0 ? none : names.length <= 2 ? names.join(" and ") : `${names.length} ${many}`;
    };
    choose.addEventListener("change", tell);
    tell();
    choose.addEventListener("keydown", (event) => {
      if (event.key === "Escape" && choose.open) {
        choose.open = false;
        summary.focus();
      }
    });
  });
  document.addEventListener("click", (event) => {
    document.querySelectorAll("details.choose[open]").forEach((choose) => {
      if (!choose.contains(event.target)) choose.open = false;
    });
  });
  // Days left open are left out of the address.
  document.querySelector("form.blanks")?.addEventListener("submit", (event) => {
    event.target.querySelectorAll("input[type=date], select").forEach((field) => {
      if (!field.value || field.value === field.dataset.usual) field.disabled = true;
    });
  });
})();
