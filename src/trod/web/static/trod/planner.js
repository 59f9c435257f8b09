// The planner, live: each change of a box asks for an answer at once; when the hand rests, for a closer one.
// Without this script the same form is sent by its button.
"use strict";
(() => {
  const form = document.getElementById("planner");
  if (!form) return;
  const { newId, Asking, keptQuery, boxNumber } = window.Trod;
  const planner = newId();
  const parts = (root) => root.querySelectorAll("[data-part]");

  form.classList.add("live");
  form.querySelectorAll("button.plainly").forEach((button) => {
    button.hidden = true;
  });

  // On a phone only what is moved most stands open, unless something is wrong in it.
  if (window.matchMedia("(max-width: 899px)").matches) {
    form.querySelectorAll("details.group[open]").forEach((group, i) => {
      if (i > 1 && !group.querySelector(".wrong")) group.open = false;
    });
  }

  // Sliders stand beside the boxes and follow them; a box left empty shows what is advised.
  const slides = [...form.querySelectorAll("input.slide")].map((slide) => ({
    slide,
    box: document.getElementById(slide.dataset.for),
  }));
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
    slide.addEventListener("input", () => {
      box.value = boxNumber(slide.value);
      changed(box);
    });
    slide.addEventListener("keydown", (event) => {
      if (event.key === "Enter") event.preventDefault();
    });
  }
  // A free box gets a button that gives it back to the advice.
  form.querySelectorAll("input[data-free]").forEach((box) => {
    const note = document.getElementById(`${box.id}-free`);
    const button = document.createElement("button");
    button.type = "button";
    button.className = "quiet back";
    button.textContent = "as advised";
    button.setAttribute("aria-label", `${form.querySelector(`label[for=${box.id}]`).textContent.trim()}: as advised`);
    button.addEventListener("click", () => {
      box.value = "";
      changed(box);
      box.focus();
    });
    note.after(button);
    const tell = () => {
      button.hidden = box.value === "";
      note.hidden = box.value !== "";
    };
    box.addEventListener("planner:told", tell);
    tell();
  });
  // Heading and angle are two ways of saying one thing: the one that was moved last counts.
  const heading = form.elements.heading_deg,
    angle = form.elements.angle_deg;
  function changed(box) {
    if (box === heading && heading.value !== "") angle.value = "";
    if (box === angle && angle.value !== "") heading.value = "";
    [box, heading, angle].forEach((one) => one?.dispatchEvent(new Event("planner:told")));
    if (box?.name === "feature") sort();
    follow();
    asking.ask();
  }
  // What says nothing at such a place is not shown there: the house knows which, place by place.
  const outOfPlace = JSON.parse(form.dataset.outOfPlace);
  function sort() {
    const out = outOfPlace[form.elements.feature.value] ?? [];
    form.querySelectorAll("[data-when]").forEach((box) => {
      box.hidden = out.includes(box.querySelector("[name]").name);
    });
  }

  form.addEventListener("input", (event) => {
    const box = event.target;
    if (box.classList.contains("slide") || ["name", "over"].includes(box.name)) return;
    changed(box);
  });
  form.addEventListener("keydown", (event) => {
    if (event.key === "Enter" && event.target.matches("input") && event.target.name !== "name") {
      event.preventDefault();
      follow();
      asking.ask();
    }
    if (event.key === "Enter" && event.target.name === "name") {
      event.preventDefault();
      form.querySelector("button.act").click();
    }
  });

  const open = new Map();
  form.addEventListener(
    "toggle",
    (event) => {
      if (event.target.dataset?.key) open.set(event.target.dataset.key, event.target.open);
    },
    true,
  );
  function show(html) {
    const came = new DOMParser().parseFromString(html, "text/html");
    parts(came).forEach((part) => {
      parts(form).forEach((place) => {
        if (place.dataset.part !== part.dataset.part) return;
        const inside = place.contains(document.activeElement)
          ? document.activeElement.closest("[data-key]")?.dataset.key
          : null;
        part.querySelectorAll("details[data-key]").forEach((one) => {
          if (open.has(one.dataset.key)) one.open = open.get(one.dataset.key);
        });
        place.replaceChildren(...part.cloneNode(true).childNodes);
        if (inside) place.querySelector(`[data-key="${inside}"] > summary`)?.focus();
      });
    });
    const advised = form.querySelector("[data-part=advised] script");
    if (advised) {
      for (const [name, value] of Object.entries(JSON.parse(advised.textContent))) {
        if (form.elements[name]) form.elements[name].placeholder = value;
      }
    }
    const wrong = came.querySelector("[data-wrong]")?.dataset.wrong.split(" ") ?? [];
    form.querySelectorAll(".inputs input:not(.slide), .inputs select").forEach((box) => {
      if (wrong.includes(box.name)) box.setAttribute("aria-invalid", "true");
      else box.removeAttribute("aria-invalid");
      box.closest(".input")?.classList.toggle("wrong", wrong.includes(box.name));
    });
    follow();
  }
  async function send(kind, turn, signal) {
    const data = new FormData(form);
    const query = keptQuery([...data]);
    data.set("planner", planner);
    data.set("turn", String(turn));
    const answer = await fetch(form.dataset[kind], { method: "POST", body: data, signal, credentials: "same-origin" });
    if (answer.status === 204) return null;
    if (answer.status !== 200 && answer.status !== 422) throw new Error(`the answer was ${answer.status}`);
    return { ok: answer.status === 200, html: await answer.text(), query };
  }
  const asking = new Asking({
    send,
    answered(came) {
      show(came.html);
      form.classList.toggle("stale", !came.ok);
      // The address keeps what is told, so that going back, a bookmark and a reload find it again.
      if (came.ok) history.replaceState(null, "", `?${came.query}`);
    },
    closer(came, turn) {
      show(came.html);
      document.getElementById("told-now").textContent = form.querySelector("p.now [data-part=now]").textContent.trim();
      form.dataset.refined = String(turn);
    },
    resting(on) {
      form.classList.toggle("closing", on);
    },
    failed: lost,
    later: (work, ms) => setTimeout(work, ms),
    cancel: clearTimeout.bind(window),
  });
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
  if (form.querySelector("[data-part=chances] h2")) asking.rest();
})();
