"""When each cylinder fires and each valve is open, in crank degrees from firing TDC of cylinder 1 (0..720).

Cylinder c has its firing TDC at a(c). Its exhaust valve is open from a+180-EVO to a+360+EVC, its intake from
a+360-IVO to a+540+IVC: events in crank degrees BBDC/ATDC/BTDC/ABDC at the seat, ramps included (four-stroke
cycle, textbook definition).
"""

from __future__ import annotations

from dataclasses import dataclass

from coldlash.engine.spec import Engine, Valve

CYCLE_DEG = 720.0
UNKNOWN_RAMP_DEG = 30.0
"""Crank degrees a side by which windows widen when events are stated at a lift and no lobe is given."""


def firing_angles(engine: Engine) -> dict[int, float]:
    """Cylinder to its firing TDC in crank degrees, cylinder 1 at 0."""
    angles: dict[int, float] = {}
    at = 0.0
    for cylinder, gap in zip(engine.firing_order, engine.firing_gaps_deg, strict=True):
        angles[cylinder] = at
        at += gap
    return angles


def mate_of(engine: Engine, cylinder: int) -> int | None:
    """The cylinder one crank turn away in the firing order: at this one's firing TDC the mate's valves rock.

    None where no cylinder fires exactly one turn away (singles, most uneven engines).
    """
    angles = firing_angles(engine)
    wanted = (angles[cylinder] + 360.0) % CYCLE_DEG
    return next((c for c, a in angles.items() if c != cylinder and abs(a - wanted) < 1e-6), None)


@dataclass(frozen=True, slots=True)
class OpenSpan:
    """One valve's open span: from ``opens`` (0..720) for ``length`` crank degrees."""

    valve: Valve
    opens: float
    length: float

    def margin(self, crank_deg: float) -> float:
        """Crank degrees from ``crank_deg`` to the nearest edge: positive closed, negative open."""
        since_opening = (crank_deg - self.opens) % CYCLE_DEG
        if since_opening < self.length:
            return -min(since_opening, self.length - since_opening)
        return min(since_opening - self.length, CYCLE_DEG - since_opening)


def open_spans(engine: Engine) -> dict[Valve, OpenSpan]:
    """Every valve's open span. Events stated at a lift are widened to the base circle: by the ramp where a
    lobe states one (cam degrees x 2), else by ``UNKNOWN_RAMP_DEG`` a side.
    """
    events = engine.events
    spans: dict[Valve, OpenSpan] = {}
    for cylinder, a in firing_angles(engine).items():
        for kind, opens, closes in (
            ("E", a + 180.0 - events.exhaust_opens_bbdc, a + 360.0 + events.exhaust_closes_atdc),
            ("I", a + 360.0 - events.intake_opens_btdc, a + 540.0 + events.intake_closes_abdc),
        ):
            valve = Valve("E" if kind == "E" else "I", cylinder)
            widen = _widening_deg(engine, valve)
            start, end = opens - widen, closes + widen
            spans[valve] = OpenSpan(valve, start % CYCLE_DEG, end - start)
    return dict(sorted(spans.items()))


def _widening_deg(engine: Engine, valve: Valve) -> float:
    if engine.events.checking_lift_mm <= 0:
        return 0.0
    lobe = engine.lobes.get(valve.kind)
    if lobe is None or lobe.ramp_deg is None:
        return UNKNOWN_RAMP_DEG
    return 2.0 * lobe.ramp_deg
