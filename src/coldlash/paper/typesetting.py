"""Typesets one document: a template of ours, the data to print, the pictures in it, to the bytes of a PDF.

What people wrote reaches the template as data only, never as markup. The same input gives the same bytes: own
fonts, a fixed moment of creation, nothing from the network. Every document is checked against PDF/UA-1 while it is
made (tags, title, language, text alternatives, every letter with a glyph), and warnings are errors.

Our fonts have Latin, Greek and Cyrillic. Where a text has other letters, the machine's own fonts are asked for
those only; letters that no font has are printed as a lozenge and named in ``Printed.unprinted``.
"""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from coldlash.errors import InputError, PaperError
from coldlash.language import say
from coldlash.paper.print_scaling import at_true_scale
from coldlash.paper.textwidth import advances

if TYPE_CHECKING:
    import typst

STAND_IN = "\u25ca"
"""The lozenge that is printed for a letter no font has."""
LONGEST_RUN = 24
"""A run of so many letters without a blank may be broken anywhere, so that nothing runs out of its place."""
_BREAK = "\u200b"

# Marks that turn the direction of text around would reach into what stands beside them.
_DIRECTIONS = dict.fromkeys([*range(0x202A, 0x202F), *range(0x2066, 0x206A), 0x200E, 0x200F, 0x061C])
_RUN = re.compile(rf"[^\s\u200b\u00ad]{{{LONGEST_RUN + 1},}}")
_NO_GLYPH = re.compile(r"the text `\"((?:[^\"\\]|\\.)*)\"` could not be displayed")
_PAGE = re.compile(rb"/Type\s*/Page(?![A-Za-z])")


@dataclass(frozen=True, slots=True)
class Printed:
    """A finished PDF. ``unprinted``: letters that no font here has, printed as a lozenge."""

    pdf: bytes
    pages: int
    title: str
    unprinted: tuple[str, ...] = ()


def typeset(
    template: str,
    data: Mapping[str, object],
    pictures: Mapping[str, bytes] | None = None,
    *,
    timestamp: int = 0,
    true_scale: bool = False,
    font_folders: Sequence[Path] = (),
    machine_fonts: bool = True,
) -> Printed:
    """Typeset ``templates/<template>.typ`` with ``data`` (JSON values; "title" is required).

    ``pictures``: SVG or PNG bytes by file name. ``timestamp``: seconds since 1970 for the PDF's creation date.
    ``true_scale``: ask for printing without scaling. ``font_folders``, ``machine_fonts``: where letters that our
    fonts lack may come from. Raises InputError (the typesetter is not installed, no title), PaperError.
    """
    typst = _typst()
    sources = _sources(template)
    title = str(data.get("title") or "")
    if not title.strip():
        raise InputError(
            say("{template}: a document needs a title; give one under 'title'", template=template)
        )
    given = dict(pictures or {})
    foreign = frozenset(_foreign(data)) | frozenset(_foreign_in_pictures(given))
    fonts = _fonts(tuple(font_folders), bool(foreign) and machine_fonts) if foreign else _fonts((), False)
    missing: frozenset[str] = frozenset()
    while True:
        shown = _shown(data, missing)
        drawn = {name: _drawn(content, missing) for name, content in given.items()}
        try:
            pdf = _compile(typst, fonts, template, sources, shown, drawn, timestamp)
        except typst.TypstError as error:
            lacking = frozenset("".join(_without_glyph(error))) & foreign - missing
            if not lacking:
                raise PaperError(
                    say(
                        "{template}: the typesetter says: {text}",
                        template=template,
                        text=error.diagnostic.strip(),
                    )
                ) from None
            missing |= lacking
            continue
        break
    if true_scale:
        pdf = at_true_scale(pdf)
    return Printed(pdf, len(_PAGE.findall(pdf)), str(shown["title"]), tuple(sorted(missing)))


def _typst() -> Any:
    try:
        import typst
    except ImportError:
        raise InputError(
            say("printing needs the typesetter, which is not installed; install coldlash[paper]")
        ) from None
    return typst


@cache
def _sources(template: str) -> dict[str, bytes]:
    folder = files("coldlash.paper") / "templates"
    wanted = {"main": folder / f"{template}.typ", "house.typ": folder / "house.typ"}
    if not re.fullmatch("[a-z_]+", template) or not wanted["main"].is_file():
        raise InputError(say("there is no document {template!r} to print", template=template))
    return {name: path.read_bytes() for name, path in wanted.items()}


@cache
def _fonts(folders: tuple[Path, ...], of_machine: bool) -> typst.Fonts:
    own = Path(str(files("coldlash.paper") / "fonts"))
    fonts: typst.Fonts = _typst().Fonts(
        include_system_fonts=of_machine, include_embedded_fonts=False, font_paths=[own, *folders]
    )
    return fonts


def _compile(
    typst: Any,
    fonts: typst.Fonts,
    template: str,
    sources: Mapping[str, bytes],
    data: object,
    pictures: Mapping[str, bytes],
    timestamp: int,
) -> bytes:
    compiler = typst.Compiler(font_paths=fonts, ignore_system_fonts=True)
    pdf, warnings = compiler.compile_with_warnings(
        {**sources, **pictures},
        format="pdf",
        sys_inputs={"data": json.dumps(data, ensure_ascii=False, allow_nan=False)},
        pdf_standards=["ua-1"],
        timestamp=timestamp,
    )
    if warnings:
        raise PaperError(f"{template}: the typesetter warns: " + "; ".join(w.message for w in warnings))
    return bytes(pdf)


# --- text -------------------------------------------------------------------------------------------------


def shown(text: str, missing: frozenset[str] = frozenset()) -> str:
    """What is printed of a text somebody wrote: composed, without controls, with places to break long runs."""
    if text.isascii() and text.isprintable():
        return _RUN.sub(lambda run: _breakable(run[0]), text)
    composed = unicodedata.normalize("NFC", text).translate(_DIRECTIONS)
    letters = []
    for char in composed:
        category = unicodedata.category(char)
        if char in "\n\t" or category in ("Zl", "Zp"):
            letters.append("\n" if char != "\t" else " ")
        elif category == "Cc":
            continue
        else:
            letters.append(STAND_IN if char in missing or category == "Cs" else char)
    return _RUN.sub(lambda run: _breakable(run[0]), "".join(letters))


def _breakable(run: str) -> str:
    parts = [run[0]]
    for char in run[1:]:
        if unicodedata.category(char) not in ("Mn", "Mc", "Me", "Cf") and char not in ",.;:!?)":
            parts.append(_BREAK)
        parts.append(char)
    return "".join(parts)


def _shown(value: object, missing: frozenset[str]) -> Any:
    if isinstance(value, str):
        return shown(value, missing)
    if isinstance(value, Mapping):
        return {str(key): _shown(item, missing) for key, item in value.items()}
    if isinstance(value, Sequence):
        return [_shown(item, missing) for item in value]
    return value


def _drawn(content: bytes, missing: frozenset[str]) -> bytes:
    if not missing or not _is_svg(content):
        return content
    return "".join(STAND_IN if char in missing else char for char in content.decode()).encode()


def _foreign(value: object) -> Iterator[str]:
    """The letters that our own fonts don't have."""
    if isinstance(value, str):
        if not value.isascii():
            yield from _not_ours(shown(value))
    elif isinstance(value, Mapping):
        for item in value.values():
            yield from _foreign(item)
    elif isinstance(value, Sequence):
        for item in value:
            yield from _foreign(item)


def _foreign_in_pictures(pictures: Mapping[str, bytes]) -> Iterator[str]:
    for content in pictures.values():
        if _is_svg(content):
            yield from _not_ours(content.decode())


def _not_ours(text: str) -> Iterator[str]:
    have = advances(400)
    for char in set(text):
        if ord(char) not in have and unicodedata.category(char) not in ("Cf", "Cc"):
            yield char


def _is_svg(content: bytes) -> bool:
    return content.lstrip().startswith(b"<")


def _without_glyph(error: typst.TypstError) -> list[str]:
    said = _NO_GLYPH.findall(error.diagnostic)
    return [re.sub(r"\\u\{([0-9a-f]+)\}", lambda m: chr(int(m[1], 16)), text) for text in said]
