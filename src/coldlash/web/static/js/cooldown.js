// The live countdown: the moment was worked out by the book and stands in the page; this only shows how far off it is,
// also with no network. The last one begun is kept on this device, so that coming back finds it again.

import { localTag, say } from "./language.js";
import { openStore } from "./store.js";

const place = document.getElementById("countdown");
const engine = place.dataset.engine;
const until = place.dataset.until ? Date.parse(place.dataset.until) : null;

/** 9_045_000 → "2:30:45"; below an hour "30:45". Never below "0:00". */
export function clock(ms) {
  const seconds = Math.max(0, Math.ceil(ms / 1000));
  const pair = (value) => String(value).padStart(2, "0");
  const hours = Math.floor(seconds / 3600);
  const minutes = Math.floor(seconds / 60) % 60;
  const tail = `${hours ? pair(minutes) : minutes}:${pair(seconds % 60)}`;
  return hours ? `${hours}:${tail}` : tail;
}

function show() {
  const left = until - Date.now();
  document.getElementById("left").textContent = clock(left);
  if (left <= 0) {
    document.getElementById("done").hidden = false;
    document.getElementById("said").hidden = true;
    return;
  }
  setTimeout(show, (left % 1000) || 1000);
}

async function remember() {
  const store = await openStore();
  if (until !== null) {
    await store.keep("cooldown", engine, { until, address: location.pathname + location.search });
    return;
  }
  const kept = await store.recall("cooldown", engine);
  if (kept !== null && location.search === "" && kept.value.until > Date.now() - 3_600_000) {
    document.getElementById("kept-link").href = kept.value.address;
    document.getElementById("kept").hidden = false;
  }
}

if (until !== null) {
  const time = new Date(until).toLocaleTimeString(localTag, { hour: "2-digit", minute: "2-digit" });
  document.getElementById("at").textContent = say("At about {time} by this device’s clock.", { time });
  show();
}
remember().catch(() => {
  // No store on this device: the countdown of this page goes on all the same.
});
