// Keeps a visit on this device and hands its entries to the outbox. The record is on the disk before an entry is
// offered for sending, so a killed browser finds both again; an entry offered twice is the same entry.

import { BOOK } from "../store.js";
import { photoOffer } from "./photos.js";

const KIND = "visit";

export class Keeper extends EventTarget {
  #store;
  #outbox;
  #record = null;
  #work = Promise.resolve();
  #pending = 0;
  #failed = null;

  constructor(store, outbox) {
    super();
    this.#store = store;
    this.#outbox = outbox;
    outbox.addEventListener("sent", (event) => this.#wasSent(event.detail.entry.id));
  }

  get record() {
    return this.#record;
  }

  /** {pending, failed}: how many writes are under way on this device, and the last that failed. */
  get state() {
    return { pending: this.#pending, failed: this.#failed };
  }

  /** Takes up a record; what the outbox has not heard of yet is offered to it again. */
  async take(record) {
    const waiting = new Set((await this.#outbox.entries(record.id)).map((entry) => entry.id));
    // The outbox had each photo before the record did; what it has no more was sent, perhaps from another page.
    const gone = (record.photos ?? []).filter((line) => !waiting.has(line.id));
    record = { ...record, sent: { ...record.sent, ...Object.fromEntries(gone.map((line) => [line.id, true])) } };
    this.#record = record;
    await this.#store.keep(KIND, record.id, record);
    for (const offer of offers(record)) {
      if (!record.sent[offer.id] && !waiting.has(offer.id)) {
        await this.#outbox.add(offer);
      }
    }
  }

  /** Visits of an engine on this device that are not closed, newest first. */
  async open(engine) {
    const all = await this.#store.recallAll(KIND);
    return all.map((found) => found.value).filter((record) => record.engine === engine && !record.closed && record.opened);
  }

  async recall(id) {
    return (await this.#store.recall(KIND, id))?.value ?? null;
  }

  /**
   * Changes the record at once and keeps it; with `entry`, the entry is offered for sending after it is kept
   * (a photo with its `bytes` before: the record never tells of one that is not on this device).
   * The page may go on before this resolves; writes keep their order.
   */
  change(next, entry = null, bytes = null) {
    this.#record = next;
    this.#pending += 1;
    this.#tell();
    const kept = structuredClone(next);
    const work = this.#work.then(async () => {
      if (bytes !== null) {
        await this.#outbox.add(photoOffer(kept, entry, bytes));
      }
      await this.#store.keep(KIND, kept.id, kept);
      if (entry !== null && bytes === null) {
        await this.#outbox.add(offer(kept, entry));
      }
      this.#failed = null;
    });
    this.#work = work
      .catch((error) => {
        this.#failed = error;
      })
      .finally(() => {
        this.#pending -= 1;
        this.#tell();
      });
    return work;
  }

  /** Resolves when everything said so far is on this device. */
  settled() {
    return this.#work;
  }

  async answer(id) {
    const found = await this.#store.fetch("answer", id, `/api/visits/${id}/answer`, { timeoutMs: 30_000 });
    return found.from === BOOK ? found.value : null;
  }

  #wasSent(id) {
    const record = this.#record;
    const photos = record?.photos ?? [];
    if (record !== null && [...offers(record), ...photos].some((each) => each.id === id)) {
      this.change({ ...record, sent: { ...record.sent, [id]: true } });
    }
  }

  #tell() {
    this.dispatchEvent(new Event("change"));
  }
}

/** Every entry of a record as it is sent, in order. */
export function offers(record) {
  const opening = record.opening ? [offer(record, record.opening)] : [];
  return [...opening, ...record.entries.map((entry) => offer(record, entry))];
}

function offer(record, entry) {
  const stream = record.id;
  switch (entry.kind) {
    case "open":
      return { id: entry.id, stream, about: null, url: "/api/visits", body: entry.body };
    case "reading": {
      const { kind: _, id, ...body } = entry;
      return { id, stream, about: `${entry.valve} ${entry.step}`, url: `/api/visits/${record.id}/readings`, body };
    }
    case "note":
      return { id: entry.id, stream, about: "note", url: `/api/visits/${record.id}/note`, body: { note: entry.note } };
    case "plan":
      return { id: entry.id, stream, about: "plan", url: `/api/visits/${record.id}/plan`, body: { plan: entry.plan } };
    default:
      return { id: entry.id, stream, about: null, url: `/api/visits/${record.id}/${entry.kind}`, body: { at: entry.at } };
  }
}
