"""Hot and cold: what warmth does to the gaps of one engine, and its own coefficient from two temperatures.

The desk's use case behind the page of that name. Gaps mm, temperatures Celsius inside; typed and shown in the
owner's units.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from coldlash.bench.blades import BladeSet, parse_reading
from coldlash.bench.cooldown import WHY as COOLING_WHY
from coldlash.bench.cooldown import allowed_excess_k
from coldlash.desk.bench import kind_word
from coldlash.desk.figures import Figure, told
from coldlash.desk.shown import Shown
from coldlash.engine import calibrate, heat
from coldlash.engine.materials import REFERENCE_C
from coldlash.engine.spec import KIND_WORD, Engine, Kind, Valve
from coldlash.engine.zones import half_cooled, typical_hot, zone_words
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.paper.charts_shares import ShareRow, shares_chart
from coldlash.paper.svg import Drawing
from coldlash.paper.words import NO_BREAK, Words
from coldlash.units import parse_number

KINDS: tuple[Kind, Kind] = ("I", "E")
HEADS = ("intake", "exhaust")
GARAGE_K = 20.0
"""How much warmer a garage in summer may be than in winter, for the example that is told."""


@dataclass(frozen=True, slots=True)
class ZoneField:
    """One zone of the engine: its key, its words, the temperature to show in the form."""

    key: str
    words: str
    typed: str


@dataclass(frozen=True, slots=True)
class EvenWarmth:
    """What a warm garage does, and what half cooling does, in sentences and figures (intake, exhaust)."""

    sentences: tuple[str, ...]
    figures: tuple[Figure, ...]


@dataclass(frozen=True, slots=True)
class Hot:
    """The gaps at the zones' temperatures: sentences, figures (intake, exhaust), what each zone adds by kind."""

    sentences: tuple[str, ...]
    figures: tuple[Figure, ...]
    shares: tuple[Drawing, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OwnFigure:
    """What two temperatures said: sentences and figures (intake, exhaust)."""

    sentences: tuple[str, ...]
    figures: tuple[Figure, ...]


def zone_fields(engine: Engine, typed: Mapping[str, str], shown: Shown) -> tuple[ZoneField, ...]:
    """The zones of the engine in the file's order, as typed, else at a typical temperature, else empty."""
    usual = typical_hot(engine)
    return tuple(
        ZoneField(
            zone,
            zone_words(zone),
            typed.get(f"zone-{zone}", shown.typed_celsius(usual[zone]) if zone in usual else ""),
        )
        for zone in heat.zones_of(engine)
    )


def zones_from(fields: tuple[ZoneField, ...], shown: Shown) -> dict[str, float]:
    """The temperatures of all zones, Celsius. Raises InputError naming every zone without a number."""
    faults, zones = [], {}
    for field in fields:
        try:
            zones[field.key] = shown.to_celsius(parse_number(field.typed, field.words))
        except InputError as error:
            faults.append(str(error))
    if faults:
        raise InputError("; ".join(faults))
    return zones


def even_warmth(engine: Engine, shown: Shown) -> EvenWarmth:
    """A warm garage, and the trap of a half-cooled engine. Raises InputError for an engine without stacks."""
    words = shown.words(engine.service)
    slopes = heat.per_k_uniform(engine)
    spread = heat.temperature_coefficient(engine) or {}
    why = heat.WHY["per_k_uniform"]
    step = 1.8 if shown.temperature == "F" else 1.0
    per = {kind: slopes[kind] / step for kind in KINDS}
    unit = f"{NO_BREAK}µm/{shown.kelvin_unit}"
    garage = tuple(_change(slopes[kind] * GARAGE_K / 1000, words, 3) for kind in KINDS)
    figures = [
        Figure(
            say("One {kelvin_unit} warmer", kelvin_unit=shown.kelvin_unit),
            tuple(_spread(per[kind], spread[kind].sd * 1000 / step, (2, 1), words) + unit for kind in KINDS),
            why,
            say("The whole engine evenly warm; a µm is a thousandth of a millimetre."),
        ),
        Figure(
            say("{kelvin} warmer", kelvin=shown.kelvin(GARAGE_K)),
            garage,
            why,
            say("Winter to summer in a garage."),
        ),
    ]
    said = [_garage_words(slopes, words)]
    air = REFERENCE_C
    trap = half_cooled(engine, air)
    if trap is not None:
        change = heat.gap_change(engine, trap)
        figures.append(
            Figure(
                say("Half cooled"),
                tuple(_change(change[kind], words, 2) for kind in KINDS),
                heat.WHY["gap_change"],
                say(
                    "Head and cylinder {kelvin} above the air, pushrods and crankcase {kelvin2}.",
                    kelvin=shown.kelvin(45),
                    kelvin2=shown.kelvin(25),
                ),
            )
        )
        said.append(_trap_words(change, words))
    limit = allowed_excess_k(engine)
    figures.append(
        Figure(
            say("Cold enough"),
            (say("{kelvin} above the air", kelvin=shown.kelvin(limit)),) * 2
            if limit < 1000
            else (say("at any warmth"),) * 2,
            COOLING_WHY["target_k"],
            say("The gap is then certain to 0.01 mm (.0004 in)."),
        )
    )
    return EvenWarmth(tuple(said), tuple(figures))


def _garage_words(slopes: Mapping[Kind, float], words: Words) -> str:
    most = max(abs(value) for value in slopes.values())
    if most * GARAGE_K < 10:
        return say("Evenly warm, as after a night’s rest, this engine’s gaps hardly depend on the garage.")
    about = words.with_unit(words.about(most * GARAGE_K / 1000))
    if sum(slopes.values()) > 0:
        return say(
            "A warm garage makes this engine’s gaps grow: from winter to summer by about {about}. That "
            "is no wear; coldlash takes it into account when it compares visits.",
            about=about,
        )
    return say(
        "A warm garage makes this engine’s gaps shrink: from winter to summer by about {about}. That "
        "is no wear; coldlash takes it into account when it compares visits.",
        about=about,
    )


def _trap_words(change: Mapping[Kind, float], words: Words) -> str:
    kind = max(KINDS, key=lambda each: abs(change[each]))
    if abs(change[kind]) < 0.01:
        return say("Half cooled, this engine’s gaps read nearly the same; measure it cold all the same.")
    gap = words.with_unit(words.about(abs(change[kind])))
    if change[kind] > 0:
        return say(
            "Half cooled is the trap: it cools unevenly, and the {kind} gap then reads about {gap} more "
            "than cold.",
            kind=kind_word(kind),
            gap=gap,
        )
    return say(
        "Half cooled is the trap: it cools unevenly, and the {kind} gap then reads about {gap} less than "
        "cold.",
        kind=kind_word(kind),
        gap=gap,
    )


def _spread(value: float, sd: float, places: tuple[int, int], words: Words) -> str:
    """ "+0.15 ± 0.4", with blanks that don't break."""
    return f"{words.number(value, places[0], sign=True)}{NO_BREAK}±{NO_BREAK}{words.number(sd, places[1])}"


def _change(mm: float, words: Words, places: int) -> str:
    if words.gap_unit == "in":
        return told(words.gap_value(mm), places + 2, " in", words, sign=True)
    return told(mm, places, " mm", words, sign=True)


def hot(engine: Engine, zones: Mapping[str, float], shown: Shown) -> Hot:
    """The gaps with the zones at these temperatures (Celsius). Raises InputError as ``engine.heat`` does."""
    words = shown.words(engine.service)
    gaps = heat.hot_gap(engine, zones)
    cold = heat.even(engine, REFERENCE_C)
    shares = []
    for kind in KINDS:
        rows = [
            ShareRow(
                f"{zone_words(zone)}, {shown.celsius(temp)}",
                heat.gap_change(engine, {**cold, zone: temp})[kind],
            )
            for zone, temp in zones.items()
        ]
        rows = [row for row in rows if abs(row.mm) > 5e-7]
        if rows:
            shares.append(
                shares_chart(
                    say("What each zone does to the {kind_word} gap", kind_word=KIND_WORD[kind]),
                    rows,
                    total=say("all together"),
                    sd_mm=gaps[kind].sd_mm,
                    words=words,
                )
            )
    why = heat.WHY
    figures = (
        Figure(say("Set cold"), tuple(words.gap_and_unit(gaps[kind].cold_mm) for kind in KINDS)),
        Figure(
            say("Warmth adds"),
            tuple(_change(gaps[kind].change_mm, words, 2) for kind in KINDS),
            why["gap_change"],
            say("From 20 °C (68 °F) everywhere to these temperatures."),
        ),
        Figure(
            say("Warm gap"),
            tuple(
                f"{words.about(gaps[kind].gap_mm)}{NO_BREAK}±{NO_BREAK}{words.with_unit(words.about(gaps[kind].sd_mm))}"
                for kind in KINDS
            ),
            why["hot_gap"],
            say("With one sd either way: two times in three it lies within."),
        ),
    )
    return Hot(
        tuple(_hot_words(kind, gaps[kind], words) for kind in KINDS),
        figures,
        tuple(shares),
        heat.notes(engine, zones),
    )


def _hot_words(kind: Kind, gap: heat.HotGap, words: Words) -> str:
    name = kind_word(kind).capitalize()
    if abs(gap.change_mm) < 0.005:
        return say("{name}: the gap stays about as it was set.", name=name)
    low, high = gap.gap_mm - gap.sd_mm, gap.gap_mm + gap.sd_mm
    to = words.with_unit(words.about(gap.gap_mm))
    if gap.change_mm > 0:
        line = say("{name}: the gap grows to about {gap}", name=name, gap=to)
    else:
        line = say("{name}: the gap shrinks to about {gap}", name=name, gap=to)
    if low < 0 < high:
        return say("{line}. It may close: the spread of the estimate reaches below nothing.", line=line)
    if high <= 0:
        return say(
            "{line}: by these figures the valve would be held open. Check the engine file before "
            "you believe it.",
            line=line,
        )
    return say(
        "{line}, probably between {low} and {high}.",
        line=line,
        low=words.about(low),
        high=words.with_unit(words.about(high)),
    )


# ------------------------------------------------------------------------------------------ the engine's own


def _readings(
    engine: Engine, values: Mapping[str, str], which: str, blades: BladeSet, faults: list[str]
) -> dict[Valve, tuple[float, float]]:
    """Every valve's reading in the fields ``VALVE-which``, mm; faults are added to the list."""
    gaps: dict[Valve, tuple[float, float]] = {}
    for valve in engine.valves:
        text = values.get(f"{valve}-{which}", "").strip()
        if not text:
            continue
        try:
            bounds = parse_reading(text, blades).bounds_mm()
        except InputError as error:
            faults.append(f"{valve} {which}: {error}")
            continue
        if bounds is not None:
            gaps[valve] = bounds
    return gaps


def _temperature(values: Mapping[str, str], key: str, what: str, shown: Shown, faults: list[str]) -> float:
    try:
        return shown.to_celsius(parse_number(values.get(key, ""), what))
    except InputError as error:
        faults.append(str(error))
        return REFERENCE_C


def own_even(engine: Engine, values: Mapping[str, str], blades: BladeSet, shown: Shown) -> OwnFigure:
    """The engine's own coefficient from two even temperatures: fields ``cold-temp``, ``warm-temp``, ``I1-cold``,
    ``I1-warm``, ... in the shorthand of the bench. Raises InputError naming every fault.
    """
    faults: list[str] = []
    visits = [
        calibrate.GapsAt(
            _temperature(
                values, f"{which}-temp", say("temperature of the {which} day", which=which), shown, faults
            ),
            _readings(engine, values, which, blades, faults),
        )
        for which in ("cold", "warm")
    ]
    if faults:
        raise InputError("; ".join(faults))
    found = calibrate.calibrate(engine, visits)
    words = shown.words(engine.service)
    why = calibrate.WHY["coefficient"]
    step = 1.8 if shown.temperature == "F" else 1.0
    unit = f"{NO_BREAK}µm/{shown.kelvin_unit}"

    def cells(of: Mapping[Kind, heat.Estimate]) -> tuple[str, ...]:
        return tuple(
            _spread(of[kind].value * 1000 / step, of[kind].sd * 1000 / step, (1, 1), words) + unit
            for kind in KINDS
        )

    figures = [Figure(say("As measured"), cells(found.coefficient), why)]
    if found.model is not None:
        figures.append(
            Figure(say("As the file’s stack has it"), cells(found.model), heat.WHY["per_k_uniform"])
        )
    return OwnFigure(found.words[len(KINDS) :], tuple(figures))


def own_hot(engine: Engine, values: Mapping[str, str], blades: BladeSet, shown: Shown) -> OwnFigure:
    """The measured change from cold to hot against the model's: fields ``zone-...``, ``cold-temp``, ``I1-cold``,
    ``I1-hot``, ... Raises InputError naming every fault.
    """
    faults: list[str] = []
    cold = calibrate.GapsAt(
        _temperature(values, "cold-temp", say("temperature of the cold engine"), shown, faults),
        _readings(engine, values, "cold", blades, faults),
    )
    hot_gaps = _readings(engine, values, "hot", blades, faults)
    zones = {}
    try:
        zones = zones_from(zone_fields(engine, values, shown), shown)
    except InputError as error:
        faults.append(str(error))
    if faults:
        raise InputError("; ".join(faults))
    checks = calibrate.compare_hot(engine, zones, cold, hot_gaps)
    words = shown.words(engine.service)

    def cells(pick: str) -> tuple[str, ...]:
        found = []
        for kind in KINDS:
            if kind not in checks:
                found.append(say("not measured"))
                continue
            estimate = checks[kind].measured if pick == "measured" else checks[kind].predicted
            sd = words.with_unit(words.about(estimate.sd))
            found.append(f"{words.about(estimate.value, sign=True)}{NO_BREAK}±{NO_BREAK}{sd}")
        return tuple(found)

    figures = (
        Figure(say("Measured change"), cells("measured"), calibrate.WHY["hot_check"]),
        Figure(say("As the file’s stack has it"), cells("predicted"), heat.WHY["hot_gap"]),
    )
    return OwnFigure(tuple(_check_words(kind, check) for kind, check in checks.items()), figures)


def _check_words(kind: Kind, check: calibrate.HotCheck) -> str:
    name, off = kind_word(kind).capitalize(), abs(check.off_by_sds)
    if off < 1.5:
        return say("{name}: measured and worked out agree within what both can know.", name=name)
    if off < 3:
        return say(
            "{name}: measured and worked out are {off:.1f} sds apart; measure again before you "
            "change the file.",
            name=name,
            off=off,
        )
    return say(
        "{name}: measured and worked out are {off:.1f} sds apart; check the stack’s lengths and "
        "materials, and the temperatures.",
        name=name,
        off=off,
    )
