"""One cylinder, filled and emptied through its valves degree by degree: the cycle model.

One zone of ideal gas (cp changing with temperature; fresh air and burnt gas mixed), a port of constant pressure on
either side in which returning gas mixes, isentropic nozzle flow through the valves' flow areas (choked or not), a
leak past the rings, heat from burning, heat to the walls only when asked. First law for an open volume (Heywood
1988 ch. 14, from memory):

    m cv dT = dQ - p dV + sum dm_in h_in - sum dm_out h - u dm - m (u_b - u_f) dy

Integrated over crank angle by the classical fourth-order Runge-Kutta rule on steps fixed in advance: one degree,
half of that while anything flows, shorter where the gas evens out faster, with nodes on every valve event.
Within two parts in a thousand of pressure equality the nozzle's root is rounded off (``EVEN``), or no step would be
short enough.

Left out: waves and inertia in the pipes (so no ram and no tuning), fuel vapour, dissociation, blow-by returning.
Use it to compare gaps on one engine, not to promise power.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from coldlash.engine.gas import HIGHEST_K, LOWEST_K, STEP_K, Gas, air, burnt_petrol
from coldlash.engine.lobe import LiftCurve
from coldlash.engine.slider_crank import Cylinder
from coldlash.engine.valve_flow import ValveSize, flow_area_mm2
from coldlash.errors import ConvergenceError, InputError
from coldlash.language import say

Array = NDArray[np.float64]

START_DEG, END_DEG = 360.0, 1080.0
"""A cycle runs from overlap TDC to overlap TDC, in crank degrees past own firing TDC (which is 720 here)."""

EVEN = 2e-3
"""Relative pressure difference below which the nozzle's square root is rounded off."""

STEP_DEG = 1.0
_STABLE = 2.0
"""Longest step times the rate at which pressure evens out; the Runge-Kutta rule stays stable to 2.78."""

AMBIENT_KPA = 101.325
MOST_CYCLES = 60


@dataclass(frozen=True, slots=True)
class Opening:
    """One valve as it breathes: its rise curve, the gap it has, its size."""

    curve: LiftCurve
    gap_mm: float
    size: ValveSize

    def effective_area_mm2(self, deg: Array) -> Array:
        """Discharge coefficient times flow area, mm2, at crank degrees past own firing TDC."""
        return np.asarray(self.size.discharge * flow_area_mm2(self.curve.lift(deg, self.gap_mm), self.size))

    def closes_deg(self) -> float:
        """Where it closes, unwrapped; where the lobe's ramp ends when it is held open."""
        return float(self.curve.crossings(min(max(self.gap_mm, 0.0), self.curve.peak_mm))[1])

    def corners_deg(self) -> list[float]:
        """Crank degrees where its area starts, ends or bends."""
        heights = [max(self.gap_mm, 0.0), self.curve.ramp_mm, self.curve.peak_mm]
        return [float(side) for h in heights if h <= self.curve.peak_mm for side in self.curve.crossings(h)]


@dataclass(frozen=True, slots=True)
class Conditions:
    """What the cylinder lives in. Pressures absolute, kPa; temperatures Celsius.

    ``fired`` False = turned over without burning (cranking). ``leak_mm2``: effective area of the leak to the
    crankcase (at ``crankcase_kpa``). ``heat_mj_per_kg``: heat set free per kg of fresh air (stoichiometric petrol
    with perfect burning 3.0, from memory; less what engines don't burn). Burning runs from ``burn_start_deg``
    (past firing TDC) for ``burn_deg``. ``wall_c`` None = no heat loss; else Hohenberg's coefficient (1979, from
    memory) to walls of this temperature. Ports hold ``port_share`` of the swept volume on either side.
    """

    rpm: float
    fired: bool = True
    intake_kpa: float = AMBIENT_KPA
    intake_c: float = 20.0
    exhaust_kpa: float = AMBIENT_KPA
    leak_mm2: float = 0.0
    crankcase_kpa: float = AMBIENT_KPA
    heat_mj_per_kg: float = 2.5
    burn_start_deg: float = -15.0
    burn_deg: float = 55.0
    wall_c: float | None = None
    port_share: float = 0.3

    def __post_init__(self) -> None:
        if not 20 <= self.rpm <= 20000:
            raise InputError(
                say("{rpm:g} rpm is no crank speed for this model; give 20 to 20000", rpm=self.rpm)
            )
        if not min(self.intake_kpa, self.exhaust_kpa, self.crankcase_kpa) > 0:
            raise InputError(
                say("a pressure is not above 0; give absolute kilopascals (sea level about 101)")
            )
        if not -60 <= self.intake_c <= 200:
            raise InputError(
                say(
                    "intake air of {intake_c:g} C can't be; give degrees Celsius, -60 to 200",
                    intake_c=self.intake_c,
                )
            )
        if self.leak_mm2 < 0 or self.heat_mj_per_kg < 0 or not self.port_share > 0:
            raise InputError(say("leak area and heat must be 0 or more, the ports' share above 0"))
        if not (
            self.burn_start_deg >= -120 and self.burn_deg >= 1 and self.burn_start_deg + self.burn_deg <= 120
        ):
            raise InputError(
                say(
                    "burning from {burn_start_deg:g} for {burn_deg:g} degrees leaves the closed part of the "
                    "cycle; keep it within 120 degrees of firing TDC and at least 1 degree long",
                    burn_start_deg=self.burn_start_deg,
                    burn_deg=self.burn_deg,
                )
            )


@dataclass(frozen=True, slots=True)
class Cycle:
    """One converged cycle.

    Series over ``deg`` (n,), crank degrees past own firing TDC from 360 (overlap) to 1080: ``pressure_kpa``
    absolute, ``temperature_k``, ``mass_mg``, ``old_share`` (0..1, gas that was in the cylinder at the last firing
    TDC or has burnt).

    ``volumetric_efficiency``: fresh air taken in less what went back, over the swept volume at intake conditions.
    ``trapped_mg``, ``fresh_mg``: all gas and fresh gas when the intake closes (at ``trapped_deg``).
    ``residual_fraction``: the old gas's share of it. ``kept``: mass at firing TDC over ``trapped_mg``.
    ``peak_kpa`` absolute. ``imep_kpa``: net work over swept volume, pumping included.
    ``mass_error``, ``energy_error``: what doesn't add up in the last cycle, relative to trapped mass and to the
    largest energy in the balance.
    """

    deg: Array
    pressure_kpa: Array
    temperature_k: Array
    mass_mg: Array
    old_share: Array
    volumetric_efficiency: float
    trapped_deg: float
    trapped_mg: float
    fresh_mg: float
    residual_fraction: float
    kept: float
    peak_kpa: float
    imep_kpa: float
    mass_error: float
    energy_error: float
    cycles: int
    inputs: dict[str, float | str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class _Track:
    """Everything that depends on crank angle only, at nodes and mid-steps, as plain lists for the loop."""

    deg: list[float]
    width: list[float]
    volume: list[float]
    slope: list[float]
    intake: list[float]
    exhaust: list[float]
    burn: list[float]


State = tuple[float, float, float, float, float, float, float]
"""mass kg, temperature K, old share, intake port K and old share, exhaust port K and old share."""

Rates = tuple[float, ...]


def run_cycle(
    cylinder: Cylinder,
    intake: Opening,
    exhaust: Opening,
    conditions: Conditions,
    tolerance: float = 1e-4,
    fresh: Gas | None = None,
    burnt: Gas | None = None,
    step_deg: float = STEP_DEG,
    even: float = EVEN,
) -> Cycle:
    """Run cycles until one repeats the last within ``tolerance`` (relative) and return it.

    ``fresh``, ``burnt``: gases, default air and burnt petrol mixture (air alone when not fired). ``step_deg``:
    longest step; ``even``: see ``EVEN``. Raises InputError for figures that can't be and ConvergenceError when
    the cycle doesn't settle in 60 turns of it or leaves the gas tables.
    """
    fresh = fresh or air()
    burnt = burnt or (burnt_petrol() if conditions.fired else fresh)
    trapped_deg = START_DEG + (intake.closes_deg() - START_DEG) % 720.0
    track = _lay_track(cylinder, intake, exhaust, conditions, trapped_deg, step_deg, even)
    rates = _make_rates(cylinder, conditions, fresh, burnt, even)
    start = _first_guess(cylinder, conditions, fresh)
    for count in range(1, MOST_CYCLES + 1):
        nodes, sums = _turn(track, rates, start, conditions)
        end = nodes[-1]
        change = max(abs(a - b) / max(abs(b), 0.1) for a, b in zip(start[1:], end[1:], strict=True))
        change = max(change, abs(start[0] - end[0]) / end[0])
        if change < tolerance:
            return _report(
                cylinder, conditions, fresh, burnt, track, nodes, sums, trapped_deg, count, intake, exhaust
            )
        start = end
    raise ConvergenceError(
        say(
            "the cycle did not settle in {most_cycles} repetitions (last change {change:.1e}); check the "
            "gaps, the leak and the speed",
            most_cycles=MOST_CYCLES,
            change=change,
        )
    )


def closed_run(
    cylinder: Cylinder, gas: Gas, start_deg: float, end_deg: float, pressure_kpa: float, temperature_k: float
) -> tuple[float, float]:
    """Pressure (kPa absolute) and temperature (K) after turning with everything shut, no leak, no heat.

    The same equations and steps as a cycle. Raises InputError for a span that is not above 0.
    """
    if not end_deg > start_deg:
        raise InputError(
            say(
                "from {start_deg:g} to {end_deg:g} degrees is no turn forward; the end must be later",
                start_deg=start_deg,
                end_deg=end_deg,
            )
        )
    steps = max(1, math.ceil((end_deg - start_deg) / STEP_DEG))
    deg = np.linspace(start_deg, end_deg, 2 * steps + 1)
    none = [0.0] * deg.size
    track = _Track(
        deg[::2].tolist(),
        np.diff(deg[::2]).tolist(),
        (cylinder.volume_cm3(deg) * 1e-6).tolist(),
        (cylinder.volume_slope_cm3(deg) * 1e-6).tolist(),
        none,
        none,
        none,
    )
    conditions = Conditions(rpm=1000.0, fired=False)
    rates = _make_rates(cylinder, conditions, gas, gas, EVEN)
    mass = pressure_kpa * 1e3 * track.volume[0] / (gas.r * temperature_k)
    nodes, _ = _turn(track, rates, (mass, temperature_k, 0.0, 300.0, 0.0, 300.0, 0.0), conditions)
    end = nodes[-1]
    return end[0] * gas.r * end[1] / track.volume[-1] / 1e3, end[1]


def vessel_run(
    gas: Gas,
    volume_cm3: float,
    effective_area_mm2: float,
    pressure_kpa: float,
    temperature_k: float,
    outside_kpa: float,
    seconds: float,
    steps: int = 400,
) -> tuple[float, float]:
    """Pressure (kPa absolute) and temperature (K) left in a rigid vessel that blows down through an opening.

    The same equations as a cycle, the volume standing still. Raises InputError for values not above 0.
    """
    if not min(volume_cm3, effective_area_mm2, pressure_kpa, temperature_k, outside_kpa, seconds, steps) > 0:
        raise InputError(say("a vessel needs volume, area, pressures, temperature, time and steps above 0"))
    conditions = Conditions(rpm=1000.0, fired=False, exhaust_kpa=outside_kpa)
    width = seconds * 6.0 * conditions.rpm / steps
    volume = volume_cm3 * 1e-6
    many = 2 * steps + 1
    track = _Track(
        [width * i for i in range(steps + 1)],
        [width] * steps,
        [volume] * many,
        [0.0] * many,
        [0.0] * many,
        [effective_area_mm2 * 1e-6] * many,
        [0.0] * many,
    )
    rates = _make_rates(Cylinder(80.0, 80.0, 160.0, 8.0), conditions, gas, gas, EVEN)
    mass = pressure_kpa * 1e3 * volume / (gas.r * temperature_k)
    nodes, _ = _turn(track, rates, (mass, temperature_k, 0.0, 300.0, 0.0, 300.0, 0.0), conditions)
    end = nodes[-1]
    return end[0] * gas.r * end[1] / volume / 1e3, end[1]


# ---------------------------------------------------------------------------------------------- steps


def _lay_track(
    cylinder: Cylinder,
    intake: Opening,
    exhaust: Opening,
    conditions: Conditions,
    trapped_deg: float,
    step_deg: float,
    even: float,
) -> _Track:
    burn_from = 720.0 + conditions.burn_start_deg
    corners = [
        *intake.corners_deg(),
        *exhaust.corners_deg(),
        trapped_deg,
        burn_from,
        burn_from + conditions.burn_deg,
    ]
    marks = np.array([START_DEG, 540.0, 720.0, 900.0, END_DEG])
    placed = START_DEG + np.mod(np.array(corners) - START_DEG, 720.0)
    cells = np.unique(np.round(np.concatenate([np.arange(START_DEG, END_DEG, step_deg), marks, placed]), 9))

    def areas(deg: Array) -> tuple[Array, Array]:
        return intake.effective_area_mm2(deg), exhaust.effective_area_mm2(deg)

    # How fast pressure evens out, per degree, at its fastest in each cell: decides how short the steps are.
    warm = 1500.0 if conditions.fired else 450.0
    fine = np.linspace(cells[:-1], cells[1:], 3)
    open_mm2 = sum(areas(fine)) + conditions.leak_mm2
    volume = cylinder.volume_cm3(fine) * 1e-6
    rate = (
        1.4 * math.sqrt(287.0 * warm) * open_mm2 * 1e-6 / volume * math.sqrt(2 / even) / (6 * conditions.rpm)
    )
    width = np.diff(cells)
    # Half steps at least while anything flows, so that a change of direction falls into a short one.
    least = np.where(rate.max(axis=0) > 0.0, np.ceil(2.0 * width / step_deg - 1e-9), 1.0)
    pieces = np.maximum(least, np.ceil(width * rate.max(axis=0) / _STABLE)).astype(int)
    if pieces.sum() > 400_000:
        raise InputError(
            say(
                "at {rpm:g} rpm this cycle needs {sum} steps; turn faster than that",
                rpm=conditions.rpm,
                sum=int(pieces.sum()),
            )
        )
    ends = [np.linspace(a, b, n + 1)[:-1] for a, b, n in zip(cells[:-1], cells[1:], pieces, strict=True)]
    nodes = np.append(np.concatenate(ends), END_DEG)
    deg = np.empty(2 * nodes.size - 1)
    deg[::2] = nodes
    deg[1::2] = 0.5 * (nodes[1:] + nodes[:-1])
    at_intake, at_exhaust = areas(deg)
    # Burnt share 10x^3 - 15x^4 + 6x^5 over the burn: smooth at both ends and complete.
    x = np.clip((deg - burn_from) / conditions.burn_deg, 0.0, 1.0)
    burn = 30 * x**2 * (1 - x) ** 2 / conditions.burn_deg * (1.0 if conditions.fired else 0.0)
    return _Track(
        nodes.tolist(),
        np.diff(nodes).tolist(),
        (cylinder.volume_cm3(deg) * 1e-6).tolist(),
        (cylinder.volume_slope_cm3(deg) * 1e-6).tolist(),
        (at_intake * 1e-6).tolist(),
        (at_exhaust * 1e-6).tolist(),
        burn.tolist(),
    )


def _first_guess(cylinder: Cylinder, conditions: Conditions, fresh: Gas) -> State:
    warm = 1100.0 if conditions.fired else 330.0
    mass = conditions.exhaust_kpa * 1e3 * cylinder.clearance_cm3 * 1e-6 / (fresh.r * warm)
    return (mass, warm, 1.0, conditions.intake_c + 273.15, 0.0, warm, 1.0)


def _turn(
    track: _Track, rates: Callable[..., Rates], start: State, conditions: Conditions
) -> tuple[list[State], list[float]]:
    """One cycle by the classical Runge-Kutta rule: the states at the nodes and the sums of the balance."""
    deg, width, volume, slope = track.deg, track.width, track.volume, track.slope
    intake, exhaust, burn = track.intake, track.exhaust, track.burn
    nodes = [start]
    sums = [0.0] * 7
    m, t, y, ti, yi, tx, yx = start
    unburnt = 0.0
    burning = False
    tag_at = -1.0 if conditions.fired else 720.0
    for i, h in enumerate(width):
        a, b, c = 2 * i, 2 * i + 1, 2 * i + 2
        if burn[b] > 0.0 and not burning:
            unburnt, burning = 1.0 - y, True
        if deg[i] == tag_at:
            y = 1.0
        half, sixth = 0.5 * h, h / 6.0
        p = (volume[a], slope[a], intake[a], exhaust[a], burn[a] * unburnt)
        q = (volume[b], slope[b], intake[b], exhaust[b], burn[b] * unburnt)
        r = (volume[c], slope[c], intake[c], exhaust[c], burn[c] * unburnt)
        k1 = rates(m, t, y, ti, yi, tx, yx, *p)
        k2 = rates(
            m + half * k1[0], t + half * k1[1], y + half * k1[2], ti + half * k1[3], yi + half * k1[4],
            tx + half * k1[5], yx + half * k1[6], *q,
        )  # fmt: skip
        k3 = rates(
            m + half * k2[0], t + half * k2[1], y + half * k2[2], ti + half * k2[3], yi + half * k2[4],
            tx + half * k2[5], yx + half * k2[6], *q,
        )  # fmt: skip
        k4 = rates(
            m + h * k3[0], t + h * k3[1], y + h * k3[2], ti + h * k3[3], yi + h * k3[4],
            tx + h * k3[5], yx + h * k3[6], *r,
        )  # fmt: skip
        d = [sixth * (k1[j] + 2.0 * (k2[j] + k3[j]) + k4[j]) for j in range(14)]
        m, t, y, ti, yi, tx, yx = m + d[0], t + d[1], y + d[2], ti + d[3], yi + d[4], tx + d[5], yx + d[6]
        for j in range(7):
            sums[j] += d[7 + j]
        nodes.append((m, t, y, ti, yi, tx, yx))
    return nodes, sums


def _make_rates(
    cylinder: Cylinder, conditions: Conditions, fresh: Gas, burnt: Gas, even: float
) -> Callable[..., Rates]:
    """The right-hand side, per crank degree, with everything constant bound."""
    per_deg = 1.0 / (6.0 * conditions.rpm)
    p_in, p_ex, p_case = (
        1e3 * p for p in (conditions.intake_kpa, conditions.exhaust_kpa, conditions.crankcase_kpa)
    )
    t_in = conditions.intake_c + 273.15
    leak = conditions.leak_mm2 * 1e-6
    cf, hf, cb, hb = fresh.cp_table, fresh.h_table, burnt.cp_table, burnt.h_table
    rf, rb = fresh.r, burnt.r
    one_gas = burnt is fresh
    even2 = even * even
    h_in = float(fresh.h(t_in))
    cp_in = float(fresh.cp(t_in))
    port_volume = conditions.port_share * cylinder.displacement_cm3 * 1e-6
    intake_port_kg = p_in * port_volume / (rf * t_in)
    exhaust_port_kg = p_ex * port_volume / (rb * (1000.0 if conditions.fired else 300.0))
    heat = conditions.heat_mj_per_kg * 1e6
    wall_k = None if conditions.wall_c is None else conditions.wall_c + 273.15
    piston_speed = cylinder.mean_piston_speed(conditions.rpm)
    bore_m = cylinder.bore_mm / 1000
    ends_m2 = 2 * cylinder.piston_area_mm2 * 1e-6

    def gas(t: float, y: float) -> tuple[float, float, float, float]:
        """R, cp, h and h of burnt less fresh at t for a mixture with share y burnt."""
        if not LOWEST_K <= t < HIGHEST_K:
            raise ConvergenceError(
                say("the gas left the tables at {t:.0f} K; check heat, speed and leak", t=t)
            )
        at = (t - LOWEST_K) / STEP_K
        i = int(at)
        f = at - i
        if one_gas:
            c0 = cf[i]
            s0 = f * (cf[i + 1] - c0)
            return rf, c0 + s0, hf[i] + STEP_K * f * (c0 + 0.5 * s0), 0.0
        c0, c1 = cf[i], cb[i]
        s0, s1 = f * (cf[i + 1] - c0), f * (cb[i + 1] - c1)
        h0 = hf[i] + STEP_K * f * (c0 + 0.5 * s0)
        dh = hb[i] + STEP_K * f * (c1 + 0.5 * s1) - h0
        cp = c0 + s0
        return rf + y * (rb - rf), cp + y * (c1 + s1 - cp), h0 + y * dh, dh

    def nozzle(up: float, rt: float, down: float, k: float) -> float:
        """Mass flow per effective area, kg/(s m2)."""
        x = down / up
        least = (2.0 / (k + 1.0)) ** (k / (k - 1.0))
        if x < least:
            x = least
        d = 1.0 - x
        stream = 2.0 * k / (k - 1.0) * (x ** (2.0 / k) - x ** ((k + 1.0) / k))
        if stream <= 0.0:
            return 0.0
        # sqrt(stream), rounded off where d is no larger than ``even``: (d^2 / (d^2 + e^2))^(1/4) is 1 beyond.
        return up / math.sqrt(rt) * math.sqrt(stream * math.sqrt(d * d / (d * d + even2)))

    def rates(
        m: float, t: float, y: float, ti: float, yi: float, tx: float, yx: float,
        v: float, dv: float, ai: float, ae: float, burn: float,
    ) -> Rates:  # fmt: skip
        r, cp, h, dh = gas(t, y)
        cv = cp - r
        k = cp / cv
        rt = r * t
        p = m * rt / v
        mi = me = ml = (
            0.0  # kg per degree: in through the intake, out through the exhaust, out through the leak
        )
        dm = hsum = dy_m = fresh_in = 0.0
        dti = dyi = dtx = dyx = 0.0
        if ai > 0.0:
            if p_in > p:
                ri, cpi, hi, dhi = gas(ti, yi)
                mi = per_deg * ai * nozzle(p_in, ri * ti, p, cpi / (cpi - ri))
                hsum += mi * hi
                dy_m += mi * (yi - y)
                fresh_in = mi * (1.0 - yi)
                dyi = -mi / intake_port_kg * yi
                dti = (mi / intake_port_kg * (h_in - hi) - dhi * dyi) / cpi
            else:
                mi = -per_deg * ai * nozzle(p, rt, p_in, k)
                _, cpi, hi, dhi = gas(ti, yi)
                hsum += mi * h
                fresh_in = mi * (1.0 - y)
                dyi = -mi / intake_port_kg * (y - yi)
                dti = (-mi / intake_port_kg * (h - hi) - dhi * dyi) / cpi
        if ae > 0.0:
            if p > p_ex:
                me = per_deg * ae * nozzle(p, rt, p_ex, k)
                _, cpx, hx, dhx = gas(tx, yx)
                hsum -= me * h
                dyx = me / exhaust_port_kg * (y - yx)
                dtx = (me / exhaust_port_kg * (h - hx) - dhx * dyx) / cpx
            else:
                rx, cpx, hx, _ = gas(tx, yx)
                me = -per_deg * ae * nozzle(p_ex, rx * tx, p, cpx / (cpx - rx))
                hsum -= me * hx
                dy_m -= me * (yx - y)
        if leak > 0.0:
            if p > p_case:
                ml = per_deg * leak * nozzle(p, rt, p_case, k)
                hsum -= ml * h
            else:
                ml = -per_deg * leak * nozzle(p_case, rf * t_in, p, cp_in / (cp_in - rf))
                hsum -= ml * h_in
                dy_m += ml * y
        dm = mi - me - ml
        dy = dy_m / m + burn
        dq = heat * m * burn
        if wall_k is not None:
            area = ends_m2 + 4.0 * v / bore_m
            film = 130.0 * v**-0.06 * (1e-5 * p) ** 0.8 * t**-0.4 * (piston_speed + 1.4) ** 0.8
            dq -= per_deg * film * area * (t - wall_k)
        # u of burnt less fresh is dh - (rb - rf) T.
        dt = (dq - p * dv + hsum - (h - rt) * dm - m * (dh - (rb - rf) * t) * dy) / (m * cv)
        return (dm, dt, dy, dti, dyi, dtx, dyx, mi, me, ml, fresh_in, hsum, dq, p * dv)

    return rates


def _report(
    cylinder: Cylinder,
    conditions: Conditions,
    fresh: Gas,
    burnt: Gas,
    track: _Track,
    nodes: list[State],
    sums: list[float],
    trapped_deg: float,
    cycles: int,
    intake: Opening,
    exhaust: Opening,
) -> Cycle:
    deg = np.array(track.deg)
    m, t, y = (np.array([node[j] for node in nodes]) for j in range(3))
    r = fresh.r + y * (burnt.r - fresh.r)
    volume = np.array(track.volume[::2])
    pressure = m * r * t / volume
    at_trap = int(np.argmin(np.abs(deg - trapped_deg)))
    at_tdc = int(np.argmin(np.abs(deg - 720.0)))
    into, out, leaked, fresh_in, flow_heat, heat, work = sums
    energy = m * (fresh.u(t) + y * (burnt.u(t) - fresh.u(t)))
    imbalance = energy[-1] - energy[0] - (heat - work + flow_heat)
    scale = max(abs(heat), abs(work), abs(flow_heat), float(np.abs(energy).max()))
    reference = conditions.intake_kpa * 1e3 / (fresh.r * (conditions.intake_c + 273.15))
    swept = cylinder.displacement_cm3 * 1e-6
    return Cycle(
        deg=deg,
        pressure_kpa=pressure / 1e3,
        temperature_k=t,
        mass_mg=m * 1e6,
        old_share=y,
        volumetric_efficiency=fresh_in / (reference * swept),
        trapped_deg=trapped_deg,
        trapped_mg=float(m[at_trap]) * 1e6,
        fresh_mg=float(m[at_trap] * (1 - y[at_trap])) * 1e6,
        residual_fraction=float(y[at_trap]),
        kept=float(m[at_tdc] / m[at_trap]),
        peak_kpa=float(pressure.max()) / 1e3,
        imep_kpa=work / swept / 1e3,
        mass_error=abs(float(m[-1] - m[0]) - (into - out - leaked)) / float(m[at_trap]),
        energy_error=abs(float(imbalance)) / scale,
        cycles=cycles,
        inputs={
            "bore_mm": cylinder.bore_mm,
            "stroke_mm": cylinder.stroke_mm,
            "rod_mm": cylinder.rod_mm,
            "compression_ratio": cylinder.compression_ratio,
            "rpm": conditions.rpm,
            "intake_gap_mm": intake.gap_mm,
            "exhaust_gap_mm": exhaust.gap_mm,
            "leak_mm2": conditions.leak_mm2,
            "fired": "yes" if conditions.fired else "no",
        },
    )
