"use strict";
const test = require("node:test");
const assert = require("node:assert/strict");
const { load } = require("./loading.js");

const { Behind, openStore, noteOf, Writer } = load("stores.js", "writing.js");

/* A browser's small store with room for so many characters; methods aside, its keys are its own properties, as there. */
function smallRoom(room) {
  const box = {};
  const hidden = (name, value) => Object.defineProperty(box, name, { value, enumerable: false });
  hidden("getItem", (key) => (Object.hasOwn(box, key) ? box[key] : null));
  hidden("removeItem", (key) => {
    delete box[key];
  });
  hidden("setItem", (key, value) => {
    const others = Object.keys(box)
      .filter((k) => k !== key)
      .reduce((n, k) => n + k.length + box[k].length, 0);
    if (others + key.length + value.length > room) throw new DOMException("no room", "QuotaExceededError");
    box[key] = value;
  });
  return box;
}
const browser = (database, small) => {
  globalThis.indexedDB = database;
  Object.defineProperty(globalThis, "localStorage", { value: small, configurable: true, writable: true });
};
const refusing = {
  open() {
    throw new DOMException("not here", "SecurityError");
  },
};
const visitOf = (words = "") => ({
  uuid: "v1",
  site: "ford",
  revision: 0,
  changed_at: "2026-01-10T12:00:00.000Z",
  note: words,
  drafts: { "changes.height_m": "x" },
  walk_passes: [{ key: "k", distance_m: 4, way: "away", picture: "yes" }],
  photos: [],
});

async function smallStore(room = 1e6) {
  browser(refusing, smallRoom(room));
  return openStore("trod-1", "now");
}

function writerOn(store) {
  const seen = { behind: 0, later: [], settled: [] };
  const writer = new Writer({
    store,
    now: () => new Date("2026-01-10T13:00:00Z"),
    later: (work) => seen.later.push(work),
    behind: async () => {
      seen.behind += 1;
    },
    changed() {},
    settled: (note) => seen.settled.push(note.problem),
  });
  return { writer, seen };
}

test("where the database does not open, notes go into the small store, and without that into memory", async () => {
  assert.equal((await smallStore()).kind, "small store");
  browser(refusing, smallRoom(0));
  assert.equal((await openStore("trod-1", "now")).kind, "nothing");
  browser(refusing, undefined);
  assert.equal((await openStore("trod-1", "now")).kind, "nothing");
});

test("a database that opens and refuses to write is not trusted", async () => {
  const db = {
    transaction() {
      throw new DOMException("closing", "InvalidStateError");
    },
  };
  browser(
    {
      open() {
        const asked = { result: db };
        queueMicrotask(() => asked.onsuccess());
        return asked;
      },
    },
    smallRoom(1e6),
  );

  assert.equal((await openStore("trod-1", "now")).kind, "small store");
});

test("two field forms in one small store do not mix", async () => {
  const one = await smallStore(),
    two = await openStore("trod-12", "now");
  await one.put("visits", visitOf("one"));

  assert.deepEqual(await two.all("visits"), []);
  assert.equal((await one.all("visits")).length, 1);
  assert.equal((await one.get("visits", "v1")).note, "one");
  await one.remove("visits", "v1");
  assert.equal(await one.get("visits", "v1"), undefined);
});

test("a visit that another page has written since is not written over", async () => {
  const store = await smallStore();
  await store.putVisit({ ...visitOf("first"), revision: 1 }, 0);

  await assert.rejects(store.putVisit({ ...visitOf("late"), revision: 1 }, 0), Behind);
  assert.equal((await store.get("visits", "v1")).note, "first");
  await store.putVisit({ ...visitOf("second"), revision: 2 }, 1);
  assert.equal((await store.get("visits", "v1")).note, "second");
});

test("each kept change counts one revision on, and carries when it was made", async () => {
  const store = await smallStore(),
    { writer } = writerOn(store),
    note = noteOf(visitOf());
  for (const words of ["a", "ab"]) {
    note.visit.note = words;
    await writer.touch(note);
  }

  const stored = await store.get("visits", "v1");
  assert.deepEqual([stored.revision, stored.note, stored.changed_at], [2, "ab", "2026-01-10T13:00:00.000Z"]);
  assert.deepEqual([note.base, note.dirty, note.busy], [2, false, null]);
});

test("what is typed while one writing runs is written after it, and nothing is lost", async () => {
  const store = await smallStore(),
    { writer } = writerOn(store),
    note = noteOf(visitOf());
  const put = store.putVisit.bind(store),
    texts = [];
  let running = 0,
    most = 0;
  store.putVisit = async (visit, base) => {
    running += 1;
    most = Math.max(most, running);
    await new Promise(setImmediate);
    texts.push(visit.note);
    await put(visit, base);
    running -= 1;
  };
  const works = [];
  for (const words of ["a", "ab", "abc"]) {
    note.visit.note = words;
    works.push(writer.touch(note));
  }
  await Promise.all(works);

  assert.equal((await store.get("visits", "v1")).note, "abc");
  assert.equal(most, 1);
  assert.deepEqual(texts, ["a", "abc"]);
});

test("a full phone is told, tried again, and kept once there is room", async () => {
  const store = await smallStore(400),
    { writer, seen } = writerOn(store),
    note = noteOf(visitOf("x".repeat(900)));
  await writer.touch(note);

  assert.equal(note.problem, "no room");
  assert.deepEqual(seen.settled, ["no room"]);
  assert.equal(note.dirty, true);
  assert.equal(await store.get("visits", "v1"), undefined);
  assert.equal(seen.later.length, 1);

  note.visit.note = "short"; // somebody took words out
  await seen.later[0]();
  await new Promise(setImmediate);

  assert.deepEqual([note.problem, note.dirty], ["", false]);
  assert.deepEqual(seen.settled, ["no room", ""]);
  assert.equal((await store.get("visits", "v1")).note, "short");
});

test("a note that another page changed is handed over, not written", async () => {
  const store = await smallStore(),
    { writer, seen } = writerOn(store),
    note = noteOf(visitOf("mine"));
  await store.putVisit({ ...visitOf("theirs"), revision: 1 }, 0);
  await writer.touch(note);

  assert.equal(seen.behind, 1);
  assert.equal((await store.get("visits", "v1")).note, "theirs");
});

test("what is typed while another page's words are taken over is written after them", async () => {
  const store = await smallStore(),
    { writer } = writerOn(store),
    note = noteOf(visitOf("mine"));
  await store.putVisit({ ...visitOf("theirs"), revision: 1 }, 0);
  writer.behind = async () => {
    Object.assign(note, { visit: await store.get("visits", "v1"), base: 1, dirty: false });
    note.visit.note += " and mine";
    writer.touch(note);
  };
  await writer.touch(note);

  assert.deepEqual([note.dirty, (await store.get("visits", "v1")).note], [false, "theirs and mine"]);
});

test("the file tells a visit without what is only the page's own, with the photos that are there", async () => {
  const store = await smallStore(),
    { writer } = writerOn(store),
    note = noteOf(visitOf("words"));
  const photo = { taken_at: "t", width: 4, height: 3, bytes: 9 };
  note.visit.photos = [
    { uuid: "p1", ...photo },
    { uuid: "gone", ...photo },
  ];
  await store.put("photos", { uuid: "p1", visit: "v1", jpeg: "abc" });
  await writer.touch(note);
  const said = await writer.told(note);

  assert.equal("drafts" in said, false);
  assert.deepEqual(said.walk_passes, [{ distance_m: 4, way: "away", picture: "yes" }]);
  assert.deepEqual(said.photos, [{ uuid: "p1", taken_at: "t", width: 4, height: 3, jpeg: "abc" }]);
  assert.equal(note.visit.photos.length, 2);
  assert.equal(said.revision, 1);
});

test("a revision that was told outside is never used again for other words", async () => {
  const store = await smallStore(),
    { writer, seen } = writerOn(store),
    note = noteOf(visitOf("first"));
  await writer.touch(note);
  const put = store.putVisit.bind(store);
  store.putVisit = async () => {
    throw new Error("full");
  };
  note.visit.note = "only told";
  await writer.touch(note);
  const said = await writer.told(note);
  assert.deepEqual([said.revision, said.note], [2, "only told"]);

  store.putVisit = put;
  note.visit.note = "other words";
  await seen.later[0]();
  await new Promise(setImmediate);

  const stored = await store.get("visits", "v1");
  assert.deepEqual([stored.revision, stored.note], [3, "other words"]);
});
