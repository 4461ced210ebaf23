"""What is fine in an engine file but worth saying: what is not stated, and what follows from that."""

from __future__ import annotations

from coldlash.engine.spec import KIND_WORD, Engine, Height

_HEIGHT_WORDS: dict[Height, str] = {
    "pivot": "the rocker pivot",
    "pushrod": "the pushrod's end",
    "intake": "the intake valve's tip",
    "exhaust": "the exhaust valve's tip",
}
_SMALLEST_USUAL_MM = 0.04


def engine_notes(engine: Engine) -> tuple[str, ...]:
    """One sentence for each thing left open, most important first; empty when nothing is."""
    notes: list[str] = []
    for kind, word in KIND_WORD.items():
        gap = engine.gaps[kind]
        if gap.tight is None:
            notes.append(
                f"No tight limit for the {word} gap: no risk of tightness is worked out; check by spinning the pushrod."
            )
        if gap.loose is None:
            notes.append(f"No loose limit for the {word} gap: no risk of looseness is worked out.")
        if 0 < gap.cold < _SMALLEST_USUAL_MM:
            notes.append(f"The {word} gap of {gap.cold:g} mm is very small: make sure that it is in mm.")
    if not engine.stack:
        notes.append("No stack: readings are not corrected for the engine's temperature.")
    else:
        filled = {height for part in engine.stack for height in part.heights}
        for height in _needed(engine):
            if height not in filled:
                notes.append(
                    f"No stack part reaches {_HEIGHT_WORDS[height]} ({height}): that height counts 0."
                )
    if not engine.pulley.marks_deg:
        notes.append("No marks on the pulley: stops need a mark of your own, or a finger over the plug hole.")
    if engine.linkage.screw_pitch_mm is None:
        notes.append("No screw pitch: how far to turn the screw is not worked out.")
    if not engine.rows:
        notes.append(
            "No rows: where each valve lies along its head is not known, the plan is drawn by cylinder."
        )
    if engine.events.checking_lift_mm > 0:
        open_ramps = [
            word
            for kind, word in KIND_WORD.items()
            if engine.lobes.get(kind) is None or engine.lobes[kind].ramp_deg is None
        ]
        if open_ramps:
            notes.append(
                f"The valve events hold at a lift and the {' and '.join(open_ramps)} ramp is not given:"
                " windows are widened by 30 degrees a side."
            )
    return tuple(notes)


def _needed(engine: Engine) -> tuple[Height, ...]:
    if engine.linkage.train == "direct":
        return ("pushrod", "intake", "exhaust")
    return ("pivot", "pushrod", "intake", "exhaust")
