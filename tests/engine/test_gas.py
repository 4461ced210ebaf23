"""Gas tables: they add up, mixtures mix, limits are said. Independent software: tests/outside/test_gas_software.py."""

from __future__ import annotations

import numpy as np
import pytest

from coldlash.engine.gas import (
    GAS_CONSTANT,
    HIGHEST_K,
    LOWEST_K,
    air,
    burnt_petrol,
    constant_k_gas,
    mixture,
)
from coldlash.errors import InputError


def test_enthalpy_is_the_exact_integral_of_the_heat_capacity() -> None:
    gas = air()
    fine = np.linspace(300.0, 310.0, 11)  # inside one cell, where cp is straight: the trapezium is exact
    cp = gas.cp(fine)
    assert float(gas.h(310.0) - gas.h(300.0)) == pytest.approx(
        float(np.sum(0.5 * (cp[1:] + cp[:-1]))), rel=1e-12
    )
    assert float(gas.h(298.15)) == pytest.approx(0.0, abs=1e-6)


def test_internal_energy_is_enthalpy_less_r_t_and_k_is_cp_over_cv() -> None:
    gas = burnt_petrol()
    assert gas.u(900.0) == pytest.approx(gas.h(900.0) - gas.r * 900.0)
    assert gas.k(900.0) == pytest.approx(gas.cp(900.0) / (gas.cp(900.0) - gas.r))


@pytest.mark.parametrize("species", ["N2", "O2", "CO2", "H2O"])
def test_the_two_temperature_ranges_of_a_species_meet_at_1000_k(species: str) -> None:
    # published: the NASA Glenn fits are made to meet there.
    gas = mixture(species, {species: 1.0})
    steps = np.diff(np.asarray(gas.cp(np.array([990.0, 1000.0, 1010.0]))))
    assert steps[0] == pytest.approx(steps[1], rel=0.1)


def test_air_has_the_gas_constant_of_the_standard_atmosphere() -> None:
    # published, from memory (M): US Standard Atmosphere 1976, R = 287.053 J/(kg K).
    assert air().r == pytest.approx(287.053, rel=5e-5)


def test_burnt_mixture_is_the_carbon_and_hydrogen_balance() -> None:
    # derived by hand: CH1.87 + 1.4675 air-oxygen gives 1 CO2, 0.935 H2O, the air's N2 and Ar.
    oxygen = 1.4675
    moles = {"CO2": 1.0, "H2O": 0.935, "N2": 0.78084 / 0.20946 * oxygen, "Ar": 0.0097 / 0.20946 * oxygen}
    mass = 44.0095 + 0.935 * 18.01528 + moles["N2"] * 28.0134 + moles["Ar"] * 39.948
    assert burnt_petrol().r == pytest.approx(GAS_CONSTANT / (mass / sum(moles.values()) / 1000), rel=1e-9)


def test_a_gas_of_constant_k_has_it_everywhere() -> None:
    gas = constant_k_gas(1.4)
    assert gas.k(np.array([200.0, 777.0, 4000.0])) == pytest.approx([1.4, 1.4, 1.4])


def test_what_is_no_gas_is_refused() -> None:
    with pytest.raises(InputError, match="is no mixture known here"):
        mixture("soup", {"N2": 1.0, "Xe": 0.1})
    with pytest.raises(InputError, match="is no mixture known here"):
        mixture("nothing", {})
    with pytest.raises(InputError, match="make no gas; k must be above 1"):
        constant_k_gas(1.0)
    with pytest.raises(InputError, match="give kelvin, not degrees Celsius"):
        air().cp(20.0)
    assert LOWEST_K < 200.0 < HIGHEST_K
