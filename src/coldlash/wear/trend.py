"""Where every gap of an engine is and how it drifts: one joint filter over all its valves and visits.

Readings are intervals; valves share the session's offset, the hand's setting bias, the pooled drift of their
kind and the temperature coefficient. See ``docs/trend.md``; the model is in ``wear.kalman``, the treatment of
intervals in ``wear.ep``. Units: mm, km at the surface, 1000 km inside; gaps at 20 C.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from typing import Literal, NamedTuple

import numpy as np

from coldlash.engine.spec import Engine, Kind, Valve
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.wear import kalman
from coldlash.wear.books import Book, Shelf, log_chance, read_book, shelve
from coldlash.wear.ep import Readings
from coldlash.wear.filter import Push, Trace, run
from coldlash.wear.interval import Array, read
from coldlash.wear.kalman import Hyper, Layout, State, Step
from coldlash.wear.record import GapInterval, VisitRecord
from coldlash.wear.settings import DEFAULTS, KINDS, REFERENCE_C, Coefficient, TrendSettings, check_coefficient
from coldlash.wear.smoother import Hindsight, smooth

Z90 = 1.6448536269514722
Z98 = 2.3263478740408408
BATCH = 256


class Estimate(NamedTuple):
    """A Gaussian answer: mean and sd, in the unit of what is estimated."""

    mean: float
    sd: float

    @property
    def p05(self) -> float:
        """5 % quantile."""
        return self.mean - Z90 * self.sd

    @property
    def p95(self) -> float:
        """95 % quantile."""
        return self.mean + Z90 * self.sd


@dataclass(frozen=True, slots=True)
class Shock:
    """A jump put into the trend at visit ``session`` (from 0), before its readings: an accepted cause or change.

    ``on`` "gap": each gap moves by amount x loading (mm); "drift": each drift does (mm per 1000 km), from the
    visit before on. amount ~ N(mean, sd^2).
    """

    session: int
    on: Literal["gap", "drift"]
    loading: Mapping[Valve, float]
    mean: float
    sd: float


class Expectation(NamedTuple):
    """What a blade should say next time, mm as read at that temperature: mean, sd and the 98 % range."""

    mean: float
    sd: float
    lo: float
    hi: float

    def surprising(self, reading: GapInterval) -> bool:
        """True when the whole reading lies outside the 98 % range: look again before touching the screw."""
        return reading.hi < self.lo or reading.lo > self.hi


@dataclass(frozen=True, slots=True)
class HistoryPoint:
    """One valve at one visit. Gaps at 20 C, mm; ``before`` anything was touched, ``after`` closing up.

    ``*_then`` is what was known at that visit, ``*_now`` with hindsight. ``set_to`` is the blade, if adjusted.
    """

    day: date
    distance_km: float
    found: GapInterval | None
    left: GapInterval | None
    set_to: float | None
    restart: bool
    before_then: Estimate
    before_now: Estimate
    after_then: Estimate
    after_now: Estimate


@dataclass(frozen=True, slots=True)
class Session:
    """One visit's readings against what was expected of them, in the order of the engine's valves (V).

    Predicted before the visit, from all visits before it: ``gap_mean`` (V,), ``gap_cov`` (V, V) at 20 C;
    ``reading_mean``, ``reading_cov`` of the found readings (temperature and the session's own offset included,
    reading noise not), mm and mm^2. ``lo``, ``hi``: found readings, mm, -inf and inf where ``read`` is False.
    ``tau``, ``nu``: their sites (centre nu / tau, precision tau in 1/mm^2). ``others_mean``, ``others_var``: the
    reading expected from everything but itself. ``temp_k``: K above 20 C.
    """

    index: int
    visit: VisitRecord
    counted_km: float
    driven_km: float
    temp_k: float
    gap_mean: Array
    gap_cov: Array
    reading_mean: Array
    reading_cov: Array
    lo: Array
    hi: Array
    read: np.ndarray
    tau: Array
    nu: Array
    others_mean: Array
    others_var: Array


@dataclass(frozen=True)
class Trend:
    """What the readings of one engine say. Arrays are in the order of ``engine.valves`` and ``layout``.

    ``weights`` (K,), ``means`` (K, n), ``covs`` (K, n, n) are the answer now, as left at the last visit: one
    Gaussian, or a mixture once changes are weighed in (``wear.change``). ``traces`` are what the filter held at each
    visit, ``log_z`` (T, 1) its log evidence there; ``sessions`` and ``history`` are views of them.
    """

    engine: Engine
    book: Book
    settings: TrendSettings
    coefficient: Coefficient | None
    layout: Layout
    log_evidence: float
    weights: Array
    means: Array
    covs: Array
    shocks: tuple[Shock, ...]
    shelf: Shelf = field(repr=False)
    hyper: Hyper = field(repr=False)
    traces: tuple[Trace, ...] = field(repr=False)
    log_z: Array = field(repr=False)

    @cached_property
    def mean(self) -> Array:
        """Mean (n,) of the state now."""
        mean: Array = np.einsum("k,kn->n", self.weights, self.means)
        return mean

    @cached_property
    def cov(self) -> Array:
        """Covariance (n, n) of the state now."""
        off = self.means - self.mean
        both: Array = np.einsum("k,kij->ij", self.weights, self.covs)
        both += np.einsum("k,ki,kj->ij", self.weights, off, off)
        return both

    @property
    def valves(self) -> tuple[Valve, ...]:
        """The engine's valves, the order of every array."""
        return self.engine.valves

    @property
    def notes(self) -> tuple[str, ...]:
        """What had to be assumed, in plain sentences."""
        return self.book.notes

    @property
    def as_of_km(self) -> float | None:
        """Distance of the last visit as written, km; None without visits."""
        return float(self.book.km[-1]) if len(self.book.km) else None

    def _at(self, i: int) -> Estimate:
        return Estimate(float(self.mean[i]), math.sqrt(max(float(self.cov[i, i]), 0.0)))

    def index(self, valve: Valve) -> int:
        """Place of a valve in every array of valves. Raises InputError if the engine has no such valve."""
        try:
            return self.valves.index(valve)
        except ValueError:
            have = ", ".join(map(str, self.valves))
            raise InputError(
                say(
                    "{name} has no valve {valve}; it has {have}",
                    name=self.engine.name,
                    valve=valve,
                    have=have,
                )
            ) from None

    def gap(self, valve: Valve) -> Estimate:
        """Gap now, as left, at 20 C, mm."""
        return self._at(self.index(valve))

    def drift(self, valve: Valve) -> Estimate:
        """Drift now, mm per 1000 km (negative = tightening)."""
        return self._at(self.layout.V + self.index(valve))

    def pooled_drift(self, kind: Kind) -> Estimate:
        """What the valves of a kind share of their drift, mm per 1000 km."""
        return self._at(self.layout.pooled + KINDS.index(kind))

    def hand_bias(self, by: str = "") -> Estimate:
        """Left gap minus the blade it was set on, mm, for who set it ("" = not written down).

        Raises InputError for a name that is not told apart in this book.
        """
        if by not in self.book.hands:
            known = ", ".join(repr(n) for n in self.book.hands)
            raise InputError(say("no hand called {by!r} in this book; there are {known}", by=by, known=known))
        return self._at(self.layout.b + self.book.hands.index(by))

    def temperature(self, kind: Kind) -> Estimate | None:
        """Temperature coefficient as the readings have narrowed it, mm/K; None where none was given."""
        return None if self.coefficient is None else self._at(self.layout.c + KINDS.index(kind))

    @cached_property
    def sessions(self) -> tuple[Session, ...]:
        """Every visit's readings against what was expected, oldest first."""
        return tuple(self._session(t) for t in range(len(self.traces)))

    def _session(self, t: int) -> Session:
        trace, book, layout = self.traces[t], self.book, self.layout
        P, sites = trace.predicted.P[0], trace.found_sites
        nothing = np.zeros(layout.V)
        lo, hi, _, shut = book.found
        return Session(
            index=t,
            visit=book.visits[t],
            counted_km=float(book.counted_km[t]),
            driven_km=float(book.dist[t]) * 1000.0,
            temp_k=float(book.temp[t]),
            gap_mean=trace.predicted.m[0, layout.g],
            gap_cov=P[layout.g, layout.g],
            reading_mean=trace.mu[0],
            reading_cov=trace.A[0],
            lo=lo[t],
            hi=hi[t],
            read=~shut[t],
            tau=nothing if sites is None else sites.tau[0],
            nu=nothing if sites is None else sites.nu[0],
            others_mean=trace.mu[0] if sites is None else sites.cavity_mean[0],
            others_var=np.diag(trace.A[0]).copy() if sites is None else sites.cavity_var[0],
        )

    @cached_property
    def _hindsight(self) -> list[Hindsight]:
        return smooth(self.shelf, self.hyper, self.traces)

    def history(self, valve: Valve) -> list[HistoryPoint]:
        """One valve over all visits, oldest first, as known then and with hindsight."""
        i = self.index(valve)
        points = []
        for visit, trace, seen in zip(self.book.visits, self.traces, self._hindsight, strict=True):
            record = visit.valves.get(valve)
            target = None
            if record is not None and record.adjusted:
                target = record.set_to if record.set_to is not None else self.engine.gap(valve).cold
            points.append(
                HistoryPoint(
                    visit.day,
                    visit.distance_km,
                    record.found if record else None,
                    record.left if record else None,
                    target,
                    bool(record and (record.restart or record.restart_before)),
                    _estimate(trace.found, i),
                    _estimate(seen.before, i),
                    _estimate(trace.after, i),
                    _estimate(seen.after, i),
                )
            )
        return points


def fit(
    engine: Engine,
    visits: Sequence[VisitRecord],
    settings: TrendSettings = DEFAULTS,
    coefficient: Coefficient | None = None,
    shocks: Sequence[Shock] = (),
) -> Trend:
    """The trend of one engine from its visits (any number, also none).

    ``coefficient``: gap change per K of the whole engine by kind, (mean, sd) in mm/K; None = no correction.
    ``shocks``: accepted jumps. Raises InputError for readings that can't be (see ``books.read_book``).
    """
    check_coefficient(coefficient)
    book = read_book(engine, visits, coefficient)
    shelf = shelve([book], settings.unknown_temp_sd)
    h = kalman.hyper([settings], [coefficient])
    pushes = shock_pushes(shocks, engine, shelf)
    x, log_z, traces = run(shelf, h, pushes)
    return Trend(
        engine,
        book,
        settings,
        coefficient,
        shelf.layout,
        float(log_z.sum()),
        np.ones(1),
        x.m,
        x.P,
        tuple(shocks),
        shelf,
        h,
        tuple(traces),
        log_z,
    )


def shock_pushes(shocks: Sequence[Shock], engine: Engine, shelf: Shelf) -> list[list[Push]]:
    """Shocks as pushes by visit. Raises InputError for a visit or valve that is not there."""
    pushes: list[list[Push]] = [[] for _ in range(shelf.T)]
    valves = engine.valves
    for shock in shocks:
        if not 0 <= shock.session < shelf.T:
            raise InputError(
                say(
                    "a jump at visit {session}, but the book has visits 0 to {last}",
                    session=shock.session,
                    last=shelf.T - 1,
                )
            )
        direction = np.zeros((1, shelf.layout.n))
        base = 0 if shock.on == "gap" else shelf.layout.V
        for valve, loading in shock.loading.items():
            if valve not in valves:
                raise InputError(
                    say(
                        "a jump of {valve}, but {name} has {valves}",
                        valve=valve,
                        name=engine.name,
                        valves=", ".join(map(str, valves)),
                    )
                )
            direction[0, base + valves.index(valve)] = loading
        pushes[shock.session].append(
            Push(shock.on == "drift", direction, np.array([shock.mean]), np.array([shock.sd**2]))
        )
    return pushes


def expect_next(
    trend: Trend, distance_km: float = 0.0, temp_c: float | None = None
) -> dict[Valve, Expectation]:
    """What each valve should read after ``distance_km`` more, with the engine at ``temp_c`` (None = unknown).

    The sd holds everything: gap, drift, session offset, temperature, the feel of the blade. Misreads are not in
    it: they are what falls outside. Raises InputError for a distance below 0 or no number.
    """
    if not (math.isfinite(distance_km) and distance_km >= 0):
        raise InputError(
            say("a distance of {distance_km} km ahead; give 0 km or more", distance_km=distance_km)
        )
    if temp_c is not None and not math.isfinite(temp_c):
        raise InputError(say("an engine temperature of {temp_c}; give C, or none if unknown", temp_c=temp_c))
    layout, settings = trend.layout, trend.settings
    h = kalman.hyper([settings], [trend.coefficient])
    step = _looking_ahead(layout, distance_km, temp_c, settings.unknown_temp_sd)
    x = kalman.predict(State(trend.mean[None], trend.cov[None]), step, layout, h)
    mu, A, _ = kalman.readings_of(x, step, layout, h)
    out = {}
    for i, valve in enumerate(trend.valves):
        sd = math.sqrt(float(A[0, i, i]) + settings.feel**2)
        mean = float(mu[0, i])
        out[valve] = Expectation(mean, sd, mean - Z98 * sd, mean + Z98 * sd)
    return out


def widened_sites(trend: Trend, session: Session, sd: float = 0.06) -> tuple[Array, Array]:
    """Each found reading as a Gaussian under its own prediction widened to ``sd`` mm: (centre, variance), (V,).

    Where nothing was read the variance is inf. For attribution: under the trend's own narrow prediction an
    interval far away would tell less than it does.
    """
    settings = trend.settings
    h = kalman.hyper([settings], [trend.coefficient])
    var = np.maximum(np.diag(session.reading_cov), sd**2)
    ladder = [
        log_chance(GapInterval(float(a), float(b)), session.visit.ladder_mm) if on else 0.0
        for a, b, on in zip(session.lo, session.hi, session.read, strict=True)
    ]
    got = read(
        session.reading_mean,
        var,
        session.lo,
        session.hi,
        h.feel[0],
        h.drag[0],
        h.log_sound[0],
        h.log_misread[0],
        np.array(ladder),
    )
    tau = np.where(session.read, np.maximum(1.0 / got.var - 1.0 / var, 0.0), 0.0)
    nu = got.mean / got.var - session.reading_mean / var
    said = tau > 1e-6 / var
    centre = np.where(said, nu / np.where(said, tau, 1.0), session.reading_mean)
    return centre, np.where(said, 1.0 / np.where(said, tau, 1.0), np.inf)


class Now(NamedTuple):
    """Gap (mm, at 20 C) and drift (mm per 1000 km) of every valve of one engine, (V,), and log evidence."""

    gap_mean: Array
    gap_sd: Array
    drift_mean: Array
    drift_sd: Array
    log_evidence: float


def fit_many(
    books: Sequence[tuple[Engine, Sequence[VisitRecord]]],
    settings: TrendSettings = DEFAULTS,
    coefficients: Sequence[Coefficient | None] | None = None,
) -> list[Now]:
    """The trends of many engines, batched; in the order given, only what holds now is kept."""
    given = coefficients if coefficients is not None else [None] * len(books)
    laid = [read_book(engine, visits, c) for (engine, visits), c in zip(books, given, strict=True)]
    order = sorted(range(len(laid)), key=lambda i: (len(laid[i].cold), len(laid[i].visits)))
    out: dict[int, Now] = {}
    for at in range(0, len(order), BATCH):
        chosen = order[at : at + BATCH]
        shelf = shelve([laid[i] for i in chosen], settings.unknown_temp_sd)
        h = kalman.hyper([settings] * len(chosen), [given[i] for i in chosen])
        x, log_z, _ = run(shelf, h, keep=False)
        sd = np.sqrt(np.maximum(np.diagonal(x.P, axis1=1, axis2=2), 0.0))
        total = log_z.sum(axis=0)
        for row, i in enumerate(chosen):
            V, n = len(laid[i].cold), shelf.layout.V
            out[i] = Now(
                x.m[row, :V], sd[row, :V], x.m[row, n : n + V], sd[row, n : n + V], float(total[row])
            )
    return [out[i] for i in range(len(laid))]


def _estimate(x: State, i: int) -> Estimate:
    return Estimate(float(x.m[0, i]), math.sqrt(max(float(x.P[0, i, i]), 0.0)))


def _looking_ahead(layout: Layout, distance_km: float, temp_c: float | None, unknown_sd: float) -> Step:
    V = layout.V
    nothing = Readings(
        np.full((1, V), -np.inf),
        np.full((1, V), np.inf),
        np.zeros((1, V)),
        np.ones((1, V), bool),
        False,
        False,
    )
    no = np.zeros((1, V), bool)
    return Step(
        np.array([distance_km / 1000.0]),
        np.array([0.0 if temp_c is None else temp_c - REFERENCE_C]),
        np.array([unknown_sd**2 if temp_c is None else 0.0]),
        nothing,
        no,
        no,
        np.zeros((1, V)),
        np.zeros((1, V)),
        np.zeros(1, dtype=int),
        nothing,
        False,
        False,
    )
