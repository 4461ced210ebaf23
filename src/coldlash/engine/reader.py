"""An engine file becomes an ``Engine``, or all its faults at once with their lines.

The keys, their units and ranges are explained in docs/engine-file.md. What is only worth a remark comes from
``engine_notes``.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any, cast

from coldlash.engine import key_hints, unit_hints
from coldlash.engine.fields import (
    Notebook,
    Table,
    check_number,
    kind_of,
    once_each,
    plain,
    shown,
    whole_numbers,
    written,
)
from coldlash.engine.firing import CYCLE_DEG, UNKNOWN_RAMP_DEG
from coldlash.engine.lift_table import read_lift_table
from coldlash.engine.materials import material_named
from coldlash.engine.notes import engine_notes
from coldlash.engine.spec import (
    KIND_WORD,
    Engine,
    GapSpec,
    Geometry,
    Height,
    Kind,
    Layout,
    Linkage,
    LobeSpec,
    Pulley,
    ScrewSide,
    Service,
    StackPart,
    Train,
    Turns,
    Valve,
    ValveEvents,
)
from coldlash.engine.toml_lines import UNREAD, read_toml
from coldlash.errors import ColdlashError, FaultyFileError, InputError
from coldlash.language import say
from coldlash.language import table as say_table

__all__ = ["LONGEST_NAME", "MOST_CYLINDERS", "engine_notes", "read_engine"]

LONGEST_NAME = 80
MOST_CYLINDERS = 16
_SUM_TOLERANCE_DEG = 0.05
"""Firing gaps written with a few decimals (102.857 seven times) may miss 720 by this much; they are scaled."""
_ZONE = re.compile(r"[a-z][a-z0-9_]{0,39}")
_TURNS_WORDS = {
    "anticlockwise": "counterclockwise",
    "ccw": "counterclockwise",
    "left": "counterclockwise",
    "cw": "clockwise",
    "right": "clockwise",
}
_LAYOUT_WORDS = {"v": "vee", "opposed": "flat", "boxer": "flat", "horizontal": "flat", "straight": "inline"}
_LAYOUT_WORDS |= {"single": "inline", "parallel": "inline", "row": "inline"}
_SIDE_WORDS = {"cam": "pushrod", "lifter": "pushrod", "tappet": "pushrod", "tip": "valve", "rocker": "valve"}
_TRAIN_WORDS = {
    "ohv": "pushrod",
    "rocker": "pushrod",
    "bucket": "direct",
    "ohc": "finger",
    "follower": "finger",
}
_HEIGHTS: tuple[Height, ...] = ("pivot", "pushrod", "intake", "exhaust")


def read_engine(text: str, source: str, read_table: Callable[[str], str] | None = None) -> Engine:
    """Read the text of an engine file (TOML). ``source`` names it in messages.

    ``read_table`` gives the text of a lift table named in the file (rows of cam degrees and lift in mm);
    without it, naming one is a fault. Raises FaultyFileError with every fault, its line and column.
    """
    file = read_toml(text)
    notebook = Notebook(file)
    if file.data is None:
        raise FaultyFileError(source, notebook.faults)
    top = Table(notebook, (), file.data, key_hints.TOP, key_hints.meaning_of)
    engine = _engine(top, read_table)
    if notebook.faults:
        raise FaultyFileError(source, notebook.faults)
    return engine


def _engine(top: Table, read_table: Callable[[str], str] | None) -> Engine:
    """The engine as far as it can be read; only whole when no fault was noted."""
    name = top.text("name", say("the engine's name"), required=True, longest=LONGEST_NAME)
    cylinders = _cylinders(top)
    order = _firing_order(top, cylinders)
    gaps_deg = _firing_gaps(top, cylinders)
    turns = top.choice("turns", ("clockwise", "counterclockwise"), required=True, means=_TURNS_WORDS)
    layout = top.choice("layout", ("flat", "vee", "inline"), means=_LAYOUT_WORDS)
    heads = _heads(top, cylinders)
    lobes = _lobes(top, read_table)
    events = _events(top, lobes)
    order, gaps_deg = _start_at_one(order, gaps_deg)
    return Engine(
        name=name or "",
        cylinders=cylinders or 0,
        firing_order=order,
        firing_gaps_deg=gaps_deg,
        turns=cast(Turns, turns),
        heads=heads,
        shared_lobes=_shared_lobes(top, cylinders),
        events=events,
        gaps=_gaps(top),
        linkage=_linkage(top),
        pulley=_pulley(top),
        stack=_stack(top),
        geometry=_geometry(top),
        rows=_rows(top, cylinders, heads),
        lobes=lobes,
        service=_service(top),
        layout=cast(Layout | None, layout),
    )


def _cylinders(top: Table) -> int | None:
    """The number of cylinders; where it is faulty, what the firing order says, to check the rest against."""
    number = top.whole("cylinders", say("the number of cylinders"), 1, MOST_CYLINDERS, required=True)
    order = top.data.get("firing_order")
    if number is None and isinstance(order, list) and 1 <= len(order) <= MOST_CYLINDERS:
        return len(order)
    return number


def _firing_order(top: Table, cylinders: int | None) -> tuple[int, ...]:
    need = say("the cylinders as they fire, like [1, 4, 3, 2]")
    items = top.list_of("firing_order", need, required=True)
    if items is None:
        return ()
    numbers = whole_numbers(top, "firing_order", items, cylinders or MOST_CYLINDERS)
    if cylinders is not None and len(numbers) == len(items):
        wrong = once_each(list(range(1, cylinders + 1)), numbers)
        if wrong:
            top.fault(
                "firing_order",
                say(
                    "firing_order needs each cylinder 1 to {cylinders} once; {wrong}",
                    cylinders=cylinders,
                    wrong=wrong,
                ),
            )
    return tuple(numbers)


def _firing_gaps(top: Table, cylinders: int | None) -> tuple[float, ...]:
    items = top.list_of("firing_gaps_deg", say("crank degrees from each firing to the next"))
    if items is None:
        return (CYCLE_DEG / cylinders,) * cylinders if cylinders else ()
    numbers = []
    for index, item in enumerate(items):
        need = say("crank degrees to the next firing")
        number = check_number(top.notebook, ("firing_gaps_deg", index), item, need, 0, CYCLE_DEG)
        if number is not None:
            numbers.append(number)
    if len(numbers) != len(items):
        return ()
    if cylinders is not None and len(numbers) != cylinders:
        top.fault(
            "firing_gaps_deg",
            say(
                "firing_gaps_deg has {count} figures for {cylinders} cylinders; it needs one for each "
                "firing, the last one back to the first",
                count=len(numbers),
                cylinders=cylinders,
            ),
        )
        return ()
    total = sum(numbers)
    if abs(total - CYCLE_DEG) > _SUM_TOLERANCE_DEG:
        if abs(total - 360) < 0.1:
            message = say(
                "firing_gaps_deg sums to {total}; all gaps together are two crank turns, 720; "
                "is each half of what it should be (camshaft degrees)?",
                total=plain(total),
            )
        else:
            message = say(
                "firing_gaps_deg sums to {total}; all gaps together are two crank turns, 720",
                total=plain(total),
            )
        top.fault("firing_gaps_deg", message)
        return ()
    return tuple(numbers) if total == CYCLE_DEG else tuple(n * CYCLE_DEG / total for n in numbers)


def _start_at_one(
    order: tuple[int, ...], gaps_deg: tuple[float, ...]
) -> tuple[tuple[int, ...], tuple[float, ...]]:
    if 1 not in order:
        return order, gaps_deg
    first = order.index(1)
    return order[first:] + order[:first], gaps_deg[first:] + gaps_deg[:first]


def _heads(top: Table, cylinders: int | None) -> tuple[tuple[int, ...], ...]:
    need = say("the cylinders under each head, like [[1, 2], [3, 4]]")
    items = top.list_of("heads", need, required=True)
    if items is None:
        return ()
    heads: list[tuple[int, ...]] = []
    sound = True
    for index, item in enumerate(items):
        if not isinstance(item, list):
            message = (
                say(
                    "heads holds {kind}; it needs {need}; one head for all is written [[1, 2]]",
                    kind=kind_of(item),
                    need=need,
                )
                if isinstance(item, int)
                else say("heads holds {kind}; it needs {need}", kind=kind_of(item), need=need)
            )
            top.notebook.fault(("heads", index), message)
            sound = False
            continue
        if not item:
            top.notebook.fault(
                ("heads", index),
                say("heads {index} is empty; leave it out or name its cylinders", index=index + 1),
            )
            sound = False
        numbers = whole_numbers(top, "heads", item, cylinders or MOST_CYLINDERS, (index,))
        sound = sound and len(numbers) == len(item)
        heads.append(tuple(numbers))
    if cylinders is not None and sound:
        wrong = once_each(list(range(1, cylinders + 1)), [c for head in heads for c in head])
        if wrong:
            top.fault(
                "heads",
                say(
                    "heads needs each cylinder 1 to {cylinders} under one head; {wrong}",
                    cylinders=cylinders,
                    wrong=wrong,
                ),
            )
    return tuple(heads)


def _valve(top: Table, path: tuple[str | int, ...], item: Any, cylinders: int | None) -> Valve | None:
    if not isinstance(item, str):
        top.notebook.fault(
            path,
            say(
                '{key} is {kind}; it needs a valve in quotes, like "I1" or "E3"',
                key=written(path),
                kind=kind_of(item),
            ),
        )
        return None
    try:
        valve = Valve.parse(item)
    except InputError:
        top.notebook.fault(
            path,
            say(
                "{key} is {given}, no valve; write I or E and the cylinder, like I1 or E3",
                key=written(path),
                given=shown(item),
            ),
        )
        return None
    if cylinders is not None and valve.cylinder > cylinders:
        top.notebook.fault(
            path,
            say(
                "{key}: this engine has no valve {valve}; its cylinders are 1 to {cylinders}",
                key=written(path),
                valve=valve,
                cylinders=cylinders,
            ),
        )
        return None
    return valve


def _valve_lists(
    top: Table, key: str, need: str, cylinders: int | None
) -> list[tuple[int, list[Valve]]] | None:
    """Lists of valves with their positions; None when absent or when anything in them is faulty."""
    items = top.list_of(key, need)
    if items is None:
        return None
    lists = []
    sound = True
    for index, item in enumerate(items):
        if not isinstance(item, list):
            top.notebook.fault(
                (key, index),
                say("{key} holds {kind}; it needs {need}", key=key, kind=kind_of(item), need=need),
            )
            sound = False
            continue
        valves = [_valve(top, (key, index, i), each, cylinders) for i, each in enumerate(item)]
        good = [v for v in valves if v is not None]
        sound = sound and len(good) == len(item)
        lists.append((index, good))
    return lists if sound else None


def _shared_lobes(top: Table, cylinders: int | None) -> tuple[tuple[Valve, Valve], ...]:
    need = say('pairs of valves that one lobe lifts, like [["I1", "I3"]]')
    lists = _valve_lists(top, "shared_lobes", need, cylinders)
    pairs: list[tuple[Valve, Valve]] = []
    seen: set[Valve] = set()
    for index, valves in lists or ():
        path = ("shared_lobes", index)
        if len(valves) != 2:
            top.notebook.fault(
                path,
                say(
                    "shared_lobes {index} has {count} valves; a lobe is shared by two",
                    index=index + 1,
                    count=len(valves),
                ),
            )
            continue
        one, other = valves
        if one.kind != other.kind:
            top.notebook.fault(
                path,
                say(
                    "{one} and {other} can't share a lobe: one is {word}, the other {word2}",
                    one=one,
                    other=other,
                    word=say_table(one.word),
                    word2=say_table(other.word),
                ),
            )
        elif one == other:
            top.notebook.fault(path, say("{one} can't share a lobe with itself; name two valves", one=one))
        for valve in dict.fromkeys(valves):
            if valve in seen:
                top.notebook.fault(
                    path, say("{valve} already shares a lobe; a valve stands in one pair only", valve=valve)
                )
            seen.add(valve)
        pairs.append((one, other))
    return tuple(pairs)


def _rows(
    top: Table, cylinders: int | None, heads: tuple[tuple[int, ...], ...]
) -> tuple[tuple[Valve, ...], ...]:
    need = say('the valves of each head from the pulley outward, like [["E2", "I2", "I1", "E1"]]')
    lists = _valve_lists(top, "rows", need, cylinders)
    if lists is None or cylinders is None:
        return ()
    rows = [tuple(valves) for _, valves in lists]
    every = [Valve(kind, c) for c in range(1, cylinders + 1) for kind in KIND_WORD]
    wrong = once_each(every, [v for row in rows for v in row])
    if wrong:
        top.fault("rows", say("rows needs every valve once; {wrong}", wrong=wrong))
        return ()
    if sorted(c for head in heads for c in head) != list(range(1, cylinders + 1)):
        return ()  # the heads have their own fault
    for index, row in enumerate(rows):
        over = {head for head in heads if any(v.cylinder in head for v in row)}
        if len(over) > 1:
            top.notebook.fault(
                ("rows", index),
                say(
                    "rows {index} runs over {count} heads; it needs one row a head",
                    index=index + 1,
                    count=len(over),
                ),
            )
    if len(rows) != len(heads):
        top.fault(
            "rows",
            say(
                "rows has {count} rows for {count2} heads; it needs one row a head",
                count=len(rows),
                count2=len(heads),
            ),
        )
    return tuple(rows)


def _events(top: Table, lobes: dict[Kind, LobeSpec]) -> ValveEvents:
    table = top.table("valve_events_deg", say("the valve timing"), key_hints.EVENTS, required=True)
    if table is None:
        return ValveEvents(0, 0, 0, 0)
    found = {}
    for key in key_hints.EVENTS[:4]:
        dead_centre = key.rpartition("_")[2].upper()
        need = say("crank degrees {dead_centre}", dead_centre=dead_centre)
        found[key] = table.number(key, need, -180, 180, required=True)
    lift = (
        table.number("checking_lift_mm", say("the valve lift in mm at which the degrees hold"), 0, 5) or 0.0
    )
    for kind, first, second in (("I", *key_hints.EVENTS[:2]), ("E", *key_hints.EVENTS[2:4])):
        opens, closes = found[first], found[second]
        if opens is None or closes is None:
            continue
        lobe = lobes.get(cast(Kind, kind))
        ramp = lobe.ramp_deg if lobe else None
        widening = 0.0 if lift == 0 else UNKNOWN_RAMP_DEG if ramp is None else 2 * ramp
        length = opens + 180 + closes + 2 * widening
        if not 0 < length < CYCLE_DEG:
            table.fault(
                second,
                say(
                    "{first} {opens} and {second} {closes} keep the valve open for {length} crank degrees; it "
                    "must be more than 0 and less than 720",
                    first=first,
                    opens=plain(opens),
                    second=second,
                    closes=plain(closes),
                    length=plain(length),
                ),
            )
        if lobe and lobe.peak_lift_mm is not None and lift >= lobe.peak_lift_mm:
            word = say_table(KIND_WORD[cast(Kind, kind)])
            table.fault(
                "checking_lift_mm",
                say(
                    "checking_lift_mm is {lift}, the {word} valve lifts only {peak} mm",
                    lift=plain(lift),
                    word=word,
                    peak=plain(lobe.peak_lift_mm),
                ),
            )
    opens_i, closes_i, opens_e, closes_e = (found[key] or 0.0 for key in key_hints.EVENTS[:4])
    return ValveEvents(opens_i, closes_i, opens_e, closes_e, lift)


def _gaps(top: Table) -> dict[Kind, GapSpec]:
    gaps: dict[Kind, GapSpec] = {}
    table = top.table("gap_mm", say("the gaps of intake and exhaust"), key_hints.KINDS, required=True)
    for kind, word in KIND_WORD.items() if table else ():
        inner = table.table(word, say("the gap"), key_hints.GAP, required=True) if table else None
        if inner is None:
            continue
        cold = inner.number(
            "cold", say("the gap in mm, engine cold"), 0, 2, required=True, hint=unit_hints.gap_hint
        )
        tight = inner.number(
            "tight", say("the tight limit in mm, engine cold"), 0, 2, hint=unit_hints.tight_hint
        )
        loose = inner.number(
            "loose", say("the loose limit in mm, engine cold"), 0, 2, hint=unit_hints.gap_hint
        )
        if cold is not None and tight is not None and tight >= cold:
            if cold == 0:
                message = say(
                    "{where}.tight is {tight}, cold is {cold}; leave it out for an engine that is set without a gap",
                    where=inner.where,
                    tight=plain(tight),
                    cold=plain(cold),
                )
            else:
                message = say(
                    "{where}.tight is {tight}, cold is {cold}; it must be less than cold: tighter than this is out",
                    where=inner.where,
                    tight=plain(tight),
                    cold=plain(cold),
                )
            inner.fault("tight", message)
        if cold is not None and loose is not None and loose <= cold:
            inner.fault(
                "loose",
                say(
                    "{where}.loose is {value}, cold is {value2}; it must be more than cold: looser than this is "
                    "out",
                    where=inner.where,
                    value=plain(loose),
                    value2=plain(cold),
                ),
            )
        gaps[kind] = GapSpec(cold or 0.0, tight, loose)
    return gaps


def _linkage(top: Table) -> Linkage:
    table = top.table("linkage", say("the valve train"), key_hints.LINKAGE, required=True)
    if table is None:
        return Linkage(1.0)
    chosen = table.choice("train", ("pushrod", "finger", "direct"), means=_TRAIN_WORDS)
    train = cast(Train, chosen or "pushrod")
    ratio = table.number(
        "rocker_ratio",
        say("movement at the valve / movement at the cam side"),
        0.2,
        5,
        required=train != "direct",
    )
    side = table.choice("screw_side", ("valve", "pushrod"), means=_SIDE_WORDS)
    pitch = table.number(
        "screw_pitch_mm", say("the pitch of the screw in mm"), 0.15, 3, hint=unit_hints.pitch_hint
    )
    if train == "direct" and ratio not in (None, 1.0):
        table.fault(
            "rocker_ratio",
            say("a direct train has no rocker: leave rocker_ratio {value} out", value=plain(ratio or 0)),
        )
    if train == "direct" and side == "pushrod":
        table.fault(
            "screw_side", say('a direct train has no pushrod side: leave screw_side out or write "valve"')
        )
    return Linkage(ratio or 1.0, cast(ScrewSide, side or "valve"), pitch, train)


def _pulley(top: Table) -> Pulley:
    table = top.table("pulley", say("the pulley"), key_hints.PULLEY)
    if table is None:
        return Pulley()
    diameter = table.number(
        "diameter_mm", say("the pulley's diameter in mm"), 20, 1000, hint=unit_hints.length_hint(20)
    )
    marks: list[float] = []
    for index, item in enumerate(
        table.list_of("marks_deg", say("crank degrees past firing TDC 1, like [0, 180]")) or ()
    ):
        path = (*table.path, "marks_deg", index)
        need = say("crank degrees past firing TDC 1, 0 and above, less than 720")
        value = check_number(
            table.notebook, path, item, need, 0, CYCLE_DEG, hint=unit_hints.minus_before_hint
        )
        if value is None:
            continue
        if value == CYCLE_DEG:
            table.notebook.fault(path, say("a mark at 720 is the one at 0; write 0"))
            continue
        mark = value % 360
        if mark in marks:
            table.notebook.fault(
                path,
                say(
                    "mark {value} is on the pulley already: a mark at {mark} shows again at {again}; name it "
                    "once",
                    value=plain(value),
                    mark=plain(mark),
                    again=plain(mark + 360),
                ),
            )
            continue
        marks.append(mark)
    return Pulley(diameter, tuple(marks))


def _stack(top: Table) -> tuple[StackPart, ...]:
    return tuple(_stack_part(table) for table in top.tables("stack", key_hints.STACK))


def _stack_part(table: Table) -> StackPart:
    part = table.text("part", say("the part's name"), required=True)
    length = table.number(
        "length_mm", say("its length in mm at 20 C (negative where it runs back)"), -2000, 2000, required=True
    )
    if length == 0:
        table.fault(
            "length_mm",
            say("{where}.length_mm is 0; give the length in mm or leave the part out", where=table.where),
        )
    material = table.text("material", say("a material of the table, like 6061"))
    expansion = table.number(
        "expansion_per_k", say("expansion per K, like 23.6e-6"), 0, 1e-4, hint=unit_hints.expansion_hint
    )
    if material is not None:
        try:
            material = material_named(material).name
        except InputError as error:
            table.fault("material", f"{table.where}: {error}")
    if table.has("material") and table.has("expansion_per_k"):
        table.fault(
            "expansion_per_k",
            say("{where} has a material and an expansion_per_k; give one of them", where=table.where),
        )
    if not table.has("material") and not table.has("expansion_per_k"):
        table.missing("material", say("a material of the table, or expansion_per_k instead"))
    zone = table.text("zone", say("the zone whose temperature it takes, like head"), required=True)
    if zone is not None and not _ZONE.fullmatch(zone):
        table.fault(
            "zone",
            say(
                "{where}.zone is {given}; write it in small letters a-z, figures and _, like head",
                where=table.where,
                given=shown(zone),
            ),
        )
    heights = _part_heights(table)
    return StackPart(part or "", length or 0.0, zone or "", heights, material, expansion)


def _part_heights(table: Table) -> tuple[Height, ...]:
    need = say('the heights it is part of: "pivot", "pushrod", "intake", "exhaust"')
    items = table.list_of("heights", need, required=True)
    if items is None:
        return ()
    if not items:
        table.fault("heights", say("{where}.heights is empty; it needs {need}", where=table.where, need=need))
    heights: list[Height] = []
    for index, item in enumerate(items):
        path = (*table.path, "heights", index)
        if item not in _HEIGHTS:
            table.notebook.fault(
                path,
                say(
                    "{where}.heights holds {kind}; it needs {need}",
                    where=table.where,
                    kind=kind_of(item),
                    need=need,
                ),
            )
        elif item in heights:
            table.notebook.fault(
                path, say("{where}.heights names {item} twice; once is enough", where=table.where, item=item)
            )
        else:
            heights.append(item)
    return tuple(heights)


def _geometry(top: Table) -> Geometry:
    table = top.table("geometry", say("the cylinder's dimensions"), key_hints.GEOMETRY)
    if table is None:
        return Geometry()
    bore = table.number("bore_mm", say("the bore in mm"), 20, 500, hint=unit_hints.length_hint(20))
    stroke = table.number("stroke_mm", say("the stroke in mm"), 20, 600, hint=unit_hints.length_hint(20))
    rod = table.number(
        "rod_mm", say("the rod's length in mm, centre to centre"), 30, 1500, hint=unit_hints.length_hint(30)
    )
    ratio = table.number("compression_ratio", say("volume at BDC / volume at TDC"), 1, 30, above=True)
    if rod is not None and stroke is not None and rod <= stroke / 2:
        table.fault(
            "rod_mm",
            say(
                "rod_mm is {rod}; with a stroke of {stroke} the rod must be longer than {throw}, the "
                "crank's throw",
                rod=plain(rod),
                stroke=plain(stroke),
                throw=plain(stroke / 2),
            ),
        )
    return Geometry(bore, stroke, rod, ratio)


def _lobes(top: Table, read_table: Callable[[str], str] | None) -> dict[Kind, LobeSpec]:
    table = top.table("lobe", say("the lobes of intake and exhaust"), key_hints.KINDS)
    lobes: dict[Kind, LobeSpec] = {}
    for kind, word in KIND_WORD.items() if table else ():
        inner = table.table(word, say("the lobe"), key_hints.LOBE) if table else None
        if inner is not None:
            lobes[kind] = _lobe(inner, read_table)
    return lobes


def _lobe(table: Table, read_table: Callable[[str], str] | None) -> LobeSpec:
    name = table.text("table", say("the name of a CSV file"), longest=200)
    figures = [key for key in key_hints.LOBE[:3] if table.has(key)]
    if table.has("table") and figures:
        table.fault(
            "table",
            say(
                "[{where}] has a table and {figures}; give the table or figures",
                where=table.where,
                figures=figures[0],
            ),
        )
    peak = table.number(
        "peak_lift_mm",
        say("the greatest lift at the valve in mm"),
        0,
        30,
        above=True,
        required=not table.has("table"),
        hint=unit_hints.length_hint(1),
    )
    ramp_mm = table.number("ramp_mm", say("the height of the ramp at the valve in mm"), 0, 3, above=True)
    ramp_deg = table.number("ramp_deg", say("the length of the ramp in cam degrees"), 0, 90, above=True)
    if table.has("ramp_mm") and not table.has("ramp_deg"):
        table.missing("ramp_deg", say("the ramp in cam degrees, as ramp_mm is given"))
    if table.has("ramp_deg") and not table.has("ramp_mm"):
        table.missing("ramp_mm", say("the ramp in mm at the valve, as ramp_deg is given"))
    if peak is not None and ramp_mm is not None and ramp_mm >= peak:
        table.fault(
            "ramp_mm",
            say(
                "{where}.ramp_mm is {value}; it must be less than the lift, {value2}",
                where=table.where,
                value=plain(ramp_mm),
                value2=plain(peak),
            ),
        )
    rows: tuple[tuple[float, float], ...] = ()
    if name is not None:
        rows = _table_rows(table, name, read_table)
    return LobeSpec(peak, ramp_mm, ramp_deg, name, rows)


def _table_rows(
    table: Table, name: str, read_table: Callable[[str], str] | None
) -> tuple[tuple[float, float], ...]:
    if read_table is None:
        table.fault(
            "table",
            say(
                "{where}.table names {given}, but no folder is at hand here; give figures instead",
                where=table.where,
                given=shown(name),
            ),
        )
        return ()
    try:
        text = read_table(name)
    except (ColdlashError, OSError, UnicodeError) as error:
        table.fault(
            "table",
            say(
                "{where}.table: {given} can't be read: {error}",
                where=table.where,
                given=shown(name),
                error=error,
            ),
        )
        return ()
    rows, faults = read_lift_table(text)
    for fault in faults:
        table.fault("table", f"{shown(name)}: {fault}")
    return rows


def _service(top: Table) -> Service:
    table = top.table("service", say("the service intervals"), key_hints.SERVICE)
    if table is None:
        return Service()
    every = table.number("every_km", say("km between two checks"), 0, 1_000_000, above=True)
    months = table.number("every_months", say("months between two checks"), 0, 600, above=True)
    first = table.number("first_km", say("km to the first check after a rebuild"), 0, 1_000_000, above=True)
    meter = table.choice("meter", ("km", "h"))
    per_hour = table.number("km_per_h", say("km that one hour counts for"), 0, 1000, above=True)
    if per_hour is not None and meter != "h" and table.data.get("meter") is not UNREAD:
        table.fault("km_per_h", say('km_per_h counts only with meter = "h"; add that or leave it out'))
    return Service(every, months, first, "h" if meter == "h" else "km", per_hour or Service().km_per_h)
