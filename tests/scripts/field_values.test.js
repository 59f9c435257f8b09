"use strict";
process.env.TZ = "Europe/Oslo"; // UTC+1 in winter: the phone's own time is not UTC
const test = require("node:test");
const assert = require("node:assert/strict");
const { load } = require("./loading.js");

const values = load("values.js");
const LENGTHS = require("./lengths.json"); // tests/telling/test_measures.py reads them too
const FOOT_M = 0.3048; // international foot, exact by definition (NIST SP 811, appendix B)
const HEIGHT = [0, 30, "length"],
  TILT = [-90, 90],
  BURST = [1, 999, "whole"],
  DISTANCE = [0, 200, "length"];

test("a number is read as people type it", () => {
  const { read } = values.numbers(1);

  assert.deepEqual(read("1.25", HEIGHT), { value: 1.25 });
  assert.deepEqual(read(" 1,25 ", HEIGHT), { value: 1.25 });
  assert.deepEqual(read("−12", TILT), { value: -12 }); // the minus sign of a typographer
  assert.deepEqual(read("+3", TILT), { value: 3 });
  assert.deepEqual(read(".5", HEIGHT), { value: 0.5 });
  assert.deepEqual(read("2.", HEIGHT), { value: 2 });
  assert.deepEqual(read("  ", HEIGHT), { value: null });
});

test("what is no number, or no possible one, is told and not guessed at", () => {
  const { read } = values.numbers(1);

  for (const text of ["1.234,5", "1e3", "0x10", "12 kg", "--1", "NaN", "Infinity", "1 2"]) {
    assert.match(read(text, HEIGHT).fault, /^Not taken yet: needs a number from 0 to 30\.$/, text);
  }
  assert.ok(read("30.01", HEIGHT).fault);
  assert.ok(read("-0.1", HEIGHT).fault);
  assert.deepEqual(read("3", BURST), { value: 3 });
  assert.match(read("3.5", BURST).fault, /needs a whole number from 1 to 999/);
  assert.match(read("0", BURST).fault, /whole number/);
});

test("a length in feet is kept in metres and shown in feet again", () => {
  const { read, text } = values.numbers(FOOT_M);

  assert.deepEqual(read("8", HEIGHT), { value: 2.4384 });
  assert.equal(text(2.4384, HEIGHT), "8");
  assert.equal(text(-7.5, TILT), "-7.5"); // degrees are degrees
  assert.equal(text(null, HEIGHT), "");
});

test("a length with its unit is read whatever unit is shown, as the reader at home reads it", () => {
  for (const unit of [1, FOOT_M]) {
    const { read } = values.numbers(unit);
    for (const [text, metres] of LENGTHS.read) {
      assert.ok(Math.abs(read(text, [0, 30, "length"]).value - metres) < 1e-6, text);
    }
    for (const text of LENGTHS.refused) assert.ok(read(text, HEIGHT).fault, text);
    assert.ok(read("3 ft", TILT).fault); // degrees are no length
  }
});

test("a limit that is told is taken, in metres and in feet", () => {
  for (const unit of [1, FOOT_M]) {
    const { read } = values.numbers(unit);
    for (const spec of [HEIGHT, TILT, BURST, DISTANCE, [0.05, 0.31, "length"]]) {
      const [, low, high] = read("1e9", spec).fault.match(/from (\S+) to (\S+)\.$/);
      for (const told of [low, high]) {
        assert.equal(read(told, spec).fault, undefined, told + " of " + spec + " in " + unit);
      }
    }
  }
});

test("a time of day is read with and without seconds and colons", () => {
  const { readClock } = values;

  assert.equal(readClock("14:05:30"), "14:05:30");
  assert.equal(readClock("9:05"), "09:05:00");
  assert.equal(readClock("140530"), "14:05:30");
  assert.equal(readClock("14.05.30"), "14:05:30");
  for (const text of ["24:00", "12:60", "12:00:60", "12", "noon", "1:2:3", "12:00:00:00", ""]) {
    assert.equal(readClock(text), null, text);
  }
});

test("a span of time names its parts and rounds before it parts them", () => {
  const { span } = values;

  assert.equal(span(0.4), "0 s");
  assert.equal(span(-61), "1 min 1 s");
  assert.equal(span(59.6), "1 min");
  assert.equal(span(3599.7), "1 h");
  assert.equal(span(400 * 86400 + 3600), "400 d 1 h");
});

test("an offset from UTC is told with its sign and minutes", () => {
  assert.equal(values.offsetWords(-210), "UTC−3:30");
  assert.equal(values.offsetWords(345), "UTC+5:45");
  assert.equal(values.offsetWords(0), "UTC+0:00");
});

test("a camera's clock is held against the phone's, by the offset that it is meant to keep", () => {
  const clock = (shown) => ({ shown, true_at: "2026-01-10T12:00:00.000Z" }); // 13:00 by the phone

  assert.equal(values.aheadS(clock("2026-01-10T13:00:00"), 60), 0);
  assert.equal(values.aheadS(clock("2026-01-10T13:02:05"), 60), 125);
  assert.equal(values.aheadS(clock("2026-01-10T12:00:00"), 60), -3600);
  assert.equal(
    values.clockWords(clock("2026-01-10T13:00:01"), 60),
    "Camera 13:00:01, phone 13:00:00. They agree, if it is meant to keep UTC+1:00.",
  );
  assert.match(values.clockWords(clock("2026-01-10T13:02:05"), 60), /The camera is 2 min 5 s ahead, /);
  assert.match(values.clockWords(clock("2026-01-09T13:00:00"), 60), /The camera is 1 d behind, /);
  assert.match(values.clockWords(clock("2026-01-10T13:00:00"), null), /not known, so no difference is told/);
  assert.equal(values.clockWords({ shown: null, true_at: null }, 60), "");
});

test("a file's name tells day, round, phone and time, in letters that every system takes", () => {
  const now = new Date("2026-01-10T12:00:05Z");

  assert.equal(
    values.fileName("2026-01-09", "Tårn & Élan / nord", "abcd1234", now),
    "trod-visits-2026-01-09-tarn-elan-nord-abcd-130005",
  );
  assert.equal(values.fileName(null, "回", "abcd1234", now), "trod-visits-2026-01-10-abcd-130005");
  assert.equal(
    values.fileName("2026-01-09", "a".repeat(39) + " b", "abcd", now),
    "trod-visits-2026-01-09-" + "a".repeat(39) + "-abcd-130005",
  );
});

test("an address gets a scheme when it has none", () => {
  assert.equal(values.withScheme("192.168.4.1:8000"), "http://192.168.4.1:8000");
  assert.equal(values.withScheme("HTTPS://trod.example"), "HTTPS://trod.example");
  assert.equal(values.withScheme(""), "");
});

test("an answer counts as handed in only where it names the visit", () => {
  const said = (more) => JSON.stringify({ accepted: [], already: [], conflicts: [], ...more });
  const told = (text, uuid = "u1") => values.answerWords({ ok: true, status: 200 }, text, uuid);

  assert.equal(told(said({ accepted: ["u1"] })), "accepted");
  assert.equal(told(said({ already: ["u1"], doubts: ["Its clock?"] })), "already there. Its clock?");
  assert.equal(
    told(said({ conflicts: [{ uuid: "u1", words: "cards differ" }] })),
    "there, and waits for a decision: cards differ",
  );
  assert.throws(() => told(said({ accepted: ["u2"] })), /did not name this visit/);
  for (const text of ["<html>", "null", "[]", '{"accepted":["u1"]}']) {
    assert.throws(() => told(text), /no Trod that takes/, text);
  }
});

test("a refusal is told with what to do", () => {
  const told = (status, text) => () => values.answerWords({ ok: false, status }, text, "u1");

  assert.throws(told(401, "{}"), /\(401\): it does not know this field form’s token.*bring the file\.$/);
  assert.throws(told(413, ""), /too big for it\. Bring the file\.$/);
  assert.throws(told(422, '{"error":"No such site."}'), /said no \(422\): No such site\.$/);
  assert.throws(told(500, "<h1>"), /\(500\): no reason given\.$/);
});
