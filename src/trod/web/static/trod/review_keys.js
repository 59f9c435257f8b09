"use strict";
/* What a key means in the review. Nothing here knows the page: it gets the facts of the event and of the page, and says
   what is to be done. */
(() => {
  const SIDES = {
    ArrowLeft: [-1, 0],
    ArrowRight: [1, 0],
    ArrowUp: [0, -1],
    ArrowDown: [0, 1],
    PageUp: [0, -1],
    PageDown: [0, 1],
  };
  const NEARER = 1.5;
  const BOUNCE_MS = 60;
  const NOTHING = { act: "" };

  const once = (event, meant) => (event.repeat ? NOTHING : meant); // a key that is held says a thing once

  function turning(event) {
    const low = event.key.toLowerCase();
    if (low === "z" && !event.shiftKey) return once(event, { act: "undo" });
    return low === "y" || low === "z" ? once(event, { act: "redo" }) : null;
  }

  function moving(event, here) {
    const [across, down] = SIDES[event.key];
    if (here.cross && event.key.startsWith("Arrow")) return { act: "cross by", with: [across, down, event.shiftKey] };
    if (across) return { act: "step", with: [across] };
    return once(event, { act: down > 0 ? "skip" : "back" });
  }

  /* A letter, a figure or a sign. */
  function saying(event, here, { classes, signs, thingOf }) {
    const { key } = event,
      low = key.toLowerCase();
    if (key === "+" || key === "-") return { act: "nearer", with: [key === "+" ? NEARER : 1 / NEARER] };
    if (event.repeat) return key.length === 1 ? NOTHING : null;
    if (event.shiftKey && classes[low] && /^[a-z]$/i.test(key)) return { act: "class", with: classes[low] };
    if (/^[0-9]$/.test(key)) return { act: "digit", with: [Number(key)] };
    const sign = key === "Dead" && event.code === "Quote" ? '"' : key; // where accents are typed by it
    if (signs[sign]) return { act: signs[sign] };
    const thing = event.shiftKey && key === " " ? undefined : thingOf(key) || thingOf(low);
    return thing ? { act: "say", with: [thing] } : null;
  }

  /* What this key is to do: {act, with}, {act: ""} when it is taken and does nothing, null when it is the browser's own.

     event : key, code, shiftKey, ctrlKey, metaKey, altKey, repeat, as a KeyboardEvent has them, with altGraph and
     isComposing. here : help (its sheet is open), typing (in a field), control, range, dot (what has the focus), keysOn
     (letters are keys), cross (it is shown). keys : classes, letter → [kind, value]; signs, sign → act; thingOf, key →
     what it says. */
  function keyMeaning(event, here, keys) {
    const { key } = event;
    if (here.help) return null;
    if ((event.ctrlKey || event.metaKey) && !event.altKey) return here.typing ? null : turning(event);
    if (event.altKey && !event.altGraph) return null;
    if (event.isComposing || here.typing) return null;
    if (here.control && (key === "Enter" || key === " ")) return null; // it means the control that has the focus
    if (here.range && key.startsWith("Arrow")) return null;
    if (here.dot && key === "Delete") return null;
    if (SIDES[key]) return moving(event, here);
    if (key === "Escape") return { act: "drop" };
    if (key === "Enter") return once(event, { act: "write" });
    if (key === "Backspace") return once(event, { act: "erase" });
    return here.keysOn ? saying(event, here, keys) : null;
  }

  /* A worn key bounces: whether this press of a key is the same press once more. last, now : {key, time} [ms]. */
  const isBounce = (last, now) => last.key === now.key && now.time - last.time < BOUNCE_MS;

  window.Trod = Object.assign(window.Trod || {}, { keyMeaning, isBounce });
})();
