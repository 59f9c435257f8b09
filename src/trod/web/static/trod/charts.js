// Draws a chart from its spec, in the colours of the theme, and again when the theme changes.
"use strict";
(() => {
  const dark = window.matchMedia("(prefers-color-scheme: dark)");
  const theme = () => {
    const asked = document.documentElement.dataset.theme;
    return asked === "night" || (asked !== "light" && dark.matches) ? "night" : "light";
  };
  // The place itself says what is drawn, and the table has the numbers; hundreds of marks are not read out.
  // No eval (ast), no menu of actions, nothing fetched: the numbers are in the spec.
  const options = () => ({
    ast: true,
    renderer: "svg",
    actions: false,
    mode: "vega-lite",
    logLevel: 1,
    loader: { load: () => Promise.reject(new Error("nothing is fetched")) },
  });

  async function draw(place) {
    const data = JSON.parse(document.getElementById(place.dataset.chart).textContent);
    if (!window.vegaEmbed) return;
    const now = theme();
    place.drawn?.finalize();
    place.textContent = "";
    const screen = document.createElement("div");
    screen.className = "on-screen";
    screen.setAttribute("aria-hidden", "true");
    place.append(screen);
    place.drawn = await window.vegaEmbed(
      screen,
      { ...data.spec, config: { ...data.themes[now], aria: false } },
      options(),
    );
    if (place.nextElementSibling?.classList.contains("on-paper")) return;
    // Paper has a width of its own and its own inks.
    const paper = document.createElement("div");
    paper.className = "on-paper";
    paper.setAttribute("aria-hidden", "true");
    place.after(paper);
    const sheet = document.createElement("div");
    paper.append(sheet);
    await window.vegaEmbed(
      sheet,
      {
        ...data.spec,
        width: 640,
        autosize: { type: "fit-x", contains: "padding" },
        config: { ...data.themes.paper, aria: false },
      },
      options(),
    );
  }

  const all = () =>
    document.querySelectorAll("[data-chart]").forEach((place) => {
      draw(place).catch((fault) => {
        place.textContent = "The chart could not be drawn; the numbers stand in the table below.";
        console.error(fault);
      });
    });
  all();
  dark.addEventListener("change", all);
  new MutationObserver(all).observe(document.documentElement, { attributeFilter: ["data-theme"] });
})();
