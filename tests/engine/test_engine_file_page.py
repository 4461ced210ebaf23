"""docs/engine-file.md keeps up with what is read: its example, keys, materials and generic engines."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from coldlash.engine import key_hints
from coldlash.engine.catalogue import generic_names, generic_text
from coldlash.engine.materials import MATERIALS
from coldlash.engine.reader import read_engine
from coldlash.errors import FaultyFileError

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "engine-file.md").read_text(encoding="utf-8")


def test_the_example_reads_without_faults():
    example = re.search(r"```toml\n(.*?)```", PAGE, re.S)
    assert example is not None
    assert read_engine(example[1], "docs").name == "Launch engine"


def test_every_key_is_explained():
    keys = {*key_hints.TOP, *(k for keys in key_hints.KNOWN.values() for k in keys)}
    assert {key for key in keys if key not in PAGE} == set()
    tables = (
        "valve_events_deg",
        "gap_mm.intake",
        "gap_mm.exhaust",
        "linkage",
        "pulley",
        "geometry",
        "service",
    )
    assert all(f"`[{table}]`" in PAGE for table in (*tables, "lobe.intake", "lobe.exhaust", "[stack]"))


def test_every_material_is_listed():
    assert {name for name in MATERIALS if f"`{name}`" not in PAGE} == set()


@pytest.mark.parametrize("name", generic_names())
def test_every_generic_engine_is_listed_with_its_order_and_gaps(name):
    row = re.search(rf"^\| `{name}` \| ([\d-]+)[^|]* \| ([\d.]+) / ([\d.]+) \|", PAGE, re.M)
    assert row is not None
    engine = read_engine(generic_text(name), name)
    assert row[1] == "-".join(map(str, engine.firing_order))
    assert (float(row[2]), float(row[3])) == (engine.gaps["I"].cold, engine.gaps["E"].cold)


# (key, lowest and highest allowed by the page, how the page writes them)
RANGES = [
    ("rocker_ratio", "0.2 to 5"),
    ("screw_pitch_mm", "0.15 to 3 mm"),
    ("diameter_mm", "20 to 1000 mm"),
    ("bore_mm", "20 to 500 mm"),
    ("stroke_mm", "20 to 600 mm"),
    ("rod_mm", "30 to 1500 mm"),
    ("checking_lift_mm", "0 to 5"),
]


@pytest.mark.parametrize(("key", "span"), RANGES)
def test_the_ends_of_a_range_on_the_page_are_allowed_and_what_lies_beyond_is_not(key, span):
    assert re.search(rf"^\| `{key}` \|.*{re.escape(span)}", PAGE, re.M)
    low, high = re.findall(r"[\d.]+", span)
    lines = [line for line in generic_text("flat-four").splitlines() if not line.startswith("rod_mm")]
    if key == "checking_lift_mm":
        lines = [re.sub(r"^(exhaust_closes_atdc .*)", r"\1\nchecking_lift_mm = 1", line) for line in lines]
    if key == "rod_mm":
        lines = [re.sub(r"^stroke_mm.*", "rod_mm = 100", line) for line in lines]
    good = "\n".join(lines)

    def with_value(value: float) -> str:
        return re.sub(rf"^{key} = [\d.]+", f"{key} = {value:.6f}", good, flags=re.M)

    for value in (float(low), float(high)):
        assert f"{key} = {value:.6f}" in with_value(value)
        assert read_engine(with_value(value), "x")
    for value in (float(low) - 0.01, float(high) + 0.01):
        with pytest.raises(FaultyFileError, match=key):
            read_engine(with_value(value), "x")
