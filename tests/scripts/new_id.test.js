"use strict";
const test = require("node:test");
const assert = require("node:assert/strict");
const { load } = require("./loading.js");

const { newId } = load("new_id.js");

/* Run with the random bytes that crypto gives set to `bytes`. */
function withBytes(bytes, work) {
  const before = crypto.getRandomValues;
  Object.defineProperty(crypto, "getRandomValues", {
    value: (into) => {
      into.set(bytes);
      return into;
    },
    configurable: true,
  });
  try {
    return work();
  } finally {
    Object.defineProperty(crypto, "getRandomValues", { value: before, configurable: true });
  }
}

test("an id carries its random bytes, with version 4 and the variant written over six bits", () => {
  const counting = Uint8Array.from({ length: 16 }, (_, i) => i);

  assert.equal(withBytes(counting, newId), "00010203-0405-4607-8809-0a0b0c0d0e0f");
  assert.equal(withBytes(new Uint8Array(16).fill(255), newId), "ffffffff-ffff-4fff-bfff-ffffffffffff");
  assert.equal(withBytes(new Uint8Array(16), newId), "00000000-0000-4000-8000-000000000000");
});

test("every id is of version 4, and no two are the same", () => {
  const ids = Array.from({ length: 2000 }, newId);

  for (const id of ids) assert.match(id, /^[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/);
  assert.equal(new Set(ids).size, ids.length);
});

test("an id is made where the page came over plain http and the browser offers no randomUUID", () => {
  const before = crypto.randomUUID;
  Object.defineProperty(crypto, "randomUUID", { value: undefined, configurable: true });
  try {
    assert.equal(newId().length, 36);
  } finally {
    Object.defineProperty(crypto, "randomUUID", { value: before, configurable: true });
  }
});
