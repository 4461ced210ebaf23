// The one IndexedDB database of the pages, and promises around it.

import { say } from "./language.js";

export const NAME = "coldlash";
const VERSION = 1;

/** Opens the database. Rejects when the browser offers none (some private windows) or its disk is full. */
export function openDatabase(name = NAME) {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open(name, VERSION);
    request.onupgradeneeded = () => {
      const outbox = request.result.createObjectStore("outbox", { keyPath: "seq", autoIncrement: true });
      outbox.createIndex("id", "id", { unique: true });
      outbox.createIndex("stream", "stream");
      request.result.createObjectStore("kept", { keyPath: ["kind", "id"] });
      request.result.createObjectStore("notes", { keyPath: "name" });
    };
    request.onsuccess = () => {
      // A newer page must be able to change the database while this one is still open.
      request.result.onversionchange = () => request.result.close();
      resolve(request.result);
    };
    request.onerror = () => reject(request.error);
    request.onblocked = () => reject(new Error(say("an older page of coldlash is still open; close it and reload")));
  });
}

/**
 * Runs `work(stores)` in one transaction and resolves with its result once everything is on the disk.
 * `work` must not await anything but requests of this transaction.
 */
export async function transact(database, names, mode, work) {
  // strict: "complete" comes after the write has reached the disk, so "saved" stays true when the phone dies.
  const transaction = database.transaction(names, mode, { durability: "strict" });
  const done = new Promise((resolve, reject) => {
    transaction.oncomplete = resolve;
    transaction.onabort = () => reject(transaction.error ?? new Error(say("the write was abandoned")));
    transaction.onerror = () => reject(transaction.error);
  });
  let result;
  try {
    result = await work(...names.map((name) => transaction.objectStore(name)));
  } catch (error) {
    done.catch(() => {});
    try {
      transaction.abort();
    } catch {
      // it had ended by itself
    }
    throw error;
  }
  await done;
  return result;
}

/** The result of one IndexedDB request. */
export function asked(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}
