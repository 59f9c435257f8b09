// The review: one event after another, one key for the commonest words.
//
// What is said is put into an outbox that outlives a reload, the next event is shown at once, and the outbox is sent
// in order behind the scenes. Each act has its own uuid, so sending twice does no harm. A key pressed before the
// picture could be seen says nothing by itself: it waits on the written line for Enter.
"use strict";
(() => {
  const data = JSON.parse(document.getElementById("look-data").textContent);
  const $ = (id) => document.getElementById(id);
  const pane = $("pane"), fit = $("fit"), shown = $("shown"), dotsLayer = $("dots"), cross = $("cross");
  const csrf = JSON.parse(document.body.getAttribute("hx-headers") || "{}")["X-CSRFToken"] || "";

  const AHEAD_VIEWS = 4, AHEAD_STRIPS = 1, REFILL_BELOW = 9, FRAMES_LOADED = 12;
  const BOUNCE_MS = 60, PAUSE_MS = 5 * 60 * 1000, PLAY_MS = 380;

  // What can be said ----------------------------------------------------------------------------------------------

  const things = new Map();   // "animal:red-fox" or "blank" → {what, species, name, key, also}
  const byKey = new Map();
  // A kind that is on no list yet has no slug: it is known by the name it is said by.
  const idOf = (of) => of.species ? `animal:${of.species}` : of.named ? `named:${of.named.toLowerCase()}` : of.what;
  for (const thing of [...data.others, ...data.animals, ...data.kinds]) {
    things.set(idOf(thing), thing);
    if (thing.key) byKey.set(thing.key, thing);
  }
  const nameOf = (line) => line.species || line.named ? (things.get(idOf(line))?.name || line.name || line.species || line.named) : line.what;
  const AGES = { juvenile: "young" };

  function tell(lines, note) {   // the same sentence as trod.catalogue.identifications.identifications.tell_lines
    const groups = new Map();
    for (const line of lines) {
      const label = line.species || line.named ? nameOf(line) : line.what === "animal" ? "animal, kind not told" : line.what;
      const classes = [line.sex, line.life_stage].filter((c) => c && c !== "unknown").map((c) => AGES[c] || c).join(", ");
      if (!groups.has(label)) groups.set(label, []);
      groups.get(label).push({ what: line.what, count: line.count, classes });
    }
    const parts = [];
    for (const [label, rows] of groups) {
      if (rows[0].what === "blank" || rows[0].what === "unknown") { parts.push(label); continue; }
      const told = rows.filter((r) => r.classes);
      let text = `${rows.reduce((n, r) => n + r.count, 0)} × ${label}`;
      if (rows.length === 1 && told.length) text += ` (${told[0].classes})`;
      else if (told.length) text += ` (${told.map((r) => `${r.count} ${r.classes}`).join("; ")})`;
      parts.push(text);
    }
    return [parts.join(", "), note].filter(Boolean).join("; ");
  }

  // State -----------------------------------------------------------------------------------------------------------

  const order = [];            // cards in the order they are shown
  let at = -1;                 // index of the card on the page
  let ended = data.ended;      // the queue has no further events
  let tail = 0;                // id of the last card that came from the queue
  let frame = 0;
  let seen = false;            // the picture of this card has been painted
  let pen = null;              // what is being written
  const undoable = data.own.undo, redoable = data.own.redo;
  let lastKey = { key: "", time: -1e9 };

  const freshPen = () => ({ count: 0, sex: "unknown", age: "unknown", lines: [], dots: [], several: false, note: "", held: null, chosen: -1, amend: null });
  const card = () => order[at];

  // Kept over a reload: acts not sent yet, acts the house refused, and the sitting's pace.
  const store = {
    get(name, usual) { try { return JSON.parse(sessionStorage.getItem(`trod-look-${name}`)) ?? usual; } catch { return usual; } },
    set(name, value) { try { sessionStorage.setItem(`trod-look-${name}`, JSON.stringify(value)); } catch { /* full or forbidden: still in memory */ } },
  };
  const outbox = store.get("outbox", []);
  const refused = store.get("refused", []);
  const sitting = store.get("sitting", { said: 0, ms: 0, last: 0 });
  const uuid = window.Trod.newId;

  // Pictures --------------------------------------------------------------------------------------------------------

  const pool = new Map();      // sha → {element, ready, whenReady}
  const address = (sha, size) => `${data.pictures}${sha}/${size}${data.shown ? "?shown=1" : ""}`;

  function load(f, alt) {
    let entry = pool.get(f.sha);
    if (entry) return entry;
    entry = { ready: false };
    if (f.clip) {
      const clip = document.createElement("video");
      Object.assign(clip, { muted: true, loop: true, playsInline: true, preload: "auto", src: address(f.sha, "original") });
      clip.setAttribute("aria-label", alt);
      entry.element = clip;
      entry.whenReady = new Promise((done) => {
        clip.addEventListener("loadeddata", done, { once: true });
        clip.addEventListener("error", () => { entry.failed = "This clip cannot be shown here; open the original."; done(); }, { once: true });
      });
    } else {
      const image = new Image();
      image.alt = alt;
      image.draggable = false;
      image.decoding = "sync";
      image.src = address(f.sha, "view");
      entry.element = image;
      entry.whenReady = image.decode().catch(() => { entry.failed = "This picture could not be loaded."; });
    }
    entry.whenReady.then(() => { entry.ready = true; });
    pool.set(f.sha, entry);
    return entry;
  }

  function loadAhead() {
    const keep = new Set();
    const want = (c, most) => {
      if (!c) return;
      const frames = [c.frames[c.first], ...c.frames].filter(Boolean).slice(0, most);
      for (const f of frames) { keep.add(f.sha); load(f, altOf(c, f)); }
    };
    want(card(), FRAMES_LOADED);
    for (let i = 1, found = 0; found < AHEAD_VIEWS && at + i < order.length; i += 1) {
      if (order[at + i].done) continue;
      want(order[at + i], found < AHEAD_STRIPS ? 6 : 1);
      found += 1;
    }
    want(order[at - 1], 1);
    for (const sha of pool.keys()) if (!keep.has(sha)) { const e = pool.get(sha); if (e.element.pause) { e.element.pause(); e.element.removeAttribute("src"); } pool.delete(sha); }
  }

  const altOf = (c, f) => `${c.short}, ${c.withheld ? "withheld from you" : c.person && !data.shown ? "a person or vehicle: hidden" : `picture ${f.name}`}`;

  // Showing ---------------------------------------------------------------------------------------------------------

  let pressedAt = 0;           // when the key that brought this card was pressed
  let painting = 0;

  function show(index) {
    at = index;
    pen = penOf(card());
    seen = false;
    painting += 1;
    stopPlaying();
    zoomTo(1);
    closeCross();
    $("note-row").hidden = !pen.note;
    $("note").value = pen.note;
    const c = card();
    frame = c ? c.first : 0;
    drawCard();
    drawLine();
    if (c) showFrame();
    else pane.classList.toggle("waiting", !ended);
    later(loadAhead);
    later(refill);
    remember();
  }

  const later = (work) => setTimeout(work, 0);

  function showFrame() {
    const c = card(), mine = painting, f = c.frames[frame];
    $("original").href = f ? address(f.sha, "original") : "#";
    drawFrameNumber();
    markStrip();
    const note = $("pane-note");
    if (!f) {
      shown.replaceChildren();
      note.textContent = "None of this event's pictures is in the catalogue.";
      note.hidden = false;
      painted(mine);
      return;
    }
    const entry = load(f, altOf(c, f));
    const swap = () => {
      if (mine !== painting || c !== card() || f !== c.frames[frame]) return;
      pane.classList.remove("waiting");
      note.hidden = !entry.failed;
      note.textContent = entry.failed || "";
      shown.replaceChildren(entry.element);
      sizeFit(entry.element, f);
      drawDots();
      painted(mine);
    };
    if (entry.ready) swap();
    else {
      if (!seen) pane.classList.add("waiting");
      entry.whenReady.then(swap);
    }
  }

  function painted(mine) {
    if (seen) return;
    requestAnimationFrame(() => requestAnimationFrame(() => {
      if (mine !== painting || seen) return;
      seen = true;
      pane.dataset.event = card() ? card().id : "";
      document.dispatchEvent(new CustomEvent("trod:seen", { detail: { event: card()?.id, ms: performance.now() - pressedAt } }));
      if (pen.held) drawLine();
    }));
  }

  // The picture lies in `fit`, which has its very shape, so that dots can be placed in parts of it.
  let shape = 4 / 3;
  function sizeFit(element, f) {
    const wide = element.naturalWidth || element.videoWidth || f.wide || 4, high = element.naturalHeight || element.videoHeight || f.high || 3;
    reshape(wide / high);
  }
  function reshape(to) {   // the plate takes the picture's own shape
    shape = to;
    pane.style.setProperty("--shape", to.toFixed(4));
    paneWide = pane.clientWidth;
    paneHigh = pane.clientHeight;
    layFit();
  }
  let zoom = 1, panX = 0, panY = 0;
  let paneWide = 0, paneHigh = 0;
  function layFit() {
    const wide = Math.min(paneWide, paneHigh * shape), high = wide / shape;
    fit.style.width = `${wide}px`;
    fit.style.height = `${high}px`;
    const overX = wide * zoom - paneWide, overY = high * zoom - paneHigh;
    panX = overX > 0 ? Math.min(0, Math.max(-overX, panX)) : -overX / 2;
    panY = overY > 0 ? Math.min(0, Math.max(-overY, panY)) : -overY / 2;
    fit.style.transform = `translate(${panX}px, ${panY}px) scale(${zoom})`;
    fit.style.setProperty("--back", 1 / zoom);
  }
  new ResizeObserver(() => { paneWide = pane.clientWidth; paneHigh = pane.clientHeight; layFit(); }).observe(pane);

  function zoomTo(z, x = pane.clientWidth / 2, y = pane.clientHeight / 2) {
    const next = Math.min(8, Math.max(1, z));
    if (next === zoom && next === 1) return;
    panX = x - (x - panX) * (next / zoom);
    panY = y - (y - panY) * (next / zoom);
    zoom = next;
    pane.classList.toggle("near", zoom > 1);
    layFit();
    if (zoom > 1.5) sharpen();
  }
  function sharpen() {   // the original, laid over the view once somebody comes near
    const c = card(), f = c?.frames[frame];
    if (!f || f.clip || shown.querySelector(`[data-sharp="${f.sha}"]`)) return;
    const sharp = new Image();
    sharp.dataset.sharp = f.sha;
    sharp.alt = "";
    sharp.src = address(f.sha, "original");
    sharp.decode().then(() => { if (c === card() && f === c.frames[frame]) shown.append(sharp); }).catch(() => {});
  }

  function drawCard() {
    const c = card();
    const strip = $("strip");
    if (!c) {
      $("caption").textContent = ended ? "The end of this queue." : "";
      strip.replaceChildren();
      $("story").hidden = true;
      if (ended) drawEnd();
      return;
    }
    $("caption").textContent = c.sentence;
    strip.replaceChildren(...c.frames.map((f, i) => {
      const item = document.createElement("li"), button = document.createElement("button"), image = new Image(), after = document.createElement("span");
      image.loading = "lazy";
      image.decoding = "async";
      image.src = address(f.sha, "thumb");
      image.alt = `Frame ${i + 1}`;
      after.textContent = i === 0 ? "first" : `+${f.after_s < 10 ? f.after_s.toFixed(1) : Math.round(f.after_s)} s`;
      button.type = "button";
      button.append(image, after);
      button.addEventListener("click", () => step(i - frame));
      item.append(button);
      return item;
    }));
    if (c.whole > c.frames.length) {
      const rest = document.createElement("li");
      rest.className = "rest";
      rest.textContent = `${c.frames.length} of ${c.whole} frames, evenly chosen`;
      strip.append(rest);
    }
    strip.scrollTo(0, 0);
    strip.hidden = c.frames.length === 0;
    drawStory(c);
    $("people-row").hidden = !(c.person || data.shown) || c.withheld;
    $("withheld").hidden = !c.withheld;
    $("people-back").value = `${data.urls.look}${c.id}${data.queue ? `?${data.queue}` : ""}`;
    orderTabs(c.site_id);
  }

  function drawEnd() {
    const sheet = document.createElement("div");
    sheet.className = "done-sheet";
    const skipped = order.filter((c) => !c.done).length;
    const lines = [`That was the last event of this queue.`, `${sitting.said} said in this sitting${skipped ? `; ${skipped} skipped here` : ""}.`];
    for (const text of lines) { const p = document.createElement("p"); p.textContent = text; sheet.append(p); }
    const back = document.createElement("a");
    back.href = data.urls.look;
    back.textContent = "Choose another queue";
    const p = document.createElement("p");
    p.append(back);
    sheet.append(p);
    reshape(4 / 3);
    shown.replaceChildren(sheet);
    dotsLayer.replaceChildren();
    $("frame-no").textContent = "";
    pane.classList.remove("waiting");
  }

  function drawStory(c) {
    const story = $("story"), list = $("words");
    story.hidden = !c.words.length && !c.hidden && !c.suggestion;
    list.replaceChildren();
    const row = (className, ...bits) => {
      const item = document.createElement("li");
      item.className = className;
      item.append(...bits);
      list.append(item);
    };
    if (c.hidden) row("closed", `${c.hidden === 1 ? "Another person's word is" : `${c.hidden} words of others are`} closed until you have said yours.`);
    for (const w of c.words) {
      const q = document.createElement("q");
      q.textContent = w.text;
      row(w.undone ? "undone" : "", `${w.by}, ${w.when}: `, q, w.undone ? ` – ${w.undone}` : w.stands ? " – stands" : "");
    }
    if (c.suggestion) row("suggestion", `The machine's suggestion: ${c.suggestion}. Nobody's word.`);
  }

  function drawFrameNumber() {
    const c = card();
    const many = c.frames.length;
    $("frame-no").textContent = many > 1 ? `frame ${frame + 1} of ${many}` : "";
  }
  function markStrip() {
    const buttons = $("strip").querySelectorAll("button");
    buttons.forEach((b, i) => { if (i === frame) { b.setAttribute("aria-current", "true"); } else b.removeAttribute("aria-current"); });
    const here = buttons[frame];
    if (here && frame) here.parentElement.scrollIntoView({ block: "nearest", inline: "nearest" });
  }

  let tabsOf = null;
  function orderTabs(site) {
    if (tabsOf === site || document.activeElement === $("find")) return;
    tabsOf = site;
    const wanted = [...(data.usual[site] || []), ...(data.usual[0] || [])];
    const rank = new Map(); wanted.forEach((slug, i) => { if (!rank.has(slug)) rank.set(slug, i); });
    const box = $("animals");
    const tabs = [...box.children].sort((a, b) =>
      (rank.get(a.dataset.species) ?? 1e6) - (rank.get(b.dataset.species) ?? 1e6) || a.querySelector("span").textContent.localeCompare(b.querySelector("span").textContent));
    if (tabs.some((tab, i) => tab !== box.children[i])) box.append(...tabs);
  }

  function step(by) {
    const c = card();
    if (!c || !c.frames.length) return;
    frame = Math.min(c.frames.length - 1, Math.max(0, frame + by));
    showFrame();
  }

  let player = 0;
  function play() {
    const c = card();
    if (player) { stopPlaying(); return; }
    const clip = shown.querySelector("video");
    pressed("play", true);
    if (clip) { player = -1; clip.play().catch(() => stopPlaying()); return; }
    if (!c || c.frames.length < 2) { stopPlaying(); say$("One frame only: nothing to play."); return; }
    player = setInterval(() => {
      const next = (frame + 1) % c.frames.length;
      const entry = load(c.frames[next], altOf(c, c.frames[next]));
      if (entry.ready) { frame = next; showFrame(); }
    }, PLAY_MS);
  }
  function stopPlaying() {
    if (player > 0) clearInterval(player);
    if (player < 0) shown.querySelector("video")?.pause();
    player = 0;
    pressed("play", false);
  }
  const pressed = (name, on) => { const b = document.querySelector(`[data-do="${name}"]`); if (b) b.setAttribute("aria-pressed", String(on)); };

  // The written line --------------------------------------------------------------------------------------------------

  const say$ = (text) => { $("told").textContent = text; };

  function drawLine() {
    const line = $("line");
    const bits = [];
    if (pen.amend) bits.push(amendWords());
    if (pen.lines.length) bits.push(tell(pen.lines, ""));
    if (pen.several) bits.push("and …");
    const loose = looseDots();
    if (loose.length) bits.push(`${loose.length} ${loose.length === 1 ? "dot" : "dots"}: of what?`);
    if (pen.count && pen.count > loose.length && !pen.amend) bits.push(`${pen.count} ×`);
    if (!loose.length && !pen.amend) { const c = classWords(pen.sex, pen.age); if (c) bits.push(c); }
    line.textContent = bits.join(" ");
    if (pen.note) line.textContent += `${bits.length ? "; " : ""}note: ${pen.note}`;
    if (pen.held) {
      const held = document.createElement("span");
      held.className = "held";
      held.textContent = `${pen.held.name}? The key came before the picture. Enter writes it, Esc drops it.`;
      line.replaceChildren(held);
    }
    const stands = pen.amend && !pen.held && !touched();
    $("write").hidden = !(pen.held || pen.lines.length || pen.amend);
    $("write").querySelector("span").textContent = stands ? (pen.amend.mine ? "Leave it" : "Agree") : "Write";
    $("count").textContent = pen.count || (pen.amend ? amounts().reduce((n, l) => n + l.count, 0) : Math.max(1, loose.length));
    document.querySelectorAll("[data-sex]").forEach((b) => b.setAttribute("aria-pressed", String(b.dataset.sex === pen.sex)));
    document.querySelectorAll("[data-age]").forEach((b) => b.setAttribute("aria-pressed", String(b.dataset.age === pen.age)));
    pressed("several", pen.several);
  }
  const classWords = (sex, age) => [sex, age].filter((c) => c !== "unknown").map((c) => AGES[c] || c).join(", ");
  const looseDots = () => pen.dots.filter((d) => d.line === undefined && d.of === undefined);

  // What stands, to be agreed with or changed: each dot knows what it is of, `rest` counts the animals without a dot.
  function penOf(c) {
    const fresh = freshPen();
    if (!c?.standing || c.withheld) return fresh;
    const { lines, by, text, note } = c.standing;
    const rest = [];
    for (const line of lines) {
      const of = idOf(line);
      if (!things.has(of)) things.set(of, { what: line.what, species: line.species, named: line.named, name: line.name || line.species || line.what });
      const sex = line.sex || "unknown", age = line.life_stage || "unknown", dots = line.dots || [];
      for (const d of dots) fresh.dots.push({ picture: d.picture, x: d.x, y: d.y, sex, age, of });
      if (line.count > dots.length) rest.push({ of, sex, age, count: line.count - dots.length });
    }
    fresh.amend = { rest, by, text, mine: by === data.me, before: "" };
    if (fresh.amend.mine) fresh.note = note || "";
    fresh.amend.before = amendState(fresh);
    return fresh;
  }
  const amendState = (p) => JSON.stringify([p.dots, p.amend.rest, p.count, p.note, p.lines]);
  const touched = () => !pen.amend || amendState(pen) !== pen.amend.before;
  const kindsOf = () => [...new Set([...pen.dots.map((d) => d.of).filter(Boolean), ...pen.amend.rest.map((r) => r.of)])];
  function amounts() {   // the lines as they would be written, with a typed number in place of the animals without a dot
    const groups = new Map();
    const add = (of, sex, age, count, dot) => {
      const thing = things.get(of), name = `${of}/${sex}/${age}`;
      if (!groups.has(name)) groups.set(name, { what: thing.what, species: thing.species || undefined, named: thing.named || undefined, sex, life_stage: age, count: 0, dots: [] });
      const line = groups.get(name);
      line.count += count;
      if (dot) line.dots.push({ picture: dot.picture, x: dot.x, y: dot.y });
    };
    const only = kindsOf()[0];
    if (!only) return [];
    for (const d of pen.dots) add(d.of || only, d.sex, d.age, 1, d);
    let rest = pen.amend.rest;
    if (pen.count) {
      const one = rest.length === 1 ? rest[0] : { sex: "unknown", age: "unknown" }, left = pen.count - pen.dots.length;
      rest = left > 0 ? [{ of: only, sex: one.sex, age: one.age, count: left }] : [];
    }
    for (const r of rest) add(r.of, r.sex, r.age, r.count);
    return [...groups.values()].map((line) => {
      const told = { ...line };
      if (line.what !== "animal") { delete told.sex; delete told.life_stage; }
      if (!line.dots.length) delete told.dots;
      return told;
    });
  }
  function amendWords() {
    const now = tell(amounts(), "");
    if (!touched()) return pen.amend.mine ? `${now}: your word stands. Enter leaves it.` : `${now}: ${pen.amend.by}'s word. Enter agrees.`;
    return `${now} instead of “${pen.amend.text}”?`;
  }
  function writeAmended() {
    if (!seen) { say$("The picture is not there yet."); return; }
    if (!touched() && pen.amend.mine) {
      echo(card().short, "left as it was");
      show(nextIndex());
      return;
    }
    const lines = amounts();
    if (!lines.length) { notice("Nothing is left of it. Say blank, or Esc begins anew.", { calm: true, short: true }); return; }
    write(lines);
  }
  function amendTo(thing) {   // another kind in place of what stands: its counts, classes and dots stay
    const kinds = kindsOf(), chosen = pen.dots[pen.chosen], id = idOf(thing);
    if (thing.what === "blank" || thing.what === "unknown") { write([{ what: thing.what, count: 1 }]); return; }
    if (!kinds.length) {
      pen = { ...freshPen(), count: pen.count, note: pen.note };
      choose(thing);
      return;
    }
    if (kinds.length > 1) {
      if (!chosen) { notice("Several kinds stand. Choose a dot first, or press Esc to begin with nothing.", { calm: true, short: true }); return; }
      chosen.of = id;
      drawDots();
      drawLine();
      return;
    }
    const none = kinds.some((k) => ["blank", "unknown"].includes(things.get(k).what));
    for (const d of pen.dots) d.of = id;
    pen.amend.rest = none ? (pen.dots.length ? [] : [{ of: id, sex: "unknown", age: "unknown", count: 1 }]) : pen.amend.rest.map((r) => ({ ...r, of: id }));
    writeAmended();
  }
  function amendClass(kind, value) {   // no dot is chosen: the animals without one
    const { rest } = pen.amend;
    if (rest.length !== 1) { notice(rest.length ? "Several classes stand: type the number anew, or choose a dot." : "Choose a dot first.", { calm: true, short: true }); return false; }
    rest[0][kind] = value;
    return true;
  }

  function drawDots() {
    const c = card();
    const f = c?.frames[frame];
    dotsLayer.replaceChildren(...pen.dots.flatMap((d, i) => {
      if (!f || d.picture !== f.sha) return [];
      const button = document.createElement("button"), number = document.createElement("b");
      button.type = "button";
      button.className = `dot${d.line === undefined ? "" : " told"}${i === pen.chosen ? " chosen" : ""}`;
      button.style.left = `${d.x * 100}%`;
      button.style.top = `${d.y * 100}%`;
      number.textContent = i + 1;
      button.append(number);
      const words = classWords(d.sex, d.age);
      if (words) { const tag = document.createElement("i"); tag.textContent = words; button.append(tag); }
      button.setAttribute("aria-label", `Dot ${i + 1}${words ? `, ${words}` : ""}. Press to choose, Delete to take off.`);
      button.addEventListener("click", (event) => { event.stopPropagation(); pen.chosen = i; pen.sex = d.sex; pen.age = d.age; drawDots(); drawLine(); if (event.detail > 0) pane.focus({ preventScroll: true }); });
      button.addEventListener("keydown", (event) => { if (event.key === "Delete") { takeOff(i); event.preventDefault(); event.stopPropagation(); } });
      return [button];
    }));
  }
  function takeOff(i) {
    if (pen.dots[i]?.line !== undefined) return;
    pen.dots.splice(i, 1);
    pen.chosen = pen.dots.length - 1;
    drawDots();
    drawLine();
    pane.focus({ preventScroll: true });
  }
  function putDot(x, y) {
    const c = card(), f = c?.frames[frame];
    if (!f || c.withheld || (c.person && !data.shown)) return;
    const dot = { picture: f.sha, x: Math.round(x * 1e5) / 1e5, y: Math.round(y * 1e5) / 1e5, sex: pen.sex, age: pen.age };
    if (pen.amend) {
      const kinds = kindsOf(), { rest } = pen.amend;
      if (kinds.some((k) => ["blank", "unknown"].includes(things.get(k).what))) pen = { ...freshPen(), note: pen.note };
      else if (kinds.length > 1) { notice("Several kinds stand: press Esc to begin with nothing, or change the dots there are.", { calm: true, short: true }); return; }
      else {
        dot.of = kinds[0];
        if (rest.length) {   // it marks one of those that were counted without a dot
          Object.assign(dot, { sex: rest[0].sex, age: rest[0].age });
          rest[0].count -= 1;
          if (!rest[0].count) rest.shift();
        }
      }
    }
    pen.dots.push(dot);
    pen.chosen = pen.dots.length - 1;
    drawDots();
    drawLine();
    say$(`Dot ${pen.dots.length}`);
  }
  function setClass(kind, value) {
    const chosen = pen.dots[pen.chosen];
    if (pen.amend && !chosen && !amendClass(kind, value)) return;
    pen[kind] = value;
    if (chosen && chosen.line === undefined) chosen[kind] = value;
    drawDots();
    drawLine();
    say$(`${kind === "sex" ? "Sex" : "Age"}: ${value === "unknown" ? "not told" : AGES[value] || value}`);
  }

  // Lines of one thing, from the dots, the number and the class that wait for it.
  function linesOf(thing) {
    if (thing.what === "blank" || thing.what === "unknown") return [{ what: thing.what, count: 1 }];
    const animal = thing.what === "animal";
    const base = { what: thing.what, species: thing.species || undefined, named: thing.named || undefined };
    const groups = new Map();
    const number = pen.lines.length;
    for (const d of looseDots()) {
      const sex = animal ? d.sex : "unknown", age = animal ? d.age : "unknown";
      const name = `${sex}/${age}`;
      if (!groups.has(name)) groups.set(name, { ...base, sex, life_stage: age, count: 0, dots: [] });
      const line = groups.get(name);
      line.count += 1;
      line.dots.push({ picture: d.picture, x: d.x, y: d.y });
      d.line = number;
    }
    const lines = [...groups.values()];
    const dotted = lines.reduce((n, l) => n + l.count, 0);
    const rest = dotted ? Math.max(0, pen.count - dotted) : Math.max(1, pen.count);
    if (rest) lines.push({ ...base, sex: animal && !dotted ? pen.sex : "unknown", life_stage: animal && !dotted ? pen.age : "unknown", count: rest });
    return lines;
  }

  function choose(thing) {
    if (thing.what === "again") { again(); return; }   // held, and now to be written
    if (!card()) { if (!ended) hold(thing); return; }
    if (!seen) { hold(thing); return; }
    if (pen.amend && !pen.several) { amendTo(thing); return; }
    if (thing.what === "blank" && (pen.lines.length || pen.dots.length)) {
      notice("A blank stands alone. Esc drops what is written, then say blank.", { calm: true, short: true });
      return;
    }
    const lines = linesOf(thing);
    if (pen.several) {
      pen.lines.push(...lines);
      pen.count = 0; pen.sex = "unknown"; pen.age = "unknown"; pen.chosen = -1;
      drawDots();
      drawLine();
      say$(`${tell(lines, "")}, and …`);
      return;
    }
    write([...pen.lines, ...lines]);
  }
  function hold(thing) {
    pen.held = thing;
    drawLine();
    say$(`${thing.name}? The key came before the picture. Enter writes it, Escape drops it.`);
  }
  function writeHeld() {
    if (pen.held) {
      if (!seen) { say$("The picture is not there yet."); return; }
      const thing = pen.held;
      pen.held = null;
      choose(thing);
    } else if (pen.amend) {
      writeAmended();
    } else if (pen.lines.length) {
      if (looseDots().length) { notice("Some dots are not told yet: press the key of what they are.", { calm: true, short: true }); return; }
      write(pen.lines);
    } else say$("Nothing is written yet.");
  }

  function write(lines, text = "") {
    const c = card();
    if (c.withheld) { notice(data.not_for_you, { calm: true }); return; }
    const note = pen.note;
    const op = { act: "say", uuid: uuid(), event: c.key, sequence_id: c.id, saw: c.saw, lines, note, queue: data.queue, second: data.second, place: c.short };
    text = text || tell(lines, note);
    const word = { uuid: op.uuid, sequence: c.id, text, lines, before: c.saw };
    if (!c.saw) spoken(1);   // a correction takes nothing off the rest
    undoable.push(word);
    redoable.length = 0;
    c.saw = op.uuid;
    if (!c.done) { c.done = true; }
    c.words.unshift({ uuid: op.uuid, by: data.me, when: "just now", text, stands: true, undone: "" });
    for (const w of c.words.slice(1)) w.stands = false;
    c.standing = { by: data.me, text, note, lines };
    if (lines.some((l) => l.what === "human" || l.what === "vehicle")) c.person = true;
    count(1);
    echo(c.short, text);
    send(op);
    show(nextIndex());
  }

  const nextIndex = () => { let i = at + 1; while (i < order.length && order[i].done) i += 1; return i; };

  function echo(place, text, lead = "") {
    const box = $("echo");
    const q = document.createElement("span");
    q.textContent = `${lead}${place}: ${text}.`;
    box.replaceChildren(q);
    say$(`${lead}${text}. ${""}`);
  }

  function again() {
    const last = undoable[undoable.length - 1];
    if (!last || !last.lines) { notice("You have said nothing yet that could be said again.", { calm: true, short: true }); return; }
    if (!card() || !seen) { if (card() || !ended) hold({ what: "again", name: `Same again (${last.text})` }); return; }
    if (pen.lines.length || (pen.amend ? touched() : pen.dots.length)) { notice("Something is written here already; Enter writes it, Esc drops it.", { calm: true, short: true }); return; }
    write(last.lines.map(({ dots, name, ...line }) => line));
  }

  function undo() {
    const word = undoable.pop();
    if (!word) { notice("There is nothing of yours left to undo.", { calm: true, short: true }); return; }
    redoable.push(word);
    send({ act: "undo", uuid: uuid(), word: word.uuid, sequence_id: word.event, place: "" });
    count(-1);
    turnTo(word, false);
  }
  function redo() {
    const word = redoable.pop();
    if (!word) { notice("There is nothing to redo.", { calm: true, short: true }); return; }
    undoable.push(word);
    send({ act: "redo", uuid: uuid(), word: word.uuid, sequence_id: word.event, place: "" });
    count(1);
    turnTo(word, true);
  }
  async function turnTo(word, stands) {
    let index = order.findIndex((c) => c.id === word.event);
    if (index < 0) {
      const fetched = await one(word.event);
      if (!fetched) { echo("An event that cannot be shown now", word.text, stands ? "Said again, " : "Undone, "); return; }
      index = order.findIndex((c) => c.id === word.event);   // it may have come meanwhile
      if (index < 0) { index = Math.max(0, Math.min(at, order.length)); order.splice(index, 0, fetched); if (index <= at) at += 1; }
    }
    const c = order[index];
    c.done = stands;
    if (!c.words.some((w) => !w.undone && w.uuid !== word.uuid)) spoken(stands ? 1 : -1);
    const told = c.words.find((w) => w.uuid === word.uuid);
    if (told) { told.undone = stands ? "" : "undone just now"; told.stands = stands; }
    const standing = c.words.find((w) => !w.undone);
    if (standing) standing.stands = true;
    c.saw = standing ? standing.uuid : c.hidden ? (word.before || c.saw) : "";
    c.standing = stands && word.lines ? { by: data.me, text: word.text, note: "", lines: word.lines } : null;
    echo(c.short, word.text, stands ? "Said again, " : "Undone, ");
    show(stands ? (at === index ? nextIndex() : at) : index);
  }
  async function one(id) {
    try {
      const answer = await fetch(`${data.urls.one}${id}?${data.second ? "which=second" : ""}`, { headers: { "HX-Request": "true" }, signal: AbortSignal.timeout(15000) });
      return answer.ok ? (await answer.json()).card : null;
    } catch { return null; }
  }

  function skip() {
    if (!card()) return;
    show(nextIndex());
    say$("Skipped");
  }
  async function back() {
    if (at > 0) { show(at - 1); return; }
    const c = card();
    if (!c) return;
    try {
      const answer = await fetch(`${data.urls.more}?${data.queue}&after=${c.id}&back=1`, { headers: { "HX-Request": "true" } });
      const found = answer.ok ? (await answer.json()).cards : [];
      if (!found.length) { notice("This is the first event of the queue.", { calm: true, short: true }); return; }
      order.unshift(...found);
      show(0);
    } catch { notice("The event before cannot be fetched now.", { short: true }); }
  }

  // Pace ------------------------------------------------------------------------------------------------------------

  const leftNumber = /^[\d,]+$/.test(data.left) ? Number(data.left.replaceAll(",", "")) : null;
  let spokenHere = 0;   // events that nobody had looked at and of which somebody has spoken since this page came
  function spoken(by) { spokenHere += by; drawPace(); }
  function count(by) {
    sitting.said = Math.max(0, sitting.said + by);
    const now = Date.now();
    const gap = now - sitting.last;
    if (by > 0) { if (sitting.last && gap < PAUSE_MS) sitting.ms += gap; sitting.last = now; }
    store.set("sitting", sitting);
    drawPace();
  }
  function drawPace() {
    if (leftNumber !== null && data.queue.indexOf("which=") < 0) $("left").textContent = Math.max(0, leftNumber - spokenHere).toLocaleString("en");
    const rate = sitting.ms > 20000 ? Math.round((sitting.said - 1) / (sitting.ms / 3.6e6)) : 0;
    $("rate").textContent = sitting.said ? `; ${sitting.said.toLocaleString("en")} said in this sitting${rate > 0 ? `, ${rate.toLocaleString("en")} an hour` : ""}` : "";
  }

  // Sending -----------------------------------------------------------------------------------------------------------

  let busy = false, failures = 0, timer = 0;

  function send(op) {
    outbox.push(op);
    store.set("outbox", outbox);
    pump();
  }
  async function pump() {
    if (busy || !outbox.length) return;
    busy = true;
    clearTimeout(timer);
    const op = outbox[0];
    let answer = null, said = {};
    try {
      answer = await fetch(data.urls.act, {
        method: "POST",
        headers: { "Content-Type": "application/json", "X-CSRFToken": csrf, "HX-Request": "true" },
        body: JSON.stringify(op),
        signal: AbortSignal.timeout(25000),
        keepalive: JSON.stringify(op).length < 30000,
      });
      said = await answer.json();
    } catch { if (answer && answer.ok) answer = null; }
    busy = false;
    if (answer && answer.ok) { settled(op); if (op.second && said.others) compare(op, said); if (op.act !== "say") refresh(op.sequence_id); return; }
    if (answer && [400, 409, 410, 413, 422].includes(answer.status)) { settled(op); refuse(op, answer.status, said); return; }
    failures += 1;
    timer = setTimeout(pump, Math.min(15000, 500 * 2 ** failures));
    drawTrouble(answer, said);
  }
  function settled(op) {
    const i = outbox.indexOf(op);
    if (i >= 0) outbox.splice(i, 1);
    store.set("outbox", outbox);
    if (failures) { failures = 0; }
    drawTrouble();
    pump();
  }
  async function refresh(id) {   // after an undo or a redo: what stands now, as the house sees it
    if (outbox.some((op) => op.sequence_id === id)) return;
    const index = order.findIndex((c) => c.id === id);
    if (index < 0) return;
    const fetched = await one(id);
    if (!fetched || outbox.some((op) => op.sequence_id === id)) return;
    const idle = index === at && !pen.held && !pen.lines.length && !pen.count && (pen.amend ? !touched() : !pen.dots.length && !pen.note);
    Object.assign(order[index], { saw: fetched.saw, words: fetched.words, hidden: fetched.hidden, person: fetched.person, withheld: fetched.withheld, standing: fetched.standing });
    if (index === at) drawStory(order[index]);
    if (idle) { pen = penOf(order[index]); drawDots(); drawLine(); }
  }

  // A word that cannot be written stays in this window until somebody has decided about it.
  function refuse(op, status, said) {
    if (op.act !== "say") {
      if (!refused.some((r) => r.op.uuid === op.identification)) notice(`${op.act === "undo" ? "The undo" : "The redo"} could not be done: ${said.message || status}`, {});
      else { refused.splice(refused.findIndex((r) => r.op.uuid === op.identification), 1); store.set("refused", refused); drawTrouble(); }
      return;
    }
    refused.push({ op, status, said });
    store.set("refused", refused);
    const i = undoable.findIndex((w) => w.uuid === op.uuid);
    if (i >= 0) undoable.splice(i, 1);
    const c = order.find((x) => x.id === op.sequence_id);
    if (c && said.meanwhile) c.saw = said.meanwhile;
    else if (!op.saw) spoken(-1);   // it was another's word that came between: then somebody has spoken of it
    count(-1);
    drawTrouble();
  }
  function sayAnyway(entry) {
    refused.splice(refused.indexOf(entry), 1);
    store.set("refused", refused);
    const op = { ...entry.op, saw: entry.said.meanwhile, uuid: uuid() };
    undoable.push({ uuid: op.uuid, event: op.sequence_id, text: tell(op.lines, op.note), lines: op.lines, before: op.saw });
    count(1);
    send(op);
    drawTrouble();
  }
  function letStand(entry) {
    refused.splice(refused.indexOf(entry), 1);
    store.set("refused", refused);
    drawTrouble();
  }
  function compare(op, said) {
    for (const other of said.others) {
      const mine = said.text;
      if (other.same) echo(op.place, `${mine} – ${other.by} said the same`, "Second look, ");
      else notice(`${op.place}: you say “${mine}”; ${other.by} said “${other.text}” (${other.when}). Yours stands now; undo lets the other stand again.`, { calm: true });
    }
  }

  const needs = $("needs");
  let trouble = null;
  const shownRefusals = new Map();
  function drawTrouble(answer, said) {
    if (failures && outbox.length) {
      if (!trouble) { trouble = box("", [["Try now", () => { clearTimeout(timer); pump(); }]]); needs.prepend(trouble); }
      const n = outbox.length;
      const why = !answer ? "Trod does not answer." : answer.status === 401 ? "You are logged out; log in again in another tab."
        : answer.status === 403 ? "The page has grown too old; load it again." : said?.message || `Trod answers with an error (${answer.status}).`;
      trouble.firstChild.textContent = `${why} ${n} ${n === 1 ? "act is" : "acts are"} kept in this window and not yet in the archive; do not close it. Trying again by itself.`;
    } else if (trouble && !failures) { trouble.remove(); trouble = null; }
    for (const entry of refused) {
      if (shownRefusals.has(entry.op.uuid)) continue;
      const mine = tell(entry.op.lines, entry.op.note);
      const made = entry.status === 409
        ? box(`${entry.op.place}: ${entry.said.by} said “${entry.said.text}” just now. You say “${mine}”, which is not written yet.`,
          [[`Let ${entry.said.by}'s stand`, () => letStand(entry)], ["Say mine all the same", () => sayAnyway(entry)]])
        : box(`${entry.op.place}: “${mine}” could not be written. ${entry.said.message || ""}`, [["Drop it", () => letStand(entry)]]);
      shownRefusals.set(entry.op.uuid, made);
      needs.append(made);
    }
    for (const [id, made] of shownRefusals) if (!refused.some((r) => r.op.uuid === id)) { made.remove(); shownRefusals.delete(id); }
  }
  function box(text, buttons, calm = false) {
    const outer = document.createElement("div"), words = document.createElement("p");
    outer.className = calm ? "calm" : "";
    words.textContent = text;
    outer.append(words);
    for (const [label, work] of buttons) {
      const b = document.createElement("button");
      b.type = "button";
      b.textContent = label;
      b.addEventListener("click", () => { work(); pane.focus({ preventScroll: true }); });
      outer.append(b);
    }
    return outer;
  }
  let passing = null;
  function notice(text, { calm = false, short = false }) {
    if (short) {   // on the plate, where the eyes are
      const note = $("pane-note");
      note.textContent = text;
      note.hidden = false;
      clearTimeout(passing);
      passing = setTimeout(() => { note.hidden = true; }, 4000);
      say$(text);
      return;
    }
    const made = box(text, [["Seen", () => made.remove()]], calm);
    needs.append(made);
    while (needs.children.length > 5) [...needs.children].find((n) => n.className === "calm")?.remove() ?? needs.firstChild.remove();
  }
  window.addEventListener("online", () => pump());
  window.addEventListener("beforeunload", (event) => { if (outbox.length && failures) event.preventDefault(); });

  // More events ---------------------------------------------------------------------------------------------------------

  let filling = false, fillWait = 0;
  async function refill() {
    const ahead = order.length - at;
    if (ended || filling || ahead > REFILL_BELOW) return;
    filling = true;
    let found = null;
    try {
      const answer = await fetch(`${data.urls.more}?${data.queue}&after=${tail}`, { headers: { "HX-Request": "true" }, signal: AbortSignal.timeout(15000) });
      if (answer.status === 410) { ended = true; notice((await answer.json()).message, {}); }
      else if (answer.ok) found = await answer.json();
    } catch { /* told below */ }
    filling = false;
    if (!found) {
      if (!ended) { clearTimeout(fillWait); fillWait = setTimeout(refill, 3000); if (!card()) say$("The next events cannot be fetched yet."); }
      return;
    }
    const wasEmpty = !card();
    take(found.cards);
    ended = found.ended;
    if (wasEmpty) { const held = pen.held; show(nextFrom(at)); pen.held = held; drawLine(); }
    else loadAhead();
  }
  const nextFrom = (i) => { let k = Math.max(0, i); while (k < order.length && order[k].done) k += 1; return k; };
  function take(cards) {
    const pending = new Set(), gone = new Set();
    for (const op of outbox) { if (op.act === "say") pending.add(op.uuid); if (op.act === "undo") gone.add(op.identification); }
    const done = new Set(outbox.filter((op) => op.act === "say" && !gone.has(op.uuid)).map((op) => op.sequence_id));
    for (const c of cards) {
      tail = c.id;
      if (order.some((x) => x.id === c.id)) continue;
      c.done = done.has(c.id);
      order.push(c);
    }
  }

  // The address follows, so that a reload comes back to this event.
  let remembering = 0;
  function remember() {
    clearTimeout(remembering);
    remembering = setTimeout(setAddress, 400);
  }
  function setAddress() {
    const c = card();
    if (c) history.replaceState(null, "", `${data.urls.look}${c.id}${data.queue ? `?${data.queue}` : ""}`);
  }
  window.addEventListener("pagehide", setAddress);

  // Keys --------------------------------------------------------------------------------------------------------------

  const CLASSES = { f: ["sex", "female"], m: ["sex", "male"], u: ["sex", "unknown"], a: ["age", "adult"], s: ["age", "subadult"], j: ["age", "juvenile"], n: ["age", "unknown"] };
  const acts = {
    undo, redo, again, skip, back, write: writeHeld, play,
    add() { addNamed(); },
    several() { if (pen.amend) spread(); pen.several = !pen.several; if (!pen.several && pen.lines.length) pen.several = true; drawLine(); say$(pen.several ? "Several kinds: their keys, then Enter." : "One kind."); },
    note() { $("note-row").hidden = false; $("note").focus(); },
    cross() { if (cross.hidden) openCross(); else closeCross(); },
    nodots() { if (pen.amend) { for (const d of pen.dots.splice(0)) { const r = pen.amend.rest.find((x) => x.of === d.of && x.sex === d.sex && x.age === d.age); if (r) r.count += 1; else pen.amend.rest.push({ of: d.of, sex: d.sex, age: d.age, count: 1 }); } } pen.dots = pen.dots.filter((d) => d.line !== undefined); pen.chosen = -1; drawDots(); drawLine(); },
    in() { nearer(1.5); }, out() { nearer(1 / 1.5); },
    fewer() { number(Math.max(1, shownCount() - 1)); },
    further() { number(Math.min(999, shownCount() + 1)); },
    help() { $("help").showModal(); },
  };
  function nearer(by) {
    if (cross.hidden) zoomTo(zoom * by);
    else { const p = crossPoint(); zoomTo(zoom * by, p.x, p.y); }
  }
  const shownCount = () => Number($("count").textContent) || 1;
  function number(n) {
    if (pen.amend && kindsOf().length > 1) { notice("Several kinds stand: press Esc to begin with nothing, or change the dots.", { calm: true, short: true }); return; }
    if (pen.amend && kindsOf().some((k) => ["blank", "unknown"].includes(things.get(k).what))) pen = { ...freshPen(), note: pen.note };
    pen.count = n;
    drawLine();
  }
  function spread() {   // what stands becomes the first of several kinds
    const lines = amounts();
    pen.dots.forEach((d) => { d.line = 0; delete d.of; });
    pen.lines = lines.filter((l) => !["blank", "unknown"].includes(l.what));
    pen.amend = null;
    pen.count = 0;
    pen.chosen = -1;
  }
  function drop() {
    const note = pen.note;
    if (!cross.hidden) { closeCross(); return; }
    if (zoom > 1 && !pen.lines.length && (pen.amend ? !touched() : !pen.dots.length && !note) && !pen.count && !pen.held) { zoomTo(1); return; }
    // What was changed goes first; then what stands, so that one can begin with nothing.
    pen = card()?.standing && (!pen.amend || touched() || pen.held) && !pen.begun ? penOf(card()) : { ...freshPen(), begun: true };
    $("note").value = pen.note;
    $("note-row").hidden = !pen.note;
    drawDots();
    drawLine();
    say$(pen.amend ? "As it stands" : "Dropped");
  }

  // The cross: dots without a pointer.
  let crossAt = { x: 0.5, y: 0.5 };
  function openCross() { cross.hidden = false; crossAt = { x: 0.5, y: 0.5 }; layCross(); pressed("cross", true); say$("Cross: arrows move it, full stop puts a dot, Escape closes."); }
  function closeCross() { cross.hidden = true; pressed("cross", false); }
  function layCross() { cross.style.left = `${crossAt.x * 100}%`; cross.style.top = `${crossAt.y * 100}%`; }
  function crossPoint() { return { x: panX + crossAt.x * fit.offsetWidth * zoom, y: panY + crossAt.y * fit.offsetHeight * zoom }; }
  function moveCross(dx, dy, fine) {
    const by = fine ? 0.01 : 0.04;
    crossAt = { x: Math.min(1, Math.max(0, crossAt.x + dx * by)), y: Math.min(1, Math.max(0, crossAt.y + dy * by * shape)) };
    layCross();
    if (zoom > 1) {
      const p = crossPoint();
      if (p.x < 40) panX += 40 - p.x; if (p.x > paneWide - 40) panX -= p.x - paneWide + 40;
      if (p.y < 40) panY += 40 - p.y; if (p.y > paneHigh - 40) panY -= p.y - paneHigh + 40;
      layFit();
    }
  }

  let keysOn = true;
  try { keysOn = localStorage.getItem("trod-look-keys") !== "off"; } catch { /* forbidden */ }
  $("keys-on").checked = keysOn;
  $("keys-on").addEventListener("change", (event) => { keysOn = event.target.checked; try { localStorage.setItem("trod-look-keys", keysOn ? "on" : "off"); } catch { /* forbidden */ } });

  const TYPING = "input:not([type=checkbox],[type=radio],[type=range]), textarea, select, [contenteditable]";
  document.addEventListener("keydown", (event) => {
    if ($("help").open) return;
    const key = event.key;
    if ((event.ctrlKey || event.metaKey) && !event.altKey) {
      if (event.target.matches(TYPING)) return;
      const low = key.toLowerCase();
      if (low === "z" && !event.shiftKey) { event.preventDefault(); if (!event.repeat) press(event, undo); }
      else if (low === "y" || (low === "z" && event.shiftKey)) { event.preventDefault(); if (!event.repeat) press(event, redo); }
      return;
    }
    if (event.altKey && !event.getModifierState?.("AltGraph")) return;
    if (event.isComposing || event.target.matches(TYPING)) return;
    const onControl = event.target.closest("button, a, summary, input, select");
    if (onControl && (key === "Enter" || key === " ")) return;           // it means the control that has the focus
    if (event.target.matches("input[type=range]") && key.startsWith("Arrow")) return;
    if (onControl?.closest(".dot") && key === "Delete") return;
    const low = key.toLowerCase();

    if (key.startsWith("Arrow") || key === "PageUp" || key === "PageDown") {
      event.preventDefault();
      const side = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1], PageUp: [0, -1], PageDown: [0, 1] }[key];
      if (!cross.hidden && key.startsWith("Arrow")) moveCross(side[0], side[1], event.shiftKey);
      else if (side[0]) step(side[0]);
      else if (!event.repeat) press(event, side[1] > 0 ? skip : back);
      return;
    }
    if (key === "Escape") { drop(); return; }
    if (key === "Enter") { event.preventDefault(); if (!event.repeat) press(event, writeHeld); return; }
    if (key === "Backspace") { event.preventDefault(); if (event.repeat) return; if (looseDots().length || (pen.amend && touched() && pen.dots.length)) takeOff(pen.dots.length - 1); else press(event, undo); return; }
    if (!keysOn) return;
    if (key === "+" || key === "-") { event.preventDefault(); nearer(key === "+" ? 1.5 : 1 / 1.5); return; }
    if (event.repeat) { if (key.length === 1) event.preventDefault(); return; }   // a held key says a thing once

    if (event.shiftKey && CLASSES[low] && /^[a-z]$/i.test(key)) { event.preventDefault(); setClass(...CLASSES[low]); return; }
    if (/^[0-9]$/.test(key)) {
      event.preventDefault();
      const next = pen.count * 10 + Number(key);
      number(next > 999 ? Number(key) : next);
      return;
    }
    const sign = key === "Dead" && event.code === "Quote" ? '"' : key;
    const work = { '"': again, "'": again, "&": acts.several, ";": acts.note, ">": play, ",": brighter, "?": acts.help, "/": find, ".": dotKey }[sign];
    if (work) { event.preventDefault(); press(event, work); return; }
    const thing = byKey.get(key) || byKey.get(low);
    if (thing && !(event.shiftKey && key === " ")) {
      event.preventDefault();
      if (!seen && lastKey.key === key && event.timeStamp - lastKey.time < BOUNCE_MS) return;   // a worn key that bounces
      lastKey = { key, time: event.timeStamp };
      flash(thing);
      press(event, () => choose(thing));
    }
  });
  function press(event, work) { pressedAt = event.timeStamp || performance.now(); work(); }
  function dotKey() { if (cross.hidden) openCross(); else putDot(crossAt.x, crossAt.y); }
  function flash(thing) {
    const tab = [...document.querySelectorAll("#margin .tab")].find((t) => idOf(thingOf(t)) === idOf(thing));
    if (!tab) return;
    tab.classList.add("pressed");
    setTimeout(() => tab.classList.remove("pressed"), 140);
  }

  // Light ---------------------------------------------------------------------------------------------------------------

  const bright = $("bright"), contrast = $("contrast");
  function light() { shown.style.filter = bright.value === "1" && contrast.value === "1" ? "" : `brightness(${bright.value}) contrast(${contrast.value})`; }
  bright.addEventListener("input", light);
  contrast.addEventListener("input", light);
  function brighter() { const now = Number(bright.value); bright.value = now < 1.6 ? 1.7 : now < 2.5 ? 2.6 : now < 3.5 ? 3.6 : 1; light(); say$(`Brightness ${bright.value}`); }

  // Buttons, pointer, typing ----------------------------------------------------------------------------------------------

  document.addEventListener("click", (event) => {
    const button = event.target.closest("button[data-do], button[data-what], button[data-sex], button[data-age]");
    if (!button) return;
    pressedAt = event.timeStamp || performance.now();
    if (button.dataset.do) acts[button.dataset.do]();
    else if (button.dataset.what) { choose(things.get(idOf(thingOf(button)))); clearFind(); }
    else if (button.dataset.sex) setClass("sex", button.dataset.sex);
    else setClass("age", button.dataset.age);
    // After a pointer the keys go to the picture again; else Space would press this button once more.
    if (event.detail > 0 && button.dataset.do !== "note" && button.dataset.do !== "help") pane.focus({ preventScroll: true });
  });

  const place = (event) => {
    const box = fit.getBoundingClientRect();
    return { x: (event.clientX - box.left) / box.width, y: (event.clientY - box.top) / box.height };
  };
  let drag = null;
  pane.addEventListener("pointerdown", (event) => {
    if (event.button !== 0 || event.target.closest(".dot, a")) return;
    drag = { x: event.clientX, y: event.clientY, panX, panY, moved: false, id: event.pointerId };
    if (zoom > 1) pane.setPointerCapture(event.pointerId);
  });
  pane.addEventListener("pointermove", (event) => {
    if (!drag || drag.id !== event.pointerId) return;
    const dx = event.clientX - drag.x, dy = event.clientY - drag.y;
    if (Math.hypot(dx, dy) > 6) drag.moved = true;
    if (drag.moved && zoom > 1) { panX = drag.panX + dx; panY = drag.panY + dy; layFit(); }
  });
  pane.addEventListener("pointerup", (event) => {
    const was = drag;
    drag = null;
    if (!was || was.moved || !card() || !seen) return;
    const p = place(event);
    if (p.x >= 0 && p.x <= 1 && p.y >= 0 && p.y <= 1) putDot(p.x, p.y);
  });
  pane.addEventListener("pointercancel", () => { drag = null; });
  pane.addEventListener("wheel", (event) => {
    if (!card()) return;
    event.preventDefault();
    const box = pane.getBoundingClientRect();
    zoomTo(zoom * Math.exp(-event.deltaY * 0.0015), event.clientX - box.left, event.clientY - box.top);
  }, { passive: false });

  const note = $("note");
  note.addEventListener("input", () => { pen.note = note.value.trim(); });
  note.addEventListener("keydown", (event) => {
    if (event.key === "Enter" || event.key === "Escape") {
      event.preventDefault();
      if (event.key === "Escape") { pen.note = ""; note.value = ""; $("note-row").hidden = true; }
      drawLine();
      pane.focus({ preventScroll: true });
    }
  });

  const finder = $("find");
  let offered = [], pick = 0;
  const thingOf = (tab) => ({ what: tab.dataset.what, species: tab.dataset.species || "", named: tab.dataset.named || "" });
  function find() { finder.focus(); finder.select(); }
  function clearFind() { finder.value = ""; search(); }
  function search() {
    const words = finder.value.toLowerCase().split(/\s+/).filter(Boolean);
    offered = [];
    document.querySelectorAll("#margin .tab").forEach((tab) => {
      const text = `${tab.querySelector("span").textContent} ${tab.dataset.also || ""}`.toLowerCase();
      const fits = words.every((w) => text.includes(w));
      tab.hidden = !fits;
      tab.classList.remove("first");
      if (fits && words.length) offered.push(tab);
    });
    const starts = (tab) => (tab.querySelector("span").textContent.toLowerCase().startsWith(words[0] || "") ? 0 : 1);
    offered.sort((a, b) => starts(a) - starts(b));
    pick = 0;
    offer(words.length);
  }
  function offer(typed) {
    offered.forEach((tab, i) => tab.classList.toggle("first", i === pick));
    const told = $("find-told");
    told.hidden = !typed;
    const name = finder.value.trim().replace(/\s+/g, " ");
    const low = name.toLowerCase();
    const exact = [...things.values()].some((t) => [low, `${low}, kind unknown`].includes((t.name || t.named || "").toLowerCase()));
    const may = typed && name.length > 1 && name.length <= 80 && !exact;
    told.textContent = !typed ? "" : offered.length ? `Enter says ${offered[pick].querySelector("span").textContent}` : may ? `“${name}” is not on the list. Enter twice adds it and says it.` : "No animal of that name on the list.";
    $("find-add-row").hidden = !may;
    $("find-add").textContent = may ? `Add “${name}” and say it` : "";
    $("find-add").dataset.name = may ? name : "";
    if (offered[pick]?.closest("#kinds")) $("kinds").open = true;
    offered[pick]?.scrollIntoView({ block: "nearest" });
  }
  finder.addEventListener("input", search);
  finder.addEventListener("keydown", (event) => {
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      event.preventDefault();
      if (offered.length) { pick = (pick + (event.key === "ArrowDown" ? 1 : offered.length - 1)) % offered.length; offer(1); }
    } else if (event.key === "Escape") { event.preventDefault(); clearFind(); pane.focus({ preventScroll: true }); }
    else if (event.key === "Enter") {
      event.preventDefault();
      const tab = offered[pick];
      if (event.repeat) return;
      if (!tab) { if (!$("find-add-row").hidden) $("find-add").focus(); return; }   // its own Enter is the second one
      clearFind();
      pane.focus({ preventScroll: true });
      press(event, () => choose(things.get(idOf(thingOf(tab)))));
    }
  });

  function addNamed() {
    const named = $("find-add").dataset.name;
    if (!named) return;
    const thing = { what: "animal", species: "", named, name: named, key: "" };
    things.set(idOf(thing), thing);
    const tab = document.createElement("button"), words = document.createElement("span");
    tab.type = "button";
    tab.className = "tab";
    Object.assign(tab.dataset, { what: "animal", species: "", named, key: "", also: "" });
    words.textContent = named;
    tab.append(words);
    $("animals").prepend(tab);
    clearFind();
    pane.focus({ preventScroll: true });
    choose(thing);
  }
  $("find-add").addEventListener("keydown", (event) => {
    if (event.key === "Escape") { event.preventDefault(); event.stopPropagation(); finder.focus(); }
  });

  // Begin -----------------------------------------------------------------------------------------------------------------

  // Acts that were not sent before a reload count as done, and can be undone.
  for (const op of outbox) {
    if (op.act === "say" && !undoable.some((w) => w.uuid === op.uuid)) undoable.push({ uuid: op.uuid, event: op.sequence_id, text: tell(op.lines, op.note), lines: op.lines, before: op.saw });
    if (op.act === "undo") { const i = undoable.findIndex((w) => w.uuid === op.identification); if (i >= 0) redoable.push(...undoable.splice(i, 1)); }
    if (op.act === "redo") { const i = redoable.findIndex((w) => w.uuid === op.identification); if (i >= 0) undoable.push(...redoable.splice(i, 1)); }
  }
  take(data.cards);
  if (window.matchMedia("(max-width: 859px)").matches === false) $("drawer").open = window.innerHeight > 950;
  paneWide = pane.clientWidth; paneHigh = pane.clientHeight;
  drawPace();
  show(nextFrom(0));
  if (outbox.length) failures = 1;
  drawTrouble();
  failures = 0;
  pump();
  pane.focus({ preventScroll: true });
})();
