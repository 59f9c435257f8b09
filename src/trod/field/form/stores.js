"use strict";
/* Where the field form keeps what was noted: this browser's database; where that does not open its small store; where
   nothing may be kept, the page's memory. All three answer alike. */
(() => {
  const OPEN_MS = 8000;
  const TABLES = { visits: "uuid", photos: "uuid", marks: "key" };

  /* Another page has written since this one read. */
  class Behind extends Error {}

  class DatabaseStore {
    constructor(db) {
      this.kind = "database";
      this.db = db;
    }
    static open(name) {
      return new Promise((resolve, reject) => {
        const late = setTimeout(() => reject(new Error("the database did not answer")), OPEN_MS);
        let asked;
        try {
          asked = indexedDB.open(name, 1);
        } catch (problem) {
          clearTimeout(late);
          reject(problem);
          return;
        }
        asked.onupgradeneeded = () => {
          for (const table of Object.keys(TABLES)) asked.result.createObjectStore(table, { keyPath: TABLES[table] });
        };
        asked.onerror = () => {
          clearTimeout(late);
          reject(asked.error);
        };
        asked.onsuccess = () => {
          clearTimeout(late);
          resolve(new DatabaseStore(asked.result));
        };
      });
    }
    /* One transaction; done means that the browser has promised to have it on the disk where it can promise. */
    work(table, mode, act) {
      return new Promise((resolve, reject) => {
        let answer, behind;
        const step = this.db.transaction(table, mode, mode === "readwrite" ? { durability: "strict" } : undefined);
        step.oncomplete = () => resolve(answer);
        step.onabort = () => reject(behind || step.error || new Error("the phone's store refused"));
        act(
          step.objectStore(table),
          (value) => {
            answer = value;
          },
          (why) => {
            behind = why;
            step.abort();
          },
        );
      });
    }
    ask(table, question) {
      return this.work(table, "readonly", (s, say) => {
        const r = question(s);
        r.onsuccess = () => say(r.result);
      });
    }
    all(table) {
      return this.ask(table, (s) => s.getAll());
    }
    get(table, key) {
      return this.ask(table, (s) => s.get(key));
    }
    put(table, value) {
      return this.work(table, "readwrite", (s) => {
        s.put(value);
      });
    }
    remove(table, key) {
      return this.work(table, "readwrite", (s) => {
        s.delete(key);
      });
    }
    /* Write a visit only if nobody else (another tab) has written it since we read it. */
    putVisit(visit, base) {
      return this.work("visits", "readwrite", (s, say, stop) => {
        const r = s.get(visit.uuid);
        r.onsuccess = () => {
          if ((r.result ? r.result.revision : 0) !== base) stop(new Behind());
          else s.put(visit);
        };
      });
    }
  }

  class SmallStore {
    constructor(name) {
      this.kind = "small store";
      this.head = name + "/";
      localStorage.setItem(this.head + "try", "1");
      localStorage.removeItem(this.head + "try");
    }
    name(table, key) {
      return this.head + table + "/" + key;
    }
    async all(table) {
      const keys = Object.keys(localStorage).filter((k) => k.startsWith(this.head + table + "/"));
      return keys.map((k) => JSON.parse(localStorage.getItem(k)));
    }
    async get(table, key) {
      const text = localStorage.getItem(this.name(table, key));
      return text ? JSON.parse(text) : undefined;
    }
    async put(table, value) {
      localStorage.setItem(this.name(table, value[TABLES[table]]), JSON.stringify(value));
    }
    async remove(table, key) {
      localStorage.removeItem(this.name(table, key));
    }
    async putVisit(visit, base) {
      const stored = await this.get("visits", visit.uuid);
      if ((stored ? stored.revision : 0) !== base) throw new Behind();
      await this.put("visits", visit);
    }
  }

  class NoStore {
    constructor() {
      this.kind = "nothing";
      this.tables = { visits: new Map(), photos: new Map(), marks: new Map() };
    }
    async all(table) {
      return [...this.tables[table].values()];
    }
    async get(table, key) {
      return this.tables[table].get(key);
    }
    async put(table, value) {
      this.tables[table].set(value[TABLES[table]], value);
    }
    async remove(table, key) {
      this.tables[table].delete(key);
    }
    async putVisit(visit) {
      await this.put("visits", visit);
    }
  }

  /* The best store that this browser gives, tried by writing. name : of one field form, so that they do not mix. */
  async function openStore(name, now) {
    try {
      const store = await DatabaseStore.open(name);
      await store.put("marks", { key: "opened", value: now });
      return store;
    } catch (problem) {
      try {
        return new SmallStore(name);
      } catch (worse) {
        return new NoStore();
      }
    }
  }

  window.Trod = Object.assign(window.Trod || {}, { Behind, openStore });
})();
