// What was entered and is not yet in the book. An entry is on this device's disk before add() resolves, is sent in
// order, and is removed only when the book has said that it has it. The book recognises an entry by its id, so sending
// one twice does nothing; together that is exactly once, also across a killed browser and a killed server.

import { asked, openDatabase, transact } from "./database.js";
import { newId } from "./ids.js";
import { plural, say } from "./language.js";

const WAITING = "waiting"; // to be sent
const CONFLICT = "conflict"; // the book holds something newer: the owner decides
const REFUSED = "refused"; // the book can't take it as it is: the owner corrects or drops it

// Answers that are about the moment or the way to the book, not about the entry.
const LATER = new Set([408, 421, 423, 425, 429, 502, 503, 504]);

export const WORDS = {
  allSent: () => say("Everything is in the book."),
  waiting: (n) => plural("{n} entry is saved on this device, not yet in the book.", "{n} entries are saved on this device, not yet in the book.", n),
  unreached: () => say("The book can’t be reached. It is tried again by itself."),
  unpaired: () => say("This device isn’t paired with the book. Pair it again, then they are sent."),
  parked: (n) => plural("{n} entry needs your decision.", "{n} entries need your decision.", n),
};

/**
 * The first entry of one stream that may be sent, or null. `entries` in the order they were made. What is parked holds
 * back later entries about the same thing; an entry about nothing in particular (about: null) waits for everything
 * before it, and everything after it waits for it.
 */
export function nextSendable(entries) {
  const held = new Set();
  for (const entry of entries) {
    const about = entry.about ?? null;
    const behind = held.has(null) || held.has(about) || (about === null && held.size > 0);
    if (entry.state === WAITING && !behind) {
      return entry;
    }
    held.add(about);
  }
  return null;
}

/** One or more plain sentences on what is saved where. */
export function describe(summary, words = WORDS) {
  const sentences = [];
  if (summary.waiting === 0 && summary.parked.length === 0) {
    sentences.push(words.allSent());
  }
  if (summary.waiting > 0) {
    sentences.push(words.waiting(summary.waiting));
    if (summary.link === "unpaired") {
      sentences.push(words.unpaired());
    } else if (summary.link === "unreached") {
      sentences.push(words.unreached());
    }
  }
  if (summary.parked.length > 0) {
    sentences.push(words.parked(summary.parked.length));
  }
  return sentences.join(" ");
}

/**
 * Events: "change" (detail: summary), "sent" (detail: {entry, reply}), "parked" (detail: {entry}).
 */
export class Outbox extends EventTarget {
  #database;
  #options;
  #channel;
  #timer = null;
  #pumping = null;
  #again = false;
  #running = false;
  #tries = 0;
  #resting = new Map(); // stream -> {until, tries}: the book answered, but failed on this stream
  #link = "unknown";
  #sendingId = null;
  #nextTryAt = null;
  #wake = () => this.kick();
  #seen = () => {
    if (document.visibilityState === "visible") {
      this.kick();
    }
  };

  constructor(database, options = {}) {
    super();
    this.#database = database;
    this.#options = {
      timeoutMs: 10_000,
      blobTimeoutMs: 180_000, // a photo takes its time on a weak network
      firstRetryMs: 1_000,
      lastRetryMs: 60_000,
      fetch: (...args) => globalThis.fetch(...args),
      ...options,
    };
    this.#channel = new BroadcastChannel(`coldlash-outbox-${database.name}`);
    this.#channel.onmessage = () => {
      this.#changed(false);
      this.kick();
    };
  }

  /**
   * Saves one entry on this device; resolves with it once it is on the disk, rejects if it could not be saved.
   * stream: what must stay in order (a visit's id); about: the valve it is about, or null for the visit as a whole;
   * url, method, body (an object sent as JSON, or a Blob); id: made here unless given, the same id is saved once.
   */
  async add({ stream, about = null, url, method = "POST", body, id = newId() }) {
    const entry = { id, stream, about, url, method, body, state: WAITING, madeAt: Date.now(), note: null };
    const saved = await transact(this.#database, ["outbox"], "readwrite", async (store) => {
      const known = await asked(store.index("id").get(id));
      if (known !== undefined) {
        return known;
      }
      entry.seq = await asked(store.add(entry));
      return entry;
    });
    // Asks the browser not to clear this device's store when space runs short; not every browser grants it.
    globalThis.navigator?.storage?.persist?.().catch(() => {});
    this.#changed();
    this.kick();
    return saved;
  }

  /** All entries not yet in the book, in order; of one stream if given. */
  async entries(stream) {
    return transact(this.#database, ["outbox"], "readonly", (store) =>
      asked(stream === undefined ? store.getAll() : store.index("stream").getAll(stream)),
    );
  }

  /** {waiting, parked: [entries], sending: id or null, link, lastSentAt, nextTryAt}; link: unknown, reached, unreached, unpaired. */
  async summary() {
    const [entries, last] = await transact(this.#database, ["outbox", "notes"], "readonly", (outbox, notes) =>
      Promise.all([asked(outbox.getAll()), asked(notes.get("lastSentAt"))]),
    );
    return {
      waiting: entries.filter((entry) => entry.state === WAITING).length,
      parked: entries.filter((entry) => entry.state !== WAITING),
      sending: this.#sendingId,
      link: this.#link,
      lastSentAt: last?.value ?? null,
      nextTryAt: this.#nextTryAt,
    };
  }

  /**
   * Settles a parked entry: with `body`, it is sent again in its old place as a new entry (the body says what it
   * replaces); without, it is dropped and what the book has stands. Resolves with the new entry, or null.
   */
  async settle(id, body) {
    const settled = await transact(this.#database, ["outbox"], "readwrite", async (store) => {
      const entry = await asked(store.index("id").get(id));
      if (entry === undefined || entry.state === WAITING) {
        throw new Error(`entry ${id} is not waiting for a decision`);
      }
      if (body === undefined) {
        await asked(store.delete(entry.seq));
        return null;
      }
      const renewed = { ...entry, id: newId(), body, state: WAITING, note: null };
      await asked(store.put(renewed));
      return renewed;
    });
    this.#changed();
    this.kick();
    return settled;
  }

  /** Begins to send, now and whenever there is something; goes on until stop(). */
  start() {
    if (!this.#running) {
      this.#running = true;
      // Only hints to try at once: whether the book answers is known by asking it.
      globalThis.addEventListener("online", this.#wake);
      globalThis.document?.addEventListener("visibilitychange", this.#seen);
      this.kick();
    }
    return this;
  }

  /** Stops sending; what is on this device stays. */
  async stop() {
    this.#running = false;
    clearTimeout(this.#timer);
    globalThis.removeEventListener("online", this.#wake);
    globalThis.document?.removeEventListener("visibilitychange", this.#seen);
    await this.#pumping;
  }

  /** Tries now. Resolves when nothing more can be sent at the moment. */
  kick() {
    if (!this.#running) {
      return Promise.resolve();
    }
    clearTimeout(this.#timer);
    this.#nextTryAt = null;
    if (this.#pumping) {
      this.#again = true;
      return this.#pumping;
    }
    this.#pumping = this.#exclusively(() => this.#pump())
      .catch((error) => this.#restAll(error))
      .finally(() => {
        this.#pumping = null;
        if (this.#again) {
          this.#again = false;
          this.kick();
        }
      });
    return this.#pumping;
  }

  // Two open pages would only send the same entries twice, which does no harm; the lock saves the trouble where
  // the browser has one (HTTPS and localhost).
  #exclusively(work) {
    const locks = globalThis.navigator?.locks;
    return locks ? locks.request(`coldlash-outbox-${this.#database.name}`, work) : work();
  }

  async #pump() {
    while (this.#running) {
      const { entry, readyAt } = await this.#next();
      if (entry === null) {
        this.#restUntil(readyAt);
        return;
      }
      this.#sendingId = entry.id;
      this.#changed(false);
      const outcome = await this.#send(entry);
      this.#sendingId = null;
      if (outcome.kind === "unreached" || outcome.kind === "unpaired") {
        this.#link = outcome.kind;
        this.#restAll(null, outcome.afterMs);
        return;
      }
      this.#link = "reached";
      this.#tries = 0;
      await this.#record(entry, outcome);
    }
  }

  // The entry to send now or, null, when the first of the resting streams may be tried again (Infinity: none rests).
  // Both by one look at the clock: a rest that ends between two looks would be waited for by nobody.
  async #next() {
    const streams = new Map();
    for (const entry of await this.entries()) {
      streams.set(entry.stream, [...(streams.get(entry.stream) ?? []), entry]);
    }
    const now = Date.now();
    const ready = [];
    let readyAt = Infinity;
    for (const [stream, entries] of streams) {
      const entry = nextSendable(entries);
      const until = this.#resting.get(stream)?.until ?? 0;
      if (entry !== null && until <= now) {
        ready.push(entry);
      } else if (entry !== null) {
        readyAt = Math.min(readyAt, until);
      }
    }
    ready.sort((a, b) => a.seq - b.seq);
    return { entry: ready[0] ?? null, readyAt };
  }

  async #send(entry) {
    const isBlob = entry.body instanceof Blob;
    const type = isBlob ? entry.body.type || "application/octet-stream" : "application/json";
    const abort = new AbortController();
    const patience = isBlob ? this.#options.blobTimeoutMs : this.#options.timeoutMs;
    const timer = setTimeout(() => abort.abort(), patience);
    try {
      const response = await this.#options.fetch(entry.url, {
        method: entry.method,
        headers: { "content-type": type, accept: "application/json", "idempotency-key": entry.id, "x-coldlash": "1" },
        body: isBlob ? entry.body : JSON.stringify(entry.body ?? {}),
        credentials: "same-origin",
        cache: "no-store",
        redirect: "error",
        signal: abort.signal,
      });
      const reply = await response.json().catch(() => null);
      return this.#judge(entry, response, reply);
    } catch {
      return { kind: "unreached" };
    } finally {
      clearTimeout(timer);
    }
  }

  #judge(entry, response, reply) {
    if (response.ok) {
      // A gateway's own "200" must not pass for the book's: the book repeats the id.
      return reply?.entry === entry.id ? { kind: "sent", reply } : { kind: "unreached" };
    }
    const error = reply?.error;
    if (response.status === 401) {
      return { kind: "unpaired" };
    }
    if (LATER.has(response.status) || error === undefined) {
      const seconds = Number(response.headers.get("retry-after"));
      return { kind: "unreached", afterMs: Number.isFinite(seconds) && seconds > 0 ? seconds * 1000 : undefined };
    }
    if (response.status >= 500) {
      return { kind: "failed", error };
    }
    return response.status === 409 ? { kind: CONFLICT, error, reply } : { kind: REFUSED, error, reply };
  }

  async #record(entry, outcome) {
    if (outcome.kind === "failed") {
      const tries = (this.#resting.get(entry.stream)?.tries ?? 0) + 1;
      this.#resting.set(entry.stream, { until: Date.now() + this.#pause(tries), tries });
      this.#changed(false);
      return;
    }
    this.#resting.delete(entry.stream);
    const sent = outcome.kind === "sent";
    const note = sent ? null : { ...outcome.error, mine: outcome.reply.mine, theirs: outcome.reply.theirs };
    const parked = { ...entry, state: outcome.kind, note };
    await transact(this.#database, ["outbox", "notes"], "readwrite", async (outbox, notes) => {
      if (sent) {
        await asked(outbox.delete(entry.seq));
        await asked(notes.put({ name: "lastSentAt", value: Date.now() }));
      } else {
        await asked(outbox.put(parked));
      }
    });
    const detail = sent ? { entry, reply: outcome.reply } : { entry: parked };
    this.dispatchEvent(new CustomEvent(sent ? "sent" : "parked", { detail }));
    this.#changed();
  }

  #pause(tries) {
    const full = Math.min(this.#options.lastRetryMs, this.#options.firstRetryMs * 2 ** Math.min(tries - 1, 20));
    return full * (0.5 + Math.random() / 2);
  }

  #restAll(error, afterMs) {
    if (error) {
      this.#link = "unreached";
    }
    this.#tries += 1;
    this.#kickIn(Math.max(this.#pause(this.#tries), afterMs ?? 0));
  }

  #restUntil(readyAt) {
    if (readyAt < Infinity) {
      this.#kickIn(Math.max(0, readyAt - Date.now()));
    } else {
      this.#changed(false);
    }
  }

  #kickIn(ms) {
    if (this.#running) {
      clearTimeout(this.#timer);
      this.#nextTryAt = Date.now() + ms;
      this.#timer = setTimeout(() => this.kick(), ms);
    }
    this.#changed(false);
  }

  #changed(tellOthers = true) {
    if (tellOthers) {
      this.#channel.postMessage("changed");
    }
    this.summary()
      .then((detail) => this.dispatchEvent(new CustomEvent("change", { detail })))
      .catch(() => {}); // the database is closing with the page
  }
}

/** Opens the outbox of this device; call start() on it. Rejects when the browser can't save anything. */
export async function openOutbox(options = {}) {
  return new Outbox(await openDatabase(options.name), options);
}
