// The review: one sequence after another, one key for the commonest words.
//
// What is said is put into an outbox that outlives a reload, the next sequence is shown at once, and the outbox is sent
// in order behind the scenes. Each act has its own uuid, so sending twice does no harm. A key pressed before the
// picture could be seen says nothing by itself: it waits on the written line for Enter.
"use strict";
(() => {
  const { newId, idOf, reviewPen, keyMeaning, isBounce, keptUnder, Outbox, Pace } = window.Trod;
  const data = JSON.parse(document.getElementById("review-data").textContent);
  const $ = (id) => document.getElementById(id);
  const pane = $("pane"),
    fit = $("fit"),
    shown = $("shown"),
    dotsLayer = $("dots"),
    cross = $("cross");
  const csrf = JSON.parse(document.body.getAttribute("hx-headers") || "{}")["X-CSRFToken"] || "";

  const AHEAD_VIEWS = 4,
    AHEAD_STRIPS = 1,
    REFILL_BELOW = 9,
    FRAMES_LOADED = 12;
  const PLAY_MS = 380;

  // What can be said ----------------------------------------------------------------------------------------------

  const things = new Map(); // "animal:red-fox" or "blank" → {what, species, name, key, also}
  const byKey = new Map();
  for (const thing of [...data.others, ...data.animals, ...data.kinds]) {
    things.set(idOf(thing), thing);
    if (thing.key) byKey.set(thing.key, thing);
  }
  const { Pen, tell, classWords } = reviewPen(data.vocabulary, things);
  const keys = { classes: data.classes, signs: data.signs, thingOf: (key) => byKey.get(key) };

  // State -----------------------------------------------------------------------------------------------------------

  const order = []; // cards in the order they are shown
  let at = -1; // index of the card on the page
  let ended = data.ended; // the queue has no further events
  let tail = 0; // id of the last card that came from the queue
  let frame = 0;
  let seen = false; // the picture of this card has been painted
  let pen = null; // what is being written
  const undoable = data.own.undo,
    redoable = data.own.redo;
  let lastKey = { key: "", time: -1e9 };

  const penOf = (c) => new Pen(c && !c.withheld ? c.standing : null, data.me);
  const card = () => order[at];

  // Kept over a reload: acts not sent yet, acts the house refused, and the sitting's pace.
  const kept = keptUnder("trod-review-", () => sessionStorage);
  const refused = kept.get("refused", []);
  const pace = new Pace(kept);

  // Pictures --------------------------------------------------------------------------------------------------------

  const pool = new Map(); // sha → {element, ready, whenReady}
  const address = (sha, size) => `${data.pictures}${sha}/${size}${data.shown ? "?shown=1" : ""}`;

  function load(f, alt) {
    let entry = pool.get(f.sha);
    if (entry) return entry;
    entry = { ready: false };
    if (f.clip) {
      const clip = document.createElement("video");
      Object.assign(clip, {
        muted: true,
        loop: true,
        playsInline: true,
        preload: "auto",
        src: address(f.sha, "original"),
      });
      clip.setAttribute("aria-label", alt);
      entry.element = clip;
      entry.whenReady = new Promise((done) => {
        clip.addEventListener("loadeddata", done, { once: true });
        clip.addEventListener(
          "error",
          () => {
            entry.failed = "This clip cannot be shown here; open the original.";
            done();
          },
          { once: true },
        );
      });
    } else {
      const image = new Image();
      image.alt = alt;
      image.draggable = false;
      image.decoding = "sync";
      image.src = address(f.sha, "view");
      entry.element = image;
      entry.whenReady = image.decode().catch(() => {
        entry.failed = "This picture could not be loaded.";
      });
    }
    entry.whenReady.then(() => {
      entry.ready = true;
    });
    pool.set(f.sha, entry);
    return entry;
  }

  function loadAhead() {
    const keep = new Set();
    const want = (c, most) => {
      if (!c) return;
      const frames = [c.frames[c.first], ...c.frames].filter(Boolean).slice(0, most);
      for (const f of frames) {
        keep.add(f.sha);
        load(f, altOf(c, f));
      }
    };
    want(card(), FRAMES_LOADED);
    for (let i = 1, found = 0; found < AHEAD_VIEWS && at + i < order.length; i += 1) {
      if (order[at + i].done) continue;
      want(order[at + i], found < AHEAD_STRIPS ? 6 : 1);
      found += 1;
    }
    want(order[at - 1], 1);
    for (const sha of pool.keys()) {
      if (!keep.has(sha)) {
        const e = pool.get(sha);
        if (e.element.pause) {
          e.element.pause();
          e.element.removeAttribute("src");
        }
        pool.delete(sha);
      }
    }
  }

  const altOf = (c, f) =>
    `${c.short}, ${c.withheld ? "withheld from you" : c.person && !data.shown ? "a person or vehicle: hidden" : `picture ${f.name}`}`;

  // Showing ---------------------------------------------------------------------------------------------------------

  let pressedAt = 0; // when the key that brought this card was pressed
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
    const c = card(),
      mine = painting,
      f = c.frames[frame];
    $("original").href = f ? address(f.sha, "original") : "#";
    drawFrameNumber();
    markStrip();
    const note = $("pane-note");
    if (!f) {
      shown.replaceChildren();
      note.textContent = "None of this sequence's pictures is in the catalogue.";
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
    requestAnimationFrame(() =>
      requestAnimationFrame(() => {
        if (mine !== painting || seen) return;
        seen = true;
        pane.dataset.sequence = card() ? card().id : "";
        document.dispatchEvent(
          new CustomEvent("trod:seen", { detail: { sequence: card()?.id, ms: performance.now() - pressedAt } }),
        );
        if (pen.held) drawLine();
      }),
    );
  }

  // The picture lies in `fit`, which has its very shape, so that dots can be placed in parts of it.
  let shape = 4 / 3;
  function sizeFit(element, f) {
    const wide = element.naturalWidth || element.videoWidth || f.wide || 4,
      high = element.naturalHeight || element.videoHeight || f.high || 3;
    reshape(wide / high);
  }
  function reshape(to) {
    // the plate takes the picture's own shape
    shape = to;
    pane.style.setProperty("--shape", to.toFixed(4));
    paneWide = pane.clientWidth;
    paneHigh = pane.clientHeight;
    layFit();
  }
  let zoom = 1,
    panX = 0,
    panY = 0;
  let paneWide = 0,
    paneHigh = 0;
  function layFit() {
    const wide = Math.min(paneWide, paneHigh * shape),
      high = wide / shape;
    fit.style.width = `${wide}px`;
    fit.style.height = `${high}px`;
    const overX = wide * zoom - paneWide,
      overY = high * zoom - paneHigh;
    panX = overX > 0 ? Math.min(0, Math.max(-overX, panX)) : -overX / 2;
    panY = overY > 0 ? Math.min(0, Math.max(-overY, panY)) : -overY / 2;
    fit.style.transform = `translate(${panX}px, ${panY}px) scale(${zoom})`;
    fit.style.setProperty("--back", 1 / zoom);
  }
  new ResizeObserver(() => {
    paneWide = pane.clientWidth;
    paneHigh = pane.clientHeight;
    layFit();
  }).observe(pane);

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
  function sharpen() {
    // the original, laid over the view once somebody comes near
    const c = card(),
      f = c?.frames[frame];
    if (!f || f.clip || shown.querySelector(`[data-sharp="${f.sha}"]`)) return;
    const sharp = new Image();
    sharp.dataset.sharp = f.sha;
    sharp.alt = "";
    sharp.src = address(f.sha, "original");
    sharp
      .decode()
      .then(() => {
        if (c === card() && f === c.frames[frame]) shown.append(sharp);
      })
      .catch(() => {});
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
    strip.replaceChildren(
      ...c.frames.map((f, i) => {
        const item = document.createElement("li"),
          button = document.createElement("button"),
          image = new Image(),
          after = document.createElement("span");
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
      }),
    );
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
    $("people-back").value = `${data.urls.review}${c.id}${data.queue ? `?${data.queue}` : ""}`;
    orderTabs(c.site_id);
  }

  function drawEnd() {
    const sheet = document.createElement("div");
    sheet.className = "done-sheet";
    const skipped = order.filter((c) => !c.done).length;
    const lines = [
      `That was the last sequence of this queue.`,
      `${pace.said} said in this sitting${skipped ? `; ${skipped} skipped here` : ""}.`,
    ];
    for (const text of lines) {
      const p = document.createElement("p");
      p.textContent = text;
      sheet.append(p);
    }
    const link = document.createElement("a");
    link.href = data.urls.review;
    link.textContent = "Choose another queue";
    const p = document.createElement("p");
    p.append(link);
    sheet.append(p);
    reshape(4 / 3);
    shown.replaceChildren(sheet);
    dotsLayer.replaceChildren();
    $("frame-no").textContent = "";
    pane.classList.remove("waiting");
  }

  function drawStory(c) {
    const story = $("story"),
      list = $("words");
    story.hidden = !c.words.length && !c.hidden && !c.suggestion;
    list.replaceChildren();
    const row = (className, ...bits) => {
      const item = document.createElement("li");
      item.className = className;
      item.append(...bits);
      list.append(item);
    };
    if (c.hidden) {
      row(
        "closed",
        `${c.hidden === 1 ? "Another person's identification is" : `${c.hidden} identifications of others are`} closed until you have given yours.`,
      );
    }
    for (const w of c.words) {
      const q = document.createElement("q");
      q.textContent = w.text;
      row(
        w.undone ? "undone" : "",
        `${w.by}, ${w.when}: `,
        q,
        w.undone ? ` – ${w.undone}` : w.stands ? " – stands" : "",
      );
    }
    if (c.suggestion) row("suggestion", `The machine's suggestion: ${c.suggestion}. No identification.`);
  }

  function drawFrameNumber() {
    const c = card();
    const many = c.frames.length;
    $("frame-no").textContent = many > 1 ? `frame ${frame + 1} of ${many}` : "";
  }
  function markStrip() {
    const buttons = $("strip").querySelectorAll("button");
    buttons.forEach((b, i) => {
      if (i === frame) {
        b.setAttribute("aria-current", "true");
      } else b.removeAttribute("aria-current");
    });
    const here = buttons[frame];
    if (here && frame) here.parentElement.scrollIntoView({ block: "nearest", inline: "nearest" });
  }

  let tabsOf = null;
  function orderTabs(site) {
    if (tabsOf === site || document.activeElement === $("find")) return;
    tabsOf = site;
    const wanted = [...(data.usual[site] || []), ...(data.usual[0] || [])];
    const rank = new Map();
    wanted.forEach((slug, i) => {
      if (!rank.has(slug)) rank.set(slug, i);
    });
    const box = $("animals");
    const tabs = [...box.children].sort(
      (a, b) =>
        (rank.get(a.dataset.species) ?? 1e6) - (rank.get(b.dataset.species) ?? 1e6) ||
        a.querySelector("span").textContent.localeCompare(b.querySelector("span").textContent),
    );
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
    if (player) {
      stopPlaying();
      return;
    }
    const clip = shown.querySelector("video");
    pressed("play", true);
    if (clip) {
      player = -1;
      clip.play().catch(() => stopPlaying());
      return;
    }
    if (!c || c.frames.length < 2) {
      stopPlaying();
      say$("One frame only: nothing to play.");
      return;
    }
    player = setInterval(() => {
      const next = (frame + 1) % c.frames.length;
      const entry = load(c.frames[next], altOf(c, c.frames[next]));
      if (entry.ready) {
        frame = next;
        showFrame();
      }
    }, PLAY_MS);
  }
  function stopPlaying() {
    if (player > 0) clearInterval(player);
    if (player < 0) shown.querySelector("video")?.pause();
    player = 0;
    pressed("play", false);
  }
  const pressed = (name, on) => {
    const b = document.querySelector(`[data-do="${name}"]`);
    if (b) b.setAttribute("aria-pressed", String(on));
  };

  // The written line --------------------------------------------------------------------------------------------------

  const say$ = (text) => {
    $("told").textContent = text;
  };

  function drawLine() {
    const line = $("line");
    const bits = [];
    if (pen.amend) bits.push(amendWords());
    if (pen.lines.length) bits.push(tell(pen.lines, ""));
    if (pen.several) bits.push("and …");
    const loose = pen.looseDots;
    if (loose.length) bits.push(`${loose.length} ${loose.length === 1 ? "dot" : "dots"}: of what?`);
    if (pen.count && pen.count > loose.length && !pen.amend) bits.push(`${pen.count} ×`);
    if (!loose.length && !pen.amend) {
      const c = classWords(pen.sex, pen.life_stage);
      if (c) bits.push(c);
    }
    line.textContent = bits.join(" ");
    if (pen.note) line.textContent += `${bits.length ? "; " : ""}note: ${pen.note}`;
    if (pen.held) {
      const held = document.createElement("span");
      held.className = "held";
      held.textContent = `${pen.held.name}? The key came before the picture. Enter writes it, Esc drops it.`;
      line.replaceChildren(held);
    }
    const stands = pen.amend && !pen.held && !pen.touched;
    $("write").hidden = !(pen.held || pen.lines.length || pen.amend);
    $("write").querySelector("span").textContent = stands ? (pen.amend.mine ? "Leave it" : "Agree") : "Write";
    $("count").textContent = pen.shownCount;
    for (const b of document.querySelectorAll("[data-class]")) {
      b.setAttribute("aria-pressed", String(b.dataset.value === pen[b.dataset.class]));
    }
    pressed("several", pen.several);
  }
  const quietly = (text) => notice(text, { calm: true, short: true });
  const redraw = () => {
    drawDots();
    drawLine();
  };

  function amendWords() {
    const now = tell(pen.amounts(), "");
    if (!pen.touched) {
      return pen.amend.mine
        ? `${now}: your identification stands. Enter leaves it.`
        : `${now}: ${pen.amend.by}'s identification. Enter agrees.`;
    }
    return `${now} instead of “${pen.amend.text}”?`;
  }
  function writeAmended() {
    if (!seen) {
      say$("The picture is not there yet.");
      return;
    }
    if (!pen.touched && pen.amend.mine) {
      echo(card().short, "left as it was");
      show(nextIndex());
      return;
    }
    const lines = pen.amounts();
    if (!lines.length) {
      quietly("Nothing is left of it. Say blank, or Esc begins anew.");
      return;
    }
    write(lines);
  }
  function amendTo(thing) {
    // another kind in place of what stands: its counts, classes and dots stay
    const { lines, why } = pen.amendTo(thing);
    if (why) quietly(why);
    else if (!lines) redraw();
    else write(lines);
  }

  function drawDots() {
    const c = card();
    const f = c?.frames[frame];
    dotsLayer.replaceChildren(
      ...pen.dots.flatMap((d, i) => {
        if (!f || d.picture !== f.sha) return [];
        const button = document.createElement("button"),
          number = document.createElement("b");
        button.type = "button";
        button.className = `dot${d.line === undefined ? "" : " told"}${i === pen.chosen ? " chosen" : ""}`;
        button.style.left = `${d.x * 100}%`;
        button.style.top = `${d.y * 100}%`;
        number.textContent = i + 1;
        button.append(number);
        const words = classWords(d.sex, d.life_stage);
        if (words) {
          const tag = document.createElement("i");
          tag.textContent = words;
          button.append(tag);
        }
        button.setAttribute(
          "aria-label",
          `Dot ${i + 1}${words ? `, ${words}` : ""}. Press to choose, Delete to take off.`,
        );
        button.addEventListener("click", (event) => {
          event.stopPropagation();
          pen.choose(i);
          redraw();
          if (event.detail > 0) pane.focus({ preventScroll: true });
        });
        button.addEventListener("keydown", (event) => {
          if (event.key === "Delete") {
            takeOff(i);
            event.preventDefault();
            event.stopPropagation();
          }
        });
        return [button];
      }),
    );
  }
  function takeOff(i) {
    if (!pen.takeOff(i)) return;
    redraw();
    pane.focus({ preventScroll: true });
  }
  function putDot(x, y) {
    const c = card(),
      f = c?.frames[frame];
    if (!f || c.withheld || (c.person && !data.shown)) return;
    const why = pen.putDot(f.sha, x, y);
    if (why) {
      quietly(why);
      return;
    }
    redraw();
    say$(`Dot ${pen.dots.length}`);
  }
  function setClass(kind, value) {
    const why = pen.setClass(kind, value);
    if (why) {
      quietly(why);
      return;
    }
    redraw();
    say$(`${kind === "sex" ? "Sex" : "Life stage"}: ${data.vocabulary.told[value]}`);
  }

  function choose(thing) {
    if (thing.what === "again") {
      again();
      return;
    } // held, and now to be written
    if (!card()) {
      if (!ended) hold(thing);
      return;
    }
    if (!seen) {
      hold(thing);
      return;
    }
    if (pen.amend && !pen.several) {
      amendTo(thing);
      return;
    }
    if (thing.what === data.vocabulary.blank && (pen.lines.length || pen.dots.length)) {
      quietly("A blank stands alone. Esc drops what is written, then say blank.");
      return;
    }
    if (pen.several) {
      const lines = pen.addLines(thing);
      redraw();
      say$(`${tell(lines, "")}, and …`);
      return;
    }
    write([...pen.lines, ...pen.linesOf(thing)]);
  }
  function hold(thing) {
    pen.held = thing;
    drawLine();
    say$(`${thing.name}? The key came before the picture. Enter writes it, Escape drops it.`);
  }
  function writeHeld() {
    if (pen.held) {
      if (!seen) {
        say$("The picture is not there yet.");
        return;
      }
      const thing = pen.held;
      pen.held = null;
      choose(thing);
    } else if (pen.amend) {
      writeAmended();
    } else if (pen.lines.length) {
      if (pen.looseDots.length) {
        quietly("Some dots are not told yet: press the key of what they are.");
        return;
      }
      write(pen.lines);
    } else say$("Nothing is written yet.");
  }

  function write(lines) {
    const c = card();
    if (c.withheld) {
      notice(data.not_for_you, { calm: true });
      return;
    }
    const { note } = pen;
    const op = {
      act: "say",
      uuid: newId(),
      sequence: c.key,
      sequence_id: c.id,
      saw: c.saw,
      chosen: c.id === data.chosen,
      lines,
      note,
      queue: data.queue,
      second: data.second,
      place: c.short,
    };
    const text = tell(lines, note);
    const word = { uuid: op.uuid, sequence: c.id, text, lines, before: c.saw };
    if (!c.saw) spoken(1); // a correction takes nothing off the rest
    undoable.push(word);
    redoable.length = 0;
    c.saw = op.uuid;
    c.done = true;
    c.words.unshift({ uuid: op.uuid, by: data.me, when: "just now", text, stands: true, undone: "" });
    for (const w of c.words.slice(1)) w.stands = false;
    c.standing = { by: data.me, text, note, lines };
    if (lines.some((l) => data.vocabulary.people.includes(l.what))) c.person = true;
    count(1);
    echo(c.short, text);
    send(op);
    show(nextIndex());
  }

  const nextIndex = () => {
    let i = at + 1;
    while (i < order.length && order[i].done) i += 1;
    return i;
  };

  function echo(place, text, lead = "") {
    const box = $("echo");
    const q = document.createElement("span");
    q.textContent = `${lead}${place}: ${text}.`;
    box.replaceChildren(q);
    say$(`${lead}${text}.`);
  }

  function again() {
    const last = undoable[undoable.length - 1];
    if (!last || !last.lines) {
      quietly("You have said nothing yet that could be said again.");
      return;
    }
    if (!card() || !seen) {
      if (card() || !ended) hold({ what: "again", name: `Same again (${last.text})` });
      return;
    }
    if (pen.written) {
      quietly("Something is written here already; Enter writes it, Esc drops it.");
      return;
    }
    write(last.lines.map(({ dots, name, ...line }) => line)); // as it was said, without the places of another picture
  }

  function undo() {
    const word = undoable.pop();
    if (!word) {
      quietly("There is nothing of yours left to undo.");
      return;
    }
    redoable.push(word);
    send({ act: "undo", uuid: newId(), identification: word.uuid, sequence_id: word.sequence, place: "" });
    count(-1);
    turnTo(word, false);
  }
  function redo() {
    const word = redoable.pop();
    if (!word) {
      quietly("There is nothing to redo.");
      return;
    }
    undoable.push(word);
    send({ act: "redo", uuid: newId(), identification: word.uuid, sequence_id: word.sequence, place: "" });
    count(1);
    turnTo(word, true);
  }
  async function turnTo(word, stands) {
    let index = order.findIndex((c) => c.id === word.sequence);
    if (index < 0) {
      const fetched = await fetchOne(word.sequence);
      if (!fetched) {
        echo("A sequence that cannot be shown now", word.text, stands ? "Said again, " : "Undone, ");
        return;
      }
      index = order.findIndex((c) => c.id === word.sequence); // it may have come meanwhile
      if (index < 0) {
        index = Math.max(0, Math.min(at, order.length));
        order.splice(index, 0, fetched);
        if (index <= at) at += 1;
      }
    }
    const c = order[index];
    c.done = stands;
    if (!c.words.some((w) => !w.undone && w.uuid !== word.uuid)) spoken(stands ? 1 : -1);
    const told = c.words.find((w) => w.uuid === word.uuid);
    if (told) {
      told.undone = stands ? "" : "undone just now";
      told.stands = stands;
    }
    const standing = c.words.find((w) => !w.undone);
    if (standing) standing.stands = true;
    c.saw = standing ? standing.uuid : c.hidden ? word.before || c.saw : "";
    c.standing = stands && word.lines ? { by: data.me, text: word.text, note: "", lines: word.lines } : null;
    echo(c.short, word.text, stands ? "Said again, " : "Undone, ");
    show(stands ? (at === index ? nextIndex() : at) : index);
  }
  async function fetchOne(id) {
    try {
      const answer = await fetch(`${data.urls.one}${id}?${data.second ? "which=second" : ""}`, {
        headers: { "HX-Request": "true" },
        signal: AbortSignal.timeout(15000),
      });
      return answer.ok ? (await answer.json()).card : null;
    } catch {
      return null;
    }
  }

  function skip() {
    if (!card()) return;
    show(nextIndex());
    say$("Skipped");
  }
  async function back() {
    if (at > 0) {
      show(at - 1);
      return;
    }
    const c = card();
    if (!c) return;
    try {
      const answer = await fetch(`${data.urls.more}?${data.queue}&after=${c.id}&back=1`, {
        headers: { "HX-Request": "true" },
      });
      const found = answer.ok ? (await answer.json()).cards : [];
      if (!found.length) {
        quietly("This is the first sequence of the queue.");
        return;
      }
      order.unshift(...found);
      show(0);
    } catch {
      quietly("The sequence before cannot be fetched now.");
    }
  }

  // Pace ------------------------------------------------------------------------------------------------------------

  const leftNumber = /^[\d\u202f]+$/.test(data.left) ? Number(data.left.replaceAll("\u202f", "")) : null;
  const grouped = (n) => n.toLocaleString("en").replaceAll(",", "\u202f"); // as the page writes counts
  let spokenHere = 0; // events that nobody had looked at and of which somebody has spoken since this page came
  function spoken(by) {
    spokenHere += by;
    drawPace();
  }
  function count(by) {
    pace.count(by, Date.now());
    drawPace();
  }
  function drawPace() {
    if (leftNumber !== null && data.unseen) {
      $("left").textContent = grouped(Math.max(0, leftNumber - spokenHere));
    }
    const rate = pace.anHour ? `, ${grouped(pace.anHour)} an hour` : "";
    $("rate").textContent = pace.said ? `; ${grouped(pace.said)} said in this sitting${rate}` : "";
  }

  // Sending -----------------------------------------------------------------------------------------------------------

  async function post(op) {
    const body = JSON.stringify(op);
    try {
      const answer = await fetch(data.urls.act, {
        method: "POST",
        headers: { "Content-Type": "application/json", "X-CSRFToken": csrf, "HX-Request": "true" },
        body,
        signal: AbortSignal.timeout(25000),
        keepalive: body.length < 30000,
      });
      const said = await answer.json().catch(() => null);
      return answer.ok && !said ? null : { status: answer.status, said: said ?? {} };
    } catch {
      return null;
    }
  }
  const outbox = new Outbox({
    kept,
    post,
    later: (work, ms) => setTimeout(work, ms),
    cancel: clearTimeout.bind(window),
    done(op, { said }) {
      if (op.second && said.others) compare(op, said);
      if (op.act !== "say") refresh(op.sequence_id);
    },
    refused(op, { status, said }) {
      refuse(op, status, said);
    },
    trouble: (answer) => drawTrouble(answer),
  });
  const send = (op) => outbox.send(op);

  async function refresh(id) {
    // after an undo or a redo: what stands now, as the house sees it
    if (outbox.waitsFor(id)) return;
    const index = order.findIndex((c) => c.id === id);
    if (index < 0) return;
    const fetched = await fetchOne(id);
    if (!fetched || outbox.waitsFor(id)) return;
    const idle = index === at && pen.idle;
    Object.assign(order[index], {
      saw: fetched.saw,
      words: fetched.words,
      hidden: fetched.hidden,
      person: fetched.person,
      withheld: fetched.withheld,
      standing: fetched.standing,
    });
    if (index === at) drawStory(order[index]);
    if (idle) {
      pen = penOf(order[index]);
      redraw();
    }
  }

  // A word that cannot be written stays in this window until somebody has decided about it.
  function refuse(op, status, said) {
    if (op.act !== "say") {
      if (!refused.some((r) => r.op.uuid === op.identification)) {
        notice(`${op.act === "undo" ? "The undo" : "The redo"} could not be done: ${said.message || status}`, {});
      } else {
        refused.splice(
          refused.findIndex((r) => r.op.uuid === op.identification),
          1,
        );
        kept.set("refused", refused);
        drawTrouble();
      }
      return;
    }
    refused.push({ op, status, said });
    kept.set("refused", refused);
    const i = undoable.findIndex((w) => w.uuid === op.uuid);
    if (i >= 0) undoable.splice(i, 1);
    const c = order.find((x) => x.id === op.sequence_id);
    if (c && said.meanwhile) c.saw = said.meanwhile;
    else if (!op.saw) spoken(-1); // it was another's word that came between: then somebody has spoken of it
    count(-1);
    drawTrouble();
  }
  function sayAnyway(entry) {
    refused.splice(refused.indexOf(entry), 1);
    kept.set("refused", refused);
    const op = { ...entry.op, saw: entry.said.meanwhile, uuid: newId() };
    undoable.push({
      uuid: op.uuid,
      sequence: op.sequence_id,
      text: tell(op.lines, op.note),
      lines: op.lines,
      before: op.saw,
    });
    count(1);
    send(op);
    drawTrouble();
  }
  function letStand(entry) {
    refused.splice(refused.indexOf(entry), 1);
    kept.set("refused", refused);
    drawTrouble();
  }
  function compare(op, said) {
    for (const other of said.others) {
      const mine = said.text;
      if (other.same) echo(op.place, `${mine} – ${other.by} said the same`, "Second look, ");
      else {
        notice(
          `${op.place}: you say “${mine}”; ${other.by} said “${other.text}” (${other.when}). Yours stands now; undo lets the other stand again.`,
          { calm: true },
        );
      }
    }
  }

  const needs = $("needs");
  let trouble = null;
  const shownRefusals = new Map();
  function drawTrouble(answer) {
    if (outbox.failures && outbox.acts.length) {
      if (!trouble) {
        trouble = noticeBox("", [["Try now", () => outbox.pump()]]);
        needs.prepend(trouble);
      }
      const n = outbox.acts.length;
      const why = !answer
        ? "Trod does not answer."
        : answer.status === 401
          ? "You are logged out; log in again in another tab."
          : answer.status === 403
            ? "The page has grown too old; load it again."
            : answer.said.message || `Trod answers with an error (${answer.status}).`;
      trouble.firstChild.textContent = `${why} ${n} ${n === 1 ? "act is" : "acts are"} kept in this window and not yet in the archive; do not close it. Trying again by itself.`;
    } else if (trouble && !outbox.failures) {
      trouble.remove();
      trouble = null;
    }
    for (const entry of refused) {
      if (shownRefusals.has(entry.op.uuid)) continue;
      const mine = tell(entry.op.lines, entry.op.note);
      const made =
        entry.status === 409
          ? noticeBox(
              `${entry.op.place}: ${entry.said.by} said “${entry.said.text}” just now. You say “${mine}”, which is not written yet.`,
              [
                [`Let ${entry.said.by}'s stand`, () => letStand(entry)],
                ["Say mine all the same", () => sayAnyway(entry)],
              ],
            )
          : noticeBox(`${entry.op.place}: “${mine}” could not be written. ${entry.said.message || ""}`, [
              ["Drop it", () => letStand(entry)],
            ]);
      shownRefusals.set(entry.op.uuid, made);
      needs.append(made);
    }
    for (const [id, made] of shownRefusals) {
      if (!refused.some((r) => r.op.uuid === id)) {
        made.remove();
        shownRefusals.delete(id);
      }
    }
  }
  function noticeBox(text, buttons, calm = false) {
    const outer = document.createElement("div"),
      words = document.createElement("p");
    outer.className = calm ? "calm" : "";
    words.textContent = text;
    outer.append(words);
    for (const [label, work] of buttons) {
      const b = document.createElement("button");
      b.type = "button";
      b.textContent = label;
      b.addEventListener("click", () => {
        work();
        pane.focus({ preventScroll: true });
      });
      outer.append(b);
    }
    return outer;
  }
  let passing = null;
  function notice(text, { calm = false, short = false }) {
    if (short) {
      // on the plate, where the eyes are
      const note = $("pane-note");
      note.textContent = text;
      note.hidden = false;
      clearTimeout(passing);
      passing = setTimeout(() => {
        note.hidden = true;
      }, 4000);
      say$(text);
      return;
    }
    const made = noticeBox(text, [["Seen", () => made.remove()]], calm);
    needs.append(made);
    while (needs.children.length > 5) {
      [...needs.children].find((n) => n.className === "calm")?.remove() ?? needs.firstChild.remove();
    }
  }
  window.addEventListener("online", () => outbox.pump());
  window.addEventListener("beforeunload", (event) => {
    if (outbox.acts.length && outbox.failures) event.preventDefault();
  });

  // More events ---------------------------------------------------------------------------------------------------------

  let filling = false,
    fillWait = 0;
  async function refill() {
    const ahead = order.length - at;
    if (ended || filling || ahead > REFILL_BELOW) return;
    filling = true;
    let found = null;
    try {
      const answer = await fetch(`${data.urls.more}?${data.queue}&after=${tail}`, {
        headers: { "HX-Request": "true" },
        signal: AbortSignal.timeout(15000),
      });
      if (answer.status === 410) {
        ended = true;
        notice((await answer.json()).message, {});
      } else if (answer.ok) found = await answer.json();
    } catch {
      /* told below */
    }
    filling = false;
    if (!found) {
      if (!ended) {
        clearTimeout(fillWait);
        fillWait = setTimeout(refill, 3000);
        if (!card()) say$("The next sequences cannot be fetched yet.");
      }
      return;
    }
    const wasEmpty = !card();
    take(found.cards);
    ended = found.ended;
    if (wasEmpty) {
      const held = pen.held;
      show(nextFrom(at));
      pen.held = held;
      drawLine();
    } else loadAhead();
  }
  const nextFrom = (i) => {
    let k = Math.max(0, i);
    while (k < order.length && order[k].done) k += 1;
    return k;
  };
  function take(cards) {
    const done = outbox.spokenOf;
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
    if (c) history.replaceState(null, "", `${data.urls.review}${c.id}${data.queue ? `?${data.queue}` : ""}`);
  }
  window.addEventListener("pagehide", setAddress);

  // Keys --------------------------------------------------------------------------------------------------------------

  const acts = {
    undo,
    redo,
    again,
    skip,
    back,
    write: writeHeld,
    play,
    add() {
      addNamed();
    },
    several() {
      if (pen.amend) pen.spread();
      pen.several = !pen.several;
      if (!pen.several && pen.lines.length) pen.several = true;
      drawLine();
      say$(pen.several ? "Several kinds: their keys, then Enter." : "One kind.");
    },
    note() {
      $("note-row").hidden = false;
      $("note").focus();
    },
    cross() {
      if (cross.hidden) openCross();
      else closeCross();
    },
    nodots() {
      pen.noDots();
      redraw();
    },
    in() {
      nearer(1.5);
    },
    out() {
      nearer(1 / 1.5);
    },
    dot: dotKey,
    find,
    brighter,
    fewer() {
      number(Math.max(1, pen.shownCount - 1));
    },
    further() {
      number(pen.shownCount + 1);
    },
    help() {
      $("help").showModal();
    },
  };
  function nearer(by) {
    if (cross.hidden) zoomTo(zoom * by);
    else {
      const p = crossPoint();
      zoomTo(zoom * by, p.x, p.y);
    }
  }
  const number = (n) => counted(pen.number(n));
  function counted(why) {
    if (why) quietly(why);
    else drawLine();
  }
  function drop() {
    if (!cross.hidden) {
      closeCross();
      return;
    }
    if (zoom > 1 && pen.idle) {
      zoomTo(1);
      return;
    }
    // What was changed goes first; then what stands, so that one can begin with nothing.
    const anew = card()?.standing && (!pen.amend || pen.touched || pen.held) && !pen.begun;
    pen = anew ? penOf(card()) : Object.assign(new Pen(), { begun: true });
    $("note").value = pen.note;
    $("note-row").hidden = !pen.note;
    drawDots();
    drawLine();
    say$(pen.amend ? "As it stands" : "Dropped");
  }

  // The cross: dots without a pointer.
  let crossAt = { x: 0.5, y: 0.5 };
  function openCross() {
    cross.hidden = false;
    crossAt = { x: 0.5, y: 0.5 };
    layCross();
    pressed("cross", true);
    say$("Cross: arrows move it, full stop puts a dot, Escape closes.");
  }
  function closeCross() {
    cross.hidden = true;
    pressed("cross", false);
  }
  function layCross() {
    cross.style.left = `${crossAt.x * 100}%`;
    cross.style.top = `${crossAt.y * 100}%`;
  }
  function crossPoint() {
    return { x: panX + crossAt.x * fit.offsetWidth * zoom, y: panY + crossAt.y * fit.offsetHeight * zoom };
  }
  function moveCross(dx, dy, fine) {
    const by = fine ? 0.01 : 0.04;
    crossAt = {
      x: Math.min(1, Math.max(0, crossAt.x + dx * by)),
      y: Math.min(1, Math.max(0, crossAt.y + dy * by * shape)),
    };
    layCross();
    if (zoom > 1) {
      const p = crossPoint();
      if (p.x < 40) panX += 40 - p.x;
      if (p.x > paneWide - 40) panX -= p.x - paneWide + 40;
      if (p.y < 40) panY += 40 - p.y;
      if (p.y > paneHigh - 40) panY -= p.y - paneHigh + 40;
      layFit();
    }
  }

  let keysOn = true;
  try {
    keysOn = localStorage.getItem("trod-review-keys") !== "off";
  } catch {
    /* forbidden */
  }
  $("keys-on").checked = keysOn;
  $("keys-on").addEventListener("change", (event) => {
    keysOn = event.target.checked;
    try {
      localStorage.setItem("trod-review-keys", keysOn ? "on" : "off");
    } catch {
      /* forbidden */
    }
  });

  const TYPING = "input:not([type=checkbox],[type=radio],[type=range]), textarea, select, [contenteditable]";
  const meanings = {
    undo,
    redo,
    skip,
    back,
    drop,
    step,
    nearer,
    "cross by": moveCross,
    class: setClass,
    write: writeHeld,
    digit: (figure) => counted(pen.digit(figure)),
    erase() {
      if (pen.looseDots.length || (pen.amend && pen.touched && pen.dots.length)) takeOff(pen.dots.length - 1);
      else undo();
    },
    say(thing, event) {
      const now = { key: event.key, time: event.timeStamp };
      if (!seen && isBounce(lastKey, now)) return;
      lastKey = now;
      flash(thing);
      choose(thing);
    },
  };
  const TIMED = ["undo", "redo", "skip", "back", "write", "say", "erase"]; // what may bring another picture
  document.addEventListener("keydown", (event) => {
    const { key, code, shiftKey, ctrlKey, metaKey, altKey, repeat, isComposing, target } = event;
    const control = target.closest("button, a, summary, input, select");
    const meant = keyMeaning(
      {
        key,
        code,
        shiftKey,
        ctrlKey,
        metaKey,
        altKey,
        repeat,
        isComposing,
        altGraph: event.getModifierState?.("AltGraph"),
      },
      {
        help: $("help").open,
        typing: target.matches(TYPING),
        control: Boolean(control),
        dot: Boolean(control?.closest(".dot")),
        range: target.matches("input[type=range]"),
        keysOn,
        cross: !cross.hidden,
      },
      keys,
    );
    if (!meant) return;
    if (meant.act !== "drop") event.preventDefault();
    if (!meant.act) return;
    const work = meanings[meant.act] || acts[meant.act];
    if (TIMED.includes(meant.act) || !meanings[meant.act]) press(event, () => work(...(meant.with || []), event));
    else work(...(meant.with || []));
  });
  function press(event, work) {
    pressedAt = event.timeStamp || performance.now();
    work();
  }
  function dotKey() {
    if (cross.hidden) openCross();
    else putDot(crossAt.x, crossAt.y);
  }
  function flash(thing) {
    const tab = [...document.querySelectorAll("#margin .tab")].find((t) => idOf(thingOf(t)) === idOf(thing));
    if (!tab) return;
    tab.classList.add("pressed");
    setTimeout(() => tab.classList.remove("pressed"), 140);
  }

  // Light ---------------------------------------------------------------------------------------------------------------

  const bright = $("bright"),
    contrast = $("contrast");
  function light() {
    shown.style.filter =
      bright.value === "1" && contrast.value === "1" ? "" : `brightness(${bright.value}) contrast(${contrast.value})`;
  }
  bright.addEventListener("input", light);
  contrast.addEventListener("input", light);
  function brighter() {
    const now = Number(bright.value);
    bright.value = now < 1.6 ? 1.7 : now < 2.5 ? 2.6 : now < 3.5 ? 3.6 : 1;
    light();
    say$(`Brightness ${bright.value}`);
  }

  // Buttons, pointer, typing ----------------------------------------------------------------------------------------------

  document.addEventListener("click", (event) => {
    const button = event.target.closest("button[data-do], button[data-what], button[data-class]");
    if (!button) return;
    pressedAt = event.timeStamp || performance.now();
    if (button.dataset.do) acts[button.dataset.do]();
    else if (button.dataset.what) {
      choose(things.get(idOf(thingOf(button))));
      clearFind();
    } else setClass(button.dataset.class, button.dataset.value);
    // After a pointer the keys go to the picture again; else Space would press this button once more.
    if (event.detail > 0 && button.dataset.do !== "note" && button.dataset.do !== "help") {
      pane.focus({ preventScroll: true });
    }
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
    const dx = event.clientX - drag.x,
      dy = event.clientY - drag.y;
    if (Math.hypot(dx, dy) > 6) drag.moved = true;
    if (drag.moved && zoom > 1) {
      panX = drag.panX + dx;
      panY = drag.panY + dy;
      layFit();
    }
  });
  pane.addEventListener("pointerup", (event) => {
    const was = drag;
    drag = null;
    if (!was || was.moved || !card() || !seen) return;
    const p = place(event);
    if (p.x >= 0 && p.x <= 1 && p.y >= 0 && p.y <= 1) putDot(p.x, p.y);
  });
  pane.addEventListener("pointercancel", () => {
    drag = null;
  });
  pane.addEventListener(
    "wheel",
    (event) => {
      if (!card()) return;
      event.preventDefault();
      const box = pane.getBoundingClientRect();
      zoomTo(zoom * Math.exp(-event.deltaY * 0.0015), event.clientX - box.left, event.clientY - box.top);
    },
    { passive: false },
  );

  const note = $("note");
  note.addEventListener("input", () => {
    pen.note = note.value.trim();
  });
  note.addEventListener("keydown", (event) => {
    if (event.key === "Enter" || event.key === "Escape") {
      event.preventDefault();
      if (event.key === "Escape") {
        pen.note = "";
        note.value = "";
        $("note-row").hidden = true;
      }
      drawLine();
      pane.focus({ preventScroll: true });
    }
  });

  const finder = $("find");
  let offered = [],
    pick = 0;
  const thingOf = (tab) => ({
    what: tab.dataset.what,
    species: tab.dataset.species || "",
    named: tab.dataset.named || "",
  });
  function find() {
    finder.focus();
    finder.select();
  }
  function clearFind() {
    finder.value = "";
    search();
  }
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
    const starts = (tab) =>
      tab
        .querySelector("span")
        .textContent.toLowerCase()
        .startsWith(words[0] || "")
        ? 0
        : 1;
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
    const exact = [...things.values()].some((t) => [t.name, t.named, t.kind].some((one) => one?.toLowerCase() === low));
    const may = typed && name.length > 1 && name.length <= data.longest_name && !exact;
    told.textContent = !typed
      ? ""
      : offered.length
        ? `Enter says ${offered[pick].querySelector("span").textContent}`
        : may
          ? `“${name}” is not on the list. Enter twice adds it and says it.`
          : "No animal of that name on the list.";
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
      if (offered.length) {
        pick = (pick + (event.key === "ArrowDown" ? 1 : offered.length - 1)) % offered.length;
        offer(1);
      }
    } else if (event.key === "Escape") {
      event.preventDefault();
      clearFind();
      pane.focus({ preventScroll: true });
    } else if (event.key === "Enter") {
      event.preventDefault();
      const tab = offered[pick];
      if (event.repeat) return;
      if (!tab) {
        if (!$("find-add-row").hidden) $("find-add").focus();
        return;
      } // its own Enter is the second one
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
    const tab = document.createElement("button"),
      words = document.createElement("span");
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
    if (event.key === "Escape") {
      event.preventDefault();
      event.stopPropagation();
      finder.focus();
    }
  });

  // Begin -----------------------------------------------------------------------------------------------------------------

  outbox.replay(undoable, redoable, tell);
  take(data.cards);
  if (window.matchMedia("(max-width: 859px)").matches === false) $("drawer").open = window.innerHeight > 950;
  paneWide = pane.clientWidth;
  paneHigh = pane.clientHeight;
  drawPace();
  show(nextFrom(0));
  if (outbox.acts.length) {
    outbox.failures = 1; // as told before the reload
    drawTrouble(null);
    outbox.failures = 0;
  } else drawTrouble();
  outbox.pump();
  pane.focus({ preventScroll: true });
})();
