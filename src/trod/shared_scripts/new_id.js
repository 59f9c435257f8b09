"use strict";
(() => {
  /* A new UUID of version 4, at random (RFC 9562, section 5.4). The browser's own crypto.randomUUID is absent where a
     page comes over plain http from another machine, as in a reserve's own Wi-Fi; getRandomValues is there too. */
  function newId() {
    const b = crypto.getRandomValues(new Uint8Array(16));
    b[6] = (b[6] & 15) | 64;
    b[8] = (b[8] & 63) | 128;
    const hex = Array.from(b, (x) => x.toString(16).padStart(2, "0")).join("");
    return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
  }

  window.Trod = Object.assign(window.Trod || {}, { newId });
})();
