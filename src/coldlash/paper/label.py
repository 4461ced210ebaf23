"""Labels for the lid: what is due next, the set points, a QR code to the engine's page. Cut out and stick on."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from coldlash import language
from coldlash.engine.spec import KIND_WORD, GapSpec, Kind
from coldlash.errors import InputError
from coldlash.language import say
from coldlash.paper.fitting import fit_size
from coldlash.paper.tape import Paper
from coldlash.paper.titleblock import stamp, title_block
from coldlash.paper.typesetting import Printed, typeset
from coldlash.paper.words import ENGLISH, Words

LABEL_MM = (90.0, 50.0)
QR_MM = 30.0
LONGEST_ADDRESS = 200
NAME_PT, LEAST_PT = 15.0, 3.5
NAME_ROOM_MM = (52.0, 17.0)


@dataclass(frozen=True, slots=True)
class LabelData:
    """One engine's label. ``due_day``, ``due_km``: the next check, None = not known.

    ``forecast``: the day is projected. ``address``: the engine's page, for the QR code; "" = none. ``gaps`` by kind.
    """

    engine: str
    gaps: dict[Kind, GapSpec]
    vehicle: str = ""
    due_day: date | None = None
    forecast: bool = False
    due_km: float | None = None
    last_day: date | None = None
    last_km: float | None = None
    address: str = ""
    words: Words = ENGLISH


def print_labels(labels: Sequence[LabelData], made_on: date, *, paper: Paper = "a4") -> Printed:
    """The PDF: labels of 90 x 50 mm at true scale, two beside each other. Raises InputError, PaperError."""
    data, pictures = label_data(labels, made_on, paper)
    return typeset("label", data, pictures, timestamp=stamp(made_on), true_scale=True)


def label_data(
    labels: Sequence[LabelData], made_on: date, paper: Paper = "a4"
) -> tuple[dict[str, object], dict[str, bytes]]:
    """What the template needs. Raises InputError: no labels, an address that is too long."""
    if not labels:
        raise InputError(language.say("labels: there is no engine to make one for; name at least one"))
    words = labels[0].words
    say = words.say
    pictures: dict[str, bytes] = {}
    rows = []
    for number, label in enumerate(labels):
        name = ""
        if label.address:
            name = f"qr{number}.svg"
            pictures[name] = qr_svg(label.address)
        rows.append(_label(label, name))
    title = say("Labels") if len(labels) > 1 else say("Label, {name}", name=labels[0].engine)
    data: dict[str, object] = {
        "title": title,
        "lang": language.current(),
        "paper": paper,
        "size": list(LABEL_MM),
        "qr_mm": QR_MM,
        "labels": rows,
        "block": title_block(
            title,
            [(say("scale"), "1 : 1"), (say("made on"), words.day(made_on))],
            words,
        ),
    }
    return data, pictures


def qr_svg(address: str) -> bytes:
    """A QR code (ISO/IEC 18004, error correction M, quiet zone of 4 modules) as SVG. Raises InputError."""
    if not 0 < len(address) <= LONGEST_ADDRESS:
        raise InputError(
            say(
                "QR code: an address of {count} characters is not printed; give 1 to {longest_address}",
                count=len(address),
                longest_address=LONGEST_ADDRESS,
            )
        )
    try:
        import segno
    except ImportError:
        raise InputError(
            say("the QR code needs a library that is not installed; install coldlash[paper]")
        ) from None
    out = io.BytesIO()
    segno.make(address, error="m", micro=False).save(out, kind="svg", border=4, scale=4, xmldecl=True)
    return out.getvalue()


def _label(label: LabelData, picture: str) -> dict[str, object]:
    words = label.words
    say = words.say
    name = f"{label.engine}, {label.vehicle}" if label.vehicle else label.engine
    return {
        "name": name,
        "name_pt": fit_size(name, NAME_ROOM_MM, NAME_PT, LEAST_PT, 600),
        "due_label": say("Valve gaps due next"),
        "due": _due(label),
        "last": _last(label),
        "gaps": [
            say("{kind} {gap}", kind=say(KIND_WORD[kind]), gap=words.gap_and_unit(spec.cold))
            for kind, spec in label.gaps.items()
        ],
        "cold": say("set cold"),
        "qr": picture,
        "alt": say("QR code for {address}", address=label.address) if picture else "",
        "address": label.address,
        "address_pt": fit_size(label.address, (QR_MM, 8.0), 6.0, 3.5),
    }


def _due(label: LabelData) -> list[str]:
    """The lines of the next check, the distance first: it stands on the meter beside the label."""
    words = label.words
    lines = []
    if label.due_km is not None:
        lines.append(words.say("at {distance}", distance=words.distance(label.due_km)))
    if label.due_day is not None:
        day = words.day(label.due_day)
        lines.append(words.say("about {day}", day=day) if label.forecast else words.say("by {day}", day=day))
    return lines or [words.say("measure once to begin")]


def _last(label: LabelData) -> str:
    words = label.words
    if label.last_day is None:
        return words.say("not checked yet")
    if label.last_km is None:
        return words.say("last: {day}", day=words.day(label.last_day))
    return words.say(
        "last: {day}, {distance}", day=words.day(label.last_day), distance=words.distance(label.last_km)
    )
