// The last state of the book as this device saw it, each piece with the time at which it was fetched. What comes from
// here always says so: it is never handed out as fresh.

import { asked, openDatabase, transact } from "./database.js";
import { localTag, say } from "./language.js";

export const BOOK = "book";
export const DEVICE = "this device";

export class Store {
  #database;
  #fetch;

  constructor(database, { fetch = (...args) => globalThis.fetch(...args) } = {}) {
    this.#database = database;
    this.#fetch = fetch;
  }

  /** Keeps `value` (JSON) under kind and id, as fetched at `fetchedAt` (ms since 1970). */
  async keep(kind, id, value, fetchedAt = Date.now()) {
    await transact(this.#database, ["kept"], "readwrite", (store) => asked(store.put({ kind, id, value, fetchedAt })));
  }

  /** {value, from: "this device", fetchedAt, ageMs} or null. */
  async recall(kind, id) {
    const found = await transact(this.#database, ["kept"], "readonly", (store) => asked(store.get([kind, id])));
    return found === undefined ? null : this.#handed(found.value, DEVICE, found.fetchedAt);
  }

  /** All of one kind, each like recall() and with its id. */
  async recallAll(kind) {
    const range = IDBKeyRange.bound([kind], [kind, []]);
    const found = await transact(this.#database, ["kept"], "readonly", (store) => asked(store.getAll(range)));
    return found.map(({ id, value, fetchedAt }) => ({ id, ...this.#handed(value, DEVICE, fetchedAt) }));
  }

  /**
   * Asks the book and keeps the answer; when it doesn't answer within `timeoutMs`, hands out what is kept.
   * {value, from, fetchedAt, ageMs}; from tells which. Rejects when neither has it, or when the book says no.
   */
  async fetch(kind, id, url, { timeoutMs = 4000 } = {}) {
    const abort = new AbortController();
    const timer = setTimeout(() => abort.abort(), timeoutMs);
    let response = null;
    let value;
    try {
      response = await this.#fetch(url, {
        headers: { accept: "application/json" },
        credentials: "same-origin",
        cache: "no-store",
        signal: abort.signal,
      });
      value = await response.json();
    } catch {
      response = null; // no answer, or one cut short
    } finally {
      clearTimeout(timer);
    }
    if (response?.ok) {
      const fetchedAt = Date.now();
      await this.keep(kind, id, value, fetchedAt);
      return this.#handed(value, BOOK, fetchedAt);
    }
    if (response !== null && response.status < 500) {
      throw Object.assign(new Error(value?.error?.message ?? say("the book answered {status}", { status: response.status })), {
        status: response.status,
        error: value?.error,
      });
    }
    const kept = await this.recall(kind, id);
    if (kept === null) {
      throw new Error(say("The book can’t be reached, and this was never kept on this device."));
    }
    return kept;
  }

  /** Forgets everything kept (not the outbox). */
  async forget() {
    await transact(this.#database, ["kept"], "readwrite", (store) => asked(store.clear()));
  }

  #handed(value, from, fetchedAt) {
    return { value, from, fetchedAt, ageMs: Math.max(0, Date.now() - fetchedAt) };
  }
}

/** The age of something kept, in words: "just now", "12 minutes ago", "3 days ago". */
export function ageInWords(ageMs, language = localTag) {
  const minutes = Math.round(ageMs / 60_000);
  const format = new Intl.RelativeTimeFormat(language, { numeric: "auto" });
  if (minutes < 1) {
    return format.format(0, "second");
  }
  if (minutes < 60) {
    return format.format(-minutes, "minute");
  }
  const hours = Math.round(minutes / 60);
  return hours < 48 ? format.format(-hours, "hour") : format.format(-Math.round(hours / 24), "day");
}

/** Opens the store of this device. */
export async function openStore(options = {}) {
  return new Store(await openDatabase(options.name), options);
}
