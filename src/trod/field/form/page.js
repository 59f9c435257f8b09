"use strict";
/* The field form's page at work: the notes (visits and their form) and the way home (file, upload, clearing). What it
   reads, tells and keeps by stands in the files beside. No text of anybody's is ever put into the page as HTML. */
(function () {
  const fieldForm = JSON.parse(document.getElementById("field-form-data").textContent);
  const $ = (id) => document.getElementById(id);
  const root = document.documentElement;
  const { Trod } = window;
  const { newId, instant, hour, full, dayOf, plural, megabytes } = Trod;
  const REPLY_MS = 90000;
  const BOUNCE_MS = 1500;

  /* What the reader at home takes: numbers as [low, high, kind], how much, how long. The house says it, so that what is
   taken here is taken there. */
  const {
    numbers: NUMBERS,
    photos: MOST_PHOTOS,
    photo_side: PHOTO_SIDE,
    photo_bytes: PHOTO_BYTES,
    walk_passes: MOST_PASSES,
    years: [FIRST_YEAR, LAST_YEAR],
  } = fieldForm.limits;
  const { read: readNumber, text: numberText } = Trod.numbers(fieldForm.length_unit_m);
  const UNIT = fieldForm.length_unit;
  const tellUnit = (mark) => {
    mark.textContent = UNIT;
    if (UNIT !== "m") mark.closest("label").querySelector("input").inputMode = "text"; // for feet and inches
  };
  const yearTaken = (when) => when.getFullYear() >= FIRST_YEAR && when.getFullYear() <= LAST_YEAR; // and it is a time at all

  function make(tag, words, marks) {
    const node = document.createElement(tag);
    if (words) node.textContent = words;
    for (const [name, value] of Object.entries(marks || {})) node.setAttribute(name, value);
    return node;
  }

  let store, writer;
  const marks = {};
  async function keepMark(key, value) {
    marks[key] = value;
    try {
      await store.put("marks", { key, value });
    } catch (problem) {
      /* a mark lost is a convenience lost */
    }
  }

  /* ---- Visits --------------------------------------------------------------------------------------------- */

  const NO_CAMERA = { deployment: "", name: "", card: "", utc_offset_min: null };
  const camerasOf = (stop) => (stop.cameras.length ? stop.cameras : [NO_CAMERA]);
  const notes = new Map(); // uuid -> {visit, base, dirty, busy, problem, node, savedAt}
  let photoBytes = 0;

  function freshVisit(stop, camera, outcome) {
    const now = instant(new Date());
    return {
      uuid: newId(),
      site: stop.site,
      deployment: camera.deployment,
      made_at: now,
      changed_at: now,
      revision: 0,
      outcome,
      at: now,
      withdrawn: false,
      by: marks.person || (fieldForm.people.length === 1 ? fieldForm.people[0] : ""),
      why_not: "",
      arrival: "unknown",
      harm: false,
      harm_note: "",
      battery_percent: null,
      batteries_changed: false,
      batteries: "",
      card_out: "",
      card_in: "",
      clock: { shown: null, true_at: null, photographed_at: null },
      walk_passes: [],
      changes: { height_m: null, tilt_deg: null, heading_deg: null, burst: null, delay_s: null, sensitivity: null },
      work: "",
      note: "",
      place: null,
      photos: [],
      drafts: {},
    };
  }

  function trouble(words) {
    $("trouble").textContent = words || "";
    $("trouble").hidden = !words;
  }

  const touch = (note) => writer.touch(note);

  async function takeOver(note) {
    const stored = await store.get("visits", note.visit.uuid);
    trouble(
      "This field form is open in two pages. What the other page kept is shown now; the last change made here was not taken. Go on in one page only.",
    );
    if (!stored) {
      notes.delete(note.visit.uuid);
      note.node.remove();
      tellStops();
      return;
    }
    note.visit = stored;
    note.base = stored.revision;
    note.dirty = false;
    note.savedAt = new Date(stored.changed_at);
    fill(note);
  }

  async function refresh() {
    let stored;
    try {
      stored = await store.all("visits");
    } catch (problem) {
      return;
    }
    for (const visit of stored) {
      const note = notes.get(visit.uuid);
      if (!note) show(adopt(visit));
      else if (visit.revision > note.base && !note.dirty && !note.busy) {
        note.visit = visit;
        note.base = visit.revision;
        note.savedAt = new Date(visit.changed_at);
        fill(note);
        tellSaved(note);
      }
    }
    tellStops();
  }

  function adopt(visit) {
    const note = Trod.noteOf(visit);
    notes.set(visit.uuid, note);
    return note;
  }

  const sentOf = (visit) => marks["sent/" + visit.uuid] || null;
  function homeWords(visit) {
    const sent = sentOf(visit);
    if (!sent) return "on this phone only";
    const said = (sent.how === "file" ? "put into a file " : "handed in ") + hour(new Date(sent.at));
    return sent.revision === visit.revision ? said : said + ", changed since";
  }
  const waits = (visit) => {
    const sent = sentOf(visit);
    return !sent || sent.revision !== visit.revision;
  };
  /* A file that was made is not home before somebody has read it in; this phone never learns of that. */
  const inFile = (visit) => !waits(visit) && sentOf(visit).how === "file";

  function tellSaved(note) {
    if (!note.node) return;
    const line = note.node.querySelector("[data-saved]");
    const lost = note.problem || store.kind === "nothing";
    line.classList.toggle("clay", Boolean(lost));
    line.textContent =
      store.kind === "nothing"
        ? "NOT kept on this phone: make a file before you close the page."
        : note.problem
          ? "NOT kept: " + note.problem + ". Trying again; do not close the page."
          : note.dirty
            ? "Writing…"
            : "Kept on this phone" + (note.savedAt ? " " + full(note.savedAt) : "") + " · " + homeWords(note.visit);
  }

  function tellStops() {
    let seen = 0;
    fieldForm.stops.forEach((stop, i) => {
      const line = document.querySelector('[data-state="' + (i + 1) + '"]');
      const here = [...notes.values()].map((n) => n.visit).filter((v) => v.site === stop.site && !v.withdrawn);
      line.hidden = false;
      line.className =
        "state live" + (here.length ? (here.some((v) => v.outcome === "visited") ? "" : " clay") : " open");
      const cameras = camerasOf(stop),
        left = cameras.filter((c) => !here.some((v) => v.deployment === c.deployment));
      if (here.length && (cameras.length === 1 || !left.length)) seen += 1;
      const of = (v) => (cameras.length > 1 ? cameraOf(v).name + " " : "");
      line.textContent = here.length
        ? here
            .map(
              (v) =>
                (v.outcome === "visited"
                  ? "✓ " + of(v) + "visited " + hour(new Date(v.at))
                  : "✗ " + of(v) + "not visited") +
                " · " +
                homeWords(v),
            )
            .join("; ") +
          (cameras.length > 1 && left.length ? "; nothing noted yet: " + left.map((c) => c.name).join(", ") : "")
        : "nothing noted yet";
    });
    const words =
      seen === fieldForm.stops.length
        ? "Something is noted at every stop."
        : "Noted at " + seen + " of " + plural(fieldForm.stops.length, "stop") + ".";
    if ($("progress").textContent !== words) $("progress").textContent = words;
    if (!$("home").hidden) tellHome();
  }

  /* ---- The form ------------------------------------------------------------------------------------------- */

  function dig(visit, path) {
    return path.split(".").reduce((o, k) => o[k], visit);
  }
  function set(visit, path, value) {
    const keys = path.split("."),
      last = keys.pop();
    keys.reduce((o, k) => o[k], visit)[last] = value;
  }

  const stopOf = (visit) => fieldForm.stops.find((s) => s.site === visit.site);
  /* The camera that a visit is to. One that this page does not know (the round was planned anew since) is told by its
   deployment, and nothing of another camera is taken for it. */
  const cameraOf = (visit) => {
    const stop = stopOf(visit),
      known = stop && camerasOf(stop).find((c) => c.deployment === visit.deployment);
    return known || { deployment: visit.deployment, name: visit.deployment, card: "", utc_offset_min: null };
  };
  /* Where a visit was, in words: the stop, and the camera where several hang or another one than the page knows. */
  function whereOf(visit) {
    const stop = stopOf(visit);
    if (!stop) return visit.site;
    const cameras = camerasOf(stop),
      alone = cameras.length === 1 && cameras[0].deployment === visit.deployment;
    return stop.name + (alone || !visit.deployment ? "" : ", " + cameraOf(visit).name);
  }

  /* Put the record's values into its form; used at the start and when another page has written. */
  function fill(note) {
    const { visit, node } = note,
      camera = cameraOf(visit),
      here = visit.outcome === "visited";
    const q = (sel) => node.querySelectorAll(sel);
    node.classList.toggle("withdrawn", visit.withdrawn);
    node.querySelector(".visit-h").textContent =
      (here ? "Visit, " : "Not visited, ") +
      dayOf(new Date(visit.at)) +
      " " +
      hour(new Date(visit.at)) +
      (visit.withdrawn ? " (withdrawn)" : "");
    node.querySelector("[data-part=form]").hidden = visit.withdrawn;
    node.querySelector("[data-part=not]").hidden = here;
    node.querySelector("[data-part=here]").hidden = !here;
    node.querySelector("[data-do=place]").hidden = !here;
    node.querySelector("[data-do=strike]").textContent = visit.withdrawn ? "Let it stand again" : "Withdraw this visit";
    for (const f of q("[data-text]")) f.value = dig(visit, f.dataset.text);
    for (const f of q("[data-select]")) f.value = dig(visit, f.dataset.select) || "";
    for (const f of q("[data-tick]")) f.checked = dig(visit, f.dataset.tick);
    for (const f of q("[data-radio]")) f.checked = dig(visit, f.dataset.radio) === f.value;
    for (const f of q("[data-number]")) {
      const path = f.dataset.number,
        draft = visit.drafts[path];
      f.value = draft === undefined ? numberText(dig(visit, path), NUMBERS[path]) : draft;
      judge(note, f, path, draft === undefined ? "" : readNumber(draft, NUMBERS[path]).fault);
    }
    const shown = visit.clock.shown;
    node.querySelector("[data-clock=day]").value =
      visit.drafts.clock_day || (shown ? shown.slice(0, 10) : dayOf(new Date()));
    node.querySelector("[data-clock=time]").value = visit.drafts.clock_time || (shown ? shown.slice(11) : "");
    node.querySelector("[data-when=day]").value = dayOf(new Date(visit.at));
    node.querySelector("[data-when=time]").value = hour(new Date(visit.at));
    for (const fold of q("details.fold")) {
      const used = fold.querySelector("[data-number^=changes]")
        ? Object.values(visit.changes).some((v) => v !== null)
        : fold.querySelector("[data-list=passes]")
          ? visit.walk_passes.length
          : 0;
      if (used || (fold.dataset.fold === "who" && !visit.by)) fold.open = true;
    }
    for (const s of q("[data-length]")) tellUnit(s);
    const out = node.querySelector("[data-do=card-out]");
    out.hidden = !camera.card;
    out.textContent = "Card " + camera.card + " came out";
    fillPasses(note);
    fillPhotos(note);
    tellForm(note);
    tellSaved(note);
  }

  /* The parts of a form that depend on others. */
  function tellForm(note) {
    const { visit, node } = note;
    for (const part of node.querySelectorAll("[data-show]")) part.hidden = !dig(visit, part.dataset.show);
    const said = (name, words) => {
      node.querySelector('[data-said="' + name + '"]').textContent = words;
    };
    said("clock", Trod.clockWords(visit.clock, cameraOf(visit).utc_offset_min));
    said(
      "photographed",
      visit.clock.photographed_at
        ? "Photographed at " + full(new Date(visit.clock.photographed_at)) + " by this phone."
        : "",
    );
    said(
      "place",
      visit.place
        ? "Noted: " +
            visit.place.latitude_deg.toFixed(5) +
            ", " +
            visit.place.longitude_deg.toFixed(5) +
            ", good to about " +
            Math.round(visit.place.accuracy_m) +
            " m."
        : "",
    );
    node.querySelector("[data-do=place]").textContent = visit.place ? "Note it anew" : "Note where this phone is";
  }

  let faultIds = 0;
  function judge(note, field, path, fault, told) {
    const line = told || note.node.querySelector('[data-fault="' + path + '"]');
    if (!line.id) line.id = "fault-" + (faultIds += 1);
    line.hidden = !fault;
    line.textContent = fault
      ? field.closest("label").firstChild.textContent.replace("(", "").trim() + ": " + fault
      : "";
    if (fault) {
      field.setAttribute("aria-invalid", "true");
      field.setAttribute("aria-describedby", line.id);
    } else {
      field.removeAttribute("aria-invalid");
      field.removeAttribute("aria-describedby");
    }
  }

  function typeNumber(note, field, path) {
    const got = readNumber(field.value, NUMBERS[path]);
    if (got.fault) {
      note.visit.drafts[path] = field.value.slice(0, 100);
    } // what was typed is kept on the phone, too
    else {
      delete note.visit.drafts[path];
      set(note.visit, path, got.value);
    }
    if (got.fault) set(note.visit, path, null);
    judge(note, field, path, got.fault || "");
    touch(note);
  }

  function fillPasses(note) {
    const list = note.node.querySelector("[data-list=passes]");
    list.replaceChildren(
      ...note.visit.walk_passes.map((pass, i) => {
        const row = $("t-pass").content.firstElementChild.cloneNode(true);
        const name = "pass-" + note.visit.uuid + "-" + i,
          draftKey = "pass." + pass.key;
        tellUnit(row.querySelector("[data-length]"));
        const distance = row.querySelector("[data-pass=distance_m]"),
          fault = row.querySelector(".fault");
        const draft = note.visit.drafts[draftKey];
        distance.value = draft === undefined ? numberText(pass.distance_m, NUMBERS.distance_m) : draft;
        if (draft !== undefined) {
          queueMicrotask(() => judge(note, distance, "", readNumber(draft, NUMBERS.distance_m).fault, fault));
        }
        distance.addEventListener("input", () => {
          const got = readNumber(distance.value, NUMBERS.distance_m);
          if (got.fault) {
            note.visit.drafts[draftKey] = distance.value.slice(0, 100);
            pass.distance_m = null;
          } else {
            delete note.visit.drafts[draftKey];
            pass.distance_m = got.value;
          }
          judge(note, distance, "", got.fault || "", fault);
          touch(note);
        });
        const way = row.querySelector("[data-pass=way]");
        way.value = pass.way;
        way.addEventListener("change", () => {
          pass.way = way.value;
          touch(note);
        });
        for (const f of row.querySelectorAll("[data-pass=picture]")) {
          f.name = name;
          f.checked = f.value === pass.picture;
          f.addEventListener("change", () => {
            pass.picture = f.value;
            touch(note);
          });
        }
        row.querySelector("[data-do=drop-pass]").addEventListener("click", () => {
          note.visit.walk_passes.splice(note.visit.walk_passes.indexOf(pass), 1);
          delete note.visit.drafts[draftKey];
          fillPasses(note);
          touch(note);
          note.node.querySelector("[data-do=pass]").focus();
        });
        return row;
      }),
    );
  }

  /* ---- Photos --------------------------------------------------------------------------------------------- */

  function shrink(file) {
    return new Promise((resolve, reject) => {
      const url = URL.createObjectURL(file),
        img = new Image();
      img.onerror = () => {
        URL.revokeObjectURL(url);
        reject(new Error("this browser cannot open “" + file.name.slice(0, 60) + "”; take it as JPEG"));
      };
      img.onload = () => {
        URL.revokeObjectURL(url);
        const scale = Math.min(1, PHOTO_SIDE / Math.max(img.naturalWidth, img.naturalHeight));
        const canvas = document.createElement("canvas");
        canvas.width = Math.max(1, Math.round(img.naturalWidth * scale));
        canvas.height = Math.max(1, Math.round(img.naturalHeight * scale));
        const pen = canvas.getContext("2d");
        pen.fillStyle = "#fff";
        pen.fillRect(0, 0, canvas.width, canvas.height);
        pen.drawImage(img, 0, 0, canvas.width, canvas.height);
        canvas.toBlob(
          (blob) => {
            if (!blob) {
              reject(new Error("no room in memory for this picture"));
              return;
            }
            const reader = new FileReader();
            reader.onload = () =>
              resolve({
                jpeg: reader.result.slice(reader.result.indexOf(",") + 1),
                width: canvas.width,
                height: canvas.height,
                bytes: blob.size,
              });
            reader.onerror = () => reject(reader.error);
            reader.readAsDataURL(blob);
          },
          "image/jpeg",
          0.82,
        );
      };
      img.src = url;
    });
  }

  /* The small store is small; the others hold what one file may bring home. */
  const roomForPhotos = () => (store.kind === "small store" ? 2e6 : PHOTO_BYTES);

  function tellPhotos(note, words) {
    const n = note.visit.photos.length;
    note.node.querySelector("[data-said=photos]").textContent =
      (words ? words + " " : "") +
      (n ? plural(n, "photo") + " here; " : "") +
      (photoBytes || n
        ? megabytes(photoBytes) + " of " + megabytes(roomForPhotos()) + " used by all photos of this field form."
        : "");
  }

  async function addPhotos(note, field) {
    const files = [...field.files];
    field.value = "";
    for (const file of files) {
      try {
        if (note.visit.photos.length >= MOST_PHOTOS) throw new Error("at most " + MOST_PHOTOS + " photos for a visit");
        tellPhotos(note, "Making it smaller…");
        const made = await shrink(file);
        if (photoBytes + made.bytes > roomForPhotos()) {
          throw new Error(
            "no room left: all photos of this field form may take " +
              megabytes(roomForPhotos()) +
              ". Hand the notes in, then take photos out",
          );
        }
        const photo = {
          uuid: newId(),
          taken_at: instant(new Date()),
          width: made.width,
          height: made.height,
          bytes: made.bytes,
        };
        await store.put("photos", { uuid: photo.uuid, visit: note.visit.uuid, jpeg: made.jpeg });
        note.visit.photos.push(photo);
        photoBytes += made.bytes;
        await touch(note);
        await fillPhotos(note);
      } catch (problem) {
        tellPhotos(note, "Photo NOT kept: " + (problem.message || problem.name) + ".");
        return;
      }
    }
    tellPhotos(note, "");
  }

  async function fillPhotos(note) {
    const list = note.node.querySelector("[data-list=photos]");
    const rows = [];
    for (const photo of note.visit.photos) {
      const kept = await store.get("photos", photo.uuid).catch(() => undefined);
      const row = make("li");
      if (kept) {
        row.append(
          make("img", "", {
            src: "data:image/jpeg;base64," + kept.jpeg,
            alt: "Photo of " + full(new Date(photo.taken_at)),
          }),
        );
      } else row.append(make("p", "This photo is no longer in the phone’s store."));
      const out = make("button", "Take out", { type: "button", class: "quiet" });
      out.addEventListener("click", async () => {
        if (!out.dataset.asked) {
          out.dataset.asked = "1";
          out.textContent = "Really take it out?";
          return;
        }
        note.visit.photos.splice(note.visit.photos.indexOf(photo), 1);
        await touch(note);
        if (!note.dirty) {
          await store.remove("photos", photo.uuid).catch(() => {});
          photoBytes -= photo.bytes;
        }
        await fillPhotos(note);
        tellPhotos(note, "Taken out.");
      });
      row.append(out);
      rows.push(row);
    }
    list.replaceChildren(...rows);
    tellPhotos(note, "");
  }

  /* ---- A visit on the page -------------------------------------------------------------------------------- */

  const boxOf = (i, k) => document.querySelector('[data-stop="' + (i + 1) + '"] [data-camera="' + (k + 1) + '"]');

  function show(note) {
    const i = fieldForm.stops.findIndex((s) => s.site === note.visit.site);
    if (i < 0) return note; // kept and exported all the same
    const k = Math.max(
      0,
      camerasOf(fieldForm.stops[i]).findIndex((c) => c.deployment === note.visit.deployment),
    );
    const box = boxOf(i, k);
    const node = (note.node = $("t-visit").content.firstElementChild.cloneNode(true));
    box.insertBefore(node, box.querySelector(".begin"));
    for (const f of node.querySelectorAll("[data-radio]")) f.name = f.dataset.radio + "-" + note.visit.uuid;
    const people = node.querySelector("[data-people]");
    for (const person of fieldForm.people) people.append(make("button", person, { type: "button" }));
    people.hidden = !fieldForm.people.length;
    bind(note);
    fill(note);
    tellBegin(i, k);
    return note;
  }

  function tellBegin(i, k) {
    const box = boxOf(i, k);
    const some = box.querySelector(".visit");
    box.querySelector("[data-do=visited]").textContent = some ? "I am here once more" : "I am here";
    box.querySelector("[data-do=visited]").classList.toggle("act", !some);
  }

  /* A place for the visits to each camera of a stop, with the buttons that begin one. */
  function setUp(stop, i) {
    const all = document.querySelector('[data-stop="' + (i + 1) + '"]'),
      cameras = camerasOf(stop);
    cameras.forEach((camera, k) => {
      const box = make("div", "", { "data-camera": k + 1 }),
        ask = $("t-begin").content.firstElementChild.cloneNode(true);
      if (cameras.length > 1) {
        const id = "camera-" + (i + 1) + "-" + (k + 1);
        box.append(make("h3", camera.name + " · " + camera.deployment, { id, class: "camera-h" }));
        box.setAttribute("role", "group");
        box.setAttribute("aria-labelledby", id);
      }
      box.append(ask);
      all.append(box);
      ask.querySelector("[data-do=visited]").addEventListener("click", () => begin(i, k, "visited"));
      ask.querySelector("[data-do=not-visited]").addEventListener("click", () => begin(i, k, "not visited"));
    });
  }

  function bind(note) {
    const { node } = note,
      on = (sel, event, act) => {
        for (const f of node.querySelectorAll(sel)) f.addEventListener(event, () => act(f));
      };
    const changed = () => {
      tellForm(note);
      touch(note);
    };
    on("[data-text]", "input", (f) => {
      set(note.visit, f.dataset.text, f.value);
      if (f.dataset.text === "by") keepMark("person", f.value);
      changed();
    });
    on("[data-select]", "change", (f) => {
      set(note.visit, f.dataset.select, f.value || null);
      changed();
    });
    on("[data-tick]", "change", (f) => {
      set(note.visit, f.dataset.tick, f.checked);
      changed();
    });
    on("[data-radio]", "change", (f) => {
      set(note.visit, f.dataset.radio, f.value);
      changed();
    });
    on("[data-number]", "input", (f) => typeNumber(note, f, f.dataset.number));
    on("[data-fill] button", "click", (b) => {
      const field = node.querySelector('[data-text="' + b.parentNode.dataset.fill + '"]');
      const before = field.value ? field.value.replace(/[.\s]*$/, ". ") : "";
      field.value = (before + b.textContent).slice(0, field.maxLength);
      field.dispatchEvent(new Event("input"));
    });
    on("[data-fill-number] button", "click", (b) => {
      const field = node.querySelector('[data-number="' + b.parentNode.dataset.fillNumber + '"]');
      field.value = b.value;
      field.dispatchEvent(new Event("input"));
    });
    on("[data-people] button", "click", (b) => {
      const f = node.querySelector("[data-text=by]");
      f.value = b.textContent.slice(0, f.maxLength);
      f.dispatchEvent(new Event("input"));
    });
    on("[data-do=card-out]", "click", () => {
      const f = node.querySelector("[data-text=card_out]");
      f.value = cameraOf(note.visit).card.slice(0, f.maxLength);
      f.dispatchEvent(new Event("input"));
    });
    on("[data-photo]", "change", (f) => addPhotos(note, f));
    on("[data-do=clock]", "click", () => openClock(note));
    on("[data-clock]", "input", (f) => {
      note.visit.drafts["clock_" + f.dataset.clock] = f.value.slice(0, 40);
      touch(note);
    });
    on("[data-do=now]", "click", () => {
      const now = new Date();
      const day = node.querySelector("[data-clock=day]"),
        time = node.querySelector("[data-clock=time]"),
        read = Trod.readClock(time.value);
      const fits = read && yearTaken(new Date(day.value));
      judge(
        note,
        time,
        "clock",
        fits ? "" : "needs the day, " + FIRST_YEAR + " to " + LAST_YEAR + ", and a time such as 14:05:30.",
      );
      if (!fits) {
        time.focus();
        return;
      }
      note.visit.clock.shown = day.value + "T" + read;
      note.visit.clock.true_at = instant(now);
      delete note.visit.drafts.clock_day;
      delete note.visit.drafts.clock_time;
      time.value = read;
      changed();
    });
    on("[data-do=pass]", "click", () => {
      if (note.visit.walk_passes.length >= MOST_PASSES) return;
      note.visit.walk_passes.push({ key: newId(), distance_m: null, way: "left to right", picture: "unknown" });
      fillPasses(note);
      touch(note);
      node.querySelector("[data-list=passes] li:last-child input").focus();
    });
    on("[data-when]", "change", () => {
      const when = new Date(
        node.querySelector("[data-when=day]").value + "T" + node.querySelector("[data-when=time]").value,
      );
      if (!yearTaken(when)) return;
      note.visit.at = instant(when);
      node.querySelector(".visit-h").textContent =
        (note.visit.outcome === "visited" ? "Visit, " : "Not visited, ") + dayOf(when) + " " + hour(when);
      changed();
    });
    on("[data-do=place]", "click", () => {
      const said = node.querySelector("[data-said=place]");
      if (!navigator.geolocation) {
        said.textContent = "This browser tells no place to a page.";
        return;
      }
      said.textContent = "Waiting for the phone…";
      navigator.geolocation.getCurrentPosition(
        (got) => {
          note.visit.place = {
            latitude_deg: got.coords.latitude,
            longitude_deg: got.coords.longitude,
            accuracy_m: Math.max(0, got.coords.accuracy),
            at: instant(new Date()),
          };
          changed();
        },
        (problem) => {
          said.textContent =
            "No place came: " + problem.message + ". A page from a file or over plain http may not ask on some phones.";
        },
        { enableHighAccuracy: true, timeout: 60000, maximumAge: 0 },
      );
    });
    on("[data-do=strike]", "click", () => {
      note.visit.withdrawn = !note.visit.withdrawn;
      fill(note);
      touch(note);
    });
  }

  let begunAt = 0,
    begunFor = "";
  async function begin(i, k, outcome) {
    const which = i + "/" + k;
    if (which === begunFor && Date.now() - begunAt < BOUNCE_MS) return; // a gloved tap bounces
    begunAt = Date.now();
    begunFor = which;
    const note = show(adopt(freshVisit(fieldForm.stops[i], camerasOf(fieldForm.stops[i])[k], outcome)));
    await touch(note);
    note.node.querySelector(".visit-h").focus({ preventScroll: true });
    note.node.scrollIntoView({ block: "start" });
  }

  /* ---- The clock ------------------------------------------------------------------------------------------ */

  let clockFor = null,
    clockTick = 0,
    awake = null;
  function openClock(note) {
    clockFor = note;
    $("clock").showModal();
    if (navigator.wakeLock) {
      navigator.wakeLock
        .request("screen")
        .then((lock) => {
          awake = lock;
          if (!clockFor) stopClock();
        })
        .catch(() => {});
    }
    const draw = () => {
      const now = new Date();
      $("clock-local").textContent = full(now);
      $("clock-day").textContent =
        dayOf(now) + ", this phone’s own time, " + Trod.offsetWords(-now.getTimezoneOffset());
      $("clock-utc").textContent = now.toISOString().slice(11, 19);
      clockTick = setTimeout(draw, 1000 - (Date.now() % 1000)); // on the second, so that the digits never lag
    };
    draw();
  }
  function stopClock() {
    clearTimeout(clockTick);
    if (awake) awake.release().catch(() => {});
    awake = clockFor = null;
  }
  $("clock").addEventListener("close", stopClock);
  $("clock-close").addEventListener("click", () => $("clock").close());
  $("clock-done").addEventListener("click", () => {
    const note = clockFor;
    if (note) {
      note.visit.clock.photographed_at = instant(new Date());
      tellForm(note);
      touch(note);
    }
    $("clock").close();
  });

  /* ---- The way home --------------------------------------------------------------------------------------- */

  function allVisits() {
    return [...notes.values()].map((n) => n.visit).sort((a, b) => (a.made_at < b.made_at ? -1 : 1));
  }

  function head(now) {
    return {
      trod: fieldForm.version,
      kind: fieldForm.kind,
      field_form: { id: fieldForm.id, made_at: fieldForm.made_at, reserve: fieldForm.reserve, round: fieldForm.round },
      phone: marks.phone,
      exported_at: instant(now),
    };
  }

  async function makeFile(now) {
    const open = JSON.stringify(head(now)).slice(0, -1) + ',"visits":[';
    const parts = [open],
      revisions = new Map();
    for (const visit of allVisits()) {
      const said = await writer.told(notes.get(visit.uuid));
      revisions.set(said.uuid, said.revision);
      parts.push((revisions.size > 1 ? ",\n" : "\n") + JSON.stringify(said));
    }
    parts.push("\n]}\n");
    const name = Trod.fileName(fieldForm.day, fieldForm.round, marks.phone, now);
    return { parts, name, revisions };
  }

  async function markSent(uuid, revision, how, now) {
    await keepMark("sent/" + uuid, { revision, how, at: instant(now) });
  }

  async function afterFile(made, now, words) {
    for (const [uuid, revision] of made.revisions) {
      const sent = marks["sent/" + uuid];
      if (!(sent && sent.how === "upload" && sent.revision === revision)) await markSent(uuid, revision, "file", now);
    }
    for (const note of notes.values()) tellSaved(note);
    tellStops();
    $("file-said").textContent = words;
  }

  async function withNotes(said, act) {
    if (!notes.size) {
      $(said).textContent = "Nothing is noted yet, so there is nothing to bring home.";
      return;
    }
    try {
      await act();
    } catch (problem) {
      if (problem.name === "AbortError") {
        $(said).textContent = "Not shared. Everything is still on this phone.";
        return;
      }
      $(said).textContent =
        "That did not work: " + (problem.message || problem.name) + ". Everything is still on this phone.";
    }
  }

  $("make-file").addEventListener("click", () =>
    withNotes("file-said", async () => {
      const now = new Date(),
        made = await makeFile(now),
        link = make("a", "", { download: made.name + ".json" });
      link.href = URL.createObjectURL(new Blob(made.parts, { type: "application/json" }));
      document.body.append(link);
      link.click();
      link.remove();
      setTimeout(() => URL.revokeObjectURL(link.href), 60000);
      await afterFile(
        made,
        now,
        plural(made.revisions.size, "visit") +
          " put into " +
          made.name +
          ".json. Look whether it lies among the phone’s downloads before you count on it.",
      );
    }),
  );

  function shareable() {
    if (!navigator.canShare) return null;
    for (const [ending, type] of [
      [".json", "application/json"],
      [".txt", "text/plain"],
    ]) {
      if (navigator.canShare({ files: [new File(["{}"], "a" + ending, { type })] })) return [ending, type];
    }
    return null;
  }
  $("share-file").addEventListener("click", () =>
    withNotes("file-said", async () => {
      const now = new Date(),
        made = await makeFile(now),
        [ending, type] = shareable();
      await navigator.share({ files: [new File(made.parts, made.name + ending, { type })] });
      await afterFile(made, now, plural(made.revisions.size, "visit") + " shared as " + made.name + ending + ".");
    }),
  );

  /* visit : as the writer tells it. */
  async function handIn(url, visit) {
    const waiter = new AbortController(),
      late = setTimeout(() => waiter.abort(), REPLY_MS);
    try {
      const body = JSON.stringify({ ...head(new Date()), visits: [visit] });
      const reply = await fetch(url, {
        method: "POST",
        body,
        signal: waiter.signal,
        mode: "cors",
        credentials: "omit",
        cache: "no-store",
        redirect: "error",
        referrerPolicy: "no-referrer",
        headers: { "Content-Type": "application/json", [fieldForm.token_header]: fieldForm.token },
      });
      return Trod.answerWords(reply, await reply.text(), visit.uuid);
    } catch (problem) {
      if (problem.name === "AbortError") throw new Error("No answer within " + REPLY_MS / 1000 + " s.");
      if (problem instanceof TypeError) {
        throw new Error("Nothing answered at " + url + ". Is this phone in that Wi-Fi, and does trod serve run there?");
      }
      throw problem;
    } finally {
      clearTimeout(late);
    }
  }

  $("upload").addEventListener("click", () =>
    withNotes("upload-said", async () => {
      const base = Trod.withScheme($("address").value.trim());
      let url;
      try {
        url = new URL(fieldForm.upload_path, base).href;
      } catch (problem) {
        $("upload-said").textContent = "Type the address that trod serve shows, such as http://192.168.4.1:8000.";
        $("address").focus();
        return;
      }
      const button = $("upload");
      button.disabled = true;
      $("upload-list").replaceChildren();
      try {
        await keepMark("address", base);
        let n = 0;
        for (const visit of allVisits()) {
          const said = await writer.told(notes.get(visit.uuid));
          $("upload-said").textContent = "Handing in " + (n + 1) + " of " + notes.size + "…";
          const came = await handIn(url, said);
          await markSent(visit.uuid, said.revision, "upload", new Date());
          n += 1;
          $("upload-list").append(make("li", whereOf(visit) + ", " + hour(new Date(visit.at)) + ": " + came));
        }
        $("upload-said").textContent = plural(n, "visit") + " handed in. Nothing was deleted here.";
      } finally {
        button.disabled = false;
        for (const note of notes.values()) tellSaved(note);
        tellStops();
      }
    }),
  );

  function tellHome() {
    const visits = allVisits(),
      open = visits.filter(waits).length,
      filed = visits.filter(inFile).length;
    const parts = [
      open ? open + " not brought home since the last change" : "",
      filed ? filed + " put into a file, which is home when somebody has read it in" : "",
    ].filter(Boolean);
    $("home-count").textContent = visits.length
      ? plural(visits.length, "visit") +
        " noted; " +
        (parts.join("; ") || "all handed in since their last change") +
        "."
      : "Nothing is noted yet.";
    $("home-list").replaceChildren(
      ...visits.map((v) => {
        const drafts = Object.keys(v.drafts).filter((k) => !k.startsWith("clock_")).length;
        return make(
          "li",
          whereOf(v) +
            ", " +
            dayOf(new Date(v.at)) +
            " " +
            hour(new Date(v.at)) +
            (v.withdrawn ? " (withdrawn)" : v.outcome === "visited" ? "" : " (not visited)") +
            " · " +
            homeWords(v) +
            (drafts && !v.withdrawn ? " · " + plural(drafts, "number") + " not understood, left out" : ""),
        );
      }),
    );
    $("kept").textContent =
      {
        database: "The notes are kept in this browser’s own database, under this field form alone.",
        "small store":
          "The browser’s database does not open here; the notes are kept in its small store, with room for few photos.",
        nothing: "This browser keeps nothing (a private window, perhaps). The notes are lost when the page closes.",
      }[store.kind] + (photoBytes ? " Photos: " + megabytes(photoBytes) + "." : "");
  }

  /* Clearing asks twice. */
  let clearStep = 0;
  function askClear(step) {
    clearStep = step;
    $("clear-ask").hidden = !step;
    if (!step) return;
    const open = allVisits().filter(waits).length,
      filed = allVisits().filter(inFile).length;
    $("clear-words").textContent =
      step === 1
        ? "This takes " +
          plural(notes.size, "visit") +
          " and their photos off this phone." +
          (open
            ? " " + plural(open, "of them has", "of them have") + " not been brought home since the last change."
            : "") +
          (filed
            ? " " +
              plural(filed, "of them is", "of them are") +
              " then in the file alone: see first that it is where you need it."
            : "") +
          " A file that was made is not touched."
        : "Asked for the second time: there is no way back." +
          (open ? " " + plural(open, "visit") + " will be lost for good." : "");
    $("clear-yes").textContent = step === 1 ? "Go on" : "Clear them for good";
    $("clear-words").focus();
  }
  $("clear-1").addEventListener("click", () => {
    $("clear-said").textContent = notes.size ? "" : "There is nothing to clear.";
    askClear(notes.size ? 1 : 0);
  });
  $("clear-no").addEventListener("click", () => {
    askClear(0);
    $("clear-said").textContent = "Kept.";
    $("clear-1").focus();
  });
  $("clear-yes").addEventListener("click", async () => {
    if (clearStep === 1) {
      askClear(2);
      return;
    }
    askClear(0);
    try {
      for (const note of notes.values()) {
        note.dirty = false;
        while (note.busy) await note.busy;
      }
      for (const photo of await store.all("photos")) await store.remove("photos", photo.uuid);
      for (const [uuid, note] of [...notes]) {
        await store.remove("visits", uuid);
        await store.remove("marks", "sent/" + uuid);
        delete marks["sent/" + uuid];
        if (note.node) note.node.remove();
        notes.delete(uuid);
      }
      photoBytes = 0;
      fieldForm.stops.forEach((stop, i) => camerasOf(stop).forEach((camera, k) => tellBegin(i, k)));
      $("clear-said").textContent = "Cleared.";
    } catch (problem) {
      $("clear-said").textContent = "Not all could be cleared: " + (problem.message || problem.name) + ".";
    }
    tellStops();
    tellHome();
    $("clear-1").focus();
  });

  /* ---- Leaves and bar ------------------------------------------------------------------------------------- */

  const views = [...document.querySelectorAll("main > .view")];
  function go(first) {
    const asked = location.hash.slice(1),
      view = views.find((v) => v.id === asked) || views[0];
    for (const v of views) v.hidden = v !== view;
    const n = view.id.startsWith("stop-") ? Number(view.id.slice(5)) : 0;
    const link = (id, to, possible) => {
      $(id).setAttribute("href", "#" + to);
      if (possible) $(id).removeAttribute("aria-disabled");
      else $(id).setAttribute("aria-disabled", "true");
    };
    link("go-before", n > 1 ? "stop-" + (n - 1) : "stops", n > 0);
    link(
      "go-next",
      "stop-" + Math.min(n + 1, fieldForm.stops.length),
      view.id !== "home" && n < fieldForm.stops.length,
    );
    for (const [id, here] of [
      ["go-stops", view.id === "stops"],
      ["go-home", view.id === "home"],
    ]) {
      if (here) $(id).setAttribute("aria-current", "page");
      else $(id).removeAttribute("aria-current");
    }
    if (view.id === "home") tellHome();
    if (!first) {
      scrollTo(0, 0);
      view.querySelector("h2").focus({ preventScroll: true });
      keepMark("last", view.id);
    }
  }
  for (const id of ["go-before", "go-next"]) {
    $(id).addEventListener("click", (event) => {
      if ($(id).hasAttribute("aria-disabled")) event.preventDefault();
    });
  }

  function theme(name) {
    root.dataset.theme = name;
    const dark = name === "night" || (name === "auto" && matchMedia("(prefers-color-scheme: dark)").matches);
    $("theme").textContent = dark ? "Day" : "Night";
    $("theme").dataset.to = dark ? "light" : "night";
  }
  $("theme").addEventListener("click", () => {
    theme($("theme").dataset.to);
    keepMark("theme", root.dataset.theme);
  });

  addEventListener("beforeunload", (event) => {
    if ([...notes.values()].some((n) => n.dirty || n.busy) || (store && store.kind === "nothing" && notes.size)) {
      event.preventDefault();
      event.returnValue = "";
    }
  });
  addEventListener("hashchange", () => go(false));
  document.addEventListener("visibilitychange", () => {
    if (!document.hidden && store && store.kind !== "nothing") refresh();
  });

  async function start() {
    $("no-script").hidden = true; // not <noscript>: a viewer may know scripts and still not run ours
    // Under the field form's own id: forms side by side do not mix.
    store = await Trod.openStore("trod-field-form-" + fieldForm.id, instant(new Date()));
    writer = new Trod.Writer({
      store,
      now: () => new Date(),
      later: (work, ms) => setTimeout(work, ms),
      behind: takeOver,
      changed: tellSaved,
      settled(note) {
        tellSaved(note);
        tellStops();
      },
    });
    for (const mark of await store.all("marks")) marks[mark.key] = mark.value;
    if (!marks.phone) await keepMark("phone", newId());
    theme(marks.theme || "auto");
    if (store.kind === "nothing") {
      trouble(
        "This browser keeps nothing here (a private window, perhaps). Open the field form in an ordinary window, or make a file before you close this page.",
      );
    }
    if (store.kind === "small store") {
      trouble(
        "The browser’s database does not open, so notes go into its small store: all words, few photos. Notes made here earlier may be in the database; close other pages and open this one once more to see them.",
      );
    }
    if (navigator.storage && navigator.storage.persist && store.kind === "database") {
      navigator.storage.persist().catch(() => {});
    }
    fieldForm.stops.forEach(setUp);
    const stored = (await store.all("visits")).sort((a, b) => (a.made_at < b.made_at ? -1 : 1));
    for (const visit of stored) for (const photo of visit.photos) photoBytes += photo.bytes;
    for (const visit of stored) show(adopt(visit));
    $("address").value = /^https?:$/.test(location.protocol)
      ? location.origin
      : marks.address || fieldForm.addresses[0] || "";
    $("share-file").hidden = !shareable();
    for (const part of document.querySelectorAll(".live:not(section)")) if (part.id !== "trouble") part.hidden = false;
    if (!location.hash && marks.last) history.replaceState(null, "", "#" + marks.last);
    go(true);
    tellStops();
    root.dataset.ready = "yes";
  }
  start().catch((problem) =>
    trouble(
      "The page could not start: " +
        (problem.message || problem) +
        ". Close it and open it once more; notes already kept are not touched.",
    ),
  );
})();
