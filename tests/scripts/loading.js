"use strict";
/* Plain scripts for the tests. Each file hangs what it offers on window.Trod, as it does in a page. */
const fs = require("node:fs");
const path = require("node:path");
const { webcrypto } = require("node:crypto");

const ROOT = path.resolve(__dirname, "../..");
const HOMES = ["src/trod/shared_scripts", "src/trod/field/form", "src/trod/web/static/trod"];

/* window.Trod after these files have run anew, in this order, as the script elements of a page would run them. */
exports.load = (...names) => {
  globalThis.window = globalThis;
  if (!globalThis.crypto) globalThis.crypto = webcrypto; // Node 18 has it, but not as a global
  delete globalThis.Trod;
  for (const name of names) {
    const file = HOMES.map((home) => path.join(ROOT, home, name)).find(fs.existsSync);
    if (!file) throw new Error(name + " is in none of: " + HOMES.join(", "));
    delete require.cache[file];
    require(file);
  }
  return globalThis.Trod;
};
