// The visit: boots from what stands behind the #, keeps everything on this device first, sends it when the book answers.

import { newId } from "../ids.js";
import { day, number, say, table } from "../language.js";
import { describe, openOutbox } from "../outbox.js";
import { setBusy } from "../register.js";
import { ageInWords, BOOK, openStore } from "../store.js";
import { keepAwake } from "../wakelock.js";
import { h } from "./dom.js";
import { Keeper } from "./keeper.js";
import { bytesOf, photoLine, showPhotos } from "./photos.js";
import { asks, begin, bladesOf, expectedOf, fromBook, lastRow, measured, order, planOf, reading, standing, surprising, words } from "./record.js";
import { SCREENS, STEPS } from "./screens.js";

const ASK_AGAIN_MS = 3000;

class Session {
  answer = null;
  photoFaults = [];
  #undo = [];
  #askAgain = null;

  constructor(root, keeper, outbox, pack, from) {
    this.root = root;
    this.keeper = keeper;
    this.outbox = outbox;
    this.pack = pack;
    this.from = from;
    keeper.addEventListener("change", () => this.showSaved());
    outbox.addEventListener("change", (event) => this.showSaved(event.detail));
    outbox.addEventListener("sent", (event) => this.#wasSent(event.detail.entry));
    outbox.addEventListener("parked", () => this.showParked());
  }

  get record() {
    return this.keeper.record;
  }

  get place() {
    return this.record.place;
  }

  get plan() {
    return planOf(this.record, this.pack);
  }

  get blades() {
    return bladesOf(this.record, this.pack);
  }

  asks(valve) {
    return asks(this.record, valve);
  }

  expected(valve) {
    return expectedOf(this.record, this.pack, valve);
  }

  words(entry) {
    return words(entry, this.pack, this.blades);
  }

  above(um) {
    return this.blades.rungs.find((rung) => rung.um > um)?.um ?? null;
  }

  stopOf(valve) {
    const index = this.plan.stops.findIndex((stop) => stop.valves.includes(valve));
    return index < 0 ? this.plan.stops.length : index;
  }

  // ---- going about

  go(event, place) {
    event?.preventDefault();
    this.show(place);
  }

  show(place) {
    this.photoFaults = [];
    this.keeper.change({ ...this.record, place });
    this.render(true);
  }

  /** The spot to go on at: the first valve with something asked, else closing up. */
  resume() {
    const next = order(this.plan).find((valve) => this.asks(valve) !== null);
    if (next === undefined) {
      return { screen: "closing" };
    }
    const stop = this.stopOf(next);
    const started = this.plan.stops[stop]?.valves.some((valve) => lastRow(this.record, valve, "found") !== null);
    return started ? { screen: "valve", stop, valve: next } : { screen: "stop", stop };
  }

  before(stop) {
    return stop === 0 ? { screen: "plan" } : { screen: "stop", stop: stop - 1 };
  }

  back(event, valve) {
    event.preventDefault();
    const ask = this.place.ask ?? this.asks(valve);
    if (ask === "left") {
      return this.show({ screen: "valve", stop: this.place.stop, valve, ask: "set" });
    }
    if (ask === "set" || ask === "again") {
      return this.show({ screen: "valve", stop: this.place.stop, valve, ask: "found" });
    }
    const all = order(this.plan);
    const index = all.indexOf(valve);
    if (index <= 0 || this.stopOf(all[index - 1]) !== this.stopOf(valve)) {
      return this.show({ screen: "stop", stop: this.stopOf(valve) });
    }
    return this.show({ screen: "valve", stop: this.place.stop, valve: all[index - 1], ask: "done" });
  }

  // ---- saying

  tick(list, key, value) {
    const ticks = { ...this.record.ticks, [list]: { ...this.record.ticks?.[list], [key]: value } };
    this.keeper.change({ ...this.record, ticks });
  }

  open(event) {
    event.preventDefault();
    const form = new FormData(event.target);
    const fault = (text) => {
      const place = document.getElementById("open-fault");
      place.textContent = text;
      place.hidden = false;
    };
    const meter = decimal(form.get("meter"));
    const temp = form.get("temp").trim() === "" ? null : decimal(form.get("temp"));
    if (meter === null || meter < 0) {
      return fault(say("{typed} is not a meter reading; write it like {example}", { typed: form.get("meter"), example: 84210.5 }));
    }
    if (form.get("temp").trim() !== "" && temp === null) {
      return fault(say("{typed} is not a temperature; write it like {example}", { typed: form.get("temp"), example: 17.5 }));
    }
    const back = this.pack.meter.last !== null && meter < this.pack.meter.last;
    const explained = back ? form.get("explained") : null;
    document.getElementById("explain").hidden = !back;
    if (back && explained === null) {
      const { last, last_day } = this.pack.meter;
      return fault(
        say("On {day} the meter showed {meter}. Mistyped? Otherwise say below what happened to it.", { day: day(last_day), meter: last }),
      );
    }
    const blades = this.pack.blade_sets.find((set) => set.name === form.get("blades"));
    const plan = this.plan;
    const at = new Date().toISOString();
    const body = {
      visit: this.record.id,
      engine: this.record.engine,
      engine_file: this.pack.engine.file,
      day: form.get("day"),
      meter,
      meter_explained: explained,
      engine_temp: temp,
      temperature: this.pack.temperature,
      by: form.get("by").trim() || null,
      blades_um: blades.rungs.map((rung) => rung.um),
      plan: plan.text,
      at,
    };
    const opened = { day: body.day, meter, distance_km: null, blade_set: blades.name, blades_um: body.blades_um, by: body.by, plan: { by: plan.by, turn: plan.turn } };
    const opening = { kind: "open", id: newId(), body };
    history.replaceState(null, "", `#visit=${this.record.id}`);
    this.keeper.change({ ...this.record, opened, opening, place: { screen: "plan" } }, opening);
    this.render(true);
    setBusy(true);
  }

  choosePlan(plan) {
    const opened = { ...this.record.opened, plan: { by: plan.by, turn: plan.turn } };
    const entry = { kind: "plan", id: newId(), plan: plan.text };
    this.keeper.change({ ...this.record, opened, entries: [...this.record.entries, entry] }, entry);
    this.render(false);
  }

  /** Writes what the blades said, and goes on to what is asked next. */
  read(valve, step, values) {
    const spin = step === "found" ? (this.place.spin ?? null) : null;
    const entry = reading(this.record, valve, step, { ...values, spin });
    this.#say(entry, (record) => {
      if (step === "left") {
        return this.#afterValve(record, valve);
      }
      if (surprising(entry, expectedOf(record, this.pack, valve))) {
        return { screen: "valve", stop: this.place.stop, valve, ask: "again" };
      }
      return measured(entry) ? { screen: "valve", stop: this.place.stop, valve, ask: "set" } : this.#afterValve(record, valve);
    });
  }

  setOn(valve, um) {
    const entry = reading(this.record, valve, "set", { blade_um: um });
    this.#say(entry, () => ({ screen: "valve", stop: this.place.stop, valve, ask: "left" }));
  }

  leaveAlone(valve) {
    const set = standing(this.record, valve, "set");
    const leftAlone = { ...this.record.leftAlone, [valve]: true };
    if (set !== null) {
      const entry = reading(this.record, valve, "set", { withdrawn: true });
      this.keeper.change({ ...this.record, leftAlone });
      this.#say(entry, (record) => this.#afterValve(record, valve));
      return;
    }
    const record = { ...this.record, leftAlone };
    this.keeper.change({ ...record, place: this.#afterValve(record, valve) });
    this.render(true);
  }

  undoable() {
    const last = this.#undo.at(-1);
    const entry = last === undefined ? undefined : this.record.entries.find((each) => each.id === last);
    return entry === undefined || entry.withdrawn ? null : entry;
  }

  /** Takes the last reading back: what stood before it stands again, or nothing; both stay to be seen. */
  undo() {
    const last = this.undoable();
    this.#undo.pop();
    if (last === null) {
      return;
    }
    const before = this.record.entries.find((each) => each.id === last.replaces);
    const values =
      before === undefined || before.withdrawn
        ? { withdrawn: true }
        : { go_um: before.go_um, nogo_um: before.nogo_um, blade_um: before.blade_um, feel: before.feel, spin: before.spin, note: before.note };
    const entry = reading(this.record, last.valve, last.step, values);
    this.#say(entry, () => ({ screen: "valve", stop: this.stopOf(last.valve), valve: last.valve, ask: last.step }), false);
  }

  #say(entry, then, undoable = true) {
    const record = { ...this.record, entries: [...this.record.entries, entry] };
    if (undoable) {
      this.#undo.push(entry.id);
    }
    this.keeper.change({ ...record, place: then(record) }, entry);
    this.render(true);
  }

  #afterValve(record, valve) {
    const all = order(this.plan);
    const asked = (each) => asks(record, each) !== null;
    const next = all.slice(all.indexOf(valve) + 1).find(asked) ?? all.find(asked);
    if (next === undefined) {
      return { screen: "closing" };
    }
    const stop = this.stopOf(next);
    return stop === this.stopOf(valve) ? { screen: "valve", stop, valve: next } : { screen: "stop", stop };
  }

  writeNote(note) {
    const entry = { kind: "note", id: newId(), note };
    this.keeper.change({ ...this.record, note, entries: [...this.record.entries, entry] }, entry);
  }

  async addPhotos(files, valve) {
    const faults = [];
    for (const file of files) {
      const line = photoLine(file, valve);
      try {
        const bytes = await bytesOf(file);
        await this.keeper.change({ ...this.record, photos: [...(this.record.photos ?? []), line] }, line, bytes);
      } catch (error) {
        faults.push(error.message);
        const photos = (this.record.photos ?? []).filter((each) => each.id !== line.id);
        this.keeper.change({ ...this.record, photos }).catch(() => {}); // shown by showSaved
      }
    }
    this.photoFaults = faults;
    this.render(false);
  }

  close() {
    const entry = { kind: "close", id: newId(), at: new Date().toISOString() };
    this.keeper.change({ ...this.record, closed: true, entries: [...this.record.entries, entry], place: { screen: "meaning" } }, entry);
    setBusy(false);
    this.render(true);
  }

  async #wasSent(entry) {
    showPhotos(this);
    if (entry.stream === this.record?.id && entry.url.endsWith("/close")) {
      await this.fetchAnswer();
    }
  }

  /** Asks what it means until the book has told; it has all of the visit only after the last entry was sent. */
  async fetchAnswer() {
    try {
      this.answer = await this.keeper.answer(this.record.id);
    } catch {
      this.answer = null; // the book does not have all of it yet
    }
    if (this.place.screen !== "meaning") {
      return;
    }
    if (this.answer === null) {
      clearTimeout(this.#askAgain);
      this.#askAgain = setTimeout(() => this.fetchAnswer(), ASK_AGAIN_MS);
      return;
    }
    this.render(false);
  }

  // ---- showing

  render(moved) {
    const screen = SCREENS[this.place.screen] ?? SCREENS.plan;
    const nodes = screen(this).filter((node) => node !== null && node !== undefined && node !== false);
    this.root.replaceChildren(this.#steps(), ...this.#age(), ...nodes);
    if (moved) {
      window.scrollTo(0, 0);
      const head = this.root.querySelector("h1");
      head?.setAttribute("tabindex", "-1");
      head?.focus({ preventScroll: true });
    }
  }

  #steps() {
    const screen = this.place.screen === "valve" ? "stop" : this.place.screen;
    const at = STEPS.findIndex(([key]) => key === screen);
    const items = STEPS.map(([key, name], index) => {
      const label = table(name);
      const reachable = this.record.opened !== null && !this.record.closed && key !== "ready" && key !== "meaning";
      const place = key === "stop" ? this.resume() : { screen: key };
      const text = reachable ? h("a", { href: "#", onclick: (event) => this.go(event, place) }, label) : label;
      return h("li", { "aria-current": index === at ? "step" : null, class: index < at ? "done" : null }, text);
    });
    return h("ol", { class: "steps", "aria-label": say("The visit"), tabindex: "0" }, items);
  }

  #age() {
    if (this.from.from === BOOK) {
      return [];
    }
    return [h("p", { class: "age", role: "status" }, say("The book can’t be reached. What was known of this engine is from {when}.", { when: ageInWords(this.from.ageMs) }))];
  }

  async showSaved(summary) {
    const { pending, failed } = this.keeper.state;
    const place = document.getElementById("saved");
    if (failed !== null) {
      place.textContent = say("Not saved on this device: {fault}. Write it on paper too.", { fault: failed.message });
      place.dataset.state = "failed";
      return;
    }
    if (pending > 0) {
      place.textContent = say("Saving on this device …");
      place.dataset.state = "saving";
      return;
    }
    const known = summary ?? (await this.outbox.summary());
    if (this.keeper.state.pending > 0) {
      return;
    }
    place.textContent = describe(known);
    place.dataset.state = known.waiting > 0 ? "saved" : known.parked.length > 0 ? "parked" : "sent";
    place.dataset.waiting = String(known.waiting);
    await this.showParked();
  }

  async showParked() {
    const place = document.getElementById("parked");
    const parked = (await this.outbox.summary()).parked.filter((entry) => entry.stream === this.record.id);
    place.hidden = parked.length === 0;
    place.replaceChildren(...parked.map((entry) => this.#parked(entry)));
  }

  #parked(entry) {
    const theirs = entry.note?.theirs;
    const buttons =
      theirs === undefined
        ? [h("button", { type: "button", onclick: () => this.#settle(entry, null) }, say("Drop mine"))]
        : [
            h("button", { type: "button", onclick: () => this.#settle(entry, null) }, say("Keep the book’s")),
            h("button", { type: "button", onclick: () => this.#settle(entry, { ...entry.body, replaces: theirs.id }) }, say("Mine holds")),
          ];
    return h(
      "div",
      { class: "caution stop-now", role: "alert", "data-parked": entry.id },
      h("strong", {}, decisionWords(entry)),
      theirs === undefined
        ? h("p", {}, entry.note?.message ?? say("The book can’t take this as it is."))
        : h("p", {}, bothWords(this.words({ ...entry.body }), theirs)),
      h("div", { class: "buttons" }, buttons),
    );
  }

  async #settle(parked, body) {
    const renewed = await this.outbox.settle(parked.id, body ?? undefined);
    const entries = [];
    for (const entry of this.record.entries) {
      if (entry.id !== parked.id) {
        entries.push(entry);
      } else if (renewed !== null) {
        entries.push({ ...entry, id: renewed.id, replaces: body.replaces });
      }
    }
    const photos = (this.record.photos ?? []).filter((line) => line.id !== parked.id);
    this.keeper.change({ ...this.record, entries, photos });
    await this.showParked();
    this.render(false);
  }
}

/** What a parked entry is about. */
function decisionWords(entry) {
  const [valve, step] = (entry.about ?? "").split(" ");
  switch (step) {
    case "found":
      return say("{valve} found: your decision", { valve });
    case "set":
      return say("{valve} set: your decision", { valve });
    case "left":
      return say("{valve} left: your decision", { valve });
    default:
      break;
  }
  switch (valve) {
    case "photo":
      return say("A photo: your decision");
    case "note":
      return say("note: your decision");
    case "plan":
      return say("plan: your decision");
    default:
      return say("the visit: your decision");
  }
}

function bothWords(mine, theirs) {
  return theirs.by
    ? say("Here: {mine}. In the book, from {by}: {theirs}.", { mine, by: theirs.by, theirs: theirs.words })
    : say("Here: {mine}. In the book: {theirs}.", { mine, theirs: theirs.words });
}

/**
 * A decimal number with a point or a comma; null for anything else. "84,210" could be two numbers and is refused, and
 * so is "84.210" where a point groups digits.
 */
function decimal(text) {
  const given = text.trim();
  if (!/^[-+\u2212]?\d*(?:[.,]\d+)?$/.test(given) || !/\d/.test(given) || /^[-+\u2212]?0*[1-9]\d*,\d{3}$/.test(given) || (number(0.5) === "0,5" && /^[-+\u2212]?0*[1-9]\d*\.\d{3}$/.test(given))) {
    return null;
  }
  return Number(given.replace("\u2212", "-").replace(",", "."));
}

async function boot() {
  const root = document.getElementById("visit");
  const wanted = new URLSearchParams(location.hash.slice(1));
  const store = await openStore();
  const outbox = await openOutbox();
  const keeper = new Keeper(store, outbox);
  outbox.start();

  let record = null;
  if (wanted.get("visit")) {
    record = await keeper.recall(wanted.get("visit"));
    if (record === null) {
      const kept = await store.fetch("book-visit", wanted.get("visit"), `/api/visits/${encodeURIComponent(wanted.get("visit"))}`);
      record = fromBook(kept.value);
    }
  }
  const engine = record?.engine ?? wanted.get("engine");
  if (!engine) {
    location.replace("/");
    return;
  }
  const found = await store.fetch("pack", engine, `/api/engines/${encodeURIComponent(engine)}/pack`);
  if (record === null) {
    const open = await keeper.open(found.value.engine.id);
    record = open[0] ?? begin(found.value);
  }
  const session = new Session(root, keeper, outbox, found.value, found);
  await keeper.take(record);
  document.title = say("{engine}: visit", { engine: record.name });
  if (record.opened !== null) {
    history.replaceState(null, "", `#visit=${record.id}`);
    setBusy(!record.closed);
  }
  session.render(false);
  await session.showSaved();
  keepAwake();
  if (record.closed) {
    await session.fetchAnswer();
  }
  globalThis.addEventListener("hashchange", () => location.reload());
  document.documentElement.dataset.booted = "true";
}

boot().catch((error) => {
  const root = document.getElementById("visit");
  root.replaceChildren(h("h1", {}, say("The visit can’t be opened")), h("p", { class: "fault", role: "alert" }, error.message), h("p", {}, h("a", { class: "button", href: "/" }, say("To the shed"))));
  document.documentElement.dataset.booted = "failed";
});
