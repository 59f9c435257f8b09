"use strict";
/* What was said and is not yet in the archive. It outlives a reload, goes out in order, one act at a time, and is tried
   again until there is an answer. Each act has its own id, so sending twice does no harm. */
(() => {
  const FIRST_WAIT_MS = 1000,
    LONGEST_WAIT_MS = 15000;
  const REFUSALS = [400, 409, 410, 413, 422]; // an answer that trying again will not change
  const PAUSE_MS = 5 * 60 * 1000; // a longer gap between two acts is no work
  const RATE_FROM_MS = 20000;

  /* Values by name in a browser's storage; where it is full or forbidden they live in memory only. */
  function keptUnder(head, storage) {
    return {
      get(name, usual) {
        try {
          return JSON.parse(storage().getItem(head + name)) ?? usual;
        } catch {
          return usual;
        }
      },
      set(name, value) {
        try {
          storage().setItem(head + name, JSON.stringify(value));
          return true;
        } catch {
          return false;
        }
      },
    };
  }

  const waitAfter = (failures) => Math.min(LONGEST_WAIT_MS, FIRST_WAIT_MS * 2 ** (failures - 1));

  class Outbox {
    /* kept : as of keptUnder. post : act → a promise of {status, said}, null when nobody answered. later : work, ms →
       a timer. done, refused : called with an act and its answer. trouble : called with the last answer when an act did
       not go out, and with nothing when all is well again. */
    constructor({ kept, post, later, cancel, done, refused, trouble }) {
      Object.assign(this, { kept, post, later, cancel, done, refused, trouble });
      this.acts = kept.get("outbox", []);
      this.failures = 0;
      this.busy = false;
      this.timer = 0;
    }

    send(act) {
      this.acts.push(act);
      this.kept.set("outbox", this.acts);
      return this.pump();
    }

    async pump() {
      if (this.busy || !this.acts.length) return;
      this.busy = true;
      this.cancel(this.timer);
      const act = this.acts[0];
      const answer = await this.post(act);
      this.busy = false;
      const good = answer !== null && answer.status >= 200 && answer.status < 300;
      if (good || (answer && REFUSALS.includes(answer.status))) {
        this.settle(act);
        (good ? this.done : this.refused)(act, answer);
        return;
      }
      this.failures += 1;
      this.timer = this.later(() => this.pump(), waitAfter(this.failures));
      this.trouble(answer);
    }

    settle(act) {
      this.acts.splice(this.acts.indexOf(act), 1);
      this.kept.set("outbox", this.acts);
      this.failures = 0;
      this.trouble();
      this.pump();
    }

    waitsFor(sequence) {
      return this.acts.some((act) => act.sequence_id === sequence);
    }

    /* The sequences of which something was said that is not undone again. */
    get spokenOf() {
      const undone = new Set(this.acts.filter((act) => act.act === "undo").map((act) => act.identification));
      return new Set(
        this.acts.filter((act) => act.act === "say" && !undone.has(act.uuid)).map((act) => act.sequence_id),
      );
    }

    /* After a reload: what was not sent counts as done, and can be undone. undoable, redoable : changed in place. */
    replay(undoable, redoable, tell) {
      const move = (word, from, to) => {
        const i = from.findIndex((said) => said.uuid === word);
        if (i >= 0) to.push(...from.splice(i, 1));
      };
      for (const act of this.acts) {
        if (act.act === "say" && !undoable.some((said) => said.uuid === act.uuid)) {
          const { uuid, lines, note, saw } = act;
          undoable.push({ uuid, sequence: act.sequence_id, text: tell(lines, note), lines, before: saw });
        }
        if (act.act === "undo") move(act.identification, undoable, redoable);
        if (act.act === "redo") move(act.identification, redoable, undoable);
      }
    }
  }

  /* How fast somebody works: acts of this sitting, and the time between them but for pauses. */
  class Pace {
    constructor(kept) {
      this.kept = kept;
      Object.assign(this, kept.get("sitting", { said: 0, ms: 0, last: 0 }));
    }

    count(by, now) {
      this.said = Math.max(0, this.said + by);
      const gap = now - this.last;
      if (by > 0) {
        if (this.last && gap < PAUSE_MS) this.ms += gap;
        this.last = now;
      }
      this.kept.set("sitting", { said: this.said, ms: this.ms, last: this.last });
    }

    /* Acts an hour; 0 while it is too early to tell. */
    get anHour() {
      return this.ms > RATE_FROM_MS ? Math.max(0, Math.round((this.said - 1) / (this.ms / 3.6e6))) : 0;
    }
  }

  window.Trod = Object.assign(window.Trod || {}, { keptUnder, Outbox, Pace });
})();
