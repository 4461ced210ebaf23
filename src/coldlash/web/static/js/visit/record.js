// One visit as this device knows it: what was opened, every entry in order, where the owner is. Pure: no storage, no page.

import { newId } from "../ids.js";

export const STEPS = ["found", "set", "left"];

/** A new visit of the engine a pack is of. */
export function begin(pack) {
  return {
    id: newId(),
    engine: pack.engine.id,
    name: pack.engine.name,
    opened: null,
    entries: [],
    sent: {},
    place: { screen: "ready" },
    closed: false,
    note: "",
  };
}

/** The same visit as the book has it, for a device that comes to it later. */
export function fromBook(kept) {
  const plan = kept.plan ? JSON.parse(kept.plan) : { by: "fewest", turn: "with" };
  const entries = kept.history.map((reading) => ({ ...reading, kind: "reading" }));
  return {
    id: kept.visit,
    engine: kept.engine_id,
    name: kept.engine,
    opened: { day: kept.day, distance_km: kept.distance_km, blades_um: kept.blades_um, by: kept.by, plan },
    entries,
    sent: Object.fromEntries(entries.map((entry) => [entry.id, true])),
    place: { screen: kept.state === "closed" ? "meaning" : "plan" },
    closed: kept.state === "closed",
    note: kept.note ?? "",
  };
}

/** The reading that stands for a valve and step, or null. */
export function standing(record, valve, step) {
  let found = null;
  for (const entry of record.entries) {
    if (entry.kind === "reading" && entry.valve === valve && entry.step === step) {
      found = entry.withdrawn ? null : entry;
    }
  }
  return found;
}

/** The last reading row of a valve and step, withdrawn or not: what a correction replaces. */
export function lastRow(record, valve, step) {
  return record.entries.findLast((e) => e.kind === "reading" && e.valve === valve && e.step === step) ?? null;
}

/** A reading entry, ready to be kept and sent. */
export function reading(record, valve, step, values) {
  const before = lastRow(record, valve, step);
  return {
    kind: "reading",
    id: newId(),
    valve,
    step,
    go_um: null,
    nogo_um: null,
    blade_um: null,
    feel: null,
    spin: null,
    note: "",
    withdrawn: false,
    replaces: before === null ? null : before.id,
    at: new Date().toISOString(),
    ...values,
  };
}

/** What is asked of a valve next: "found", "set", "left" or null. `decided` are valves whose setting was decided. */
export function asks(record, valve) {
  if (standing(record, valve, "found") === null) {
    return "found";
  }
  if (standing(record, valve, "set") === null) {
    return record.leftAlone?.[valve] || !measured(standing(record, valve, "found")) ? null : "set";
  }
  return standing(record, valve, "left") === null ? "left" : null;
}

export function measured(entry) {
  return entry !== null && entry.go_um !== null;
}

/** The plan of the visit among those of the pack. */
export function planOf(record, pack) {
  const chosen = record.opened?.plan ?? record.plan ?? pack.plans[0];
  return pack.plans.find((plan) => plan.by === chosen.by && plan.turn === chosen.turn) ?? pack.plans[0];
}

/** The blade set used: the one chosen, or for a visit from the book its own ladder. */
export function bladesOf(record, pack) {
  const named = pack.blade_sets.find((set) => set.name === record.opened?.blade_set);
  if (named) {
    return named;
  }
  const ladder = record.opened?.blades_um;
  const same = pack.blade_sets.find((set) => ladder && set.rungs.length === ladder.length && set.rungs.every((r, i) => r.um === ladder[i]));
  return same ?? pack.blade_sets[0];
}

/** The range expected of a valve: that of the nearest distance which travelled along; null where nothing is known. */
export function expectedOf(record, pack, valve) {
  const expected = pack.expected;
  if (!expected) {
    return null;
  }
  const { meter, distance_km: km } = record.opened ?? {};
  const byMeter = expected.meter !== null && meter !== undefined;
  const steps = byMeter ? expected.meter : expected.km;
  const here = (byMeter ? meter : km) ?? steps[0];
  let nearest = 0;
  steps.forEach((each, index) => {
    if (Math.abs(each - here) < Math.abs(steps[nearest] - here)) {
      nearest = index;
    }
  });
  return expected.valves[valve][nearest];
}

/** True when the whole reading lies outside what was expected. */
export function surprising(entry, expected) {
  if (expected === null || !measured(entry)) {
    return false;
  }
  const low = entry.go_um;
  const high = entry.feel === "drag" ? entry.go_um : entry.nogo_um;
  return (high !== null && high < expected.lo_um) || low > expected.hi_um;
}

/** A reading in words, from the templates of the pack. */
export function words(entry, pack, blades) {
  const label = (um) => blades.rungs.find((rung) => rung.um === um)?.label ?? `${um} \u00b5m`;
  if (entry.step === "set") {
    return label(entry.blade_um);
  }
  const fillIn = (text) => text.replace("{go}", () => label(entry.go_um)).replace("{nogo}", () => label(entry.nogo_um));
  if (entry.go_um === null) {
    return pack.words.skipped;
  }
  if (entry.feel === "drag") {
    return fillIn(pack.words.drag);
  }
  if (entry.go_um === 0) {
    return fillIn(pack.words.none);
  }
  return fillIn(entry.nogo_um === null ? pack.words.thickest : pack.words.goes);
}

/** The turn of the screw to the cold gap in words, or null. */
export function screwWords(entry, blades) {
  if (!measured(entry) || entry.go_um === 0) {
    return null;
  }
  const end = entry.feel === "drag" ? entry.go_um : entry.nogo_um;
  return blades.screw[entry.valve[0]]?.[`${entry.go_um}-${end}`] ?? null;
}

/** The valves of a plan in the order they are visited, those out of reach last. */
export function order(plan) {
  return [...plan.stops.flatMap((stop) => stop.valves), ...plan.unreachable];
}
