"""What is fine in an engine file but worth saying: what is not stated, and what follows from that."""

from __future__ import annotations

from coldlash.engine.spec import KIND_WORD, Engine, Height
from coldlash.language import mark, say, table

_HEIGHT_WORDS: dict[Height, str] = {
    "pivot": mark("the rocker pivot"),
    "pushrod": mark("the pushrod's end"),
    "intake": mark("the intake valve's tip"),
    "exhaust": mark("the exhaust valve's tip"),
}
_SMALLEST_USUAL_MM = 0.04


def engine_notes(engine: Engine) -> tuple[str, ...]:
    """One sentence for each thing left open, most important first; empty when nothing is."""
    notes: list[str] = []
    for kind, name in KIND_WORD.items():
        word = table(name)
        gap = engine.gaps[kind]
        if gap.tight is None:
            notes.append(
                say(
                    "No tight limit for the {word} gap: no risk of tightness is worked out; check by spinning "
                    "the pushrod.",
                    word=word,
                )
            )
        if gap.loose is None:
            notes.append(
                say("No loose limit for the {word} gap: no risk of looseness is worked out.", word=word)
            )
        if 0 < gap.cold < _SMALLEST_USUAL_MM:
            notes.append(
                say(
                    "The {word} gap of {cold:g} mm is very small: make sure that it is in mm.",
                    word=word,
                    cold=gap.cold,
                )
            )
    if not engine.stack:
        notes.append(say("No stack: readings are not corrected for the engine's temperature."))
    else:
        filled = {height for part in engine.stack for height in part.heights}
        for height in _needed(engine):
            if height not in filled:
                notes.append(
                    say(
                        "No stack part reaches {height_words} ({height}): that height counts 0.",
                        height_words=table(_HEIGHT_WORDS[height]),
                        height=height,
                    )
                )
    if not engine.pulley.marks_deg:
        notes.append(
            say("No marks on the pulley: stops need a mark of your own, or a finger over the plug hole.")
        )
    if engine.linkage.screw_pitch_mm is None:
        notes.append(say("No screw pitch: how far to turn the screw is not worked out."))
    if not engine.rows:
        notes.append(
            say("No rows: where each valve lies along its head is not known, the plan is drawn by cylinder.")
        )
    if engine.events.checking_lift_mm > 0:
        open_ramps = [
            table(word)
            for kind, word in KIND_WORD.items()
            if engine.lobes.get(kind) is None or engine.lobes[kind].ramp_deg is None
        ]
        if open_ramps:
            notes.append(
                say(
                    "The valve events hold at a lift and the intake and exhaust ramp is not given: windows are "
                    "widened by 30 degrees a side."
                )
                if len(open_ramps) == 2
                else say(
                    "The valve events hold at a lift and the {word} ramp is not given: windows are widened "
                    "by 30 degrees a side.",
                    word=open_ramps[0],
                )
            )
    return tuple(notes)


def _needed(engine: Engine) -> tuple[Height, ...]:
    if engine.linkage.train == "direct":
        return ("pushrod", "intake", "exhaust")
    return ("pivot", "pushrod", "intake", "exhaust")
