// Says the day and its events under the pointer, and beyond today the chance that the camera still watches. The page's own table says the same to those without one.
"use strict";
(() => {
  const box = document.querySelector(".timelines");
  const told = document.getElementById("told");
  if (!box || !told) return;
  const days = Number(box.dataset.days);
  const first = Date.parse(`${box.dataset.first}T00:00:00Z`);
  const format = new Intl.DateTimeFormat("en-GB", { day: "numeric", month: "long", year: "numeric", timeZone: "UTC" });
  const hide = () => told.classList.remove("seen");
  box.addEventListener("pointermove", (event) => {
    const strip = event.target.closest?.(".strip");
    if (!strip) {
      hide();
      return;
    }
    strip.counts ??= strip.dataset.counts.split(",");
    strip.ahead ??= strip.dataset.ahead?.split(",") ?? [];
    const edge = strip.getBoundingClientRect();
    const day = Math.min(days - 1, Math.max(0, Math.floor(((event.clientX - edge.left) / edge.width) * days)));
    const name = strip.parentElement.querySelector(".who").textContent;
    const events = Number(strip.counts[day] || 0);
    const chance = strip.ahead[day - strip.counts.length];
    if (day >= strip.counts.length && chance === undefined) {
      hide();
      return;
    }
    const what =
      chance !== undefined
        ? `watches with a chance of ${chance} in 100`
        : events === 1
          ? "1 sequence"
          : `${events || "no"} sequences`;
    told.textContent = `${name}, ${format.format(first + day * 864e5)}: ${what}`;
    const around = box.getBoundingClientRect();
    const half = told.offsetWidth / 2;
    told.style.left = `${Math.min(around.width - half, Math.max(half, event.clientX - around.left))}px`;
    told.style.top = `${edge.bottom - around.top + 2}px`;
    told.classList.add("seen");
  });
  box.addEventListener("pointerleave", hide);
})();
