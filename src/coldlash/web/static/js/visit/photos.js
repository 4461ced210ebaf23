// Photos taken during a visit: on this device at once, sent with everything else, listed with where they are.

import { newId } from "../ids.js";
import { say } from "../language.js";
import { h } from "./dom.js";

const MOST_BYTES = 25 * 1024 * 1024; // as the book takes them
const ACCEPTED = "image/jpeg,image/png,image/webp,application/pdf";

/** A line about a photo for the visit's record; its bytes go to the outbox. */
export function photoLine(file, valve) {
  return { kind: "photo", id: newId(), valve, name: file.name, size: file.size };
}

/** How a photo is sent: the body is the file, the address says of what it is. */
export function photoOffer(record, line, bytes) {
  const query = new URLSearchParams({ visit: record.id, name: line.name });
  if (line.valve !== null) {
    query.set("valve", line.valve);
  }
  return { id: line.id, stream: record.id, about: `photo ${line.id}`, url: `/api/photos?${query}`, body: bytes };
}

/** The bytes of a chosen file, read now: later it may be gone from the phone. Rejects in words. */
export async function bytesOf(file) {
  if (file.size > MOST_BYTES) {
    throw new Error(say("{name} is larger than 25 MB, the most that is taken; send it smaller.", { name: file.name }));
  }
  if (/^image\/hei[cf]/.test(file.type)) {
    throw new Error(say("{name} is a HEIC photo; set the phone’s camera to take JPEG.", { name: file.name }));
  }
  try {
    return new Blob([await file.arrayBuffer()], { type: file.type });
  } catch {
    throw new Error(say("{name} can’t be read; choose it again.", { name: file.name }));
  }
}

/** Choosing photos, of the visit or of one valve, and those there are. */
export function photoField(session, valve) {
  const mine = (session.record.photos ?? []).filter((line) => line.valve === valve);
  const label = valve === null ? say("Photo or scanned page") : say("Photo of {valve}", { valve });
  const take = async (event) => {
    const files = [...event.target.files];
    event.target.value = ""; // before the writing: a form that is emptied after it loses what was chosen meanwhile
    await session.addPhotos(files, valve);
  };
  return h(
    "div",
    { class: "field" },
    h("label", { for: "photo" }, label),
    h("input", { id: "photo", type: "file", accept: ACCEPTED, multiple: true, onchange: take }),
    session.photoFaults.map((fault) => h("p", { class: "fault", role: "alert" }, fault)),
    mine.length === 0 ? null : h("ul", { class: "lines" }, mine.map((line) => h("li", { "data-photo": line.id }, where(session, line)))),
  );
}

/** Says of each photo on the screen where it is now; what is being typed beside it is left alone. */
export function showPhotos(session) {
  for (const line of session.record?.photos ?? []) {
    const shown = document.querySelector(`[data-photo="${line.id}"]`);
    if (shown !== null) {
      shown.textContent = where(session, line);
    }
  }
}

function where(session, line) {
  return session.record.sent[line.id]
    ? say("{name}: in the book", { name: line.name })
    : say("{name}: saved on this device, not yet in the book", { name: line.name });
}
