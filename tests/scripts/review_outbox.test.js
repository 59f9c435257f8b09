"use strict";
const test = require("node:test");
const assert = require("node:assert/strict");
const { load } = require("./loading.js");

const { keptUnder, Outbox, Pace } = load("review_outbox.js");
const say = (uuid, sequence, more) => ({
  act: "say",
  uuid,
  sequence_id: sequence,
  lines: [],
  note: "",
  saw: "",
  ...more,
});
const undo = (uuid, word, sequence) => ({ act: "undo", uuid, identification: word, sequence_id: sequence });
const redo = (uuid, word, sequence) => ({ act: "redo", uuid, identification: word, sequence_id: sequence });

function memory() {
  const box = new Map();
  return {
    getItem: (k) => box.get(k) ?? null,
    setItem: (k, v) => {
      box.set(k, v);
    },
    box,
  };
}
/* An outbox whose answers the test gives, one by one. */
function posted(storage = memory()) {
  const seen = { sent: [], done: [], refused: [], trouble: [], waits: [], answers: [] };
  const box = new Outbox({
    kept: keptUnder("t-", () => storage),
    post: (act) => {
      seen.sent.push(act.uuid);
      return new Promise((answer) => seen.answers.push(answer));
    },
    later: (work, ms) => {
      seen.waits.push(ms);
      seen.again = work;
      return seen.waits.length;
    },
    cancel: () => {},
    done: (act) => seen.done.push(act.uuid),
    refused: (act, answer) => seen.refused.push([act.uuid, answer.status]),
    trouble: (answer) => seen.trouble.push(answer),
  });
  const answer = async (status) => {
    seen.answers.shift()(status && { status, said: {} });
    await new Promise(setImmediate);
  };
  return { box, seen, answer };
}

test("acts go out in order, one at a time", async () => {
  const { box, seen, answer } = posted();
  for (const uuid of ["a", "b", "c"]) box.send(say(uuid, 1));

  assert.deepEqual(seen.sent, ["a"]);
  await answer(200);
  assert.deepEqual([seen.sent, seen.done], [["a", "b"], ["a"]]);
  await answer(200);
  await answer(200);
  assert.deepEqual([seen.sent, seen.done, box.acts], [["a", "b", "c"], ["a", "b", "c"], []]);
});

test("without an answer, or with a fault of the house, the same act is sent again, each time later", async () => {
  const { box, seen, answer } = posted();
  box.send(say("a", 1));
  box.send(say("b", 2));
  for (const status of [null, 503, 401, 500, null, null]) {
    await answer(status);
    seen.again();
  }

  assert.deepEqual(seen.waits, [1000, 2000, 4000, 8000, 15000, 15000]);
  assert.deepEqual(new Set(seen.sent), new Set(["a"]));
  await answer(200);
  assert.deepEqual([seen.done, box.failures, seen.sent.at(-1)], [["a"], 0, "b"]);
  await answer(null);
  assert.equal(seen.waits.at(-1), 1000);
});

test("an act that is refused does not hold up the next", async () => {
  const { box, seen, answer } = posted();
  box.send(say("a", 1));
  box.send(say("b", 2));
  await answer(409);

  assert.deepEqual([seen.refused, seen.sent], [[["a", 409]], ["a", "b"]]);
  for (const status of [400, 410, 413, 422]) {
    const next = posted();
    next.box.send(say("x", 1));
    await next.answer(status);
    assert.equal(next.box.acts.length, 0, status);
  }
});

test("what was not sent outlives a reload", async () => {
  const storage = memory(),
    before = posted(storage);
  before.box.send(say("a", 1));
  before.box.send(say("b", 2));
  const unsent = posted(storage);
  unsent.box.pump();
  assert.deepEqual(
    unsent.box.acts.map((act) => act.uuid),
    ["a", "b"],
  );
  assert.deepEqual(unsent.seen.sent, ["a"]);

  await before.answer(200);
  const after = posted(storage);
  after.box.pump();
  assert.deepEqual(after.seen.sent, ["b"]);
});

test("where the storage is full, forbidden or damaged, acts live on in memory", async () => {
  const full = {
    getItem: () => "{not JSON",
    setItem() {
      throw new Error("full");
    },
  };
  const { box, seen, answer } = posted(full);
  box.send(say("a", 1));
  await answer(200);
  assert.deepEqual(seen.done, ["a"]);

  const kept = keptUnder("t-", () => {
    throw new Error("forbidden");
  });
  assert.deepEqual([kept.get("outbox", []), kept.set("outbox", [])], [[], false]);
});

test("a sequence counts as spoken of until its last word is undone", () => {
  const { box } = posted();
  box.acts.push(say("a", 1), say("b", 2), undo("c", "a", 1), say("d", 1), undo("e", "b", 2));

  assert.deepEqual(box.spokenOf, new Set([1]));
  assert.deepEqual([box.waitsFor(2), box.waitsFor(3)], [true, false]);
});

test("after a reload unsent acts can be undone and redone as before it", () => {
  const { box } = posted();
  const undoable = [{ uuid: "old" }, { uuid: "sent" }],
    redoable = [];
  box.acts.push(
    say("sent", 1),
    say("new", 2, { saw: "old" }),
    undo("u1", "old", 9),
    undo("u2", "new", 2),
    redo("r", "old", 9),
  );
  box.replay(undoable, redoable, () => "told");

  assert.deepEqual(
    undoable.map((w) => w.uuid),
    ["sent", "old"],
  );
  assert.deepEqual(redoable, [{ uuid: "new", sequence: 2, text: "told", lines: [], before: "old" }]);
});

test("the pace counts work and leaves pauses out", () => {
  const storage = memory(),
    pace = new Pace(keptUnder("t-", () => storage)),
    minute = 60e3;
  pace.count(1, 0.5 * minute);
  assert.equal(pace.anHour, 0); // too early to tell
  for (const at of [1, 1.5, 2]) pace.count(1, at * minute);
  assert.equal(pace.anHour, 120);
  pace.count(1, 60 * minute);
  assert.deepEqual([pace.said, pace.ms], [5, 1.5 * minute]);
  pace.count(-1, 61 * minute);
  assert.equal(new Pace(keptUnder("t-", () => storage)).said, 4);
  for (let i = 0; i < 9; i += 1) pace.count(-1, 61 * minute);
  assert.deepEqual([pace.said, pace.anHour], [0, 0]);
});
