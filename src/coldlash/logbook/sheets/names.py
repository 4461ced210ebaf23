"""Words in headings and cells, English and German: what a column is, which valve is meant, yes and no."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from functools import lru_cache
from typing import Literal

from coldlash.logbook.sheets.numbers import UNITS

Role = Literal[
    "date", "distance", "temperature", "engine", "valve", "cylinder", "kind", "found", "found_go", "found_nogo",
    "found_feel", "adjusted", "left", "left_go", "left_nogo", "left_feel", "note", "by", "ignore",
]  # fmt: skip
GAP_ROLES: tuple[Role, ...] = ("found", "found_go", "found_nogo", "left", "left_go", "left_nogo")
Letters = Literal["en", "de"]
"""What E means: exhaust (en: I and E) or Einlass, the intake (de: E and A)."""

_WORDS: dict[Role, str] = {
    "date": "date day datum tag when wann checked_on service_date servicedatum am",
    "distance": "distance mileage odometer odo km kms miles kilometer kilometre kilometers kilometres kilometerstand "
    "km_stand kmstand tacho tachostand meter milage reading_km hours engine_hours betriebsstunden stunden laufleistung "
    "distance_km strecke stand zaehlerstand zählerstand total_km fahrleistung meilen meilenstand clock",
    "temperature": "temperature temp engine_temp engine_temperature engine_temp_c motortemperatur temperatur "
    "motor_temp motortemp engine_t oil_temp",
    "engine": "engine motor engine_name maschine aggregat unit vehicle fahrzeug",
    "valve": "valve ventil valves ventile valve_no valve_name",
    "cylinder": "cylinder cyl zylinder zyl cylinder_no cylinder_number zyl_nr zylinder_nr no_cyl",
    "kind": "kind type side in_or_ex intake_or_exhaust in/ex i/e e/a art ventilart einlass/auslass ein/aus",
    "found": "found gap clearance lash as_found before measured spiel ventilspiel ist vorgefunden vorher gemessen "
    "gefunden clearance_found gap_found valve_clearance valve_gap reading istwert ist_spiel spiel_vorher measured_gap "
    "check checked cold_gap",
    "found_go": "found_go found_go_mm go goes blade_goes geht passt passed go_blade thickest_that_went ging geht_durch "
    "gut_lehre",
    "found_nogo": "found_nogo found_nogo_mm nogo no_go no-go does_not_go does_not geht_nicht passt_nicht not_go "
    "thinnest_that_did_not ging_nicht ausschuss",
    "found_feel": "found_feel feel gefühl",
    "adjusted": "adjusted adjusted? set? adjust justiert nachgestellt eingestellt? geändert changed was_adjusted "
    "eingestellt_ja_nein",
    "left": "left left_mm set set_to adjusted_to after as_left left_at eingestellt eingestellt_auf nachher soll "
    "gestellt "
    "gestellt_auf neu new reset_to spiel_nachher after_adjustment hinterlassen sollwert",
    "left_go": "left_go left_go_mm left_goes",
    "left_nogo": "left_nogo left_nogo_mm left_no_go",
    "left_feel": "left_feel",
    "note": "note notes remark remarks comment comments bemerkung bemerkungen notiz notizen anmerkung kommentar",
    "by": "by who mechanic name measured_by checked_by von wer mechaniker bearbeiter prüfer done_by initials",
}


def _set_of(words: str) -> frozenset[str]:
    return frozenset(words.split())


_STRONG: dict[str, Role] = {}
"""Words that say what a column is even among others."""
_STRONG_WORDS: tuple[tuple[Role, str], ...] = (
    ("date", "date datum"),
    (
        "distance",
        "odometer odo mileage kilometerstand kilometer kilometres kilometers miles tacho km laufleistung "
        "betriebsstunden",
    ),
    ("temperature", "temperature temperatur temp"),
    ("note", "remarks remark notes bemerkung bemerkungen notizen comments"),
    ("by", "mechanic mechaniker"),
)
for _role, _text in _STRONG_WORDS:
    for _word in _text.split():
        _STRONG[_word] = _role
_STEP_WORDS: dict[str, Role] = {}
_ROLE: dict[str, Role] = {}
for _role, _text in _WORDS.items():
    for _word in _text.split():
        _ROLE[_word.replace("_", " ")] = _role
for _role in ("found", "found_go", "found_nogo", "left", "left_go", "left_nogo"):
    for _word in _WORDS[_role].split():
        _STEP_WORDS[_word.replace("_", " ")] = _role

_STEPS_LONGEST_FIRST = tuple(sorted(_STEP_WORDS, key=len, reverse=True))

_FILLERS = _set_of(
    "cyl cylinder zyl zylinder valve ventil no nr number nummer gap clearance lash spiel ventilspiel the "
    "of at in_mm cold kalt mm"
)
_INTAKE = _set_of("i in inl inlet int intake iv einlass einlaß ein einl ev einlassventil einlaßventil inlets")
_EXHAUST = _set_of(
    "ex exh exhaust xv auslass auslaß aus ausl av auslassventil auslaßventil a outlet exhausts"
)

YES = _set_of("yes y true 1 x ✓ ✔ ja j wahr adjusted set eingestellt nachgestellt justiert done erledigt")
NO = frozenset(
    {"no", "n", "false", "0", "nein", "falsch", "o", "-", "–", "not adjusted", "nicht", "ok", "i.o.", "io"}
)
FEELS = {"free": "free", "drag": "drag", "drags": "drag", "leicht": "free", "frei": "free", "saugend": "drag",
         "stramm": "drag", "loose": "free", "tight": "drag"}  # fmt: skip
TOTALS = _set_of(
    "total totals sum average mean avg min max count summe gesamt durchschnitt mittel mittelwert schnitt "
    "anzahl ø minimum maximum median"
)


@lru_cache(maxsize=4096)
def plain_words(text: str) -> str:
    """A heading without case, punctuation at its ends and line breaks."""
    words = unicodedata.normalize("NFKC", text).lower().replace("\n", " ").replace("_", " ")
    return re.sub(r"\s+", " ", words).strip(" .:*#")


def is_total(row: Iterable[object]) -> bool:
    """True when a row begins as totals do. A person may be called so too: it is none where the row has a date."""
    first = next((cell for cell in row if cell is not None), None)
    return isinstance(first, str) and plain_words(first).partition(" ")[0] in TOTALS


@lru_cache(maxsize=4096)
def unit_in(heading: str) -> str:
    """The unit a heading names in brackets or at its end: "Gap (mm)", "Spiel in Zoll", "°F"; "" = none."""
    words = plain_words(heading)
    for inside in re.findall(r"[\(\[]([^)\]]+)[\)\]]", words):
        told = inside.strip().removeprefix("in ").strip()
        if told in UNITS:
            return UNITS[told]
        if told in ("1/100 mm", "1/100mm"):
            return "0.01mm"
    if words in UNITS and words not in ("h", "c", "f", "in", "°"):
        return UNITS[words]
    for end in (2, 1):
        told = " ".join(words.split()[-end:]).strip("()[]")
        if len(words.split()) > end and told in UNITS and told not in ("in", "c", "f", "h", "grad"):
            return UNITS[told]
    last = words.split()[-1:] or [""]
    if len(words.split()) > 1 and last[0] in ("c", "f", "h", "in"):
        return UNITS[last[0]]
    return ""


@lru_cache(maxsize=4096)
def without_unit(heading: str) -> str:
    """A heading in plain words without brackets and the unit at its end."""
    words = re.sub(r"[\(\[][^)\]]*[\)\]]?", " ", plain_words(heading))
    words = re.sub(r"\s+", " ", words).strip(" .:-,/")
    parts = words.split()
    while len(parts) > 1 and parts[-1] in UNITS:
        parts.pop()
        if len(parts) > 1 and parts[-1] in ("in", ","):
            parts.pop()
    return " ".join(parts).strip(" .:-,/")


@lru_cache(maxsize=4096)
def role_of(heading: str) -> Role | None:
    """What a heading's words call the column; None = they say nothing."""
    words = plain_words(heading)
    for said in (
        words,
        words.replace("-", " "),
        without_unit(heading),
        without_unit(heading).replace("-", " "),
    ):
        role = _ROLE.get(said)
        if role is not None:
            return role
    step, rest = step_of(heading)
    if words and not rest:
        return step
    told = {_STRONG[word] for word in without_unit(heading).replace("-", " ").split() if word in _STRONG}
    if not told and unit_in(heading) in ("km", "mile"):
        return "distance"  # "Own km"
    return told.pop() if len(told) == 1 else None


@lru_cache(maxsize=4096)
def step_of(heading: str) -> tuple[Role, str]:
    """The step a heading names among other words ("E3 found", "Auslass 3 eingestellt"), and the rest of it."""
    return _step(without_unit(heading))


def _step(words: str) -> tuple[Role, str]:
    rest = " " + re.sub(r"[^\w.#]+", " ", re.sub(r"[-/()\[\]]", " ", words)) + " "
    said: set[Role] = set()
    for word in _STEPS_LONGEST_FIRST:
        if f" {word} " in rest:
            said.add(_STEP_WORDS[word])
            rest = rest.replace(f" {word} ", "  ", 1)
    left = any(role.startswith("left") for role in said)
    nogo = any(role.endswith("nogo") for role in said)
    went = any(role.endswith("_go") for role in said)
    roles: tuple[Role, Role, Role] = (
        ("left", "left_go", "left_nogo") if left else ("found", "found_go", "found_nogo")
    )
    return roles[2 if nogo else 1 if went else 0], " ".join(rest.split())


@lru_cache(maxsize=4096)
def valve_heading(heading: str) -> tuple[Role, str] | None:
    """The step and the valve code of a heading that names a valve, or intake or exhaust in a word; None = neither."""
    whole = re.sub(r"[\(\[][^)\]]*[\)\]]?", " ", plain_words(heading))
    # "#1 In" is an intake; only where that makes no valve is "in" an inch.
    for words in (whole, without_unit(heading)):
        step, rest = _step(words)
        parts = valve_parts(rest)
        if parts is not None and parts[1] is None and words.endswith(" in"):
            continue  # "Gap in": inches
        if parts is not None and (parts[1] is not None or len(rest) > 1):
            return step, parts[0] + ("" if parts[1] is None else str(parts[1]))
    return None


@lru_cache(maxsize=65_536)
def valve_parts(text: str) -> tuple[str, int | None] | None:
    """A valve as written: its letter ("I", "A" = Auslass/exhaust word, "E" = the bare letter E, "" = none) and number.

    "E3" -> ("E", 3); "3 Ex" -> ("X", 3); "Auslass 3" -> ("A", 3); "Einlass" -> ("G", None); "Intake 2" -> ("I", 2).
    "X" and "I" are English words, "G" and "A" German ones. None = no valve.
    """
    words = plain_words(text)
    words = re.sub(r"([^\W\d_])(\d)|(\d)([^\W\d_])", lambda m: " ".join(filter(None, m.groups())), words)
    parts = [part for part in re.split(r"[\s.#:()\-/,_]+", words) if part and part not in _FILLERS]
    numbers = [part for part in parts if part.isdecimal()]
    letters = [part for part in parts if not part.isdecimal()]
    if len(numbers) > 1 or len(letters) != 1 or any(len(number) > 2 for number in numbers):
        return None
    kind = _kind(letters[0])
    if kind is None:
        return None
    number = int(numbers[0]) if numbers else None
    return None if number == 0 else (kind, number)


def _kind(word: str) -> str | None:
    if word == "e":
        return "E"
    if word in ("a", "av") or word.startswith(("ausl", "aus")):
        return "A"
    if word in _INTAKE:
        return "G" if word.startswith(("ein", "ev")) else "I"
    if word in _EXHAUST:
        return "X"
    return None


def letters_of(kinds: Iterable[str]) -> str:
    """What E means where these kinds of valve stand together: "en", "de", or "" where it can't be told.

    Only a bare E needs telling. I or In beside it, and it is the exhaust; A or Aus, and it is the intake.
    """
    seen = set(kinds)
    if "E" not in seen:
        return "en"
    english, german = bool(seen & {"I"}), bool(seen & {"A"})
    if english != german:
        return "en" if english else "de"
    return ""


def kind_letter(kind: str, letters: str) -> str | None:
    """ "I" or "E" for a kind of ``valve_parts``; None where a bare E can't be told."""
    if kind == "E":
        return {"en": "E", "de": "I"}.get(letters)
    return "E" if kind in ("A", "X") else "I"


def yes_or_no(cell: object) -> bool | None:
    """A cell that says yes or no, in words or as a mark; None = neither."""
    if isinstance(cell, bool):
        return cell
    if isinstance(cell, float):
        return {1.0: True, 0.0: False}.get(cell)
    if isinstance(cell, str):
        said = plain_words(cell)
        return True if said in YES else False if said in NO else None
    return None
