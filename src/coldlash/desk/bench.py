"""The questions asked at the engine, answered in one shape for pages and terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from coldlash.bench.cautions import cautions_at
from coldlash.bench.cooldown import Cooling, Reading, cooling
from coldlash.bench.marks import describe_position, how_to_find
from coldlash.bench.stops import By, Stop, StopPlan, Turn, plan_stops, stop_room
from coldlash.engine import heat
from coldlash.engine.firing import mate_of
from coldlash.engine.spec import KIND_WORD, Engine, Kind
from coldlash.engine.timing import GapTiming, timing
from coldlash.errors import InputError
from coldlash.language import mark, plural, say, table
from coldlash.units import parse_number

_TURNS = {
    90: mark("a quarter turn"),
    120: mark("a third of a turn"),
    180: mark("one half turn"),
    240: mark("two thirds of a turn"),
    270: mark("three quarters of a turn"),
    360: mark("one full turn"),
    540: mark("one and a half turns"),
    720: mark("two full turns"),
}


def kind_word(kind: str) -> str:
    """ "intake" or "exhaust" in the language of the moment."""
    return say("intake") if kind in ("I", "intake") else say("exhaust")


def say_turn(turn_deg: float) -> str:
    """A turn of the crank in words: "one half turn with the engine's rotation"."""
    size = abs(turn_deg)
    if size < 1e-6:
        return say("no turn")
    known = next((text for deg, text in _TURNS.items() if abs(size - deg) < 0.5), None)
    words = table(known) if known is not None else say("{deg:.0f} degrees", deg=size)
    if turn_deg > 0:
        return say("{turn} with the engine's rotation", turn=words)
    return say("{turn} against the engine's rotation", turn=words)


@dataclass(frozen=True, slots=True)
class StopWords:
    """One stop as it is said at the engine."""

    stop: Stop
    turn: str
    position: str
    mark: str
    find: tuple[str, ...]
    room: str


@dataclass(frozen=True, slots=True)
class PlannedStops:
    """A plan of stops with its words."""

    engine: Engine
    plan: StopPlan

    def words(self) -> tuple[StopWords, ...]:
        """Each stop in words, in order."""
        return tuple(self._stop_words(stop, index) for index, stop in enumerate(self.plan.stops))

    def _stop_words(self, stop: Stop, index: int) -> StopWords:
        position = describe_position(self.engine, stop.crank_deg)
        if stop.mark_deg is None:
            mark = say("no mark known here: find it by the signs below")
        elif stop.mark_deg == 0:
            mark = say("the TDC mark of cylinder 1 meets the pointer")
        else:
            mark = say("the mark {mark_deg:g} degrees past TDC 1 meets the pointer", mark_deg=stop.mark_deg)
        room = (
            stop_room(self.engine, stop)
            if stop.valves and all(v.margin_deg > 0 for v in stop.valves)
            else None
        )
        said = ""
        if room is not None:
            said = say(
                "the crank may stand {before_deg:.0f} degrees before to {after_deg:.0f} after this "
                "and every valve here is still closed",
                before_deg=room.before_deg,
                after_deg=room.after_deg,
            )
        turn = (
            say("turn with the engine's rotation until it is there")
            if index == 0
            else say_turn(stop.turn_deg)
        )
        if index == 0 and self.plan.turn == "against":
            turn = say("turn until it is there, the last bit with the engine's rotation")
        return StopWords(stop, turn, position, mark, how_to_find(self.engine, stop), said)

    def as_json(self) -> dict[str, object]:
        """The contract's object."""
        return {
            "stops": [
                {
                    "crank_deg": stop.crank_deg,
                    "turn_deg": stop.turn_deg,
                    "cylinder": stop.cylinder,
                    "mark_deg": stop.mark_deg,
                    "valves": [{"valve": str(v.valve), "margin_deg": v.margin_deg} for v in stop.valves],
                }
                for stop in self.plan.stops
            ],
            "total_turn_deg": self.plan.total_turn_deg,
            "unreachable": [str(valve) for valve in self.plan.unreachable],
        }

    def lines(self) -> list[str]:
        """The plan as text."""
        plan = self.plan
        count, name = len(plan.stops), self.engine.name
        lines = [_plan_head(name, count, plan.turn)]
        for caution in (
            *cautions_at("turn"),
            *(cautions_at("turn_against") if plan.turn == "against" else ()),
        ):
            lines.append(f"  ! {caution.text}")
        for number, words in enumerate(self.words(), 1):
            lines += ["", say("Stop {number}: {position}", number=number, position=words.position)]
            lines.append(say("  turn    {words}", words=words.turn))
            lines.append(say("  mark    {words}", words=words.mark))
            lines += [say("  sure?   {words}", words=text) for text in words.find]
            valves = ", ".join(
                say("{valve} ({margin_deg:.0f} to spare)", valve=v.valve, margin_deg=v.margin_deg)
                for v in words.stop.valves
            )
            lines.append(say("  check   {words}", words=valves or say("nothing here")))
            if words.room:
                lines.append(say("  room    {words}", words=words.room))
        lines.append("")
        lines.append(
            say(
                "Turning in all: {total_turn_deg:g} degrees, without the way back.",
                total_turn_deg=plan.total_turn_deg,
            )
        )
        if plan.unreachable:
            out_of_reach = ", ".join(str(valve) for valve in plan.unreachable)
            lines.append(
                say(
                    "Out of reach: {out_of_reach}: never {margin_deg:g} degrees clear at these places. "
                    "Add a mark, or check one cylinder at a time.",
                    out_of_reach=out_of_reach,
                    margin_deg=plan.margin_deg,
                )
            )
        return lines


def _plan_head(name: str, count: int, turn: Turn) -> str:
    if turn == "with":
        return plural(
            "{name}: {n} stop, turning with the engine's rotation",
            "{name}: {n} stops, turning with the engine's rotation",
            count,
            name=name,
        )
    return plural(
        "{name}: {n} stop, turning against the engine's rotation",
        "{name}: {n} stops, turning against the engine's rotation",
        count,
        name=name,
    )


def plan_for(
    engine: Engine,
    by: By = "fewest",
    turn: Turn = "with",
    marks: Sequence[float] | None = None,
    margin_deg: float = 30.0,
) -> PlannedStops:
    """Plan the stops. Raises InputError as ``bench.stops.plan_stops`` does."""
    return PlannedStops(engine, plan_stops(engine, by, turn, marks, margin_deg))


def mate_words(engine: Engine, cylinder: int) -> str:
    """Which cylinder's valves rock while this one is at firing TDC; empty when none does."""
    mate = mate_of(engine, cylinder)
    return "" if mate is None else say("both valves of cylinder {mate} rock", mate=mate)


# ------------------------------------------------------------------------------------------------ heat


def parse_zones(text: str) -> dict[str, float]:
    """ "crankcase=90,head=150" to temperatures in Celsius. Raises InputError."""
    zones: dict[str, float] = {}
    for part in filter(None, (piece.strip() for piece in text.split(","))):
        name, equals, value = part.partition("=")
        if not equals or not name.strip():
            raise InputError(
                say(
                    "zones: {part!r} is not ZONE=C; write like crankcase=90,head=150 (decimal point)",
                    part=part,
                )
            )
        if name.strip() in zones:
            raise InputError(say("zones: {strip} stands twice", strip=name.strip()))
        zones[name.strip()] = parse_number(value, f"zone {name.strip()}")
    if not zones:
        raise InputError(say("zones: none given; write like crankcase=90,head=150"))
    return zones


@dataclass(frozen=True, slots=True)
class HeatAnswer:
    """What the gaps do between 20 C everywhere and the zones given: mm per kind, um/K of even heating."""

    change_mm: Mapping[str, float]
    per_k_um: Mapping[str, float]
    hot: Mapping[str, heat.HotGap]
    notes: tuple[str, ...]

    def as_json(self) -> dict[str, object]:
        """The contract's object, with the hot gap and its sd."""
        return {
            "gap_change_mm": dict(self.change_mm),
            "per_k_uniform_um": dict(self.per_k_um),
            "hot_gap_mm": {kind: {"mean": hot.gap_mm, "sd": hot.sd_mm} for kind, hot in self.hot.items()},
            "notes": list(self.notes),
        }

    def lines(self) -> list[str]:
        """The answer as text."""
        lines = []
        for kind, change in self.change_mm.items():
            hot, slope = self.hot[kind], self.per_k_um[kind]
            figures = {
                "kind": kind_word(kind),
                "change": abs(change),
                "cold": hot.cold_mm,
                "gap": hot.gap_mm,
                "sd": hot.sd_mm,
            }
            if change > 0:
                told = say(
                    "{kind}: the gap grows by {change:.3f} mm; set at {cold:.2f} cold it is "
                    "{gap:.2f} ± {sd:.2f} mm at these temperatures (one sd)",
                    **figures,
                )
            else:
                told = say(
                    "{kind}: the gap shrinks by {change:.3f} mm; set at {cold:.2f} cold it is "
                    "{gap:.2f} ± {sd:.2f} mm at these temperatures (one sd)",
                    **figures,
                )
            lines.append(told)
            lines.append(
                say("  warmed evenly, near 20 C: {slope:+.2f} um/K", slope=slope).replace("-", "\u2212")
            )
        return lines


def heat_answer(engine: Engine, zones: Mapping[str, float]) -> HeatAnswer:
    """What warm parts do to the gaps of this engine. Raises InputError as ``engine.heat`` does."""
    change = heat.gap_change(engine, zones)
    slopes = heat.per_k_uniform(engine)
    hot = heat.hot_gap(engine, zones)
    return HeatAnswer(
        {KIND_WORD[kind]: change[kind] for kind in change},
        {KIND_WORD[kind]: slopes[kind] for kind in slopes},
        {KIND_WORD[kind]: hot[kind] for kind in hot},
        heat.notes(engine, zones),
    )


# ------------------------------------------------------------------------------------------------ cooling


def parse_cooling(texts: Sequence[str]) -> list[Reading]:
    """ "0:92" to readings of minute and Celsius. Raises InputError."""
    readings = []
    for text in texts:
        minute, colon, temp = text.partition(":")
        if not colon:
            raise InputError(say("reading {text!r}: write minute and Celsius like 0:92", text=text))
        readings.append(Reading(parse_number(minute, say("minute")), parse_number(temp, say("temperature"))))
    return readings


@dataclass(frozen=True, slots=True)
class CooldownAnswer:
    """How the engine cools and how long to wait from the last reading."""

    cooling: Cooling

    def as_json(self) -> dict[str, object]:
        """The contract's object, with spreads."""
        c = self.cooling
        return {
            "tau_min": c.tau_min,
            "tau_sd_min": c.tau_sd_min,
            "wait_min": c.wait_min,
            "wait_sd_min": c.wait_sd_min,
            "cold_at_c": c.target_c,
            "ready": c.wait_min <= 0,
        }

    def lines(self) -> list[str]:
        """The answer as text."""
        c = self.cooling
        cold = say(
            "Cold enough is {target_c:.1f} C: {target_k:.1f} K above the air.",
            target_c=c.target_c,
            target_k=c.target_k,
        )
        pace = say(
            "It loses 63 % of its excess in {tau_min:.0f} ± {tau_sd_min:.0f} minutes (time constant).",
            tau_min=c.tau_min,
            tau_sd_min=c.tau_sd_min,
        )
        if c.wait_min <= 0:
            return [say("Cold enough now."), cold, pace]
        wait = say(
            "Wait {wait} more from the last reading, give or take {spread}.",
            wait=say_minutes(c.wait_min),
            spread=say_minutes(c.wait_sd_min),
        )
        return [wait, cold, pace, say("Measure its temperature once more before the first valve.")]


def say_minutes(minutes: float) -> str:
    """Minutes as "2 h 40" or "35 min"."""
    whole = round(minutes)
    return f"{whole // 60} h {whole % 60:02d}" if whole >= 60 else f"{whole} min"


def cooldown_answer(
    air_c: float,
    readings: Sequence[Reading],
    within_k: float | None = None,
    engine: Engine | None = None,
    size_mm: float = 0.01,
) -> CooldownAnswer:
    """How long to wait. Raises InputError for readings that can't be a cooling engine's."""
    return CooldownAnswer(cooling(air_c, readings, within_k=within_k, engine=engine, size_mm=size_mm))


# ------------------------------------------------------------------------------------------------ timing


@dataclass(frozen=True, slots=True)
class TimingAnswer:
    """What one gap does to both kinds of valve; a single gap, so every array holds one number."""

    gap_mm: float
    rpm: float
    kinds: Mapping[str, GapTiming]

    def as_json(self) -> dict[str, object]:
        """The contract's object."""
        answer: dict[str, object] = {"gap_mm": self.gap_mm, "rpm": self.rpm}
        for kind, t in self.kinds.items():
            answer[kind] = {
                "opens_deg": float(t.opens_deg),
                "closes_deg": float(t.closes_deg),
                "duration_deg": float(t.duration_deg),
                "lost_deg": float(t.lost_deg),
                "seating_mm_per_s": float(t.seating_mm_per_s),
                "seating_energy_ratio": float(t.seating_energy_ratio),
                "deg_per_hundredth_mm": float(t.deg_per_hundredth_mm),
                "leaves_ramp_mm": t.leaves_ramp_mm,
                "off_ramp": bool(t.off_ramp),
                "held_open": bool(t.held_open),
            }
        return answer

    def lines(self) -> list[str]:
        """The answer as text."""
        lines = []
        for kind, t in self.kinds.items():
            if bool(t.held_open):
                lines.append(
                    say("{kind}: held open all the way round: it never seats, leaks and burns", kind=kind)
                )
                continue
            if bool(t.never_opens):
                lines.append(say("{kind}: the gap is as large as the lift; it never opens", kind=kind))
                continue
            lines.append(
                say(
                    "{kind}: opens {float:.1f}, closes {float2:.1f} degrees past its own firing TDC; "
                    "open for {float3:.1f} degrees ({float4:+.1f} lost against the set gap of "
                    "{set_gap_mm:.2f} mm)",
                    kind=kind,
                    float=float(t.opens_deg),
                    float2=float(t.closes_deg),
                    float3=float(t.duration_deg),
                    float4=float(t.lost_deg),
                    set_gap_mm=t.set_gap_mm,
                ).replace("-", "\u2212")
            )
            lines.append(
                say(
                    "  lands at {float:.0f} mm/s at {rpm:.0f} rpm, {float2:.2f} times the energy of the "
                    "set gap",
                    float=float(t.seating_mm_per_s),
                    rpm=self.rpm,
                    float2=float(t.seating_energy_ratio),
                )
            )
            if bool(t.off_ramp):
                lines.append(
                    say(
                        "  the gap is beyond the ramp ({leaves_ramp_mm:.2f} mm): it lands hard and is heard",
                        leaves_ramp_mm=t.leaves_ramp_mm,
                    )
                )
        return lines


def timing_answer(engine: Engine, gap_mm: float, rpm: float) -> TimingAnswer:
    """What this gap does to the timing of intake and exhaust. Raises InputError without a lobe."""
    kinds: tuple[Kind, Kind] = ("I", "E")
    return TimingAnswer(gap_mm, rpm, {KIND_WORD[kind]: timing(engine, gap_mm, kind, rpm) for kind in kinds})
