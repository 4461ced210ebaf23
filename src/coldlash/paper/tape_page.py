"""The pulley strip as a printed document: its words, and what the template ``strip`` needs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from coldlash import language
from coldlash.bench.cautions import CAUTIONS
from coldlash.bench.stops import Stop
from coldlash.engine.spec import Engine
from coldlash.language import say_in
from coldlash.paper import tape
from coldlash.paper.drawings_pulley import mark_words, pulley_face
from coldlash.paper.fitting import MM_PER_PT
from coldlash.paper.svg import Drawing
from coldlash.paper.tape import MarkError, Piece, PlacedMark, Strip
from coldlash.paper.textwidth import text_width
from coldlash.paper.titleblock import stamp, title_block
from coldlash.paper.typesetting import Printed, typeset
from coldlash.paper.words import ENGLISH, NO_BREAK, Words

FLAG_PT = 7.5
TURNS = {"clockwise": language.mark("clockwise"), "counterclockwise": language.mark("counterclockwise")}
LONGEST_FLAG_MM = 34.0
FAR_MM = 10.0
"""From so much room on the rim on, a mark a little off is no matter for the gaps (judgement)."""
FACE_MARKS = 12
"""More marks than this are not drawn on the face of the pulley: their names would not find room."""
TIMING_DEG = 1.0
"""How near ignition timing is usually wanted, crank degrees (common practice)."""


@dataclass(frozen=True, slots=True)
class StripPage:
    """A strip to print. ``engine`` None = only the pulley is known. ``name``: whose pulley it is."""

    strip: Strip
    made_on: date
    name: str = ""
    engine: Engine | None = None


def print_strip(page: StripPage, words: Words = ENGLISH) -> Printed:
    """The PDF: pieces at true scale with a check bar, then how to use it, the table of marks, how exact it is.

    Raises InputError, PaperError.
    """
    data, face = strip_data(page, words), face_of(page, words)
    pictures: dict[str, bytes] = {}
    if face is not None:
        pictures["pulley.svg"] = face.document()
        data["face"] = {
            "file": "pulley.svg",
            "alt": f"{face.title}. {face.desc}",
            "title": words.say("With TDC at the pointer it looks like this"),
        }
    return typeset("strip", data, pictures, timestamp=stamp(page.made_on), true_scale=True)


def face_of(page: StripPage, words: Words) -> Drawing | None:
    """The pulley with these marks; None where the engine is not known or the marks are too many to tell apart."""
    marks = [mark.crank_deg for mark in page.strip.marks]
    if page.engine is None or len(marks) > FACE_MARKS:
        return None
    engine = replace(page.engine, turns=page.strip.turns)
    return pulley_face(engine, Stop(0.0, 0.0, 1, 0.0 if 0.0 in marks else None, ()), marks=marks, words=words)


def strip_data(page: StripPage, words: Words = ENGLISH) -> dict[str, object]:
    """What the template needs: lengths in mm from the sheet's margins, all text."""
    strip, say = page.strip, words.say
    width, _ = tape.SIZES_MM[strip.paper]
    title = say("Pulley strip")
    if page.name:
        title = say("Pulley strip, {name}", name=page.name)
    first = [tape.HEAD_MM + tape.ROW_SPACE_MM * (row + 1) + strip.height_mm * row for row in range(99)]
    pages: list[list[dict[str, object]]] = [[] for _ in range(strip.pages)]
    for piece in strip.pieces:
        pages[piece.page].append(_piece(strip, piece, first[piece.row] - 3.0, page.engine, words))
    lead = say(
        "True scale for a pulley of {diameter} mm that turns {turns} as you face it, on paper {thickness} mm thick.",
        diameter=_mm(strip.diameter_mm, words),
        turns=say(TURNS[strip.turns]),
        thickness=words.number(strip.thickness_mm, 2),
    )
    return {
        "title": title,
        "lang": language.current(),
        "paper": strip.paper,
        "margin": tape.MARGIN_MM,
        "inner": width - 2 * tape.MARGIN_MM,
        "height": strip.height_mm,
        "heading": title,
        "lead": lead,
        "pages": pages,
        "bar": {
            "y": tape.SIZES_MM[strip.paper][1] - 2 * tape.MARGIN_MM - 19.0,
            "length": tape.CHECK_BAR_MM,
            "name": say("{mm} mm.", mm=f"{tape.CHECK_BAR_MM:.0f}"),
            "words": say(
                "Lay a ruler on it before you cut. If it is not exactly that long, print again at 100 %, "
                "“actual size”, without fitting to the page."
            ),
        },
        "block": title_block(
            title,
            [
                (say("strip length"), f"{words.number(strip.length_mm, 2)}{NO_BREAK}mm"),
                (say("scale"), "1 : 1"),
                (say("made on"), words.day(page.made_on)),
            ],
            words,
        ),
        "sections": [
            _how(strip, words),
            _fold(strip, words),
            _table(strip, page.engine, words),
            _exact(tape.mark_error(strip, page.engine), page.engine, words),
        ],
        "first_column": 2,
    }


def mark_name(mark: PlacedMark, engine: Engine | None, words: Words) -> str:
    """A mark's own name in short: "TDC 1 and 3", "10° before TDC 1"."""
    if engine is not None:
        return " ".join(mark_words(engine, mark.crank_deg, words))
    angle = mark.crank_deg
    if angle == 0:
        return words.say("TDC {cylinder}", cylinder=1)
    if angle > tape.TURN_DEG / 2:
        return words.say("{deg}° before TDC 1", deg=_deg(tape.TURN_DEG - angle, words))
    return words.say("{deg}° after TDC 1", deg=_deg(angle, words))


# --- the pieces ----------------------------------------------------------------------------------------------


def _piece(strip: Strip, piece: Piece, y: float, engine: Engine | None, words: Words) -> dict[str, object]:
    say = words.say
    last = piece.number == len(strip.pieces)
    marks = [m for m in strip.marks if piece.start_mm <= m.at_mm < piece.end_mm]
    names = [(mark, _names(mark, engine, words)) for mark in marks]
    way = (
        say("the engine turns this way →")
        if strip.turns == "clockwise"
        else say("← the engine turns this way")
    )
    name = say("Piece {n} of {all}", n=piece.number, all=len(strip.pieces))
    if len(strip.pieces) == 1:
        name = say("The strip")
    return {
        "y": y,
        "name": name,
        "caption": say(
            "{length} mm without the lap; lower edge towards you as you face the pulley; {way}",
            length=words.number(piece.length_mm, 2),
            way=way,
        ),
        "length": piece.length_mm,
        "outer": piece.length_mm + tape.LAP_MM,
        "glue": say("glue under the start") if last else say("glue under {n}", n=piece.number + 1),
        "flags": [
            {
                "at": flag.at_mm,
                "top": flag.top_mm,
                "text": flag.text,
                "left": flag.left,
                "width": flag.width_mm,
                "pad": tape.FLAG_PAD_MM,
            }
            for flag in tape.flags(strip, piece, names)
        ],
    }


def _names(mark: PlacedMark, engine: Engine | None, words: Words) -> Sequence[tuple[str, float]]:
    texts = [mark.name, mark_name(mark, engine, words), str(mark.number)]
    sized = [(text, _width_mm(text)) for text in texts if text]
    return [(text, width) for text, width in sized if width <= LONGEST_FLAG_MM]


def _width_mm(text: str) -> float:
    return text_width(text, FLAG_PT) * MM_PER_PT


# --- the words -----------------------------------------------------------------------------------------------


def _how(strip: Strip, words: Words) -> dict[str, object]:
    say = words.say
    steps = [
        say("Check the 100 mm bar on every sheet with a ruler."),
        say("Clean the rim. Cut the pieces out along their edges; leave the hatched lap on."),
    ]
    if len(strip.pieces) > 1:
        steps.append(
            say("Glue each lap under the next piece, so that the next piece's edge lies on the dashed line.")
        )
    steps += [
        say(
            "Wrap the strip round the rim, printed side out, lower edge towards you as you face the pulley. "
            "The start must meet the dashed line at the end. If it doesn't, the pulley is not {diameter} mm (1 mm "
            "there is 0.3 mm of diameter): measure round it and print again.",
            diameter=_mm(strip.diameter_mm, words),
        ),
        say(
            "Find TDC of cylinder 1 at the engine first; then slide the strip until its TDC line meets the pointer, "
            "and tape it down."
        )
        if any(mark.crank_deg == 0 for mark in strip.marks)
        else say(
            "There is no TDC line on this strip: bring the engine to where one of its marks is known to belong, slide "
            "the strip until that line meets the pointer, and tape it down."
        ),
        say(
            "Carry the lines over with a scriber or paint, take the strip off, and check one mark by a second way."
        ),
    ]
    return {"title": say("How to use it"), "cautions": _cautions(words), "steps": steps}


def _cautions(words: Words) -> list[str]:
    """Said before the crank is turned (``bench.cautions``)."""
    wanted = ("battery", "rolling", "hands")
    return [words.say(caution.text) for caution in CAUTIONS if caution.key in wanted]


def _table(strip: Strip, engine: Engine | None, words: Words) -> dict[str, object]:
    say = words.say
    rows = []
    for mark in strip.marks:
        own = mark_name(mark, engine, words)
        name = f"{mark.name} ({own})" if mark.name else own
        away = abs(mark.from_tdc_mm)
        if away < 5e-7:
            where = "0"
        else:
            side = say_in("side", "right") if mark.from_tdc_mm > 0 else say_in("side", "left")
            where = f"{words.number(away, 2)} {side}"
        rows.append([str(mark.number), name, _deg(mark.crank_deg, words), words.number(mark.at_mm, 2), where])
    return {
        "title": say("The marks"),
        "paragraphs": [
            say(
                "Lengths in mm along the strip, as you face the pulley with the mark on top. "
                "Degrees past firing TDC of cylinder 1 when the mark meets the pointer; each mark comes round "
                "twice in the engine's two turns."
            )
        ],
        "table": {
            "head": ["", say("mark"), say("degrees"), say("from the start"), say("from the TDC line")],
            "rows": rows,
            "widths": [1, 0, 1, 1, 1],
            "align": ["r", "l", "r", "r", "r"],
        },
    }


def _exact(error: MarkError, engine: Engine | None, words: Words) -> dict[str, object]:
    say = words.say
    said = [
        say(
            "A mark 1 mm off is {deg}° off; 1° is {mm} mm.",
            deg=words.number(error.deg_per_mm, 2),
            mm=words.number(error.mm_per_deg, 2),
        )
    ]
    if error.valve is not None and error.room_deg is not None and error.room_mm is not None:
        room = say(
            "For the gaps: at the stops these marks give, {valve} has the least room, {deg}° or {mm} mm of rim "
            "before it begins to open.",
            valve=error.valve,
            deg=words.number(error.room_deg, 0),
            mm=words.number(error.room_mm, 0),
        )
        judged = say("A mark a few mm off does not matter there.")
        if error.room_mm < FAR_MM:
            judged = say("That is little: the marks must be right to a fraction of it.")
        said.append(f"{room} {judged}")
    elif engine is None:
        said.append(
            say(
                "For the gaps a few degrees seldom matter: most engines have 30 degrees and more to spare at their "
                "stops. Give the engine, and its own room is printed here."
            )
        )
    if error.unreachable:
        said.append(
            say(
                "Not to be checked at these marks: {valves}.",
                valves=", ".join(str(valve) for valve in error.unreachable),
            )
        )
    said.append(
        say(
            "For ignition timing and for leak-down it does matter: timing is usually wanted within {deg}°, which is "
            "{mm} mm here (common practice). Set timing by the maker's way, and check TDC at the piston first.",
            deg=_deg(TIMING_DEG, words),
            mm=words.number(TIMING_DEG * error.mm_per_deg, 1),
        )
    )
    return {"title": say("How exact must it be?"), "paragraphs": said}


def _fold(strip: Strip, words: Words) -> dict[str, object]:
    say = words.say
    side = say("to the right") if strip.turns == "clockwise" else say("to the left")
    return {
        "title": say("Without a printer: fold it"),
        "steps": [
            say("Cut a strip of paper a little longer than the way round the rim."),
            say(
                "Wrap it tight, prick through both layers where it overlaps, take it off and cut at the holes."
            ),
            say(
                "Its ends are one mark. Fold it in two: the fold is half a turn on. In three: a third; in four: "
                "a quarter."
            ),
            say(
                "For any other angle, take its length times the degrees, divided by 360. Facing this pulley with "
                "TDC on top, marks before TDC lie {side} of it.",
                side=side,
            ),
        ],
    }


def fold_figures(strip: Strip, words: Words = ENGLISH) -> tuple[str, ...]:
    """The lengths of a folded strip, mm, for those without a printer: whole, half, third, quarter, then each mark."""
    say, length = words.say, strip.length_mm
    said = [
        say(
            "Once round: {whole} mm. Half a turn is {half} mm, a third {third} mm, a quarter {quarter} mm.",
            whole=words.number(length, 1),
            half=words.number(length / 2, 1),
            third=words.number(length / 3, 1),
            quarter=words.number(length / 4, 1),
        )
    ]
    for mark in strip.marks:
        mm = words.number(abs(mark.from_tdc_mm), 1)
        if mark.from_tdc_mm > 0:
            said.append(say("{deg}°: {mm} mm to the right of TDC.", deg=_deg(mark.crank_deg, words), mm=mm))
        elif mark.from_tdc_mm < 0:
            said.append(say("{deg}°: {mm} mm to the left of TDC.", deg=_deg(mark.crank_deg, words), mm=mm))
    return tuple(said)


def _mm(value: float, words: Words) -> str:
    return words.number(value, 2).rstrip("0").removesuffix(words.point)


def _deg(value: float, words: Words) -> str:
    return words.number(value, 2).rstrip("0").removesuffix(words.point)
