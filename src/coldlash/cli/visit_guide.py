"""The visit led from a terminal: one question at a time, every answer written at once.

At any question: ``b`` goes back to the question before, ``q`` leaves (the visit stays open where it is), ``h``
says what can be typed. End of input leaves as well.
"""

from __future__ import annotations

import argparse
import sys
from datetime import date

from coldlash.bench.cautions import MAKER_FIRST, cautions_at
from coldlash.cli.output import out, say
from coldlash.desk.desk import Desk
from coldlash.desk.visit import Ask, Guide, GuidedStop, ValveTask, place_text, plan_text, read_place
from coldlash.engine.spec import Valve
from coldlash.errors import ColdlashError, InputError, MeterWentBackError
from coldlash.logbook.distance import Explained
from coldlash.logbook.records import Reading, Spin, Visit
from coldlash.units import parse_number

_EXPLAINED: dict[str, Explained] = {"rolled-over": "rolled over", "replaced": "replaced"}
_LETTERS = {"rolled over": "o", "replaced": "n"}
HELP = """\
  0.15          the thickest blade that goes; the next in your set does not
  0.15/0.20     this one goes, that one does not
  drag 0.15     this one goes with drag: the gap is that blade
  none          no blade goes
  0.30/         this one goes, no thicker one was tried
  ?             not measured
  ... ; stiff   how the pushrod spins: free, stiff or none, after a semicolon
  ... ; words   any other words after a semicolon are kept as a note
  b back   q leave, the visit stays open   h this help"""


class _BackError(Exception):
    """The owner wants the question before."""


class _LeaveError(Exception):
    """The owner leaves; the visit stays open."""


def open_from_flags(desk: Desk, name: str, arguments: argparse.Namespace) -> Visit:
    """Open a visit from the command line's options. A meter that went back names the option that says why."""
    try:
        return _open(desk, name, arguments)
    except MeterWentBackError as error:
        raise MeterWentBackError(
            f"{error}. Say which: --meter-was rolled-over or replaced; or give the engine's own distance (--distance)",
            error.explanations,
        ) from None


def _open(desk: Desk, name: str, arguments: argparse.Namespace) -> Visit:
    blades = desk.blade_set(arguments.blades) if arguments.blades else None
    return desk.start_visit(
        name,
        # The owner's own calendar day is meant, not that of a time zone.
        day=arguments.date or date.today(),  # noqa: DTZ011
        distance_km=arguments.distance,
        meter=arguments.meter,
        meter_explained=_EXPLAINED.get(arguments.meter_was or ""),
        engine_temp_c=arguments.temp,
        by=arguments.who,
        blades=blades,
        plan=plan_text(arguments.by, arguments.turn, arguments.marks, arguments.margin),
        note=arguments.note,
    )


def lead(arguments: argparse.Namespace) -> int:
    """Lead through a visit. Returns the exit code."""
    with Desk.open(arguments.book) as desk:
        name = arguments.engine or desk.only_engine()
        drafts = desk.book.draft_visits(name)
        try:
            if drafts:
                visit = drafts[0]
                out(f"Going on with the visit of {visit.day}.")
            else:
                _ask_missing(desk, name, arguments)
                visit = _opened_by_questions(desk, name, arguments)
            closed = _Leader(desk, visit).run()
        except _LeaveError:
            left = desk.book.draft_visits(name)
            if left:
                out(f"Left. Everything said is in the book; go on: coldlash visit guide {name!r}")
            else:
                out("Left before the visit was opened; nothing was written.")
            return 0
        if closed:
            out()
            for line in desk.answer(name).lines():
                say(line)
    return 0


def _read(prompt: str) -> str:
    sys.stdout.write(prompt)
    sys.stdout.flush()
    line = sys.stdin.readline()
    if not line:
        sys.stdout.write("\n")
        raise _LeaveError
    if not sys.stdin.isatty():
        # A script's answers are shown where a terminal would have echoed them.
        sys.stdout.write(line if line.endswith("\n") else line + "\n")
    said = line.strip()
    if said.lower() == "q":
        raise _LeaveError
    if said.lower() == "b":
        raise _BackError
    return said


def _ask_number(prompt: str, what: str, *, optional: bool) -> float | None:
    while True:
        try:
            said = _read(prompt)
        except _BackError:
            continue
        if not said and optional:
            return None
        try:
            return parse_number(said, what)
        except InputError as error:
            say(f"  {error}")


def _ask_missing(desk: Desk, name: str, arguments: argparse.Namespace) -> None:
    if arguments.distance is None and arguments.meter is None:
        unit = desk.meter_unit(name)
        arguments.meter = _ask_number(f"What does the meter show, {unit}? ", "meter", optional=False)
    if arguments.temp is None:
        arguments.temp = _ask_number(
            "Engine temperature, C (Enter = not known)? ", "temperature", optional=True
        )


def _opened_by_questions(desk: Desk, name: str, arguments: argparse.Namespace) -> Visit:
    """Open it; where the meter went back, ask why until that is settled."""
    while True:
        try:
            return _open(desk, name, arguments)
        except MeterWentBackError as error:
            say(f"{str(error)[:1].upper()}{str(error)[1:]}.")
            arguments.meter_was = None
            offered = {
                _LETTERS[offer.how]: offer.how for offer in error.explanations if offer.how in _LETTERS
            }
            choices = [f"{letter} {how}" for letter, how in offered.items()]
            try:
                said = _read(", ".join([*choices, "or the right reading"]) + "? ")
            except _BackError:
                continue
            chosen = offered.get(said.lower())
            if chosen is not None:
                arguments.meter_was = chosen.replace(" ", "-")
                continue
            try:
                arguments.meter = parse_number(said, "meter")
            except InputError as wrong:
                say(f"  {wrong}")


class _Leader:
    """Walks one visit's questions. The book is asked anew after every answer."""

    def __init__(self, desk: Desk, visit: Visit) -> None:
        self._desk = desk
        self._id = visit.id
        self._shown_stop: int | None = None

    def run(self) -> bool:
        """True when the visit was closed."""
        guide = self._guide()
        step, valve = read_place(guide.visit.place)
        if step == "ready":
            self._ready(guide)
            step, valve = "valves", None
        if step != "closing" or guide.next is not None:
            order = [task.valve for task in guide.tasks]
            index = order.index(valve) if valve in order else 0
            if valve is None and guide.next is not None:
                index = order.index(guide.next.valve)
            self._valves(order, index)
        return self._close()

    def _guide(self) -> Guide:
        return self._desk.guide(self._desk.book.visit(self._id))

    def _ready(self, guide: Guide) -> None:
        out(guide.ready.title)
        for item in guide.ready.items:
            say(f"  [ ] {item.text}")
        for caution in guide.ready.cautions:
            say(f"   !  {caution.text}")
        out(MAKER_FIRST)
        while True:
            try:
                _read("Enter when ready, q to leave: ")
                break
            except _BackError:
                continue
        self._desk.book.set_place(self._id, place_text("valves"))

    def _valves(self, order: list[Valve], index: int) -> None:
        while index < len(order):
            guide = self._guide()
            task = guide.task(order[index])
            self._desk.book.set_place(self._id, place_text("valves", task.valve))
            self._show_stop(guide, task.valve)
            try:
                self._one_valve(guide, task)
                index += 1
            except _BackError:
                if index == 0:
                    out("  That is the first valve.")
                index = max(0, index - 1)
                self._shown_stop = None

    def _show_stop(self, guide: Guide, valve: Valve) -> None:
        stop = next((s for s in guide.stops if any(t.valve == valve for t in s.tasks)), None)
        number = stop.number if stop else 0
        if number == self._shown_stop:
            return
        self._shown_stop = number
        out()
        if stop is None:
            out("Out of reach in this plan: measure only if you know the valve is closed, else answer ?")
            return
        _print_stop(guide, stop)

    def _one_valve(self, guide: Guide, task: ValveTask) -> None:
        found = self._found(guide, task)
        if not found.measured and task.set is None:
            return
        try:
            was_set = self._set(guide, found, task)
            if was_set:
                self._left(task)
        except _BackError:
            # Back from set or left lands on this valve's found, not on the valve before.
            self._one_valve(self._guide(), self._guide().task(task.valve))

    def _found(self, guide: Guide, task: ValveTask) -> Reading:
        valve = task.valve
        hint = task.last
        if task.expected is not None:
            low = max(task.expected.lo, 0.0)
            hint += f"; expect {low:.2f} to {task.expected.hi:.2f} mm"
        prompt = f"{valve} found ({hint}): "
        if task.found is not None:
            prompt = f"{valve} found, written: {task.found.words} (Enter keeps it, or correct it): "
        while True:
            said = _read(prompt)
            if said.lower() == "h":
                out(HELP)
                continue
            if not said and task.found is not None:
                return task.found
            reading = self._write(valve, "found", said)
            if reading is None:
                continue
            question = self._desk.surprise(guide, valve, reading)
            if question is None:
                return reading
            say(f"  {question}")
            return self._second_look(valve, reading)

    def _second_look(self, valve: Valve, reading: Reading) -> Reading:
        while True:
            said = _read(f"{valve} again (Enter = it read the same): ")
            if said.lower() == "h":
                out(HELP)
                continue
            if not said:
                return reading
            again = self._write(valve, "found", said)
            if again is not None:
                return again

    def _set(self, guide: Guide, found: Reading, task: ValveTask) -> bool:
        valve = task.valve
        cold = guide.blades.show(guide.cold_um[valve])
        turn = guide.screw(found, valve)
        if turn is not None:
            out(f"  to {cold}: {turn.words}")
        prompt = f"{valve} set on (Enter = left alone, y = the cold gap {cold}, or the blade): "
        if task.set is not None:
            prompt = f"{valve} is {task.set.words} (Enter keeps it, - takes it back, or the blade): "
        while True:
            said = _read(prompt)
            if said.lower() == "h":
                out(HELP)
                continue
            if not said:
                return task.set is not None
            if said == "-" and task.set is not None:
                self._desk.book.withdraw(task.set.id)
                return False
            if self._write(valve, "set", "" if said.lower() == "y" else said) is not None:
                for caution in cautions_at("set"):
                    say(f"   !  {caution.text}")
                return True

    def _left(self, task: ValveTask) -> None:
        valve = task.valve
        kept = self._guide().task(valve).left
        prompt = f"{valve} left, after the lock-nut (Enter = not read again): "
        if kept is not None:
            prompt = f"{valve} left, written: {kept.words} (Enter keeps it, or correct it): "
        while True:
            said = _read(prompt)
            if said.lower() == "h":
                out(HELP)
                continue
            if not said:
                if kept is None:
                    self._write(valve, "left", "?")
                return
            if self._write(valve, "left", said) is not None:
                return

    def _write(self, valve: Valve, step: Ask, said: str) -> Reading | None:
        text, spin, note = _split(said)
        try:
            visit = self._desk.book.visit(self._id)
            reading = self._desk.say(visit, valve, step, text, spin=spin, note=note, correct=True)
        except ColdlashError as error:
            say(f"  {error}")
            return None
        out(f"  {valve} {step}: {reading.words}")
        return reading

    def _close(self) -> bool:
        self._desk.book.set_place(self._id, place_text("closing"))
        guide = self._guide()
        out()
        out(guide.closing.title)
        for item in guide.closing.items:
            say(f"  [ ] {item.text}")
        for caution in guide.closing.cautions:
            say(f"   !  {caution.text}")
        open_valves = [str(task.valve) for task in guide.tasks if task.found is None]
        if open_valves:
            out("Nothing is written yet for " + ", ".join(open_valves))
        while True:
            try:
                said = _read("Close the visit? y, or the name of a valve to go back to, q to leave: ")
            except _BackError:
                said = str(guide.tasks[-1].valve)
            if said.lower() in {"y", "yes"}:
                self._desk.book.close_visit(self._id)
                out("Closed.")
                return True
            try:
                valve = guide.engine.valve(said)
            except InputError as error:
                say(f"  {error}")
                continue
            order = [task.valve for task in guide.tasks]
            self._shown_stop = None
            self._valves([valve] if valve in order else [], 0)
            return self._close()


def _print_stop(guide: Guide, stop: GuidedStop) -> None:
    words = stop.words
    out(f"Stop {stop.number} of {len(guide.stops)}: {words.position}")
    if stop.number == 1:
        for caution in cautions_at("turn"):
            say(f"   !  {caution.text}")
    if guide.planned.plan.turn == "against":
        for caution in cautions_at("turn_against"):
            say(f"   !  {caution.text}")
    out(f"  turn   {words.turn}")
    out(f"  mark   {words.mark}")
    for text in words.find:
        say(f"  sure?  {text}")
    if words.room:
        say(f"  room   {words.room}")
    if stop.number == 1:
        for caution in cautions_at("measure"):
            say(f"   !  {caution.text}")
        out("  Say what the blades say; h shows how.")


def _split(said: str) -> tuple[str, Spin | None, str]:
    text, _, rest = said.partition(";")
    spin: Spin | None = None
    notes = []
    for part in filter(None, (piece.strip() for piece in rest.split(";"))):
        match part.lower():
            case "free":
                spin = "free"
            case "stiff":
                spin = "stiff"
            case "none":
                spin = "none"
            case _:
                notes.append(part)
    return text.strip(), spin, "; ".join(notes)
