// The planner, live: each change of a box asks for an answer at once; when the hand rests, for a closer one.
// Without this script the same form is sent by its button.
"use strict";
(() => {
  const form = document.getElementById("planner");
  if (!form) return;
  const REST_MS = 350;
  const planner = window.Trod.newId();
  const parts = (root) => root.querySelectorAll("[data-part]");
  let turn = 0, resting = 0, asking = null, closing = null, busy = false, again = false;

  form.classList.add("live");
  form.querySelectorAll("button.plainly").forEach((button) => { button.hidden = true; });

  // On a phone only what is moved most stands open, unless something is wrong in it.
  if (window.matchMedia("(max-width: 899px)").matches) {
    form.querySelectorAll("details.group[open]").forEach((group, i) => { if (i > 1 && !group.querySelector(".wrong")) group.open = false; });
  }

  // Sliders stand beside the boxes and follow them; a box left empty shows what is advised.
  const slides = [...form.querySelectorAll("input.slide")].map((slide) => ({ slide, box: document.getElementById(slide.dataset.for) }));
  function follow() {
    for (const { slide, box } of slides) {
      const value = box.value === "" ? box.placeholder : box.value;
      const unset = value === "" || Number.isNaN(Number(value));
      if (!unset && document.activeElement !== slide) slide.value = value;
      slide.classList.toggle("unset", unset);
      slide.classList.toggle("advised", box.value === "");
    }
  }
  for (const { slide, box } of slides) {
    slide.hidden = false;
    slide.addEventListener("input", () => { box.value = String(Number(Number(slide.value).toFixed(4))); changed(box); });
    slide.addEventListener("keydown", (event) => { if (event.key === "Enter") event.preventDefault(); });
  }
  // A free box gets a button that gives it back to the advice.
  form.querySelectorAll("input[data-free]").forEach((box) => {
    const note = document.getElementById(`${box.id}-free`);
    const button = document.createElement("button");
    button.type = "button";
    button.className = "quiet back";
    button.textContent = "as advised";
    button.setAttribute("aria-label", `${form.querySelector(`label[for=${box.id}]`).textContent.trim()}: as advised`);
    button.addEventListener("click", () => { box.value = ""; changed(box); box.focus(); });
    note.after(button);
    const show = () => { button.hidden = box.value === ""; note.hidden = box.value !== ""; };
    box.addEventListener("planner:told", show);
    show();
  });
  // Heading and angle are two ways of saying one thing: the one that was moved last counts.
  const heading = form.elements.heading_deg, angle = form.elements.angle_deg;
  function changed(box) {
    if (box === heading && heading.value !== "") angle.value = "";
    if (box === angle && angle.value !== "") heading.value = "";
    [box, heading, angle].forEach((one) => one?.dispatchEvent(new Event("planner:told")));
    if (box?.name === "feature") sort();
    ask();
  }
  const PASSED = ["trail", "road", "ford", "saddle", "fence"], STAYED = ["feeding", "lick", "water", "meadow"];
  function sort() {
    const feature = form.elements.feature.value;
    form.querySelectorAll("[data-when]").forEach((box) => {
      box.hidden = (box.dataset.when === "stay" && PASSED.includes(feature)) || (box.dataset.when === "pass" && STAYED.includes(feature));
    });
  }

  form.addEventListener("input", (event) => {
    const box = event.target;
    if (box.classList.contains("slide") || ["name", "over"].includes(box.name)) return;
    changed(box);
  });
  form.addEventListener("keydown", (event) => {
    if (event.key === "Enter" && event.target.matches("input") && event.target.name !== "name") { event.preventDefault(); ask(); }
    if (event.key === "Enter" && event.target.name === "name") { event.preventDefault(); form.querySelector("button.act").click(); }
  });

  function told() {
    const data = new FormData(form);
    data.set("planner", planner);
    data.set("turn", String(turn));
    return data;
  }
  // The address keeps what is told, so that going back, a bookmark and a reload find it again.
  function remember(data) {
    const kept = new URLSearchParams();
    let months = 0;
    for (const [name, value] of data) {
      if (value === "" || ["csrfmiddlewaretoken", "planner", "turn", "name", "over"].includes(name)) continue;
      if (name.startsWith("month_")) months += 1;
      kept.append(name, value);
    }
    if (months === 12) for (let i = 1; i <= 12; i += 1) kept.delete(`month_${i}`);
    if (data.get("over")) kept.append("over", data.get("over"));
    history.replaceState(null, "", `?${kept}`);
  }
  const open = new Map();
  form.addEventListener("toggle", (event) => { if (event.target.dataset?.key) open.set(event.target.dataset.key, event.target.open); }, true);
  function show(html) {
    const came = new DOMParser().parseFromString(html, "text/html");
    parts(came).forEach((part) => {
      parts(form).forEach((place) => {
        if (place.dataset.part !== part.dataset.part) return;
        const inside = place.contains(document.activeElement) ? document.activeElement.closest("[data-key]")?.dataset.key : null;
        part.querySelectorAll("details[data-key]").forEach((one) => { if (open.has(one.dataset.key)) one.open = open.get(one.dataset.key); });
        place.replaceChildren(...part.cloneNode(true).childNodes);
        if (inside) place.querySelector(`[data-key="${inside}"] > summary`)?.focus();
      });
    });
    const advised = form.querySelector("[data-part=advised] script");
    if (advised) for (const [name, value] of Object.entries(JSON.parse(advised.textContent))) if (form.elements[name]) form.elements[name].placeholder = value;
    const wrong = came.querySelector("[data-wrong]")?.dataset.wrong.split(" ") ?? [];
    form.querySelectorAll(".inputs input:not(.slide), .inputs select").forEach((box) => {
      if (wrong.includes(box.name)) box.setAttribute("aria-invalid", "true"); else box.removeAttribute("aria-invalid");
      box.closest(".input")?.classList.toggle("wrong", wrong.includes(box.name));
    });
    follow();
  }
  async function send(address, data, signal) {
    const answer = await fetch(address, { method: "POST", body: data, signal, credentials: "same-origin" });
    if (answer.status === 204) return null;
    if (answer.status !== 200 && answer.status !== 422) throw new Error(`the answer was ${answer.status}`);
    return { ok: answer.status === 200, html: await answer.text() };
  }
  // One question at a time: while one is under way, only the newest waits.
  async function ask() {
    turn += 1;
    clearTimeout(resting);
    closing?.abort();
    follow();
    if (busy) { again = true; return; }
    busy = true;
    try {
      do {
        again = false;
        asking = new AbortController();
        const data = told();
        const came = await send(form.dataset.answer, data, asking.signal);
        if (came) {
          show(came.html);
          form.classList.toggle("stale", !came.ok);
          if (came.ok) { remember(data); if (!again) rest(); }
        }
      } while (again);
    } catch (fault) { lost(fault); }
    busy = false;
  }
  function rest() {
    clearTimeout(resting);
    resting = setTimeout(close, REST_MS);
  }
  async function close() {
    const mine = turn;
    closing = new AbortController();
    form.classList.add("closing");
    try {
      const came = await send(form.dataset.closer, told(), closing.signal);
      if (came && mine === turn) {
        show(came.html);
        document.getElementById("told-now").textContent = form.querySelector("p.now [data-part=now]").textContent.trim();
        form.dataset.refined = String(mine);
      }
    } catch (fault) { if (fault.name !== "AbortError") lost(fault); }
    if (mine === turn) form.classList.remove("closing");
  }
  function lost(fault) {
    const place = form.querySelector("[data-part=problems]");
    const note = document.createElement("p");
    note.className = "errorlist";
    note.setAttribute("role", "alert");
    note.textContent = `No answer came (${fault.message}). What you told stands; change a box to ask again.`;
    place.replaceChildren(note);
  }

  // Where a drawing is wider than the screen, the camera stands in the middle of what is seen.
  const above = form.querySelector("figure[data-part=plan]");
  above.scrollLeft = (above.scrollWidth - above.clientWidth) / 2;
  follow();
  if (form.querySelector("[data-part=chances] h2")) rest();
})();
