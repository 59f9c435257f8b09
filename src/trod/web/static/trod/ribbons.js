// Says the day and its events under the pointer. The page's own table says the same to those without one.
"use strict";
(() => {
  const box = document.querySelector(".ribbons");
  const told = document.getElementById("told");
  if (!box || !told) return;
  const days = Number(box.dataset.days);
  const first = Date.parse(`${box.dataset.first}T00:00:00Z`);
  const format = new Intl.DateTimeFormat("en-GB", { day: "numeric", month: "long", year: "numeric", timeZone: "UTC" });
  const hide = () => told.classList.remove("seen");
  box.addEventListener("pointermove", (event) => {
    const strip = event.target.closest?.(".strip");
    if (!strip) return hide();
    strip.counts ??= strip.dataset.counts.split(",");
    const edge = strip.getBoundingClientRect();
    const day = Math.min(days - 1, Math.max(0, Math.floor(((event.clientX - edge.left) / edge.width) * days)));
    const events = Number(strip.counts[day] || 0);
    const name = strip.parentElement.querySelector(".who").textContent;
    told.textContent = `${name}, ${format.format(first + day * 864e5)}: ${events === 1 ? "1 event" : `${events || "no"} events`}`;
    const around = box.getBoundingClientRect();
    const half = told.offsetWidth / 2;
    told.style.left = `${Math.min(around.width - half, Math.max(half, event.clientX - around.left))}px`;
    told.style.top = `${edge.bottom - around.top + 2}px`;
    told.classList.add("seen");
  });
  box.addEventListener("pointerleave", hide);
})();
