"use strict";
/* How the planner asks: at once when a box changes, and for a closer answer when the hand rests. Nothing here knows the
   page. */
(() => {
  const REST_MS = 350;

  /* One question at a time: while one is under way, only the newest waits.

     send : kind ("answer" or "closer"), the turn, a signal that breaks it off → a promise of {ok, html}, or of null
     where there is nothing to show. answered, closer : called with what came; closer only where nothing was changed
     since. resting : called with whether a closer answer is under way. failed : called with what went wrong. */
  class Asking {
    constructor({ send, answered, closer, resting, failed, later, cancel }) {
      Object.assign(this, { send, answered, closer, resting, failed, later, cancel });
      Object.assign(this, { turn: 0, busy: false, again: false, timer: 0, closing: null });
    }

    async ask() {
      this.turn += 1;
      this.cancel(this.timer);
      this.closing?.abort();
      this.again = true;
      if (this.busy) return;
      this.busy = true;
      while (this.again) {
        this.again = false;
        try {
          const came = await this.send("answer", this.turn);
          if (came) this.answered(came);
          if (came?.ok && !this.again) this.rest();
        } catch (fault) {
          this.failed(fault);
        }
      }
      this.busy = false;
    }

    rest() {
      this.cancel(this.timer);
      this.timer = this.later(() => this.close(), REST_MS);
    }

    async close() {
      const mine = this.turn;
      this.closing = new AbortController();
      this.resting(true);
      try {
        const came = await this.send("closer", mine, this.closing.signal);
        if (came && mine === this.turn) this.closer(came, mine);
      } catch (fault) {
        if (fault.name !== "AbortError") this.failed(fault);
      }
      if (mine === this.turn) this.resting(false);
    }
  }

  const UNKEPT = ["csrfmiddlewaretoken", "name"];

  /* What of a form's entries its address keeps, so that going back, a bookmark and a reload find it again. Twelve months
     ticked are all of them, which need not be said. entries : pairs of name and value. */
  function keptQuery(entries) {
    const kept = new URLSearchParams(entries.filter(([name, value]) => value !== "" && !UNKEPT.includes(name)));
    const months = [...new Set(kept.keys())].filter((name) => /^month_\d+$/.test(name));
    if (months.length === 12) for (const month of months) kept.delete(month);
    return kept.toString();
  }

  /* A slider's number as its box says it. */
  const boxNumber = (text) => String(Number(Number(text).toFixed(4)));

  window.Trod = Object.assign(window.Trod || {}, { Asking, keptQuery, boxNumber });
})();
