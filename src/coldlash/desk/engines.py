"""Finding an engine file: a path, or the name of a generic engine."""

from __future__ import annotations

import difflib
import errno
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from coldlash.engine.catalogue import generic_names, generic_text
from coldlash.engine.firing import CYCLE_DEG, firing_angles, mate_of, open_spans
from coldlash.engine.linkage import CauseRow
from coldlash.engine.plan_text import plan_text
from coldlash.engine.reader import engine_notes, read_engine
from coldlash.engine.spec import Engine
from coldlash.engine.template import new_engine_text
from coldlash.errors import InputError
from coldlash.language import number, plural, say


@dataclass(frozen=True, slots=True)
class LoadedEngine:
    """An engine with the text it was read from and the lobe tables that text names, by file name."""

    engine: Engine
    text: str
    tables: dict[str, str]
    source: str


def read_text_file(path: Path, what: str) -> str:
    """A file's text (UTF-8, a byte-order mark is dropped). Raises InputError naming file and remedy."""
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            say(
                "{what} {path}: not UTF-8 text (byte {start}); save it as UTF-8 and try again",
                what=what,
                path=path,
                start=error.start,
            )
        ) from None
    except IsADirectoryError:
        raise InputError(
            say("{what} {path}: that is a folder, a file is needed", what=what, path=path)
        ) from None
    except OSError as error:
        raise InputError(
            say("{what} {path}: can't be read ({error})", what=what, path=path, error=error.strerror or error)
        ) from None


def load_engine(ref: str) -> LoadedEngine:
    """Read ``ref``: a path to an engine file or the name of a generic engine.

    Raises InputError when there is neither, FaultyFileError when the file has faults.
    """
    path = Path(ref)
    if path.exists():
        text = read_text_file(path, say("engine file"))
        return engine_from_text(text, str(path), path.parent)
    if ref in generic_names():
        text = generic_text(ref)
        return LoadedEngine(read_engine(text, ref), text, {}, ref)
    near = difflib.get_close_matches(ref, generic_names(), 1)
    hint = say("; did you mean {near}", near=near[0]) if near else ""
    raise InputError(
        say(
            "{ref!r}: no such file, and no generic engine of that name{hint}. Generic engines: ",
            ref=ref,
            hint=hint,
        )
        + ", ".join(generic_names())
    )


def engine_from_text(text: str, source: str, folder: Path | None = None) -> LoadedEngine:
    """Read an engine file's text; lobe tables are looked for in ``folder``."""
    tables: dict[str, str] = {}

    def read_table(name: str) -> str:
        if folder is None or Path(name).is_absolute() or ".." in Path(name).parts:
            raise InputError(
                say("lobe table {name!r}: give the name of a file beside the engine file", name=name)
            )
        tables[name] = read_text_file(folder / name, say("lobe table"))
        return tables[name]

    return LoadedEngine(read_engine(text, source, read_table), text, tables, source)


def engine_from_kept(text: str, tables: dict[str, str], source: str) -> Engine:
    """Read an engine as the book kept it, tables included. A text read before is not read again."""
    return _read_kept(text, tuple(sorted(tables.items())), source)


@lru_cache(maxsize=4096)
def _read_kept(text: str, tables: tuple[tuple[str, str], ...], source: str) -> Engine:
    kept = dict(tables)

    def read_table(name: str) -> str:
        if name not in kept:
            raise InputError(say("lobe table {name!r} is not in the book", name=name))
        return kept[name]

    return read_engine(text, source, read_table)


def write_new_engine(file: str, like: str, name: str | None) -> Path:
    """Write a new engine file from a generic engine. Never overwrites. Raises InputError."""
    path = Path(file)
    if like not in generic_names():
        raise InputError(
            say(
                "{like!r} is not a generic engine; there are {generic_names}",
                like=like,
                generic_names=", ".join(generic_names()),
            )
        )
    text = new_engine_text(name or path.stem.replace("-", " ").replace("_", " "), like)
    write_new_text(path, text)
    return path


def write_new_text(path: Path, text: str) -> None:
    """Write a new file, whole or not at all; one that is there stays. Raises InputError."""
    try:
        with path.open("x", encoding="utf-8", newline="") as stream:
            stream.write(text)
    except FileExistsError:
        raise InputError(
            say("{path} is there already and stays as it is; choose another name", path=path)
        ) from None
    except OSError as error:
        if error.errno == errno.ENOSPC:
            path.unlink(missing_ok=True)
            raise InputError(
                say("{path}: the disk is full; nothing was written; make room and try again", path=path)
            ) from None
        raise InputError(
            say("{path} can't be written ({error})", path=path, error=error.strerror or error)
        ) from None


def list_generic() -> list[tuple[str, int, tuple[int, ...]]]:
    """Name, cylinders and firing order of every generic engine."""
    engines = [(name, read_engine(generic_text(name), name)) for name in generic_names()]
    return [(name, engine.cylinders, engine.firing_order) for name, engine in engines]


@dataclass(frozen=True, slots=True)
class EngineFacts:
    """What ``engine show`` says: the plan in text, facts line by line, a row a valve."""

    engine: Engine
    plan: str
    lines: tuple[str, ...]
    valve_rows: tuple[tuple[str, ...], ...]

    def as_json(self) -> dict[str, object]:
        """The facts as data."""
        engine = self.engine
        spans = open_spans(engine)
        return {
            "name": engine.name,
            "cylinders": engine.cylinders,
            "firing_order": list(engine.firing_order),
            "firing_deg": {str(c): a for c, a in firing_angles(engine).items()},
            "turns": engine.turns,
            "valves": {
                str(valve): {
                    "opens_deg": spans[valve].opens,
                    "closes_deg": (spans[valve].opens + spans[valve].length) % CYCLE_DEG,
                    "gap_mm": engine.gap(valve).cold,
                    "tight_mm": engine.gap(valve).tight,
                    "loose_mm": engine.gap(valve).loose,
                }
                for valve in engine.valves
            },
            "notes": list(engine_notes(engine)),
        }


def describe_engine(engine: Engine) -> EngineFacts:
    """Gather what is worth seeing of an engine."""
    angles = firing_angles(engine)
    spans = open_spans(engine)
    fires = ", ".join(say("{cylinder} at {deg:g}", cylinder=c, deg=angles[c]) for c in engine.firing_order)
    lines = [
        _head(engine),
        say(
            "firing order {order}; firing TDC of {fires}",
            order="-".join(str(c) for c in engine.firing_order),
            fires=fires,
        ),
    ]
    mates = sorted({tuple(sorted((c, m))) for c in angles if (m := mate_of(engine, c)) is not None})
    if mates:
        lines.append(
            say("mates (one at firing TDC, the other's valves rock): ")
            + ", ".join(f"{a}+{b}" for a, b in mates)
        )
    if engine.shared_lobes:
        lines.append(say("share a lobe: ") + ", ".join(f"{a}+{b}" for a, b in engine.shared_lobes))
    marks = ", ".join(f"{m:g}" for m in engine.pulley.marks_deg) or say("none known")
    lines.append(say("pulley marks, degrees past firing TDC 1: {marks}", marks=marks))
    lines += [say("note: {text}", text=text) for text in engine_notes(engine)]

    def limit(value: float | None) -> str:
        return "-" if value is None else number(value, ".2f")

    rows = tuple(
        (
            str(valve),
            f"{spans[valve].opens:.0f}",
            f"{(spans[valve].opens + spans[valve].length) % CYCLE_DEG:.0f}",
            number(engine.gap(valve).cold, ".2f"),
            limit(engine.gap(valve).tight),
            limit(engine.gap(valve).loose),
        )
        for valve in engine.valves
    )
    return EngineFacts(engine, plan_text(engine), tuple(lines), rows)


def _head(engine: Engine) -> str:
    if engine.turns == "clockwise":
        return plural(
            "{name}: {n} cylinder, turns clockwise seen facing the pulley",
            "{name}: {n} cylinders, turns clockwise seen facing the pulley",
            engine.cylinders,
            name=engine.name,
        )
    return plural(
        "{name}: {n} cylinder, turns anticlockwise seen facing the pulley",
        "{name}: {n} cylinders, turns anticlockwise seen facing the pulley",
        engine.cylinders,
        name=engine.name,
    )


def cause_lines(rows: tuple[CauseRow, ...]) -> list[str]:
    """The cause table as text: what happens, which way and how far the gap moves, where, and the sign's reason."""
    lines: list[str] = []
    for row in rows:
        places = "; ".join(", ".join(str(valve) for valve in group) for group in row.where)
        way = say("tighter") if row.direction == "tighter" else say("looser")
        told = {"happens": row.happens, "direction": way, "gap": abs(row.gap_per_mm)}
        if row.sudden:
            lines.append(say("{happens}: {direction}, suddenly, {gap:.2f} mm per mm", **told))
        else:
            lines.append(say("{happens}: {direction}, {gap:.2f} mm per mm", **told))
        lines.append(say("  where  {places}", places=places))
        lines.append(say("  why    {why}", why=row.explanation))
    return lines
