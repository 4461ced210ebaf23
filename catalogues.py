"""Bring the catalogues of other languages up to date, or with --check prove that they are.

* ``src/coldlash/translations/coldlash.pot``: every text that the program says, gathered from Python, templates,
  scripts and the package's tables. The start of a new language.
* ``<language>.po``: what a translator writes. New texts are added to it empty; texts no longer said are dropped.
* ``<language>.mo`` and ``static/words/<language>.json``: made from it, for the program and for the pages' scripts.
"""

from __future__ import annotations

import argparse
import io
import json
import string
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

from babel.messages.catalog import Catalog, Message
from babel.messages.extract import extract
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

from coldlash.language import ENGLISH, NAMES

HERE = Path(__file__).resolve().parent
PACKAGE = HERE / "src" / "coldlash"
FOLDER = PACKAGE / "translations"
SCRIPT_WORDS = PACKAGE / "web" / "static" / "words"
TEMPLATE = FOLDER / "coldlash.pot"

KEYWORDS = {
    "say": None,
    "say_html": None,
    "mark": None,
    "say_in": ((1, "c"), 2),
    "plural": (1, 2),
}
# Package tables whose texts are shown: file, and the key that holds them.
TABLES = (("wear/tests_table.toml", "says"),)
SOURCES = (
    ("**/*.py", "python"),
    ("web/templates/**/*.html", "jinja2.ext:babel_extract"),
    ("web/static/js/**/*.js", "javascript"),
)


def gathered() -> Catalog:
    """Every text the program says, with the files that say it."""
    catalog = Catalog(project="coldlash", charset="utf-8", fuzzy=False)
    for pattern, method in SOURCES:
        for path in sorted(PACKAGE.glob(pattern)):
            place = path.relative_to(PACKAGE).as_posix()
            if place == "language.py":
                continue
            with path.open("rb") as stream:
                for _, text, _, context in extract(method, stream, KEYWORDS, options={"encoding": "utf-8"}):
                    catalog.add(text, locations=[(place, 0)], context=context)
    for place, key in TABLES:
        for text in _under(tomllib.loads((PACKAGE / place).read_text(encoding="utf-8")), key):
            catalog.add(text, locations=[(place, 0)])
    return catalog


def _under(value: object, key: str) -> Iterator[str]:
    if isinstance(value, dict):
        for name, inner in value.items():
            if name == key and isinstance(inner, str):
                yield inner
            else:
                yield from _under(inner, key)
    elif isinstance(value, list):
        for inner in value:
            yield from _under(inner, key)


def _ordered(catalog: Catalog) -> list[Message]:
    return sorted(
        (m for m in catalog if m.id),
        key=lambda m: (sorted(m.locations)[0] if m.locations else ("", 0), str(m.id)),
    )


def written(messages: list[Message], language: str | None) -> bytes:
    """The catalogue as a .po file, the same for the same texts: no dates, no line numbers."""
    fresh = Catalog(locale=language, project="coldlash", charset="utf-8", fuzzy=False)
    for message in messages:
        places = sorted({(place, 0) for place, _ in message.locations})
        fresh.add(
            message.id,
            message.string,
            locations=places,
            user_comments=message.user_comments,
            context=message.context,
        )
    out = io.BytesIO()
    write_po(out, fresh, width=110, omit_header=True, include_lineno=False)
    head = [
        'msgid ""',
        'msgstr ""',
        '"Content-Type: text/plain; charset=utf-8\\n"',
        '"Content-Transfer-Encoding: 8bit\\n"',
    ]
    if language is not None:
        head += [f'"Language: {language}\\n"', f'"Plural-Forms: {fresh.plural_forms}\\n"']
    return ("\n".join(head) + "\n\n").encode() + out.getvalue()


def renewed(language: str, texts: Catalog) -> Catalog:
    """The language's catalogue with exactly the texts that are said now, as far as they are translated."""
    path = FOLDER / f"{language}.po"
    old = Catalog(locale=language, charset="utf-8")
    if path.exists():
        with path.open("rb") as stream:
            old = read_po(stream, locale=language, charset="utf-8")
    new = Catalog(locale=language, charset="utf-8", fuzzy=False)
    for message in _ordered(texts):
        had = old.get(message.id, message.context)
        new.add(
            message.id,
            had.string if had is not None else None,
            locations=message.locations,
            user_comments=had.user_comments if had is not None else (),
            context=message.context,
        )
    return new


def faults(language: str, catalog: Catalog) -> list[str]:
    """What a translator still has to do: texts without a translation, fields that differ from the English ones."""
    found = []
    for message in catalog:
        if not message.id:
            continue
        ids, said = _forms(message.id), _forms(message.string)
        if not all(said):
            found.append(f"{language}: not translated: {ids[0]!r}")
            continue
        for text in said:
            needed = fields(ids[-1])
            if fields(text) != needed and not (len(ids) == 2 and fields(text) | {"n"} == needed):
                found.append(f"{language}: fields differ: {ids[-1]!r} / {text!r}")
    return found


def _forms(text: object) -> tuple[str, ...]:
    return tuple(map(str, text)) if isinstance(text, tuple | list) else (str(text or ""),)


def fields(text: str) -> set[str]:
    """The names of the fields in a template, with their specs. What can't be read as a template has none."""
    try:
        return {
            f"{name}:{spec}" if spec else name
            for _, name, spec, _ in string.Formatter().parse(text)
            if name is not None
        }
    except ValueError:
        return set()


class _Undated(Catalog):
    """A catalogue whose head says nothing of when and by what it was made: the same texts give the same bytes."""

    @property
    def mime_headers(self) -> list[tuple[str, str]]:
        return [
            ("Content-Type", "text/plain; charset=utf-8"),
            ("Content-Transfer-Encoding", "8bit"),
            ("Plural-Forms", self.plural_forms),
        ]


def compiled(catalog: Catalog) -> bytes:
    """The catalogue for ``gettext``."""
    plain = _Undated(locale=catalog.locale, charset="utf-8", fuzzy=False)
    for message in _ordered(catalog):
        plain.add(message.id, message.string, context=message.context)
    out = io.BytesIO()
    write_mo(out, plain)
    return out.getvalue()


def script_words(catalog: Catalog) -> bytes:
    """The texts of the pages' scripts as JSON: {English: text, English one: [one, many]}."""
    words: dict[str, object] = {}
    for message in _ordered(catalog):
        if not any(place.endswith(".js") for place, _ in message.locations):
            continue
        ids, said = _forms(message.id), _forms(message.string)
        key = f"{message.context}\x04{ids[0]}" if message.context else ids[0]
        words[key] = list(said) if len(ids) > 1 else said[0]
    return (json.dumps(words, ensure_ascii=False, indent=0, sort_keys=True) + "\n").encode()


def made() -> tuple[dict[Path, bytes], list[str]]:
    """Every generated file with its bytes, and what translators still have to do."""
    texts = gathered()
    out = {TEMPLATE: written(_ordered(texts), None)}
    todo = []
    for language in NAMES:
        if language == ENGLISH:
            continue
        catalog = renewed(language, texts)
        todo += faults(language, catalog)
        out[FOLDER / f"{language}.po"] = written(_ordered(catalog), language)
        # An empty translation falls back to English.
        out[FOLDER / f"{language}.mo"] = compiled(catalog)
        out[SCRIPT_WORDS / f"{language}.json"] = script_words(catalog)
    return out, todo


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--check", action="store_true")
    check = parser.parse_args().check
    out, todo = made()
    stale = [path for path, data in out.items() if not path.exists() or path.read_bytes() != data]
    if not check:
        for path in stale:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(out[path])
    for line in todo[:20]:
        print(line)
    if len(todo) > 20:
        print(f"... and {len(todo) - 20} more")
    if check and stale:
        print("Out of date, run ./run docs:", ", ".join(str(path.relative_to(HERE)) for path in stale))
    return 1 if todo or (check and stale) else 0


if __name__ == "__main__":
    sys.exit(main())
