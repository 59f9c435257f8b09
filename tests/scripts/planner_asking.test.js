"use strict";
const test = require("node:test");
const assert = require("node:assert/strict");
const { load } = require("./loading.js");

const { Asking, keptQuery, boxNumber } = load("planner_asking.js");
const settle = () => new Promise(setImmediate);

/* A planner whose answers the test gives. */
function desk({ breaksOff = true } = {}) {
  const seen = { asked: [], answered: [], closer: [], failed: [], resting: [], timer: null };
  const asking = new Asking({
    send: (kind, turn, signal) =>
      new Promise((good, bad) => {
        seen.asked.push([kind, turn]);
        Object.assign(seen, { good, bad });
        seen.signal = signal;
        if (breaksOff) signal?.addEventListener("abort", () => bad(new DOMException("broken off", "AbortError")));
      }),
    answered: (came) => seen.answered.push(came.html),
    closer: (came) => seen.closer.push(came.html),
    resting: (on) => seen.resting.push(on),
    failed: (fault) => seen.failed.push(fault.message),
    later: (work) => {
      seen.timer = work;
      return work;
    },
    cancel: (timer) => {
      if (timer && timer === seen.timer) seen.timer = null;
    },
  });
  return { asking, seen };
}

test("while a question is under way only the newest waits", async () => {
  const { asking, seen } = desk();
  for (let i = 0; i < 4; i += 1) asking.ask();
  assert.deepEqual(seen.asked, [["answer", 1]]);
  seen.good({ ok: true, html: "one" });
  await settle();
  assert.deepEqual(seen.asked, [
    ["answer", 1],
    ["answer", 4],
  ]);
  assert.equal(seen.timer, null); // it does not rest while one waits
  seen.good({ ok: true, html: "four" });
  await settle();

  assert.deepEqual(seen.answered, ["one", "four"]);
  assert.notEqual(seen.timer, null);
});

test("a question that fails does not swallow the one that waits", async () => {
  const { asking, seen } = desk();
  asking.ask();
  asking.ask();
  seen.bad(new Error("no network"));
  await settle();

  assert.deepEqual(
    [seen.failed, seen.asked],
    [
      ["no network"],
      [
        ["answer", 1],
        ["answer", 2],
      ],
    ],
  );
  seen.good({ ok: true, html: "two" });
  await settle();
  asking.ask();
  assert.deepEqual(seen.asked.at(-1), ["answer", 3]);
});

test("when the hand rests a closer answer comes, but not after one that finds a fault in the boxes", async () => {
  const { asking, seen } = desk();
  asking.ask();
  seen.good({ ok: false, html: "wrong" });
  await settle();
  assert.equal(seen.timer, null);
  asking.ask();
  seen.good({ ok: true, html: "right" });
  await settle();
  seen.timer();
  seen.good({ ok: true, html: "closer" });
  await settle();

  assert.deepEqual([seen.closer, seen.resting], [["closer"], [true, false]]);
});

test("a closer answer that comes after a change is broken off and never shown", async () => {
  for (const breaksOff of [true, false]) {
    // an answer may be on its way already
    const { asking, seen } = desk({ breaksOff });
    asking.rest();
    const closing = seen.timer();
    const { good, signal } = seen;
    asking.ask();
    good({ ok: true, html: "of before" });
    await closing;

    assert.equal(signal.aborted, true);
    assert.deepEqual([seen.closer, seen.failed, seen.asked.at(-1)], [[], [], ["answer", 1]]);
  }
});

test("the address keeps what is told, and not the name it will be kept under", () => {
  const told = [
    ["csrfmiddlewaretoken", "x"],
    ["name", "mine"],
    ["height_m", "1.2"],
    ["tilt_deg", ""],
    ["animal", "roe deer"],
  ];

  assert.equal(keptQuery(told), "height_m=1.2&animal=roe+deer");
});

test("all months need not be said; some must be", () => {
  const months = (n) => Array.from({ length: n }, (_, i) => [`month_${i + 1}`, "1"]);

  assert.equal(keptQuery([...months(12), ["days", "30"]]), "days=30");
  assert.equal(keptQuery(months(2)), "month_1=1&month_2=1");
});

test("a slider's number is told without the noise of its arithmetic", () => {
  assert.equal(boxNumber("0.30000000000000004"), "0.3");
  assert.equal(boxNumber("2.50"), "2.5");
  assert.equal(boxNumber("-0"), "0");
});
