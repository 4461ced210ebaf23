"""What an interval reading says about a Gaussian: moments after seeing that a noisy value lies in [lo, hi).

y ~ N(m, v), a reading y + N(0, noise) fell in [lo, hi). Mean and variance of y afterwards are those of the
truncated normal (Johnson, Kotz & Balakrishnan, Continuous Univariate Distributions 1, section 13.10.1),
written with the Mills ratio R(x) = Q(x)/phi(x) so that they hold in the far tails. With probability
``exp(log_misread)`` the reading says nothing and would have fallen here with probability
``exp(log_chance)``: then the answer is the moment-matched mixture. Valid for any real m, v > 0, noise > 0,
lo <= hi, ends infinite or not.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_LOG_SQRT_2PI = 0.9189385332046727
_SQRT_HALF = 0.7071067811865476
_SQRT_HALF_PI = 1.2533141373155003
_FAR = 1e8
_TINY = 1e-300


class Moments(NamedTuple):
    """Log probability of the reading, then mean and variance of y given it. All of one shape."""

    log_z: Array
    mean: Array
    var: Array


def truncated(a: Array, b: Array) -> Moments:
    """Log probability, mean and variance of a standard normal on [a, b], a < b, ends may be infinite.

    The variance is within 1e-8 absolutely even where a > 1e4; it is clipped to [0, 1].
    """
    from scipy.special import erfcx

    a = np.clip(a, -_FAR, _FAR)
    b = np.clip(b, -_FAR, _FAR)
    total = a + b
    flip = total < 0
    a, b = np.where(flip, -b, a), np.where(flip, -a, b)
    below = a < 0
    half_sq = 0.5 * a * a
    density = np.exp(-half_sq - _LOG_SQRT_2PI)
    ratio = np.exp(-0.5 * (b - a) * np.abs(total))
    mills_a = _SQRT_HALF_PI * erfcx(_SQRT_HALF * np.abs(a))
    mills_b = _SQRT_HALF_PI * erfcx(_SQRT_HALF * b)
    scaled = np.where(below, 1.0 - density * (mills_a + ratio * mills_b), mills_a - ratio * mills_b)
    scaled = np.maximum(scaled, _TINY)
    weight = np.where(below, density, 1.0) / scaled
    shift = weight * (1.0 - ratio)
    var = 1.0 - weight * (b * ratio - a) - shift * shift
    log_z = np.log(scaled) - np.where(below, 0.0, half_sq + _LOG_SQRT_2PI)
    return Moments(log_z, np.where(flip, -shift, shift), np.clip(var, 0.0, 1.0))


def read(
    m: Array,
    v: Array,
    lo: Array,
    hi: Array,
    noise: Array,
    drag: Array | None,
    log_sound: Array,
    log_misread: Array,
    log_chance: Array,
) -> Moments:
    """Moments of y ~ N(m, v) after a reading in [lo, hi); all arguments broadcast together.

    ``noise`` is the variance of a go / no-go decision, mm^2. ``drag`` is the variance for points (lo == hi,
    drag on a blade), whose log probability is a log density; None = there are none. ``log_sound`` and
    ``log_misread`` are log(1 - eps) and log(eps), the latter -inf for none; ``log_chance`` the log
    probability (density for points) of this reading under a misread.
    """
    s2 = v + noise
    s = np.sqrt(s2)
    if drag is None:
        z = truncated((lo - m) / s, (hi - m) / s)
        shift, lost, log_z = v / s * z.mean, v * v / s2 * (1.0 - z.var), z.log_z
    else:
        point = lo == hi
        z = truncated(np.where(point, -1.0, lo - m) / s, np.where(point, 1.0, hi - m) / s)
        p2 = v + drag
        off = np.where(point, lo, m) - m
        shift = np.where(point, v / p2 * off, v / s * z.mean)
        lost = np.where(point, v * v / p2, v * v / s2 * (1.0 - z.var))
        log_z = np.where(point, -0.5 * (off * off / p2 + np.log(p2)) - _LOG_SQRT_2PI, z.log_z)
    sound = log_sound + log_z
    both = np.logaddexp(sound, log_misread + log_chance)
    r = np.exp(sound - both)
    return Moments(both, m + r * shift, v - r * lost + r * (1.0 - r) * shift * shift)
