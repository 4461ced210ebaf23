// The screens of a visit. Each gets the session and returns nodes; what is tapped becomes a call of the session.

import { day, mark, plural, say, say_in } from "../language.js";
import { draw, h, paragraphs } from "./dom.js";
import { photoField } from "./photos.js";
import { asks, expectedOf, measured, order, screwWords, standing, surprising, words } from "./record.js";

const FIRST_RUNGS = 15;

export const SCREENS = { ready, plan, stop, valve, closing, meaning };

/** The steps of a visit with their English names, to be said at use. */
export const STEPS = [
  ["ready", mark("Ready")],
  ["plan", mark("Plan")],
  ["stop", mark("Stops")],
  ["closing", mark("Close up")],
  ["meaning", mark("What it means")],
];

// ------------------------------------------------------------------------------------------------ ready

function ready(session) {
  const { pack, record } = session;
  const meter = pack.meter;
  const today = new Date();
  const iso = `${today.getFullYear()}-${String(today.getMonth() + 1).padStart(2, "0")}-${String(today.getDate()).padStart(2, "0")}`;
  const last = meter.last === null ? "" : say("On {day} it showed {meter}.", { day: day(meter.last_day), meter: meter.last });
  const form = h(
    "form",
    { onsubmit: (event) => session.open(event), autocomplete: "off" },
    h("div", { class: "field" }, h("label", { for: "day" }, say_in("of a calendar", "Day")), h("input", { id: "day", name: "day", type: "date", required: true, value: record.draft?.day ?? iso })),
    h(
      "div",
      { class: "field" },
      h("label", { for: "meter" }, say("What the meter shows, {unit}", { unit: meter.unit })),
      h("input", { id: "meter", name: "meter", inputmode: "decimal", required: true, value: record.draft?.meter ?? "", "aria-describedby": "meter-help" }),
      h("span", { id: "meter-help", class: "help" }, last),
    ),
    h(
      "div",
      { class: "field" },
      h("label", { for: "temp" }, say("Engine temperature, °{unit}", { unit: pack.temperature })),
      h("input", { id: "temp", name: "temp", inputmode: "decimal", value: record.draft?.temp ?? "", "aria-describedby": "temp-help" }),
      h("span", { id: "temp-help", class: "help" }, say("Leave it empty if it isn’t known.")),
    ),
    h("div", { class: "field" }, h("label", { for: "by" }, say("Whose hands")), h("input", { id: "by", name: "by", maxlength: 100, value: record.draft?.by ?? "" })),
    h(
      "div",
      { class: "field" },
      h("label", { for: "blades" }, say("Blades")),
      h("select", { id: "blades", name: "blades" }, pack.blade_sets.map((set) => h("option", { value: set.name, selected: record.draft?.blades === set.name }, `${set.name} (${set.unit})`))),
    ),
    h("p", { class: "fault", role: "alert", id: "open-fault", hidden: true }),
    h(
      "fieldset",
      { id: "explain", hidden: true },
      h("legend", {}, say("Why the meter shows less than before")),
      [["rolled over", say("It rolled over past its highest figure")], ["replaced", say("It was replaced or set to 0")]].map(([value, words]) =>
        h("label", { class: "choice" }, h("input", { type: "radio", name: "explained", value }), h("span", {}, words)),
      ),
    ),
    h("p", {}, h("button", { class: "do", type: "submit" }, say("Ready: open the visit"))),
  );
  return [
    h("h1", {}, say("{engine}: getting ready", { engine: record.name })),
    checklist(session, pack.ready, "ready"),
    cautions(pack.ready.cautions),
    h("p", { class: "soft" }, pack.maker_first),
    form,
  ];
}

function checklist(session, list, key) {
  const ticked = session.record.ticks?.[key] ?? {};
  return h(
    "fieldset",
    {},
    h("legend", {}, list.title),
    list.items.map((item) =>
      h(
        "label",
        { class: "choice" },
        h("input", { type: "checkbox", checked: ticked[item.key] === true, onchange: (event) => session.tick(key, item.key, event.target.checked) }),
        h("span", {}, item.text),
      ),
    ),
  );
}

function cautions(texts) {
  return h("div", { class: "caution", role: "note" }, h("strong", {}, say("Take care")), h("ul", {}, texts.map((text) => h("li", {}, text))));
}

// ------------------------------------------------------------------------------------------------ plan

function plan(session) {
  const { pack } = session;
  const chosen = session.plan;
  const choices = pack.plans.map((each) =>
    h(
      "label",
      { class: "choice" },
      h("input", { type: "radio", name: "plan", checked: each === chosen, onchange: () => session.choosePlan(each) }),
      h("span", {}, each.name),
    ),
  );
  const rows = chosen.stops.map((each, index) => {
    const left = each.valves.filter((valve) => session.asks(valve) === "found").length;
    return h(
      "li",
      {},
      h(
        "a",
        { href: "#", onclick: (event) => session.go(event, { screen: "stop", stop: index }) },
        h("span", {}, say("Stop {number}: {position}", { number: index + 1, position: each.position })),
        h(
          "span",
          {},
          left === 0
            ? say("{valves} – all found", { valves: each.valves.join(", ") })
            : plural("{valves} – {n} to find", "{valves} – {n} to find", left, { valves: each.valves.join(", ") }),
        ),
      ),
    );
  });
  return [
    h("h1", {}, say("The stops")),
    h("fieldset", {}, h("legend", {}, say("How to go round")), choices),
    chosen.turn === "against" ? cautions(pack.cautions.turn_against ?? []) : null,
    h("ol", { class: "rows" }, rows),
    chosen.unreachable.length > 0
      ? h("p", { class: "note" }, say("Out of reach with these marks: {valves}. Choose one cylinder at a time for them.", { valves: chosen.unreachable.join(", ") }))
      : null,
    thumb(
      h("button", { class: "do", type: "button", onclick: (event) => session.go(event, session.resume()) }, say("To the engine")),
    ),
  ];
}

// ------------------------------------------------------------------------------------------------ stop

function stop(session) {
  const { pack } = session;
  const index = session.place.stop ?? 0;
  const here = session.plan.stops[index];
  if (here === undefined) {
    return outOfReach(session);
  }
  const first = here.valves.find((valve) => session.asks(valve) !== null) ?? here.valves[0];
  const against = session.plan.turn === "against";
  return [
    h("h1", {}, say("Stop {number} of {count}: {position}", { number: index + 1, count: session.plan.stops.length, position: here.position })),
    h("p", { class: "verdict" }, sentence(here.turn)),
    index === 0 || against
      ? h("div", { class: "caution", role: "note" }, paragraphs([...(index === 0 ? (pack.cautions.turn ?? []) : []), ...(against ? (pack.cautions.turn_against ?? []) : [])]))
      : null,
    h("figure", {}, draw(here.pulley)),
    h("p", {}, `${sentence(here.mark)}`),
    h("details", { class: "why", open: true }, h("summary", {}, say("How to be sure which turn it is")), h("ul", {}, here.find.map((text) => h("li", {}, text)))),
    h("details", { class: "why" }, h("summary", {}, say("Which valves are closed here, and how much room there is")), h("figure", {}, draw(here.ring)), h("p", {}, sentence(here.room))),
    valveList(session, here.valves),
    thumb(
      h("button", { type: "button", onclick: (event) => session.go(event, session.before(index)) }, say("Back")),
      first === undefined
        ? null
        : h("button", { class: "do", type: "button", onclick: (event) => session.go(event, { screen: "valve", stop: index, valve: first }) }, say("It is there: {valve}", { valve: first })),
    ),
  ];
}

function outOfReach(session) {
  const valves = session.plan.unreachable;
  return [
    h("h1", {}, say("Out of reach in this plan")),
    h("p", {}, say("Measure these only where you know that the valve is closed.")),
    valveList(session, valves),
    thumb(h("button", { class: "do", type: "button", onclick: (event) => session.go(event, { screen: "closing" }) }, say("Close up"))),
  ];
}

function valveList(session, valves) {
  return h(
    "ul",
    { class: "rows" },
    valves.map((valve) =>
      h(
        "li",
        {},
        h("a", { href: "#", onclick: (event) => session.go(event, { screen: "valve", stop: session.stopOf(valve), valve }) }, h("span", {}, valve), h("span", {}, valveState(session, valve))),
      ),
    ),
  );
}

/** What was found, set or left, in words. */
function stepWords(step, reading) {
  if (step === "set") {
    return say("set on {reading}", { reading });
  }
  return step === "found" ? say("found {reading}", { reading }) : say("left {reading}", { reading });
}

function valveState(session, valve) {
  const said = ["found", "set", "left"]
    .map((step) => [step, standing(session.record, valve, step)])
    .filter(([, entry]) => entry !== null)
    .map(([step, entry]) => stepWords(step, session.words(entry)));
  return said.length > 0 ? said.join("; ") : say("not measured yet");
}

// ------------------------------------------------------------------------------------------------ valve

function valve(session) {
  const { pack, place } = session;
  const name = place.valve;
  const ask = place.ask ?? session.asks(name) ?? "done";
  const about = pack.valves[name];
  const head = [
    h("p", { class: "soft" }, say("{stop} – {valve}", { stop: stopWords(session), valve: about.word })),
    h("h1", { class: "asked", "data-valve": name, "data-ask": ask }, name, " ", h("span", { class: "unit" }, askedWords(ask))),
  ];
  if (ask === "found") {
    return [...head, ...found(session, name)];
  }
  if (ask === "again") {
    return [...head, ...again(session, name)];
  }
  if (ask === "set") {
    return [...head, ...set(session, name)];
  }
  if (ask === "left") {
    return [...head, ...left(session, name)];
  }
  return [...head, ...done(session, name)];
}

function askedWords(ask) {
  switch (ask) {
    case "found":
      return say_in("asked of a valve", "found");
    case "again":
      return say_in("asked of a valve", "found – not as expected");
    case "set":
      return say_in("asked of a valve", "set");
    case "left":
      return say_in("asked of a valve", "left, after the lock-nut");
    default:
      return say_in("asked of a valve", "done");
  }
}

function stopWords(session) {
  const index = session.place.stop ?? 0;
  const here = session.plan.stops[index];
  return here === undefined ? say("Out of reach in this plan") : say("Stop {number}: {position}", { number: index + 1, position: here.position });
}

function found(session, name) {
  const expected = session.expected(name);
  const before = standing(session.record, name, "found");
  const hints = [session.pack.valves[name].last];
  if (expected !== null) {
    hints.push(say("expected {low} to {high}", { low: expected.low, high: expected.high }));
  }
  return [
    h("p", {}, sentence(hints.join("; "))),
    before === null ? null : h("p", { class: "note" }, say("Written: {reading}. What you tap now corrects it; the old value stays to be seen.", { reading: session.words(before) })),
    h("p", { class: "caution" }, (session.pack.cautions.measure ?? []).join(" ")),
    ...bladeBoard(session, name, "found", expected),
    ...bottom(session, name, [h("button", { type: "button", onclick: () => session.read(name, "found", {}) }, say("Not measured"))]),
  ];
}

function again(session, name) {
  const entry = standing(session.record, name, "found");
  const expected = session.expected(name);
  const question = session.pack.words.question
    .replace("{valve}", () => name)
    .replace("{low}", () => expected?.low ?? "?")
    .replace("{high}", () => expected?.high ?? "?")
    .replace("{reading}", () => session.words(entry));
  return [
    h("p", { class: "caution stop-now", role: "alert" }, question),
    ...bottom(session, name, [
      h("button", { type: "button", onclick: (event) => session.go(event, { ...session.place, ask: "set" }) }, say("It read the same")),
      h("button", { class: "do", type: "button", onclick: (event) => session.go(event, { ...session.place, ask: "found" }) }, say("Measure once more")),
    ]),
  ];
}

function set(session, name) {
  const entry = standing(session.record, name, "found");
  const cold = session.pack.valves[name];
  const before = standing(session.record, name, "set");
  const turn = entry === null ? null : screwWords(entry, session.blades);
  const other = session.place.board === "set";
  return [
    h("p", {}, entry === null ? say("Found: not measured.") : say("Found: {reading}.", { reading: session.words(entry) })),
    before === null ? null : h("p", { class: "note" }, say("Written: set on {reading}.", { reading: session.words(before) })),
    turn === null ? null : h("p", { class: "verdict" }, say("To {gap}: {turn}.", { gap: cold.cold, turn })),
    h("p", { class: "caution" }, (session.pack.cautions.set ?? []).join(" ")),
    h(
      "div",
      { class: "buttons" },
      h("button", { class: "do", type: "button", onclick: () => session.setOn(name, cold.cold_um) }, say("Set on {gap}", { gap: cold.cold })),
      h("button", { type: "button", "aria-pressed": other ? "true" : "false", onclick: (event) => session.go(event, { ...session.place, ask: "set", board: other ? null : "set" }) }, say("Set on another blade")),
    ),
    other ? h("div", { class: "blades" }, rungs(session, name).map((rung) => bladeButton(rung, () => session.setOn(name, rung.um)))) : null,
    ...bottom(session, name, [h("button", { type: "button", onclick: () => session.leaveAlone(name) }, say("Left alone"))]),
  ];
}

function left(session, name) {
  const before = standing(session.record, name, "left");
  const onto = standing(session.record, name, "set");
  return [
    h("p", {}, say("Set on {reading}. Lock-nut tight? Then measure again.", { reading: onto === null ? "?" : session.words(onto) })),
    before === null ? null : h("p", { class: "note" }, say("Written: {reading}.", { reading: session.words(before) })),
    ...bladeBoard(session, name, "left", null),
    ...bottom(session, name, [h("button", { type: "button", onclick: () => session.read(name, "left", {}) }, say("Not read again"))]),
  ];
}

function done(session, name) {
  const change = (step, label) =>
    h("button", { type: "button", onclick: (event) => session.go(event, { screen: "valve", stop: session.place.stop, valve: name, ask: step }) }, label);
  return [
    h("p", { class: "verdict" }, sentence(valveState(session, name))),
    h(
      "div",
      { class: "buttons" },
      change("found", say("Change found")),
      change("set", say("Change set")),
      standing(session.record, name, "set") === null ? null : change("left", say("Change left")),
    ),
    photoField(session, name),
    ...bottom(session, name, [h("button", { class: "do", type: "button", onclick: (event) => session.go(event, session.resume()) }, say("Next"))]),
  ];
}

function rungs(session, name) {
  const all = session.blades.rungs;
  if (session.place.all || all.length <= FIRST_RUNGS) {
    return all;
  }
  const cold = session.pack.valves[name].cold_um;
  const at = all.findIndex((rung) => rung.um >= cold);
  const start = Math.max(0, Math.min((at < 0 ? all.length : at) - 7, all.length - FIRST_RUNGS));
  return all.slice(start, start + FIRST_RUNGS);
}

function bladeButton(rung, onclick, attributes = {}) {
  const [figure, unit] = rung.label.split(" ");
  return h("button", { type: "button", class: "blade", onclick, "data-um": rung.um, ...attributes }, figure, h("small", {}, unit ?? ""));
}

function bladeBoard(session, name, step, expected) {
  const { place, blades } = session;
  const shown = rungs(session, name);
  const mode = place.mode ?? "goes";
  const go = place.go ?? null;
  const choose = (next) => (event) => session.go(event, { ...place, ask: step, mode: next, go: null });
  const toggle = (next, label) => h("button", { type: "button", "aria-pressed": mode === next ? "true" : "false", onclick: choose(mode === next ? "goes" : next) }, label);
  const tap = (rung) => {
    if (mode === "drag") {
      session.read(name, step, { go_um: rung.um, nogo_um: session.above(rung.um), feel: "drag" });
    } else if (mode === "both" && go === null) {
      session.show({ ...place, ask: step, mode: "both", go: rung.um });
    } else if (mode === "both") {
      session.read(name, step, { go_um: go, nogo_um: rung.um });
    } else {
      session.read(name, step, { go_um: rung.um, nogo_um: session.above(rung.um) });
    }
  };
  const prompt = {
    goes: say("Tap the thickest blade that goes. The next one in your set does not."),
    drag: say("Tap the blade that goes with drag."),
    both: go === null ? say("Tap the thickest blade that goes.") : say("Now tap the thinnest that does not."),
  }[mode];
  // "This goes, the next does not" is expected where that interval meets the expected range.
  const inside = (um) => expected !== null && um <= expected.hi_um && (session.above(um) ?? Infinity) > expected.lo_um;
  return [
    h("p", { id: "prompt" }, prompt),
    h(
      "div",
      { class: "blades", role: "group", "aria-labelledby": "prompt" },
      shown.map((rung) =>
        bladeButton(rung, () => tap(rung), {
          class: inside(rung.um) ? "blade expected" : "blade",
          disabled: mode === "both" && go !== null && rung.um <= go,
        }),
      ),
      h("button", { type: "button", class: "blade wide", onclick: () => session.read(name, step, { go_um: 0, nogo_um: blades.rungs[0].um }) }, say("No blade goes")),
      shown.length < blades.rungs.length
        ? h("button", { type: "button", class: "blade wide", onclick: (event) => session.go(event, { ...place, ask: step, all: true }) }, say("All blades"))
        : null,
    ),
    h("div", { class: "buttons" }, toggle("drag", say("Goes with drag")), toggle("both", say("Choose both blades"))),
    step === "found" ? spinChoice(session, name) : null,
  ];
}

function spinChoice(session, name) {
  const spin = session.place.spin ?? null;
  const choose = (value) => (event) => session.go(event, { ...session.place, ask: "found", spin: spin === value ? null : value });
  return h(
    "div",
    { class: "buttons", role: "group", "aria-label": say("How the pushrod of {valve} spins", { valve: name }) },
    h("span", { class: "soft" }, say("Pushrod spins:")),
    [
      ["free", say_in("how a pushrod spins", "free")],
      ["stiff", say_in("how a pushrod spins", "stiff")],
      ["none", say_in("how a pushrod spins", "not at all")],
    ].map(([value, label]) => h("button", { type: "button", "aria-pressed": spin === value ? "true" : "false", onclick: choose(value) }, label)),
  );
}

function bottom(session, name, buttons) {
  const undo = session.undoable();
  return [
    undo === null
      ? null
      : h("div", { class: "undo", role: "status" }, h("span", {}, undoWords(undo, session.words(undo))), h("button", { type: "button", onclick: () => session.undo() }, say("Undo"))),
    thumb(h("button", { type: "button", onclick: (event) => session.back(event, name) }, say("Back")), ...buttons),
  ];
}

function undoWords(entry, reading) {
  const values = { valve: entry.valve, reading };
  if (entry.step === "set") {
    return say("{valve} set: {reading}", values);
  }
  return entry.step === "found" ? say("{valve} found: {reading}", values) : say("{valve} left: {reading}", values);
}

function thumb(...buttons) {
  return h("div", { class: "thumb" }, h("div", { class: "buttons" }, ...buttons));
}

// ------------------------------------------------------------------------------------------------ close up, meaning

function closing(session) {
  const { pack, record } = session;
  const open = order(session.plan).filter((each) => standing(record, each, "found") === null);
  const half = order(session.plan).filter((each) => asks(record, each) === "left");
  return [
    h("h1", {}, pack.closing.title),
    open.length > 0 ? h("p", { class: "note" }, say("Nothing is written yet for {valves}.", { valves: open.join(", ") })) : null,
    half.length > 0 ? h("p", { class: "note" }, say("Set, but not read again after the lock-nut: {valves}.", { valves: half.join(", ") })) : null,
    checklist(session, pack.closing, "closing"),
    cautions(pack.closing.cautions),
    h(
      "div",
      { class: "field" },
      h("label", { for: "note" }, say("Note")),
      h("textarea", { id: "note", name: "note", rows: 3, maxlength: 2000, onchange: (event) => session.writeNote(event.target.value) }, record.note ?? ""),
    ),
    photoField(session, null),
    valveList(session, order(session.plan)),
    thumb(
      h("button", { type: "button", onclick: (event) => session.go(event, { screen: "plan" }) }, say("Back")),
      h("button", { class: "do", type: "button", onclick: () => session.close() }, say("Close the visit")),
    ),
  ];
}

function meaning(session) {
  const answer = session.answer;
  return [
    h("h1", {}, say("What it means")),
    answer === null
      ? h("p", { class: "note", role: "status" }, say("The visit is closed and saved on this device. What it means is worked out by the book as soon as it has all of it."))
      : h("div", {}, answer.lines.filter((line) => line).map((line) => h("p", {}, line))),
    thumb(
      h("a", { class: "button", href: "/" }, say("To the shed")),
      h("a", { class: "button do", href: `/engines/${session.record.engine}` }, say("To the engine")),
    ),
  ];
}

function sentence(text) {
  const trimmed = text.trim();
  if (!trimmed) {
    return "";
  }
  const ended = /[.!?]$/.test(trimmed) ? trimmed : `${trimmed}.`;
  return ended[0].toUpperCase() + ended.slice(1);
}

export { expectedOf, measured, surprising, words };
