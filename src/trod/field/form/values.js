"use strict";
/* What the field form reads and tells: numbers and times as people type them, differences of clocks, names of files, what
   an answer means. Nothing here knows the page, the store or the network. */
(() => {
  const two = (n) => String(n).padStart(2, "0");
  const instant = (when) => when.toISOString();
  const hour = (when) => two(when.getHours()) + ":" + two(when.getMinutes());
  const full = (when) => hour(when) + ":" + two(when.getSeconds());
  const dayOf = (when) => when.getFullYear() + "-" + two(when.getMonth() + 1) + "-" + two(when.getDate());
  const plural = (n, one, more) => n + " " + (n === 1 ? one : more || one + "s");
  const megabytes = (bytes) => (bytes / 1e6).toFixed(1) + " MB";

  /* Lengths as people write them, each unit in metres: `3 ft 4 in`, `3'4"`, `1 1/2 in`, `120 cm`. What may follow a unit is
     the next smaller one; inches may go without their sign. The reader at home takes the same: tests/scripts/lengths.json. */
  const LENGTHS = { m: 1, km: 1000, cm: 0.01, mm: 0.001, ft: 0.3048, in: 0.0254 };
  const NAMES = { "'": "ft", "′": "ft", "’": "ft", foot: "ft", feet: "ft", '"': "in", "″": "in", "”": "in" };
  Object.assign(NAMES, { "''": "in", "′′": "in", "’’": "in", inch: "in", inches: "in" });
  const SMALLER = { ft: "in", m: "cm" };
  const MEASURE = /^(\d+ +\d+\/\d+|\d+\/\d+|\d+\.?\d*|\.\d+) *([^\d\s.+-]+)?\.? */;

  function metres(text) {
    const parts = [];
    for (let rest = text.toLowerCase(); rest;) {
      const found = MEASURE.exec(rest);
      if (!found) return NaN;
      const unit = NAMES[found[2]] || found[2] || (parts.length && parts[0].unit === "ft" ? "in" : "");
      const [over, under] = found[1].split(" ").pop().split("/");
      const whole = found[1].indexOf(" ") > 0 ? Number(found[1].split(" ")[0]) : 0;
      parts.push({ unit, value: whole + Number(over) / (under === undefined ? 1 : Number(under)) });
      rest = rest.slice(found[0].length);
    }
    const [first, second] = parts;
    if (!first || parts.length > 2 || parts.some((p) => !Object.prototype.hasOwnProperty.call(LENGTHS, p.unit))) {
      return NaN;
    }
    if (!second) return first.value * LENGTHS[first.unit];
    const fits = second.unit === SMALLER[first.unit] && second.value * LENGTHS[second.unit] < LENGTHS[first.unit];
    return fits ? first.value * LENGTHS[first.unit] + second.value * LENGTHS[second.unit] : NaN;
  }

  /* How numbers are read and shown. spec : [low, high, kind], where kind is "whole", "length" or nothing, as the reader at
     home has them; unit_m : the length of the unit in which this person writes lengths [m]. */
  function numbers(unit_m) {
    const factorOf = (spec) => (spec[2] === "length" ? unit_m : 1);
    return {
      /* What somebody typed as a number: {value} or {fault}. An empty field is null. */
      read(text, spec) {
        const bare = text.trim().replace(",", ".").replace("−", "-");
        if (!bare) return { value: null };
        const factor = factorOf(spec);
        const plain = /^[+-]?(\d+\.?\d*|\.\d+)$/.test(bare);
        const n = plain ? Number(bare) * factor : spec[2] === "length" ? metres(bare) : NaN;
        if (!(n >= spec[0] && n <= spec[1]) || (spec[2] === "whole" && n !== Math.round(n))) {
          // Rounded inwards: a limit that is told must be taken.
          const low = Math.ceil((spec[0] / factor) * 10) / 10,
            high = Math.floor((spec[1] / factor) * 10) / 10;
          const what = spec[2] === "whole" ? "whole number" : "number";
          return { fault: "Not taken yet: needs a " + what + " from " + low + " to " + high + "." };
        }
        return { value: Math.round(n * 1e6) / 1e6 };
      },
      text(value, spec) {
        return value === null ? "" : String(Math.round((value / factorOf(spec)) * 1000) / 1000);
      },
    };
  }

  /* A time of day with or without seconds, as hh:mm:ss; null when it is none. */
  function readClock(text) {
    const found = text.trim().match(/^(\d{1,2})[^\d]?(\d{2})(?:[^\d]?(\d{2}))?$/);
    if (!found || found[1] > 23 || found[2] > 59 || (found[3] || 0) > 59) return null;
    return two(Number(found[1])) + ":" + found[2] + ":" + (found[3] || "00");
  }

  function span(seconds) {
    const s = Math.abs(Math.round(seconds)),
      parts = [];
    for (const [size, name, most] of [
      [86400, "d", Infinity],
      [3600, "h", 24],
      [60, "min", 60],
      [1, "s", 60],
    ]) {
      const n = Math.floor(s / size) % most;
      if (n) parts.push(n + " " + name);
    }
    return parts.join(" ") || "0 s";
  }

  function offsetWords(min) {
    return "UTC" + (min < 0 ? "−" : "+") + Math.floor(Math.abs(min) / 60) + ":" + two(Math.abs(min) % 60);
  }

  /* By how much the camera's clock is ahead of the phone's [s]. shown : its reading, naive; true_at : the phone's instant
     then; utc_offset_min : what the camera's clock is meant to keep [min]. */
  const aheadS = (clock, utc_offset_min) =>
    (Date.parse(clock.shown + "Z") - Date.parse(clock.true_at)) / 1000 - 60 * utc_offset_min;

  function clockWords(clock, utc_offset_min) {
    if (!clock.shown || !clock.true_at) return "";
    const said = "Camera " + clock.shown.slice(11) + ", phone " + full(new Date(clock.true_at)) + ".";
    if (utc_offset_min === null) return said + " What its clock was set to is not known, so no difference is told.";
    const ahead = aheadS(clock, utc_offset_min);
    return (
      said +
      (Math.abs(ahead) < 1.5 ? " They agree" : " The camera is " + span(ahead) + (ahead > 0 ? " ahead" : " behind")) +
      ", if it is meant to keep " +
      offsetWords(utc_offset_min) +
      "."
    );
  }

  /* The name of a file with visits, without its ending. */
  function fileName(day, round, phone, now) {
    const bare = round
      .normalize("NFKD")
      .replace(/[\u0300-\u036f]/g, "")
      .toLowerCase(); // letters without their accents
    const plain = bare
      .replace(/[^a-z0-9]+/g, "-")
      .slice(0, 40)
      .replace(/^-+|-+$/g, "");
    const time = two(now.getHours()) + two(now.getMinutes()) + two(now.getSeconds());
    return ["trod-visits", day || dayOf(now), plain, phone.slice(0, 4), time].filter(Boolean).join("-");
  }

  /* The address that somebody typed, with a scheme; "" where nothing is typed. */
  const withScheme = (typed) => (typed && !/^https?:\/\//i.test(typed) ? "http://" + typed : typed);

  /* What an answer that is no yes means, and what to do. */
  function refusal(status, words) {
    const token = "it does not know this field form’s token. Make a new field form, or bring the file";
    const why = {
      401: token,
      403: token,
      404: "it takes no field forms at this address",
      413: "the visit is too big for it. Bring the file",
    }[status];
    return "That Trod said no (" + status + "): " + (words || why || "no reason given").replace(/\.$/, "") + ".";
  }

  /* What an answer says of one visit, in words; an Error unless it says that the visit is there. text : the answer's body. */
  function answerWords(reply, text, uuid) {
    let said = null;
    try {
      said = JSON.parse(text);
    } catch (problem) {
      /* told below */
    }
    if (!reply.ok) {
      throw new Error(refusal(reply.status, said && typeof said.error === "string" ? said.error.slice(0, 300) : ""));
    }
    if (!said || ![said.accepted, said.already, said.conflicts].every(Array.isArray)) {
      throw new Error("What answered there is no Trod that takes field forms.");
    }
    const doubts =
      Array.isArray(said.doubts) && said.doubts.length
        ? ". " + said.doubts.map((d) => String(d).slice(0, 300)).join(" ")
        : "";
    const conflict = said.conflicts.find((c) => c && c.uuid === uuid);
    if (conflict) return "there, and waits for a decision: " + String(conflict.words || "").slice(0, 300) + doubts;
    if (said.accepted.includes(uuid)) return "accepted" + doubts;
    if (said.already.includes(uuid)) return "already there" + doubts;
    throw new Error("That Trod did not name this visit in its answer; it is not counted as handed in.");
  }

  window.Trod = Object.assign(window.Trod || {}, {
    two,
    instant,
    hour,
    full,
    dayOf,
    plural,
    megabytes,
    numbers,
    readClock,
    span,
    offsetWords,
    aheadS,
    clockWords,
    fileName,
    withScheme,
    refusal,
    answerWords,
  });
})();
