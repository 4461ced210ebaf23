"""Gas with properties that change with temperature: air, burnt petrol mixture, or a gas of constant k.

cp/R = a1 T^-2 + a2 T^-1 + a3 + a4 T + a5 T^2 + a6 T^3 + a7 T^4 (McBride, Zehe & Gordon, NASA Glenn coefficients,
NASA/TP-2002-211556; 200-1000 and 1000-6000 K), laid into a table of cp that is straight between its points; the
enthalpy is the exact integral of that table, so energy adds up. Ideal gas; composition frozen (nothing
dissociates), so peaks of combustion above about 2200 K come out too hot.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coldlash.errors import InputError
from coldlash.language import say

Array = NDArray[np.float64]

GAS_CONSTANT = 8.31446261815324
"""Molar gas constant, J/(mol K), exact since the SI of 2019."""

LOWEST_K, HIGHEST_K, STEP_K = 160.0, 5000.0, 10.0
REFERENCE_K = 298.15

# species: (molar mass g/mol, coefficients below 1000 K, above 1000 K), NASA/TP-2002-211556
_SPECIES: dict[str, tuple[float, tuple[float, ...], tuple[float, ...]]] = {
    "N2": (
        28.0134,
        (2.210371497e4, -3.818461820e2, 6.082738360, -8.530914410e-3, 1.384646189e-5, -9.625793620e-9,
         2.519705809e-12),
        (5.877124060e5, -2.239249073e3, 6.066949220, -6.139685500e-4, 1.491806679e-7, -1.923105485e-11,
         1.061954386e-15),
    ),
    "O2": (
        31.9988,
        (-3.425563420e4, 4.847000970e2, 1.119010961, 4.293889240e-3, -6.836300520e-7, -2.023372700e-9,
         1.039040018e-12),
        (-1.037939022e6, 2.344830282e3, 1.819732036, 1.267847582e-3, -2.188067988e-7, 2.053719572e-11,
         -8.193467050e-16),
    ),
    "Ar": (39.948, (0.0, 0.0, 2.5, 0.0, 0.0, 0.0, 0.0), (0.0, 0.0, 2.5, 0.0, 0.0, 0.0, 0.0)),
    "CO2": (
        44.0095,
        (4.943650540e4, -6.264116010e2, 5.301725240, 2.503813816e-3, -2.127308728e-7, -7.689988780e-10,
         2.849677801e-13),
        (1.176962419e5, -1.788791477e3, 8.291523190, -9.223156780e-5, 4.863676880e-9, -1.891053312e-12,
         6.330036590e-16),
    ),
    "H2O": (
        18.01528,
        (-3.947960830e4, 5.755731020e2, 9.317826530e-1, 7.222712860e-3, -7.342557370e-6, 4.955043490e-9,
         -1.336933246e-12),
        (1.034972096e6, -2.412698562e3, 4.646110780, 2.291998307e-3, -6.836830480e-7, 9.426468930e-11,
         -4.822380530e-15),
    ),
}  # fmt: skip

AIR_PARTS = {"N2": 0.78084, "O2": 0.20946, "Ar": 0.0097}
"""Mole fractions of dry air (US Standard Atmosphere 1976, from memory), carbon dioxide counted as argon."""

HYDROGEN_PER_CARBON = 1.87
"""Of petrol (Heywood 1988 table, from memory)."""


@dataclass(frozen=True, slots=True)
class Gas:
    """``r``: J/(kg K). ``cp``, ``h``: J/(kg K), J/kg (0 at 298.15 K) at LOWEST_K, LOWEST_K + STEP_K, ..."""

    name: str
    r: float
    cp_table: tuple[float, ...]
    h_table: tuple[float, ...]

    def cp(self, temperature_k: ArrayLike) -> Array:
        """Heat capacity at constant pressure, J/(kg K). Raises InputError outside the table."""
        i, f = self._place(temperature_k)
        c = np.asarray(self.cp_table)
        return np.asarray(c[i] + f * (c[i + 1] - c[i]))

    def h(self, temperature_k: ArrayLike) -> Array:
        """Sensible enthalpy, J/kg, 0 at 298.15 K. Raises InputError outside the table."""
        i, f = self._place(temperature_k)
        c, h = np.asarray(self.cp_table), np.asarray(self.h_table)
        return np.asarray(h[i] + STEP_K * f * (c[i] + 0.5 * f * (c[i + 1] - c[i])))

    def u(self, temperature_k: ArrayLike) -> Array:
        """Sensible internal energy h - R T, J/kg."""
        return np.asarray(self.h(temperature_k) - self.r * np.asarray(temperature_k, dtype=np.float64))

    def k(self, temperature_k: ArrayLike) -> Array:
        """cp / cv."""
        cp = self.cp(temperature_k)
        return np.asarray(cp / (cp - self.r))

    def _place(self, temperature_k: ArrayLike) -> tuple[NDArray[np.intp], Array]:
        t = np.asarray(temperature_k, dtype=np.float64)
        if not ((t >= LOWEST_K) & (t <= HIGHEST_K)).all():
            raise InputError(
                say(
                    "a gas temperature is outside {lowest_k:g}..{highest_k:g} K; give kelvin, not degrees Celsius",
                    lowest_k=LOWEST_K,
                    highest_k=HIGHEST_K,
                )
            )
        at = (t - LOWEST_K) / STEP_K
        i = np.minimum(at.astype(np.intp), len(self.cp_table) - 2)
        return i, at - i


def mixture(name: str, parts: dict[str, float]) -> Gas:
    """A frozen mixture from mole fractions of N2, O2, Ar, CO2, H2O (any sum). Raises InputError otherwise."""
    unknown = sorted(set(parts) - set(_SPECIES))
    if unknown or not parts or min(parts.values()) < 0 or sum(parts.values()) <= 0:
        raise InputError(
            say(
                "{parts} is no mixture known here; give amounts above 0 of {species}",
                parts=parts,
                species=", ".join(_SPECIES),
            )
        )
    total = sum(parts.values())
    molar_mass = sum(x * _SPECIES[s][0] for s, x in parts.items()) / total / 1000
    t = _grid()
    powers = np.stack([t**-2, t**-1, np.ones_like(t), t, t**2, t**3, t**4])
    cp_over_r = np.zeros_like(t)
    for species, x in parts.items():
        _, cold, hot = _SPECIES[species]
        # Below 200 K the 200 K value holds: the fit ends there.
        low = np.array(cold) @ np.where(t < 200.0, powers[:, t == 200.0], powers)
        cp_over_r += x / total * np.where(t <= 1000.0, low, np.array(hot) @ powers)
    r = GAS_CONSTANT / molar_mass
    return _tabled(name, r, r * cp_over_r)


def constant_k_gas(k: float, r: float = 287.05) -> Gas:
    """A gas with constant cp/cv = ``k`` and gas constant ``r``, J/(kg K). Raises InputError."""
    if not (k > 1 and r > 0):
        raise InputError(say("k {k:g} and R {r:g} make no gas; k must be above 1 and R above 0", k=k, r=r))
    return _tabled(f"k = {k:g}", r, np.full_like(_grid(), k / (k - 1) * r))


def air() -> Gas:
    """Dry air."""
    return mixture("air", AIR_PARTS)


def burnt_petrol() -> Gas:
    """Products of petrol burnt completely with just enough air: CO2, H2O, N2, Ar."""
    oxygen = 1.0 + HYDROGEN_PER_CARBON / 4
    per_oxygen = oxygen / AIR_PARTS["O2"]
    return mixture(
        "burnt petrol mixture",
        {
            "CO2": 1.0,
            "H2O": HYDROGEN_PER_CARBON / 2,
            "N2": AIR_PARTS["N2"] * per_oxygen,
            "Ar": AIR_PARTS["Ar"] * per_oxygen,
        },
    )


def _grid() -> Array:
    return np.arange(LOWEST_K, HIGHEST_K + STEP_K / 2, STEP_K)


def _tabled(name: str, r: float, cp: Array) -> Gas:
    h = np.concatenate([[0.0], np.cumsum(0.5 * (cp[1:] + cp[:-1]) * STEP_K)])
    gas = Gas(name, r, tuple(cp.tolist()), tuple(h.tolist()))
    h = h - float(gas.h(REFERENCE_K))
    return Gas(name, r, gas.cp_table, tuple(h.tolist()))
