"use strict";
const test = require("node:test");
const assert = require("node:assert/strict");
const { load } = require("./loading.js");

const { idOf, reviewPen } = load("review_pen.js");
const { vocabulary: VOCABULARY, told: TOLD } = require("./review_told.json"); // as the catalogue has them: test_vocabulary.py
const FOX = { what: "animal", species: "red-fox", name: "Red fox" };
const DEER = { what: "animal", species: "red-deer", name: "Red deer" };
const BLANK = { what: "blank", name: "Blank" };
const HUMAN = { what: "human", name: "Human" };

function desk() {
  const things = new Map([FOX, DEER, BLANK, HUMAN].map((thing) => [idOf(thing), thing]));
  return { things, ...reviewPen(VOCABULARY, things) };
}
const standing = (...lines) => ({ by: "Ada", text: "what stood", note: "", lines });
const animals = (species, count, more) => ({
  what: "animal",
  species,
  count,
  sex: "unknown",
  life_stage: "unknown",
  ...more,
});
const dot = (picture, x = 0.5, y = 0.5) => ({ picture, x, y });

test("a kind on no list yet is known by its name, whatever its capitals", () => {
  assert.equal(idOf({ what: "animal", named: "Pine Marten" }), idOf({ what: "animal", named: "pine marten" }));
  assert.notEqual(idOf({ what: "animal", named: "red-fox" }), idOf(FOX));
  assert.equal(idOf(BLANK), "blank");
});

test("lines are told as the catalogue tells them", () => {
  const { things, tell } = desk();
  for (const { rows, note, text } of TOLD) {
    const lines = rows.map(([what, name, count, sex, life_stage]) => {
      const species = name ? name.toLowerCase().replace(" ", "-") : "";
      if (name) things.set(idOf({ what, species }), { what, species, name });
      return { what, species, count, sex, life_stage };
    });
    assert.equal(tell(lines, note), text);
  }
});

test("a key alone says one of it", () => {
  const { Pen } = desk(),
    pen = new Pen();

  assert.deepEqual(pen.linesOf(FOX), [
    { what: "animal", species: "red-fox", named: undefined, sex: "unknown", life_stage: "unknown", count: 1 },
  ]);
  assert.deepEqual(pen.linesOf(BLANK), [{ what: "blank", count: 1 }]);
});

test("figures make a number, and begin anew where it would be too great", () => {
  const { Pen } = desk(),
    pen = new Pen();
  const typed = (figures) => {
    pen.count = 0;
    for (const f of figures) pen.digit(Number(f));
    return pen.count;
  };

  assert.equal(typed("12"), 12);
  assert.equal(typed("999"), 999);
  assert.equal(typed("9995"), 5);
  assert.equal(typed("007"), 7);
});

test("a class goes to animals alone", () => {
  const { Pen } = desk(),
    pen = new Pen();
  pen.digit(2);
  pen.setClass("sex", "female");
  pen.setClass("life_stage", "adult");

  const [line] = pen.linesOf(DEER);
  assert.deepEqual([line.count, line.sex, line.life_stage], [2, "female", "adult"]);
  assert.deepEqual(pen.linesOf(HUMAN), [{ what: "human", species: undefined, named: undefined, count: 2 }]);
});

test("dots are the count, like animals in one line, and a greater number adds those without a dot", () => {
  const { Pen } = desk(),
    pen = new Pen();
  pen.setClass("sex", "female");
  pen.putDot("p1", 0.123456789, 1);
  pen.putDot("p2", 0, 0);
  pen.setClass("sex", "male"); // of the last dot, and of those to come
  pen.digit(5);
  const lines = pen.linesOf(DEER);

  assert.deepEqual(
    lines.map((l) => [l.count, l.sex, (l.dots || []).length]),
    [
      [1, "female", 1],
      [1, "male", 1],
      [3, "unknown", 0],
    ],
  );
  assert.deepEqual(lines[0].dots, [dot("p1", 0.12346, 1)]);
  assert.equal(pen.looseDots.length, 0);
});

test("a number smaller than the dots takes no dot off", () => {
  const { Pen } = desk(),
    pen = new Pen();
  pen.putDot("p", 0, 0);
  pen.putDot("p", 1, 1);
  pen.digit(1);

  assert.deepEqual(
    pen.linesOf(FOX).map((l) => l.count),
    [2],
  );
});

test("of several kinds each takes its own dots, number and class", () => {
  const { Pen } = desk(),
    pen = new Pen();
  pen.several = true;
  pen.putDot("p", 0, 0);
  pen.addLines(FOX);
  pen.digit(3);
  pen.setClass("life_stage", "juvenile");
  pen.addLines(DEER);

  assert.deepEqual(
    pen.lines.map((l) => [l.species, l.count, l.life_stage, (l.dots || []).length]),
    [
      ["red-fox", 1, "unknown", 1],
      ["red-deer", 3, "juvenile", 0],
    ],
  );
  assert.equal(pen.takeOff(0), false); // a dot that is told stays
  assert.deepEqual([pen.count, pen.life_stage], [0, "unknown"]);
});

test("what stands is agreed with as it is: dots, classes and animals without a dot", () => {
  const { Pen } = desk();
  const line = animals("red-deer", 3, { sex: "female", dots: [dot("p1")] });
  const pen = new Pen(standing(line), "Ben");

  assert.deepEqual([pen.touched, pen.idle, pen.amend.mine, pen.shownCount], [false, true, false, 3]);
  assert.deepEqual(pen.amounts(), [
    {
      what: "animal",
      species: "red-deer",
      named: undefined,
      sex: "female",
      life_stage: "unknown",
      count: 3,
      dots: [dot("p1")],
    },
  ]);
});

test("a note comes along only with one's own identification", () => {
  const { Pen } = desk(),
    said = { ...standing(animals("red-fox", 1)), note: "limps" };

  assert.equal(new Pen(said, "Ada").note, "limps");
  assert.equal(new Pen(said, "Ben").note, "");
});

test("a typed number changes the animals without a dot, and keeps their class", () => {
  const { Pen } = desk();
  const pen = new Pen(standing(animals("red-deer", 3, { sex: "female", dots: [dot("p1")] })), "Ben");
  pen.digit(7);

  assert.equal(pen.touched, true);
  assert.deepEqual(
    pen.amounts().map((l) => [l.count, l.sex, (l.dots || []).length]),
    [[7, "female", 1]],
  );
  pen.number(1);
  assert.deepEqual(
    pen.amounts().map((l) => [l.count, l.sex, (l.dots || []).length]),
    [[1, "female", 1]],
  );
  const apart = new Pen(
    standing(animals("red-deer", 1, { sex: "male", dots: [dot("p1")] }), animals("red-deer", 1, { sex: "female" })),
    "Ben",
  );
  apart.number(1); // none is left without a dot, so no line is
  assert.deepEqual(
    apart.amounts().map((l) => [l.count, l.sex]),
    [[1, "male"]],
  );
});

test("a dot marks one of those that were counted without one", () => {
  const { Pen } = desk(),
    pen = new Pen(standing(animals("red-deer", 2, { life_stage: "adult" })), "Ben");
  for (const part of [0.1, 0.2, 0.3]) pen.putDot("p", part, part);

  assert.deepEqual(
    pen.amounts().map((l) => [l.count, l.life_stage]),
    [
      [2, "adult"],
      [1, "unknown"],
    ],
  );
  assert.deepEqual(pen.amend.rest, []);
});

test("another kind keeps counts, classes and dots", () => {
  const { Pen } = desk();
  const pen = new Pen(standing(animals("red-deer", 3, { sex: "female", dots: [dot("p1")] })), "Ben");
  const { lines } = pen.amendTo(FOX);

  assert.deepEqual(
    lines.map((l) => [l.species, l.count, l.sex, l.dots.length]),
    [["red-fox", 3, "female", 1]],
  );
});

test("an animal in place of a blank is one animal", () => {
  const { Pen } = desk(),
    pen = new Pen(standing({ what: "blank", count: 1 }), "Ben");

  assert.deepEqual(
    pen.amendTo(FOX).lines.map((l) => [l.species, l.count]),
    [["red-fox", 1]],
  );
});

test("a number, or a dot, on a blank begins anew", () => {
  const { Pen } = desk(),
    counted = new Pen(standing({ what: "blank", count: 1 }), "Ben");
  counted.digit(4);
  const dotted = new Pen(standing({ what: "blank", count: 1 }), "Ben");
  dotted.putDot("p", 0, 0);

  assert.deepEqual([counted.amend, counted.linesOf(FOX)[0].count], [null, 4]);
  assert.deepEqual([dotted.amend, dotted.looseDots.length], [null, 1]);
});

test("a blank stands in place of anything", () => {
  const { Pen } = desk();
  assert.deepEqual(new Pen(standing(animals("red-deer", 9)), "Ben").amendTo(BLANK), {
    lines: [{ what: "blank", count: 1 }],
  });
});

test("where several kinds stand, nothing is guessed: one dot at a time, or anew", () => {
  const { Pen } = desk(),
    pen = new Pen(standing(animals("red-deer", 1, { dots: [dot("p1")] }), animals("red-fox", 2)), "Ben");

  assert.match(pen.digit(3), /Several kinds stand/);
  assert.match(pen.putDot("p2", 0, 0), /Several kinds stand/);
  assert.match(pen.amendTo(FOX).why, /Choose a dot first/);
  assert.equal(pen.touched, false);
  pen.choose(0);
  assert.deepEqual(pen.amendTo(FOX), {});
  assert.deepEqual(
    pen.amounts().map((l) => [l.species, l.count]),
    [["red-fox", 3]],
  );
});

test("a class without a chosen dot goes to the animals without one, if they are of one class", () => {
  const { Pen } = desk();
  const one = new Pen(standing(animals("red-deer", 2)), "Ben");
  assert.equal(one.setClass("sex", "male"), "");
  assert.equal(one.amounts()[0].sex, "male");

  const two = new Pen(
    standing(animals("red-deer", 2, { sex: "female" }), animals("red-deer", 1, { sex: "male" })),
    "Ben",
  );
  assert.match(two.setClass("sex", "unknown"), /Several classes stand/);
  assert.equal(two.touched, false);

  const dotted = new Pen(standing(animals("red-deer", 1, { dots: [dot("p1")] })), "Ben");
  assert.match(dotted.setClass("sex", "male"), /Choose a dot first/);
});

test("dots taken off leave their animals counted", () => {
  const { Pen } = desk();
  const pen = new Pen(standing(animals("red-deer", 3, { dots: [dot("p1"), dot("p2")] })), "Ben");
  pen.noDots();

  assert.deepEqual([pen.dots, pen.amounts().map((l) => l.count)], [[], [3]]);
});

test("what stands becomes the first of several kinds", () => {
  const { Pen } = desk(),
    pen = new Pen(standing(animals("red-deer", 2, { dots: [dot("p1")] })), "Ben");
  pen.spread();
  pen.addLines(FOX);

  assert.deepEqual(
    pen.lines.map((l) => [l.species, l.count]),
    [
      ["red-deer", 2],
      ["red-fox", 1],
    ],
  );
  assert.equal(pen.looseDots.length, 0);
});

test("a held key, a number, a dot or a note is something that waits", () => {
  const { Pen } = desk();
  const after = (work) => {
    const pen = new Pen();
    work(pen);
    return pen.idle;
  };

  assert.equal(
    after(() => {}),
    true,
  );
  for (const work of [
    (p) => {
      p.held = FOX;
    },
    (p) => p.digit(1),
    (p) => p.putDot("p", 0, 0),
    (p) => {
      p.note = "n";
    },
    (p) => p.addLines(FOX),
  ]) {
    assert.equal(after(work), false, String(work));
  }
});
