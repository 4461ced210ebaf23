"""What an unknown key may mean: every word points to a key that exists."""

from __future__ import annotations

from coldlash.engine import key_hints
from coldlash.engine.key_hints import meaning_of


def test_every_word_with_a_meaning_points_to_a_known_key():
    known = {*key_hints.TOP, *key_hints.KINDS, *(k for keys in key_hints.KNOWN.values() for k in keys)}
    known |= {*key_hints.GAP, *key_hints.LOBE}
    assert set(key_hints._MEANS.values()) <= known
    assert not set(key_hints._MEANS) & known, "a key that is known needs no meaning"


def test_a_key_of_another_table_is_sent_there():
    assert meaning_of((), "peak_lift_mm") == "peak_lift_mm belongs in [lobe.intake]"
    assert meaning_of(("gap_mm", "exhaust"), "marks_deg") == "marks_deg belongs in [pulley]"
    assert (
        meaning_of(("stack", 0), "turns") == "turns belongs at the top of the file, before the first [table]"
    )


def test_exhaust_tables_know_the_keys_of_intake_tables():
    assert meaning_of(("gap_mm", "exhaust"), "max") == "did you mean loose?"
    assert meaning_of(("lobe", "exhaust"), "lift") == "did you mean peak_lift_mm?"


def test_a_word_without_meaning_is_left_to_the_spelling():
    assert meaning_of((), "xyzzy") is None
    assert meaning_of(("nowhere",), "xyzzy") is None
