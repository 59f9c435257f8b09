"use strict";
/* How a note goes into the store: at once, one writing after another, never over what another page wrote, and tried again
   until it is kept. Nothing here knows the page. */
(() => {
  const AGAIN_MS = 4000;

  /* A visit as this page holds it. base : the revision that the store has; told : the highest that was ever told outside
     without being kept; dirty : something is not written yet; problem : why the last writing failed, in words. */
  function noteOf(visit) {
    return {
      visit,
      base: visit.revision,
      told: 0,
      dirty: false,
      busy: null,
      problem: "",
      node: null,
      savedAt: visit.revision ? new Date(visit.changed_at) : null,
    };
  }

  /* A copy of a visit as the file tells it: without what is only the page's own. */
  function plain(visit) {
    const { drafts, ...said } = JSON.parse(JSON.stringify(visit));
    said.walk_passes = said.walk_passes.map((p) => ({ distance_m: p.distance_m, way: p.way, picture: p.picture }));
    return said;
  }

  class Writer {
    /* store : as openStore gives it. now : → the time. later : work, ms. behind : called with a note that another page has
       changed. changed : called with a note that is to be written; settled : when its writing is over, kept or not. */
    constructor({ store, now, later, behind, changed, settled }) {
      Object.assign(this, { store, now, later, behind, changed, settled });
    }

    /* Every change is written at once. While one writing runs, the next waits; none is put off by a timer. */
    async touch(note) {
      note.dirty = true;
      this.changed(note);
      if (!note.busy) {
        note.busy = this.write(note);
        await note.busy;
        note.busy = null;
        this.settled(note);
        if (note.dirty && !note.problem) await this.touch(note);
      } else await note.busy;
    }

    async write(note) {
      while (note.dirty) {
        note.dirty = false;
        const kept = JSON.parse(JSON.stringify(note.visit));
        kept.revision = Math.max(note.base, note.told) + 1;
        kept.changed_at = this.now().toISOString();
        try {
          await this.store.putVisit(kept, note.base);
        } catch (problem) {
          if (problem instanceof window.Trod.Behind) {
            await this.behind(note);
            return;
          }
          note.dirty = true;
          note.problem = (problem && (problem.message || problem.name)) || "the phone refused";
          this.later(() => {
            if (note.dirty) this.touch(note);
          }, AGAIN_MS);
          return;
        }
        note.base = note.visit.revision = kept.revision;
        note.visit.changed_at = kept.changed_at;
        note.problem = "";
        note.savedAt = this.now();
      }
    }

    /* A visit as the file tells it, with its photos. What the phone could not write is told all the same, under a number
       that no later writing will use again, so that one number never means two things. */
    async told(note) {
      while (note.busy) await note.busy;
      const said = plain(note.visit);
      if (note.dirty) {
        said.revision = note.told = Math.max(note.base, note.told) + 1;
        said.changed_at = this.now().toISOString();
      }
      const photos = [];
      for (const p of said.photos) {
        const kept = await this.store.get("photos", p.uuid);
        if (kept) {
          photos.push({ uuid: p.uuid, taken_at: p.taken_at, width: p.width, height: p.height, jpeg: kept.jpeg });
        }
      }
      said.photos = photos;
      return said;
    }
  }

  window.Trod = Object.assign(window.Trod || {}, { noteOf, Writer });
})();
