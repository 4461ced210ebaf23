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
from coldlash.units import parse_number

_TURNS = {90: "a quarter turn", 120: "a third of a turn", 180: "one half turn", 240: "two thirds of a turn"}
_TURNS |= {
    270: "three quarters of a turn",
    360: "one full turn",
    540: "one and a half turns",
    720: "two full turns",
}


def say_turn(turn_deg: float) -> str:
    """A turn of the crank in words: "one half turn with the engine's rotation"."""
    size = abs(turn_deg)
    if size < 1e-6:
        return "no turn"
    way = "with" if turn_deg > 0 else "against"
    words = next((text for deg, text in _TURNS.items() if abs(size - deg) < 0.5), f"{size:.0f} degrees")
    return f"{words} {way} the engine's rotation"


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
            mark = "no mark known here: find it by the signs below"
        elif stop.mark_deg == 0:
            mark = "the TDC mark of cylinder 1 meets the pointer"
        else:
            mark = f"the mark {stop.mark_deg:g} degrees past TDC 1 meets the pointer"
        room = (
            stop_room(self.engine, stop)
            if stop.valves and all(v.margin_deg > 0 for v in stop.valves)
            else None
        )
        said = ""
        if room is not None:
            said = (
                f"the crank may stand {room.before_deg:.0f} degrees before to {room.after_deg:.0f} after this "
                "and every valve here is still closed"
            )
        turn = "turn with the engine's rotation until it is there" if index == 0 else say_turn(stop.turn_deg)
        if index == 0 and self.plan.turn == "against":
            turn = "turn until it is there, the last bit with the engine's rotation"
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
        way = "with" if plan.turn == "with" else "against"
        count = len(plan.stops)
        lines = [
            f"{self.engine.name}: {count} stop{'s' if count != 1 else ''}, turning {way} the engine's rotation"
        ]
        for caution in (
            *cautions_at("turn"),
            *(cautions_at("turn_against") if plan.turn == "against" else ()),
        ):
            lines.append(f"  ! {caution.text}")
        for number, words in enumerate(self.words(), 1):
            lines += ["", f"Stop {number}: {words.position}"]
            lines.append(f"  turn    {words.turn}")
            lines.append(f"  mark    {words.mark}")
            lines += [f"  sure?   {text}" for text in words.find]
            valves = ", ".join(f"{v.valve} ({v.margin_deg:.0f} to spare)" for v in words.stop.valves)
            lines.append(f"  check   {valves or 'nothing here'}")
            if words.room:
                lines.append(f"  room    {words.room}")
        lines.append("")
        lines.append(f"Turning in all: {plan.total_turn_deg:g} degrees, without the way back.")
        if plan.unreachable:
            out_of_reach = ", ".join(str(valve) for valve in plan.unreachable)
            lines.append(
                f"Out of reach: {out_of_reach}: never {plan.margin_deg:g} degrees clear at these places. "
                "Add a mark, or check one cylinder at a time."
            )
        return lines


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
    return "" if mate is None else f"both valves of cylinder {mate} rock"


# ------------------------------------------------------------------------------------------------ heat


def parse_zones(text: str) -> dict[str, float]:
    """ "crankcase=90,head=150" to temperatures in Celsius. Raises InputError."""
    zones: dict[str, float] = {}
    for part in filter(None, (piece.strip() for piece in text.split(","))):
        name, equals, value = part.partition("=")
        if not equals or not name.strip():
            raise InputError(
                f"zones: {part!r} is not ZONE=C; write like crankcase=90,head=150 (decimal point)"
            )
        if name.strip() in zones:
            raise InputError(f"zones: {name.strip()} stands twice")
        zones[name.strip()] = parse_number(value, f"zone {name.strip()}")
    if not zones:
        raise InputError("zones: none given; write like crankcase=90,head=150")
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
            verb = "grows" if change > 0 else "shrinks"
            lines.append(
                f"{kind}: the gap {verb} by {abs(change):.3f} mm; set at {hot.cold_mm:.2f} cold it is "
                f"{hot.gap_mm:.2f} \u00b1 {hot.sd_mm:.2f} mm at these temperatures (one sd)"
            )
            lines.append(f"  warmed evenly, near 20 C: {slope:+.2f} um/K".replace("-", "\u2212"))
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
            raise InputError(f"reading {text!r}: write minute and Celsius like 0:92")
        readings.append(Reading(parse_number(minute, "minute"), parse_number(temp, "temperature")))
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
        cold = f"Cold enough is {c.target_c:.1f} C: {c.target_k:.1f} K above the air."
        pace = f"It loses 63 % of its excess in {c.tau_min:.0f} \u00b1 {c.tau_sd_min:.0f} minutes (time constant)."
        if c.wait_min <= 0:
            return ["Cold enough now.", cold, pace]
        wait = f"Wait {say_minutes(c.wait_min)} more from the last reading, give or take {say_minutes(c.wait_sd_min)}."
        return [wait, cold, pace, "Measure its temperature once more before the first valve."]


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
                lines.append(f"{kind}: held open all the way round: it never seats, leaks and burns")
                continue
            if bool(t.never_opens):
                lines.append(f"{kind}: the gap is as large as the lift; it never opens")
                continue
            lines.append(
                f"{kind}: opens {float(t.opens_deg):.1f}, closes {float(t.closes_deg):.1f} degrees past its own firing "
                f"TDC; open for {float(t.duration_deg):.1f} degrees ({float(t.lost_deg):+.1f} lost against the set gap "
                f"of {t.set_gap_mm:.2f} mm)".replace("-", "\u2212")
            )
            lines.append(
                f"  lands at {float(t.seating_mm_per_s):.0f} mm/s at {self.rpm:.0f} rpm, "
                f"{float(t.seating_energy_ratio):.2f} times the energy of the set gap"
            )
            if bool(t.off_ramp):
                lines.append(
                    f"  the gap is beyond the ramp ({t.leaves_ramp_mm:.2f} mm): it lands hard and is heard"
                )
        return lines


def timing_answer(engine: Engine, gap_mm: float, rpm: float) -> TimingAnswer:
    """What this gap does to the timing of intake and exhaust. Raises InputError without a lobe."""
    kinds: tuple[Kind, Kind] = ("I", "E")
    return TimingAnswer(gap_mm, rpm, {KIND_WORD[kind]: timing(engine, gap_mm, kind, rpm) for kind in kinds})
