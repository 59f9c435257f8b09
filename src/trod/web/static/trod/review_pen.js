"use strict";
/* What is said of one sequence: its lines, the line in words, and the pen, which holds what is being written until it is
   sent. Nothing here knows the page or the network.

   A thing is what one key or name says: {what, species, named, name}. A line is what is sent of it: {what, species,
   named, count, sex, life_stage, dots}. A dot marks one animal in one picture: {picture, x, y}, from 0 to 1.
   vocabulary : the words of the catalogue, as the page's data tell them: animal, alone (what stands without a number),
   unset (a class that is not told), told (class →
   how it is told), most (animals in one line). things : id → thing; grows. */
(() => {
  // A kind that is on no list yet has no slug: it is known by the name it is said by.
  function idOf(of) {
    if (of.species) return `animal:${of.species}`;
    return of.named ? `named:${of.named.toLowerCase()}` : of.what;
  }

  const SEVERAL = "Several kinds stand: press Esc to begin with nothing, or change the dots there are.";

  function reviewPen(vocabulary, things) {
    const { animal, alone, unset, told, most } = vocabulary;
    const isAlone = (what) => alone.includes(what);
    const aloneById = (id) => isAlone(things.get(id).what);
    const classWords = (...classes) =>
      classes
        .filter((c) => c && c !== unset)
        .map((c) => told[c])
        .join(", ");

    const nameOf = (line) => {
      if (line.species || line.named) return things.get(idOf(line))?.name || line.name || line.species || line.named;
      return line.what === animal ? "animal, species unknown" : line.what;
    };

    /* Lines in words; the same sentence as the catalogue's own tell_lines. The lines of one kind are told together. */
    function tell(lines, note) {
      const groups = new Map();
      for (const line of lines) {
        const label = nameOf(line);
        if (!groups.has(label)) groups.set(label, []);
        groups.get(label).push({ ...line, classes: classWords(line.sex, line.life_stage) });
      }
      const parts = [];
      for (const [label, rows] of groups) {
        const classed = rows.filter((r) => r.classes);
        let text = `${rows.reduce((n, r) => n + r.count, 0)} × ${label}`;
        if (isAlone(rows[0].what)) text = label;
        else if (rows.length === 1 && classed.length) text += ` (${classed[0].classes})`;
        else if (classed.length) text += ` (${classed.map((r) => `${r.count} ${r.classes}`).join("; ")})`;
        parts.push(text);
      }
      return [parts.join(", "), note].filter(Boolean).join("; ");
    }

    /* Lines of like animals as one line each. */
    class Grouped {
      constructor() {
        this.lines = new Map();
      }
      add(thing, sex, stage, count, dot) {
        const name = `${idOf(thing)}/${sex}/${stage}`;
        if (!this.lines.has(name)) {
          const of = { what: thing.what, species: thing.species || undefined, named: thing.named || undefined };
          this.lines.set(name, { ...of, sex, life_stage: stage, count: 0, dots: [] });
        }
        const line = this.lines.get(name);
        line.count += count;
        if (dot) line.dots.push({ picture: dot.picture, x: dot.x, y: dot.y });
      }
      told() {
        return [...this.lines.values()].map((line) => {
          const sent = { ...line };
          if (line.what !== animal) {
            delete sent.sex;
            delete sent.life_stage;
          }
          if (!line.dots.length) delete sent.dots;
          return sent;
        });
      }
    }

    class Pen {
      /* standing : what stands, to be agreed with or changed; null begins with nothing. me : who writes. */
      constructor(standing = null, me = "", note = "") {
        Object.assign(this, {
          count: 0,
          sex: unset,
          life_stage: unset,
          lines: [],
          dots: [],
          several: false,
          note,
          held: null,
          chosen: -1,
          amend: null,
          begun: false,
        });
        if (standing) this.take(standing, me);
      }

      /* Each dot knows what it is of; `rest` counts the animals without a dot. */
      take({ lines, by, text, note }, me) {
        const rest = [];
        for (const line of lines) {
          const of = idOf(line);
          if (!things.has(of)) {
            const { what, species, named, name } = line;
            things.set(of, { what, species, named, name: name || named || species || what });
          }
          const sex = line.sex || unset,
            stage = line.life_stage || unset,
            dots = line.dots || [];
          for (const d of dots) this.dots.push({ picture: d.picture, x: d.x, y: d.y, sex, life_stage: stage, of });
          if (line.count > dots.length) rest.push({ of, sex, life_stage: stage, count: line.count - dots.length });
        }
        this.amend = { rest, by, text, mine: by === me, before: "" };
        if (this.amend.mine) this.note = note || "";
        this.amend.before = this.state();
      }

      state() {
        return JSON.stringify([this.dots, this.amend.rest, this.count, this.note, this.lines]);
      }
      get touched() {
        return !this.amend || this.state() !== this.amend.before;
      }
      /* Whether lines or dots are written here beyond what stands. */
      get written() {
        return this.lines.length > 0 || (this.amend ? this.touched : this.dots.length > 0);
      }
      /* Whether nothing at all waits to be written. */
      get idle() {
        return !this.held && !this.count && !this.written && (this.amend !== null || !this.note);
      }
      get looseDots() {
        return this.dots.filter((d) => d.line === undefined && d.of === undefined);
      }
      get kinds() {
        return [...new Set([...this.dots.map((d) => d.of).filter(Boolean), ...this.amend.rest.map((r) => r.of)])];
      }
      get nothingStands() {
        return this.amend !== null && this.kinds.some(aloneById);
      }

      /* How many are told of here, as the page shows it. */
      get shownCount() {
        if (this.count) return this.count;
        if (this.amend) return this.amounts().reduce((n, l) => n + l.count, 0);
        return Math.max(1, this.looseDots.length);
      }

      /* What stands as it would be written, a typed number in place of the animals without a dot. */
      amounts() {
        const only = this.kinds[0],
          grouped = new Grouped();
        if (!only) return [];
        for (const d of this.dots) grouped.add(things.get(d.of || only), d.sex, d.life_stage, 1, d);
        let { rest } = this.amend;
        if (this.count) {
          const left = this.count - this.dots.length;
          const { sex, life_stage } = rest.length === 1 ? rest[0] : { sex: unset, life_stage: unset };
          rest = left > 0 ? [{ of: only, sex, life_stage, count: left }] : [];
        }
        for (const r of rest) grouped.add(things.get(r.of), r.sex, r.life_stage, r.count);
        return grouped.told();
      }

      /* The lines of one thing, from the dots, the number and the class that wait for it; the dots are then taken. */
      linesOf(thing) {
        if (isAlone(thing.what)) return [{ what: thing.what, count: 1 }];
        const classed = thing.what === animal,
          grouped = new Grouped(),
          number = this.lines.length;
        const loose = this.looseDots;
        for (const d of loose) {
          grouped.add(thing, classed ? d.sex : unset, classed ? d.life_stage : unset, 1, d);
          d.line = number;
        }
        const lines = grouped.told();
        const more = loose.length ? this.count - loose.length : Math.max(1, this.count);
        if (more > 0) {
          const bare = new Grouped(),
            own = classed && !loose.length;
          bare.add(thing, own ? this.sex : unset, own ? this.life_stage : unset, more);
          lines.push(...bare.told());
        }
        return lines;
      }

      /* The lines of this thing stand beside others that are still to come. */
      addLines(thing) {
        const lines = this.linesOf(thing);
        this.lines.push(...lines);
        Object.assign(this, { count: 0, sex: unset, life_stage: unset, chosen: -1 });
        return lines;
      }

      /* A typed figure: the number grows by it, or begins anew where it would be too great. */
      digit(figure) {
        const next = this.count * 10 + figure;
        return this.number(next > most ? figure : next);
      }

      /* What follows tells why it cannot be done, or "". */
      number(n) {
        if (this.amend && this.kinds.length > 1) return SEVERAL;
        if (this.nothingStands) this.begin();
        this.count = Math.max(0, Math.min(most, n));
        return "";
      }

      putDot(picture, x, y) {
        const round = (part) => Math.round(part * 1e5) / 1e5;
        const dot = { picture, x: round(x), y: round(y), sex: this.sex, life_stage: this.life_stage };
        if (this.nothingStands) this.begin();
        else if (this.amend) {
          const {
            kinds,
            amend: { rest },
          } = this;
          if (kinds.length > 1) return SEVERAL;
          dot.of = kinds[0];
          if (rest.length) {
            // it marks one of those that were counted without a dot
            Object.assign(dot, { sex: rest[0].sex, life_stage: rest[0].life_stage });
            rest[0].count -= 1;
            if (!rest[0].count) rest.shift();
          }
        }
        this.dots.push(dot);
        this.chosen = this.dots.length - 1;
        return "";
      }

      takeOff(i) {
        if (!this.dots[i] || this.dots[i].line !== undefined) return false;
        this.dots.splice(i, 1);
        this.chosen = this.dots.length - 1;
        return true;
      }

      choose(i) {
        Object.assign(this, { chosen: i, sex: this.dots[i].sex, life_stage: this.dots[i].life_stage });
      }

      /* Every dot off; the animals that they marked are counted without one. */
      noDots() {
        if (this.amend) {
          for (const d of this.dots.splice(0)) {
            const like = this.amend.rest.find((r) => r.of === d.of && r.sex === d.sex && r.life_stage === d.life_stage);
            if (like) like.count += 1;
            else this.amend.rest.push({ of: d.of, sex: d.sex, life_stage: d.life_stage, count: 1 });
          }
        }
        this.dots = this.dots.filter((d) => d.line !== undefined);
        this.chosen = -1;
      }

      /* kind : sex or life_stage. For the chosen dot; else for those to come, or for the animals without a dot. */
      setClass(kind, value) {
        const chosen = this.dots[this.chosen];
        if (this.amend && !chosen) {
          const { rest } = this.amend;
          if (rest.length !== 1) {
            return rest.length
              ? "Several classes stand: type the number anew, or choose a dot."
              : "Choose a dot first.";
          }
          rest[0][kind] = value;
        }
        this[kind] = value;
        if (chosen && chosen.line === undefined) chosen[kind] = value;
        return "";
      }

      /* Another kind in place of what stands: its counts, classes and dots stay. Then {lines} to be written, {why} not,
         or {} where only a dot has changed its kind. */
      amendTo(thing) {
        const { kinds } = this,
          chosen = this.dots[this.chosen],
          id = idOf(thing);
        if (isAlone(thing.what)) return { lines: [{ what: thing.what, count: 1 }] };
        if (!kinds.length) {
          this.begin({ count: this.count });
          return { lines: this.linesOf(thing) };
        }
        if (kinds.length > 1) {
          if (!chosen) return { why: "Several kinds stand. Choose a dot first, or press Esc to begin with nothing." };
          chosen.of = id;
          return {};
        }
        const bare = this.nothingStands ? [{ of: id, sex: unset, life_stage: unset, count: 1 }] : this.amend.rest;
        this.amend.rest = this.nothingStands && this.dots.length ? [] : bare.map((r) => ({ ...r, of: id }));
        for (const d of this.dots) d.of = id;
        return { lines: this.amounts() };
      }

      /* What stands becomes the first of several kinds. */
      spread() {
        const lines = this.amounts();
        for (const d of this.dots) d.line = 0;
        Object.assign(this, { lines: lines.filter((l) => !isAlone(l.what)), amend: null, count: 0, chosen: -1 });
      }

      /* With nothing but the note, and what `kept` says. */
      begin(kept = {}) {
        Object.assign(this, new Pen(null, "", this.note), kept);
      }
    }

    return { Pen, tell, nameOf, classWords, isAlone };
  }

  window.Trod = Object.assign(window.Trod || {}, { idOf, reviewPen });
})();
