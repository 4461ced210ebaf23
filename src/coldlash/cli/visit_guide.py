"""The visit led from a terminal: one question at a time, every answer written at once.

At any question: ``b`` goes back to the question before, ``q`` leaves (the visit stays open where it is), ``h``
says what can be typed. End of input leaves as well.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from datetime import date

from coldlash.bench.cautions import MAKER_FIRST, cautions_at
from coldlash.cli import typed
from coldlash.cli.output import out, tell
from coldlash.desk.desk import Desk
from coldlash.desk.visit import Ask, Guide, GuidedStop, ValveTask, place_text, plan_text, read_place
from coldlash.engine.spec import Valve
from coldlash.errors import ColdlashError, InputError, MeterWentBackError
from coldlash.language import say
from coldlash.language import table as in_language
from coldlash.logbook.distance import Explained
from coldlash.logbook.records import Reading, Spin, Visit
from coldlash.logbook.telling import label
from coldlash.units import parse_number

_EXPLAINED: dict[str, Explained] = {"rolled-over": "rolled over", "replaced": "replaced"}


def _help() -> str:
    return say(
        """\
  0.15          the thickest blade that goes; the next in your set does not
  0.15/0.20     this one goes, that one does not
  drag 0.15     this one goes with drag: the gap is that blade
  none          no blade goes
  0.30/         this one goes, no thicker one was tried
  ?             not measured
  ... ; stiff   how the pushrod spins: free, stiff or none, after a semicolon
  ... ; words   any other words after a semicolon are kept as a note
  b back   q leave, the visit stays open   h this help"""
    )


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
            say(
                "{error}. Say which: --meter-was rolled-over or replaced; or give the engine's own distance "
                "(--distance)",
                error=error,
            ),
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
                out(say("Going on with the visit of {day}.", day=visit.day))
            else:
                _ask_missing(desk, name, arguments)
                visit = _opened_by_questions(desk, name, arguments)
            closed = _Leader(desk, visit).run()
        except _LeaveError:
            left = desk.book.draft_visits(name)
            if left:
                out(
                    say(
                        "Left. Everything said is in the book; go on: coldlash visit guide {name!r}",
                        name=name,
                    )
                )
            else:
                out(say("Left before the visit was opened; nothing was written."))
            return 0
        if closed:
            out()
            for line in desk.answer(name).lines():
                tell(line)
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
    if typed.is_leave(said):
        raise _LeaveError
    if typed.is_back(said):
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
            tell(f"  {error}")


def _ask_missing(desk: Desk, name: str, arguments: argparse.Namespace) -> None:
    if arguments.distance is None and arguments.meter is None:
        unit = desk.meter_unit(name)
        arguments.meter = _ask_number(
            say("What does the meter show, {unit}? ", unit=unit), say("meter"), optional=False
        )
    if arguments.temp is None:
        arguments.temp = _ask_number(
            say("Engine temperature, C (Enter = not known)? "), say("temperature"), optional=True
        )


def _opened_by_questions(desk: Desk, name: str, arguments: argparse.Namespace) -> Visit:
    """Open it; where the meter went back, ask why until that is settled."""
    while True:
        try:
            return _open(desk, name, arguments)
        except MeterWentBackError as error:
            tell(f"{str(error)[:1].upper()}{str(error)[1:]}.")
            arguments.meter_was = None
            offered = [offer.how for offer in error.explanations]
            try:
                said = _read(_why_prompt(offered))
            except _BackError:
                continue
            chosen = typed.why(said, offered)
            if chosen is not None:
                arguments.meter_was = chosen.replace(" ", "-")
                continue
            try:
                arguments.meter = parse_number(said, say("meter"))
            except InputError as wrong:
                tell(f"  {wrong}")


def _why_prompt(offered: Sequence[str]) -> str:
    both = [how for how in offered if how in ("rolled over", "replaced")]
    if both == ["rolled over", "replaced"]:
        return say("o rolled over, n replaced, or the right reading? ")
    if both == ["replaced", "rolled over"]:
        return say("n replaced, o rolled over, or the right reading? ")
    if both == ["rolled over"]:
        return say("o rolled over, or the right reading? ")
    if both == ["replaced"]:
        return say("n replaced, or the right reading? ")
    return say("or the right reading? ")


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
            tell(f"  [ ] {item.text}")
        for caution in guide.ready.cautions:
            tell(f"   !  {in_language(caution.text)}")
        out(in_language(MAKER_FIRST))
        while True:
            try:
                _read(say("Enter when ready, q to leave: "))
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
                    out(say("  That is the first valve."))
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
            out(say("Out of reach in this plan: measure only if you know the valve is closed, else answer ?"))
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
            hint = say(
                "{last}; expect {low:.2f} to {high:.2f} mm",
                last=task.last,
                low=max(task.expected.lo, 0.0),
                high=task.expected.hi,
            )
        prompt = say("{valve} found ({hint}): ", valve=valve, hint=hint)
        if task.found is not None:
            prompt = say(
                "{valve} found, written: {words} (Enter keeps it, or correct it): ",
                valve=valve,
                words=task.found.words,
            )
        while True:
            said = _read(prompt)
            if typed.is_help(said):
                out(_help())
                continue
            if not said and task.found is not None:
                return task.found
            reading = self._write(valve, "found", said)
            if reading is None:
                continue
            question = self._desk.surprise(guide, valve, reading)
            if question is None:
                return reading
            tell(f"  {question}")
            return self._second_look(valve, reading)

    def _second_look(self, valve: Valve, reading: Reading) -> Reading:
        while True:
            said = _read(say("{valve} again (Enter = it read the same): ", valve=valve))
            if typed.is_help(said):
                out(_help())
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
            out(say("  to {gap}: {words}", gap=cold, words=turn.words))
        prompt = say(
            "{valve} set on (Enter = left alone, y = the cold gap {gap}, or the blade): ",
            valve=valve,
            gap=cold,
        )
        if task.set is not None:
            prompt = say(
                "{valve} is {words} (Enter keeps it, - takes it back, or the blade): ",
                valve=valve,
                words=task.set.words,
            )
        while True:
            said = _read(prompt)
            if typed.is_help(said):
                out(_help())
                continue
            if not said:
                return task.set is not None
            if said == "-" and task.set is not None:
                self._desk.book.withdraw(task.set.id)
                return False
            if self._write(valve, "set", "" if typed.is_yes(said) else said) is not None:
                for caution in cautions_at("set"):
                    tell(f"   !  {in_language(caution.text)}")
                return True

    def _left(self, task: ValveTask) -> None:
        valve = task.valve
        kept = self._guide().task(valve).left
        prompt = say("{valve} left, after the lock-nut (Enter = not read again): ", valve=valve)
        if kept is not None:
            prompt = say(
                "{valve} left, written: {words} (Enter keeps it, or correct it): ",
                valve=valve,
                words=kept.words,
            )
        while True:
            said = _read(prompt)
            if typed.is_help(said):
                out(_help())
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
            tell(f"  {error}")
            return None
        out(say("  {reading}: {words}", reading=label(f"{valve} {step}"), words=reading.words))
        return reading

    def _close(self) -> bool:
        self._desk.book.set_place(self._id, place_text("closing"))
        guide = self._guide()
        out()
        out(guide.closing.title)
        for item in guide.closing.items:
            tell(f"  [ ] {item.text}")
        for caution in guide.closing.cautions:
            tell(f"   !  {in_language(caution.text)}")
        open_valves = [str(task.valve) for task in guide.tasks if task.found is None]
        if open_valves:
            out(say("Nothing is written yet for {valves}", valves=", ".join(open_valves)))
        while True:
            try:
                said = _read(say("Close the visit? y, or the name of a valve to go back to, q to leave: "))
            except _BackError:
                said = str(guide.tasks[-1].valve)
            if typed.is_yes(said):
                self._desk.book.close_visit(self._id)
                out(say("Closed."))
                return True
            try:
                valve = guide.engine.valve(said)
            except InputError as error:
                tell(f"  {error}")
                continue
            order = [task.valve for task in guide.tasks]
            self._shown_stop = None
            self._valves([valve] if valve in order else [], 0)
            return self._close()


def _print_stop(guide: Guide, stop: GuidedStop) -> None:
    words = stop.words
    out(
        say(
            "Stop {number} of {count}: {position}",
            number=stop.number,
            count=len(guide.stops),
            position=words.position,
        )
    )
    if stop.number == 1:
        for caution in cautions_at("turn"):
            tell(f"   !  {in_language(caution.text)}")
    if guide.planned.plan.turn == "against":
        for caution in cautions_at("turn_against"):
            tell(f"   !  {in_language(caution.text)}")
    out(say("  turn   {turn}", turn=words.turn))
    out(say("  mark   {mark}", mark=words.mark))
    for text in words.find:
        tell(say("  sure?  {text}", text=text))
    if words.room:
        tell(say("  room   {room}", room=words.room))
    if stop.number == 1:
        for caution in cautions_at("measure"):
            tell(f"   !  {in_language(caution.text)}")
        out(say("  Say what the blades say; h shows how."))


def _split(said: str) -> tuple[str, Spin | None, str]:
    text, _, rest = said.partition(";")
    spin: Spin | None = None
    notes = []
    for part in filter(None, (piece.strip() for piece in rest.split(";"))):
        spoken = typed.spin(part)
        if spoken is None:
            notes.append(part)
        else:
            spin = spoken
    return typed.reading(text.strip()), spin, "; ".join(notes)
