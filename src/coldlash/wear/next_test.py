"""Which further test would tell most, and what a test's result does to the causes.

A test has signs that show or don't. How likely each is under each cause stands in ``tests_table.toml`` (judgement,
no source) and combines as a noisy OR (Pearl, Probabilistic Reasoning in Intelligent Systems, 1988, section 4.3.2).
A test's worth is the entropy it is expected to take from the posterior over what happened, nothing included: its mutual
information with that, in bits (Lindley 1956). Tests are ordered by bits per unit of effort.
"""

from __future__ import annotations

import itertools
import math
import tomllib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from importlib.resources import files
from typing import Literal, NamedTuple

import numpy as np

from coldlash.engine.spec import Engine, Valve
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.language import table as said
from coldlash.wear.causes import Attribution, Cause, Combination, Part
from coldlash.wear.interval import Array

Place = Literal["cylinder", "lobe", "engine"]
At = Literal["exhaust", "intake", "any", "all"]

NONE = "none"
"""The outcome of a test that was done and showed no sign."""
LEAST_BITS = 0.002
"""Tests expected to tell less are not listed."""
MOST_COMBINATIONS = 100


class Sign(NamedTuple):
    """One thing a test may show. Chances by variant; ``without`` and ``unmoved`` where no such cause is there."""

    name: str
    says: str
    at: At
    without: float
    unmoved: float
    chance: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Test:
    """A test of the table: what it is, where it is done (``place``), its effort, its signs.

    ``called``: its name at the head of a sentence; ``clean``: what is said when no sign showed. English texts, to be
    translated at use.
    """

    __test__ = False

    name: str
    says: str
    place: Place
    effort: float
    signs: tuple[Sign, ...]
    called: str
    clean: str

    @property
    def outcomes(self) -> tuple[str, ...]:
        """What it can show, each by itself: its signs, and ``NONE``."""
        return (*(sign.name for sign in self.signs), NONE)


class NextTest(NamedTuple):
    """A test worth doing: ``where`` are the valves of its place, ``bits`` what it is expected to tell."""

    test: str
    where: tuple[Valve, ...]
    bits: float
    effort: float
    says: str


class Result(NamedTuple):
    """A test done: its name, its place (any valve of it will do; none for the whole engine), the signs that showed.

    No signs = done, and none showed. ``saw``: the last visit (from 0) it was done after: of what began later it says
    nothing; None = it was done after them all. ``weighs`` False: it is too old to say anything of the causes, but a
    sign that stops the engine still does.
    """

    test: str
    where: tuple[Valve, ...]
    signs: tuple[str, ...] = ()
    day: date | None = None
    saw: int | None = None
    weighs: bool = True


@lru_cache(maxsize=1)
def table() -> tuple[Test, ...]:
    """The tests of ``tests_table.toml``."""
    text = files("coldlash.wear").joinpath("tests_table.toml").read_text(encoding="utf-8")
    return tuple(
        Test(
            t["name"],
            t["says"],
            t["place"],
            float(t["effort"]),
            tuple(
                Sign(
                    s["name"],
                    s["says"],
                    s["at"],
                    s["without"],
                    s.get("unmoved", s["without"]),
                    dict(s["chance"]),
                )
                for s in t["sign"]
            ),
            t["called"]["says"],
            t["clean"]["says"],
        )
        for t in tomllib.loads(text)["test"]
    )


def provenance() -> str:
    """Where the table's figures come from, in its own words."""
    text = files("coldlash.wear").joinpath("tests_table.toml").read_text(encoding="utf-8")
    return str(tomllib.loads(text)["provenance"])


def reliability() -> tuple[float, float]:
    """How often owners hold a cause for found where it is there, and where it is not."""
    text = files("coldlash.wear").joinpath("tests_table.toml").read_text(encoding="utf-8")
    found = tomllib.loads(text)["found"]
    return float(found["there"]), float(found["elsewhere"])


def next_tests(engine: Engine, seen: Attribution, done: Iterable[Result] = ()) -> tuple[NextTest, ...]:
    """The tests that would tell something about ``seen``, most bits per effort first; those ``done`` left out."""
    if not seen.combinations:
        return ()
    already = {(r.test, place_of(engine, test_called(r.test), r.where)) for r in done if r.weighs}
    states, worth = _states(seen), []
    for test in table():
        for where in places(engine, test.place):
            if (test.name, where) in already:
                continue
            bits = _bits(seen, states, test, where)
            if bits >= LEAST_BITS:
                worth.append(NextTest(test.name, where, bits, test.effort, said(test.says)))
    return tuple(sorted(worth, key=lambda t: -t.bits / t.effort))


def information(seen: Attribution, test: Test, where: tuple[Valve, ...]) -> float:
    """Bits that ``test`` at ``where`` is expected to tell about what happened, nothing included."""
    return _bits(seen, _states(seen), test, where)


def _bits(seen: Attribution, states: _States, test: Test, where: tuple[Valve, ...]) -> float:
    weight = states.weight
    shows = _chances(seen, states, test, where)
    before = after = 0.0
    for pattern in itertools.product((True, False), repeat=len(test.signs)):
        on = np.array(pattern)
        p = np.prod(np.where(on, shows, 1.0 - shows), axis=1)
        total = float(weight @ p)
        if total > 0:
            before -= total * math.log2(total)
            after -= float(weight @ np.where(p > 0, p * np.log2(np.where(p > 0, p, 1.0)), 0.0))
    return max(before - after, 0.0)


def with_evidence(engine: Engine, seen: Attribution, results: Sequence[Result]) -> Attribution:
    """``seen`` after test results: what happened is weighed by how well it explains them.

    Raises InputError for a test, a sign or a place that is not there.
    """
    for result in results:
        seen = weigh_in(engine, seen, result)
    return seen


def places(engine: Engine, place: Place) -> list[tuple[Valve, ...]]:
    """Where a test of this kind can be done on this engine, each as its valves."""
    if place == "cylinder":
        return [tuple(v for v in engine.valves if v.cylinder == c) for c in range(1, engine.cylinders + 1)]
    if place == "lobe":
        return [tuple(pair) for pair in engine.shared_lobes]
    return [engine.valves]


def place_of(engine: Engine, test: Test, where: Sequence[Valve]) -> tuple[Valve, ...]:
    """The place of ``test`` that holds all of ``where``. Raises InputError if there is none."""
    found = [p for p in places(engine, test.place) if set(where) <= set(p)]
    if len(found) != 1:
        have = "; ".join("+".join(map(str, p)) for p in places(engine, test.place)) or say(
            "none on this engine"
        )
        given = "+".join(map(str, where)) or say("nowhere")
        raise InputError(
            say(
                "{test} at {given}; name the valves of one place: {have}",
                test=test.name,
                given=given,
                have=have,
            )
        )
    return found[0]


def test_called(name: str) -> Test:
    """The test of that name. Raises InputError naming those there are."""
    for test in table():
        if test.name == name:
            return test
    have = ", ".join(t.name for t in table())
    raise InputError(say("no test called {name!r}; there are {have}", name=name, have=have))


def check_signs(test: Test, signs: Iterable[str]) -> None:
    """Raises InputError for a sign that the test has not."""
    known = [s.name for s in test.signs]
    for sign in signs:
        if sign not in known:
            have = ", ".join(known)
            raise InputError(
                say("{test} has no sign {sign!r}; there are {have}", test=test.name, sign=sign, have=have)
            )


def weigh_in(engine: Engine, seen: Attribution, result: Result) -> Attribution:
    """``seen`` after one result. Raises InputError for a test, a sign or a place that is not there."""
    test = test_called(result.test)
    where = place_of(engine, test, result.where)
    check_signs(test, result.signs)
    if not seen.combinations or not result.weighs:
        return seen
    on = np.array([sign.name in result.signs for sign in test.signs])
    shows = _chances(seen, _states(seen), test, where, result.saw)
    return _reweighed(seen, np.prod(np.where(on, shows, 1.0 - shows), axis=1))


def weigh_found(seen: Attribution, matches: Callable[[Cause, str], bool]) -> Attribution:
    """``seen`` after the owner found a cause; ``matches`` tells of a cause and what exactly happened whether it is it.

    What happened is weighed by how often owners hold that for found, there and elsewhere (``reliability``).
    """
    if not seen.combinations:
        return seen
    there, elsewhere = reliability()
    states = _states(seen)
    own = np.array([matches(seen.causes[part.cause], part.variant) for part in states.parts], dtype=bool)
    likely = np.full(2 + len(states.has), elsewhere)
    likely[2:] = np.where((states.has[:, own] > 0).any(axis=1), there, elsewhere)
    return _reweighed(seen, likely)


def _reweighed(seen: Attribution, likely: Array) -> Attribution:
    """``seen`` with each state (see ``_States``) weighed by ``likely`` (2 + H,)."""
    weight = _states(seen).weight * likely
    something = float(weight[1:].sum())
    p_something = something / float(weight.sum())
    kept = [
        Combination(c.parts, float(w) / something) for c, w in zip(_heaviest(seen), weight[2:], strict=True)
    ]
    share = dict.fromkeys(range(len(seen.causes)), 0.0)
    for c in kept:
        for i in {part.cause for part in c.parts}:
            share[i] += c.weight
    # What the listed combinations don't carry of a cause stays with it, in proportion to the rest's new weight.
    old = dict.fromkeys(share, 0.0)
    for c in _heaviest(seen):
        for i in {part.cause for part in c.parts}:
            old[i] += c.weight
    rest = max(1.0 - sum(c.weight for c in _heaviest(seen)), 1e-12)
    factor = float(weight[1]) / something / rest
    new = [
        min(share[i] + max(cause.probability - old[i], 0.0) * factor, 1.0)
        for i, cause in enumerate(seen.causes)
    ]
    order = sorted(range(len(new)), key=lambda i: -new[i])
    rank = {i: k for k, i in enumerate(order)}
    variants = _variant_weights(kept)
    causes = tuple(
        replace(seen.causes[i], probability=new[i], variants=_ranked(i, seen.causes[i], variants))
        for i in order
    )
    moved = tuple(
        Combination(tuple(p._replace(cause=rank[p.cause]) for p in c.parts), c.weight)
        for c in sorted(kept, key=lambda c: -c.weight)
    )
    return replace(seen, p_something=p_something, causes=causes, combinations=moved)


def _heaviest(seen: Attribution) -> tuple[Combination, ...]:
    return seen.combinations[:MOST_COMBINATIONS]


class _States(NamedTuple):
    """What may be the case: nothing; something that is not listed; each combination. ``weight`` (2 + H,), the ``parts``
    (U) that occur and ``has`` (H, U), 1 where a combination holds one.
    """

    weight: Array
    parts: tuple[Part, ...]
    has: Array


def _states(seen: Attribution) -> _States:
    heaviest = _heaviest(seen)
    listed = np.array([c.weight for c in heaviest])
    rest = max(1.0 - float(listed.sum()), 0.0)
    weight = np.concatenate([[1.0 - seen.p_something], seen.p_something * np.array([rest, *listed])])
    parts = tuple(dict.fromkeys(part for c in heaviest for part in c.parts))
    place = {part: i for i, part in enumerate(parts)}
    has = np.zeros((len(heaviest), len(parts)))
    for h, c in enumerate(heaviest):
        has[h, [place[part] for part in c.parts]] = 1.0
    return _States(weight, parts, has)


def _chances(
    seen: Attribution, states: _States, test: Test, where: tuple[Valve, ...], saw: int | None = None
) -> Array:
    """(2 + H, signs): the chance of each sign in each state; where nothing had begun by visit ``saw``, ``unmoved``."""
    out = np.empty((2 + len(states.has), len(test.signs)))
    begun = np.array(
        [saw is None or seen.causes[p.cause].onset_session <= saw for p in states.parts], dtype=bool
    )
    any_begun = (states.has[:, begun] > 0).any(axis=1)
    for k, sign in enumerate(test.signs):
        own = np.array(
            [
                sign.chance.get(part.variant, 0.0)
                if on and _reaches(sign, seen.causes[part.cause], where)
                else 0.0
                for part, on in zip(states.parts, begun, strict=True)
            ]
        )
        base = np.where(any_begun, sign.without, sign.unmoved)
        out[0, k], out[1, k] = sign.unmoved, sign.without
        out[2:, k] = 1.0 - (1.0 - base) * np.exp(states.has @ np.log1p(-own))
    return out


def _reaches(sign: Sign, cause: Cause, where: tuple[Valve, ...]) -> bool:
    inside = [v for v in cause.where if v in where]
    if sign.at == "exhaust":
        return any(v.kind == "E" for v in inside)
    if sign.at == "intake":
        return any(v.kind == "I" for v in inside)
    if sign.at == "all":
        return set(cause.where) == set(where)
    return bool(inside)


def _variant_weights(combinations: Sequence[Combination]) -> dict[tuple[int, str], float]:
    out: dict[tuple[int, str], float] = {}
    for c in combinations:
        for part in c.parts:
            out[part] = out.get(part, 0.0) + c.weight
    return out


def _ranked(i: int, cause: Cause, weights: Mapping[tuple[int, str], float]) -> tuple[str, ...]:
    return tuple(sorted(cause.variants, key=lambda v: -weights.get((i, v), 0.0)))
