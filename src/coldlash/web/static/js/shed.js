// The shed: keeps what a visit needs on this device while the book can be reached, and says what is still only here.

import { say } from "./language.js";
import { describe, openOutbox } from "./outbox.js";
import { keepPages } from "./register.js";
import { BOOK, openStore } from "./store.js";

const engines = [...document.querySelectorAll("[data-engine]")].map((row) => row.dataset.engine);

async function keepForTheEngine() {
  const store = await openStore();
  await keepPages(["/", "/visit", ...engines.map((id) => `/engines/${id}`)]);
  const results = await Promise.allSettled(
    engines.map((id) => store.fetch("pack", id, `/api/engines/${encodeURIComponent(id)}/pack`, { timeoutMs: 15_000 })),
  );
  const kept = results.filter((result) => result.status === "fulfilled" && result.value.from === BOOK).length;
  document.documentElement.dataset.kept = String(kept);
}

async function showSaved() {
  const outbox = await openOutbox();
  const place = document.getElementById("saved");
  const show = (summary) => {
    place.textContent = describe(summary);
  };
  outbox.addEventListener("change", (event) => show(event.detail));
  outbox.start();
  show(await outbox.summary());
}

showSaved().catch((error) => {
  document.getElementById("saved").textContent = say("This browser can’t keep anything on this device: {fault}", { fault: error.message });
});
keepForTheEngine().catch(() => {
  document.documentElement.dataset.kept = "0"; // no network: what was kept before stays
});
