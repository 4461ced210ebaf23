"""Reference posteriors of the trend's model by NumPyro's NUTS, stored for tests/outside/test_inference_published.py.

Not part of the project's environment: NumPyro and JAX live in a virtual environment of their own. To make the
fixture again:

    python -m venv ENV && ENV/bin/pip install numpyro jax scipy numpy
    PYTHONPATH=src ENV/bin/python benchmarks/nuts_reference.py tests/outside/data/nuts_reference.json

The model is written from the description in docs/trend.md, not from the filter's code: every latent gap, offset
and setting is a parameter; only the feel of a blade and the misread switch are summed out.
"""

from __future__ import annotations

import json
import math
import platform
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np

from coldlash.engine.spec import Engine, GapSpec, Linkage, Valve, ValveEvents
from coldlash.wear.record import GapInterval, ValveRecord, VisitRecord
from coldlash.wear.settings import DEFAULTS
from coldlash.wear.simulate import COARSE, FINE, Plan, simulate

CHAINS, WARMUP, DRAWS = 2, 2000, 6000


def flat_twin() -> Engine:
    """Two cylinders, four valves: enough to share an offset, small enough to sample."""
    return Engine(
        name="Reference twin",
        cylinders=2,
        firing_order=(1, 2),
        firing_gaps_deg=(360.0, 360.0),
        turns="clockwise",
        heads=((1,), (2,)),
        shared_lobes=(),
        events=ValveEvents(10.0, 40.0, 45.0, 8.0),
        gaps={"I": GapSpec(0.15, 0.05, 0.30), "E": GapSpec(0.15, 0.05, 0.30)},
        linkage=Linkage(1.1),
    )


def books() -> dict[str, list[VisitRecord]]:
    """Three books: coarse blades; fine blades; coarse with holes, a part replaced, drag on a blade, a misread."""
    engine = flat_twin()
    coarse = simulate(engine, np.random.default_rng(11), Plan(visits=20, ladder_mm=COARSE)).visits
    fine = simulate(engine, np.random.default_rng(12), Plan(visits=20, ladder_mm=FINE)).visits
    holes = list(simulate(engine, np.random.default_rng(13), Plan(visits=16, ladder_mm=COARSE)).visits)
    for t, name, record in (
        (3, "E1", ValveRecord()),
        (6, "I2", ValveRecord(GapInterval(0.15, 0.15))),
        (8, "E2", ValveRecord(GapInterval(0.05, 0.10), True, 0.15, GapInterval(0.15, 0.20), restart=True)),
        (11, "I1", ValveRecord(GapInterval(0.35, 0.40))),
        (12, "E1", ValveRecord(GapInterval(-math.inf, 0.10), True, 0.15)),
    ):
        visit = holes[t]
        changed = {**visit.valves, Valve.parse(name): record}
        holes[t] = VisitRecord(visit.day, visit.distance_km, changed, 20.0, None, visit.ladder_mm)
    return {"coarse": list(coarse), "fine": list(fine), "holes": holes}


def as_json(visits: list[VisitRecord]) -> list[dict[str, Any]]:
    """Visits as plain JSON; an infinite end is null."""

    def pair(reading: GapInterval | None) -> list[float | None] | None:
        if reading is None:
            return None
        return [None if math.isinf(x) else x for x in (reading.lo, reading.hi)]

    return [
        {
            "day": v.day.isoformat(),
            "km": v.distance_km,
            "ladder": list(v.ladder_mm),
            "valves": {
                str(valve): {
                    "found": pair(r.found),
                    "adjusted": r.adjusted,
                    "set_to": r.set_to,
                    "left": pair(r.left),
                    "restart": r.restart,
                }
                for valve, r in v.valves.items()
            },
        }
        for v in visits
    ]


def sample(visits: list[VisitRecord], seed: int) -> dict[str, Any]:
    """Posterior means and sds of every drift and of every gap as left at the last visit."""
    import jax
    import jax.numpy as jnp
    import numpyro
    import numpyro.distributions as dist
    from jax.scipy.special import log_ndtr
    from numpyro.infer import MCMC, NUTS

    s = DEFAULTS
    valves = flat_twin().valves
    V, T = len(valves), len(visits)
    kind = np.array([0 if v.kind == "I" else 1 for v in valves])
    pooled_mean = np.array([s.drift_mean_intake, s.drift_mean_exhaust])
    pooled_sd = np.array([s.drift_sd_intake, s.drift_sd_exhaust])
    spread = np.array([s.drift_spread_intake, s.drift_spread_exhaust])[kind]
    restarts = [(t, i) for t in range(T) for i, v in enumerate(valves) if visits[t].valves[v].restart]

    def between(a: Any, b: Any) -> Any:
        """log(Phi(b) - Phi(a)), the smaller tail first."""
        flip = a + b > 0
        a, b = jnp.where(flip, -b, a), jnp.where(flip, -a, b)
        big, small = log_ndtr(b), log_ndtr(a)
        return big + jnp.log1p(-jnp.exp(jnp.minimum(small - big, -1e-12)))

    def says(y: Any, readings: list[tuple[GapInterval, tuple[float, ...]]]) -> Any:
        """Log likelihood of all readings given their latent values y, the misread switch summed out."""
        sound_is_point, lo, hi, chance = [], [], [], []
        for reading, ladder in readings:
            point = reading.lo == reading.hi
            sound_is_point.append(point)
            lo.append(max(reading.lo, -1e3))
            hi.append(min(reading.hi, 1e3) + (1.0 if point else 0.0))
            if point:
                step = (ladder[-1] - ladder[0]) / (len(ladder) - 1)
                chance.append(-math.log(ladder[-1] - ladder[0] + 2 * step))
            else:
                inside = sum(1 for blade in ladder if reading.lo < blade < reading.hi)
                chance.append(math.log((inside + 1) / (len(ladder) + 1)))
        a, b = np.array(lo), np.array(hi)
        interval = between((a - y) / s.feel, (b - y) / s.feel)
        sound = jnp.where(np.array(sound_is_point), dist.Normal(y, s.drag).log_prob(a), interval)
        return jnp.logaddexp(math.log1p(-s.misread) + sound, math.log(s.misread) + np.array(chance)).sum()

    def model() -> None:
        pooled = pooled_mean + pooled_sd * numpyro.sample("pooled", dist.Normal(0, 1).expand([2]))
        d = pooled[kind] + spread * numpyro.sample("d", dist.Normal(0, 1).expand([V]))
        b = s.hand * numpyro.sample("b", dist.Normal(0, 1))
        o = s.offset * numpyro.sample("o", dist.Normal(0, 1).expand([T]))
        wander = numpyro.sample("wander", dist.Normal(0, 1).expand([T, V]))
        screw = numpyro.sample("screw", dist.Normal(0, 1).expand([T, V]))
        first = numpyro.sample("first", dist.Normal(0, 1).expand([V]))
        fresh = numpyro.sample("fresh", dist.Normal(0, 1).expand([max(len(restarts), 1), 2]))
        g = [0.15 + s.start * first[i] for i in range(V)]
        drift = [d[i] for i in range(V)]
        latent: list[Any] = []
        readings: list[tuple[GapInterval, tuple[float, ...]]] = []
        for t, visit in enumerate(visits):
            D = (visit.distance_km - visits[t - 1].distance_km) / 1000 if t else 0.0
            for i, valve in enumerate(valves):
                r = visit.valves[valve]
                if D:
                    g[i] = g[i] + drift[i] * D + s.wander * math.sqrt(D) * wander[t, i]
                if r.found is not None:
                    latent.append(g[i] + o[t])
                    readings.append((r.found, visit.ladder_mm))
                if r.restart:
                    k = restarts.index((t, i))
                    g[i] = 0.15 + s.start * fresh[k, 0]
                    drift[i] = pooled[kind[i]] + spread[i] * fresh[k, 1]
                if r.adjusted:
                    g[i] = r.set_to + b - o[t] + s.setting * screw[t, i]
                if r.left is not None:
                    latent.append(g[i] + o[t])
                    readings.append((r.left, visit.ladder_mm))
        numpyro.factor("readings", says(jnp.stack(latent), readings))
        numpyro.deterministic("gap", jnp.stack(g))
        numpyro.deterministic("drift", jnp.stack(drift))
        numpyro.deterministic("bias", b)

    started = time.perf_counter()
    mcmc = MCMC(
        NUTS(model, target_accept_prob=0.9),
        num_warmup=WARMUP,
        num_samples=DRAWS,
        num_chains=CHAINS,
        chain_method="sequential",
        progress_bar=False,
    )
    mcmc.run(jax.random.PRNGKey(seed))
    draws = {k: np.asarray(v) for k, v in mcmc.get_samples(group_by_chain=True).items()}
    out: dict[str, Any] = {"seconds": time.perf_counter() - started}
    for name in ("gap", "drift", "bias"):
        x = draws[name].reshape(CHAINS, DRAWS, -1)
        flat = x.reshape(CHAINS * DRAWS, -1)
        out[name] = {
            "mean": flat.mean(0).tolist(),
            "sd": flat.std(0, ddof=1).tolist(),
            "effective_draws": np.atleast_1d(numpyro.diagnostics.effective_sample_size(x)).tolist(),
            "split_rhat": np.atleast_1d(numpyro.diagnostics.split_gelman_rubin(x)).tolist(),
        }
    return out


def main() -> None:
    """Sample the three books and write the fixture."""
    import jax
    import numpyro

    jax.config.update("jax_enable_x64", True)
    out: dict[str, Any] = {
        "made_by": "benchmarks/nuts_reference.py",
        "versions": {
            "numpyro": numpyro.__version__,
            "jax": jax.__version__,
            "numpy": np.__version__,
            "python": platform.python_version(),
        },
        "chains": CHAINS,
        "warmup": WARMUP,
        "draws": DRAWS,
        "books": {},
    }
    for k, (name, visits) in enumerate(books().items()):
        print(f"{name}: {len(visits)} visits, {CHAINS} x {DRAWS} draws ...", file=sys.stderr, flush=True)
        result = sample(visits, 100 + k)
        out["books"][name] = {"visits": as_json(visits), "posterior": result}
        print(
            f"  {result['seconds']:.0f} s, worst R-hat {max(result['gap']['split_rhat']):.4f}",
            file=sys.stderr,
        )
    Path(sys.argv[1]).write_text(json.dumps(out, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
