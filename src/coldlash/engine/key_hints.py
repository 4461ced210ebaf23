"""What an unknown key of an engine file may have meant: by its meaning, its unit, or the table it belongs to."""

from __future__ import annotations

from collections.abc import Mapping

from coldlash.engine.toml_lines import Path
from coldlash.language import mark, say, table

TOP = (
    "name",
    "cylinders",
    "firing_order",
    "firing_gaps_deg",
    "turns",
    "layout",
    "heads",
    "rows",
    "shared_lobes",
    "valve_events_deg",
    "gap_mm",
    "linkage",
    "pulley",
    "stack",
    "geometry",
    "lobe",
    "service",
)
EVENTS = (
    "intake_opens_btdc",
    "intake_closes_abdc",
    "exhaust_opens_bbdc",
    "exhaust_closes_atdc",
    "checking_lift_mm",
)
KINDS = ("intake", "exhaust")
GAP = ("cold", "tight", "loose")
LINKAGE = ("rocker_ratio", "screw_side", "screw_pitch_mm", "train")
PULLEY = ("diameter_mm", "marks_deg")
STACK = ("part", "length_mm", "material", "expansion_per_k", "zone", "heights")
GEOMETRY = ("bore_mm", "stroke_mm", "rod_mm", "compression_ratio")
LOBE = ("peak_lift_mm", "ramp_mm", "ramp_deg", "table")
SERVICE = ("every_km", "every_months", "first_km", "meter", "km_per_h")

KNOWN: Mapping[str, tuple[str, ...]] = {
    "valve_events_deg": EVENTS,
    "gap_mm.intake": GAP,
    "linkage": LINKAGE,
    "pulley": PULLEY,
    "stack": STACK,
    "geometry": GEOMETRY,
    "lobe.intake": LOBE,
    "service": SERVICE,
}

_SAID_ELSEWHERE = {
    "rpm": mark("engine speed is no part of an engine file; give it to the command that asks for it"),
    "speed": mark("engine speed is no part of an engine file; give it to the command that asks for it"),
    "idle_rpm": mark("engine speed is no part of an engine file; give it to the command that asks for it"),
    "displacement": mark("give bore_mm and stroke_mm in [geometry] instead"),
    "capacity": mark("give bore_mm and stroke_mm in [geometry] instead"),
    "capacity_cc": mark("give bore_mm and stroke_mm in [geometry] instead"),
    "odometer": mark("distances belong in the book or the log, not in the engine file"),
    "mileage": mark("distances belong in the book or the log, not in the engine file"),
    "temperature": mark("temperatures are given by zone when asked, a part only names its zone"),
    "temperature_c": mark("temperatures are given by zone when asked, a part only names its zone"),
    "every_h": mark('write every_km = hours x km_per_h, with meter = "h"'),
    "every_hours": mark('write every_km = hours x km_per_h, with meter = "h"'),
    "every_miles": mark("write every_km; 3000 miles are 4828 km"),
    "every_mi": mark("write every_km; 3000 miles are 4828 km"),
    "first_miles": mark("write first_km; 500 miles are 805 km"),
    "duration": mark("give opening and closing, like intake_opens_btdc and intake_closes_abdc"),
    "lobe_centre": mark("give opening and closing, like intake_opens_btdc and intake_closes_abdc"),
    "lobe_center": mark("give opening and closing, like intake_opens_btdc and intake_closes_abdc"),
}

_MEANS = {
    "title": "name",
    "engine": "name",
    "cyl": "cylinders",
    "cyls": "cylinders",
    "number_of_cylinders": "cylinders",
    "order": "firing_order",
    "firing": "firing_order",
    "firing_sequence": "firing_order",
    "firing_intervals": "firing_gaps_deg",
    "firing_intervals_deg": "firing_gaps_deg",
    "firing_angles": "firing_gaps_deg",
    "rotation": "turns",
    "direction": "turns",
    "type": "layout",
    "arrangement": "layout",
    "banks": "heads",
    "cylinder_heads": "heads",
    "valve_order": "rows",
    "valve_rows": "rows",
    "shared_cams": "shared_lobes",
    "shared_cam_lobes": "shared_lobes",
    "events": "valve_events_deg",
    "timing": "valve_events_deg",
    "valve_timing": "valve_events_deg",
    "valve_events": "valve_events_deg",
    "valve_timing_deg": "valve_events_deg",
    "gap": "gap_mm",
    "gaps": "gap_mm",
    "gaps_mm": "gap_mm",
    "clearance": "gap_mm",
    "clearances": "gap_mm",
    "clearance_mm": "gap_mm",
    "valve_clearance": "gap_mm",
    "lash": "gap_mm",
    "lash_mm": "gap_mm",
    "ivo": "intake_opens_btdc",
    "io": "intake_opens_btdc",
    "ivc": "intake_closes_abdc",
    "ic": "intake_closes_abdc",
    "evo": "exhaust_opens_bbdc",
    "eo": "exhaust_opens_bbdc",
    "evc": "exhaust_closes_atdc",
    "ec": "exhaust_closes_atdc",
    "lift_mm": "checking_lift_mm",
    "checking_lift": "checking_lift_mm",
    "inlet": "intake",
    "in": "intake",
    "ex": "exhaust",
    "outlet": "exhaust",
    "set": "cold",
    "nominal": "cold",
    "cold_mm": "cold",
    "min": "tight",
    "minimum": "tight",
    "tightest": "tight",
    "max": "loose",
    "maximum": "loose",
    "loosest": "loose",
    "valve_train": "linkage",
    "ratio": "rocker_ratio",
    "rocker": "rocker_ratio",
    "lever_ratio": "rocker_ratio",
    "adjuster": "screw_side",
    "screw": "screw_side",
    "pitch": "screw_pitch_mm",
    "pitch_mm": "screw_pitch_mm",
    "thread": "screw_pitch_mm",
    "screw_thread": "screw_pitch_mm",
    "diameter": "diameter_mm",
    "radius_mm": "diameter_mm",
    "circumference_mm": "diameter_mm",
    "marks": "marks_deg",
    "timing_marks": "marks_deg",
    "stacks": "stack",
    "length": "length_mm",
    "alpha": "expansion_per_k",
    "cte": "expansion_per_k",
    "expansion": "expansion_per_k",
    "coefficient": "expansion_per_k",
    "height": "heights",
    "bore": "bore_mm",
    "stroke": "stroke_mm",
    "rod": "rod_mm",
    "rod_length_mm": "rod_mm",
    "conrod_mm": "rod_mm",
    "cr": "compression_ratio",
    "compression": "compression_ratio",
    "lobes": "lobe",
    "cam": "lobe",
    "lift": "peak_lift_mm",
    "max_lift_mm": "peak_lift_mm",
    "ramp": "ramp_mm",
    "ramp_height_mm": "ramp_mm",
    "file": "table",
    "csv": "table",
    "interval_km": "every_km",
    "months": "every_months",
    "interval_months": "every_months",
    "hours": "meter",
    "unit": "meter",
}

_IN_UNIT = ("_in", "_inch", "_inches", "_cm", "_thou")


def meaning_of(path: Path, key: str) -> str | None:
    """A sentence on what an unknown ``key`` under ``path`` may mean, or None when nothing better than the
    nearest spelling is known.
    """
    word = key.strip().lower().replace("-", "_").replace(" ", "_")
    if word in _SAID_ELSEWHERE:
        return table(_SAID_ELSEWHERE[word])
    here = _known_under(path)
    for suffix in _IN_UNIT:
        stem = word.removesuffix(suffix)
        if stem != word:
            metric = next((k for k in here if k in (f"{stem}_mm", stem)), None)
            if metric:
                return say("lengths are in mm here (1 in = 25.4 mm): {metric}", metric=metric)
    if word != key and word in here:
        return say("keys are written in small letters with _: {word}", word=word)
    meant = _MEANS.get(word, word)
    if meant in here:
        return say("did you mean {meant}?", meant=meant)
    if meant in TOP and path:
        return say("{meant} belongs at the top of the file, before the first [table]", meant=meant)
    for place, keys in KNOWN.items():
        if meant in keys:
            belongs = f"[[{place}]]" if place == "stack" else f"[{place}]"
            return say("{meant} belongs in {belongs}", meant=meant, belongs=belongs)
    return None


def _known_under(path: Path) -> tuple[str, ...]:
    names = [part for part in path if isinstance(part, str)]
    if not names:
        return TOP
    if names in (["gap_mm"], ["lobe"]):
        return KINDS
    return KNOWN.get(".".join(names).replace("exhaust", "intake"), ())
