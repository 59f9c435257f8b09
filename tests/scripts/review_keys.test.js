"use strict";
const test = require("node:test");
const assert = require("node:assert/strict");
const { load } = require("./loading.js");

const { keyMeaning, isBounce } = load("review_keys.js");
const THINGS = { f: { name: "Red fox" }, " ": { name: "Blank" }, é: { name: "Elk" } };
const KEYS = {
  classes: { f: ["sex", "female"], j: ["life_stage", "juvenile"] },
  signs: { '"': "again", "&": "several", "?": "help", ".": "dot" },
  thingOf: (key) => THINGS[key],
};
const HERE = { help: false, typing: false, control: false, range: false, dot: false, keysOn: true, cross: false };
const means = (key, event = {}, here = {}) =>
  keyMeaning(
    {
      key,
      code: "",
      shiftKey: false,
      ctrlKey: false,
      metaKey: false,
      altKey: false,
      altGraph: false,
      repeat: false,
      isComposing: false,
      ...event,
    },
    { ...HERE, ...here },
    KEYS,
  );

test("a letter says its thing, with caps lock too", () => {
  assert.deepEqual(means("f"), { act: "say", with: [THINGS.f] });
  assert.deepEqual(means("F"), { act: "say", with: [THINGS.f] });
  assert.deepEqual(means("é"), { act: "say", with: [THINGS["é"]] });
  assert.equal(means("q"), null);
});

test("a letter with Shift is a class where one has it, and a thing where none has", () => {
  assert.deepEqual(means("F", { shiftKey: true }), { act: "class", with: ["sex", "female"] });
  assert.deepEqual(means("É", { shiftKey: true }), { act: "say", with: [THINGS["é"]] });
  assert.equal(means(" ", { shiftKey: true }), null); // it scrolls the page back
});

test("figures count", () => {
  assert.deepEqual(means("7"), { act: "digit", with: [7] });
  assert.deepEqual(means("0"), { act: "digit", with: [0] });
  assert.equal(means("F7"), null);
});

test("signs act, also where a quote is a dead key", () => {
  assert.deepEqual(means("&", { shiftKey: true }), { act: "several" });
  assert.deepEqual(means("Dead", { code: "Quote" }), { act: "again" });
  assert.equal(means("Dead", { code: "BracketLeft" }), null);
  assert.equal(means("ä", { code: "Quote" }), null); // where another letter lies on that key
});

test("a key that is held says a thing once, but goes on nearing and stepping", () => {
  const held = { repeat: true };

  for (const key of ["f", " ", "7", "&", "Enter", "Backspace", "ArrowDown"]) {
    assert.deepEqual(means(key, held), { act: "" }, key);
  }
  assert.deepEqual(means("ArrowRight", held), { act: "step", with: [1] });
  assert.equal(means("+", held).act, "nearer");
  assert.equal(means("F5", held), null);
});

test("plus and minus undo each other", () => {
  assert.equal(means("+").with[0] * means("-").with[0], 1);
});

test("arrows step and turn, and move the cross while it is shown", () => {
  assert.deepEqual(means("ArrowLeft"), { act: "step", with: [-1] });
  assert.deepEqual(means("ArrowDown"), { act: "skip" });
  assert.deepEqual(means("PageUp"), { act: "back" });
  assert.deepEqual(means("ArrowUp", { shiftKey: true }, { cross: true }), { act: "cross by", with: [0, -1, true] });
  assert.deepEqual(means("PageDown", {}, { cross: true }), { act: "skip" });
});

test("undo and redo, and no other key with Ctrl or Command", () => {
  assert.deepEqual(means("z", { ctrlKey: true }), { act: "undo" });
  assert.deepEqual(means("Z", { metaKey: true, shiftKey: true }), { act: "redo" });
  assert.deepEqual(means("y", { ctrlKey: true }), { act: "redo" });
  for (const key of ["f", "r", "Enter", "0"]) assert.equal(means(key, { ctrlKey: true }), null, key);
  assert.equal(means("z", { ctrlKey: true }, { typing: true }), null);
});

test("Alt leaves a key to the browser, but not the one that types a letter", () => {
  assert.equal(means("f", { altKey: true }), null);
  assert.equal(means("f", { altKey: true, altGraph: true }).act, "say");
  assert.equal(means("f", { altKey: true, ctrlKey: true, altGraph: true }).act, "say"); // as Windows tells it
});

test("nothing is said while somebody types, or reads the keys", () => {
  for (const key of ["f", "7", "Enter", "Escape", "ArrowDown", "Backspace"]) {
    assert.equal(means(key, {}, { typing: true }), null, key);
    assert.equal(means(key, {}, { help: true }), null, key);
    assert.equal(means(key, { isComposing: true }), null, key);
  }
});

test("a control that has the focus keeps its own keys", () => {
  assert.equal(means("Enter", {}, { control: true }), null);
  assert.equal(means(" ", {}, { control: true }), null);
  assert.equal(means("f", {}, { control: true }).act, "say");
  assert.equal(means("ArrowLeft", {}, { control: true, range: true }), null);
  assert.equal(means("Delete", {}, { control: true, dot: true }), null);
});

test("with the letters switched off, what moves and writes still does", () => {
  const off = { keysOn: false };

  for (const key of ["f", "7", "&", "+"]) assert.equal(means(key, {}, off), null, key);
  for (const [key, act] of [
    ["Enter", "write"],
    ["Escape", "drop"],
    ["Backspace", "erase"],
    ["ArrowDown", "skip"],
  ]) {
    assert.equal(means(key, {}, off).act, act);
  }
});

test("a worn key that bounces is one press; two presses, or two keys, are two", () => {
  const at = (key, time) => ({ key, time });

  assert.equal(isBounce(at("f", 1000), at("f", 1040)), true);
  assert.equal(isBounce(at("f", 1000), at("f", 1060)), false);
  assert.equal(isBounce(at("f", 1000), at("d", 1040)), false);
});
