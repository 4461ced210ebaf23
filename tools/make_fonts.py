"""Make the fonts that the pages and the paper carry. A developer's tool, not part of the program.

    npm pack @ibm/plex-sans@1.1.0 && tar xf ibm-plex-sans-1.1.0.tgz     gives package/fonts/complete/woff2
    pip install fonttools brotli
    python tools/make_fonts.py package/fonts/complete/woff2

The family is cut down to the scripts below and renamed: its licence (SIL Open Font License 1.1) reserves the
original's name for the original. Same input, same bytes.
"""

from __future__ import annotations

import sys
from pathlib import Path

from fontTools import subset
from fontTools.ttLib import TTFont

FAMILY = "Coldlash Sans"
WEIGHTS = {"Regular": 400, "SemiBold": 600}
ROOT = Path(__file__).resolve().parent.parent / "src" / "coldlash"

BASE = [
    *range(0x20, 0x7F),
    *range(0xA0, 0x100),
    *(0x131, 0x152, 0x153, 0x2C6, 0x2DA, 0x2DC),
    *range(0x2002, 0x2070),
    *range(0x2070, 0x20A0),
    *(0x20AC, 0x2122, 0x2126, 0x2202, 0x2206, 0x220F, 0x2211),
    *range(0x2150, 0x2160),
    *range(0x2190, 0x219A),
    *(0x21BA, 0x21BB, 0x2212, 0x2215, 0x2219, 0x221A, 0x221E, 0x222B, 0x2248, 0x2260, 0x2264, 0x2265),
    *(0x2713, 0x25CA),
]
MORE = [*range(0x100, 0x250), *range(0x300, 0x530), *range(0x1E00, 0x1F00)]


def cut(source: Path, codepoints: list[int]) -> TTFont:
    """The font with these code points only, unhinted, with a fixed date."""
    options = subset.Options()
    options.layout_features = ["kern", "mark", "mkmk", "ccmp", "locl", "zero"]
    options.hinting = False
    options.name_IDs = [0, 1, 2, 3, 4, 5, 6, 13, 14]
    options.name_languages = [0x409]
    options.notdef_outline = True
    options.recalc_timestamp = False
    font = TTFont(source, recalcTimestamp=False)
    tool = subset.Subsetter(options)
    tool.populate(unicodes=codepoints)
    tool.subset(font)
    return font


def rename(font: TTFont, weight: str) -> None:
    """Give it our own family name; keep the copyright notice and the licence texts."""
    plain = weight == "Regular"
    postscript = f"ColdlashSans-{weight}"
    names = {
        1: FAMILY if plain else f"{FAMILY} {weight}",
        2: "Regular",
        3: f"1.100;{postscript}",
        4: FAMILY if plain else f"{FAMILY} {weight}",
        6: postscript,
    }
    if not plain:
        names |= {16: FAMILY, 17: weight}
    table = font["name"]
    table.names = [n for n in table.names if n.platformID == 3 and n.nameID in (0, 5, 13, 14)]
    for number, text in names.items():
        table.setName(text, number, 3, 1, 0x409)
    font["OS/2"].usWeightClass = WEIGHTS[weight]


def main(folder: Path) -> None:
    paper = ROOT / "paper" / "fonts"
    web = ROOT / "web" / "static" / "fonts"
    paper.mkdir(parents=True, exist_ok=True)
    web.mkdir(parents=True, exist_ok=True)
    licence = (folder / "license.txt").read_text(encoding="utf-8")
    for weight, number in WEIGHTS.items():
        source = folder / f"IBMPlexSans-{weight}.woff2"
        for path, codepoints, flavor in (
            (paper / f"ColdlashSans-{weight}.ttf", BASE + MORE, None),
            (web / f"coldlash-sans-{number}.woff2", BASE, "woff2"),
            (web / f"coldlash-sans-{number}-more.woff2", MORE, "woff2"),
        ):
            font = cut(source, codepoints)
            rename(font, weight)
            font.flavor = flavor
            font.save(path, reorderTables=True)
            size, count = path.stat().st_size / 1000, len(font.getBestCmap())
            sys.stdout.write(f"{path.relative_to(ROOT)}  {size:.1f} kB  {count} characters\n")
    note = (
        "Coldlash Sans is a cut-down and renamed version of the typeface whose copyright notice and licence\n"
        "follow. Changed: characters outside Latin, Greek, Cyrillic and some symbols, most layout features and\n"
        "the hinting were taken out. The original's reserved name is not used. Made by tools/make_fonts.py.\n\n"
    )
    for folder_out in (paper, web):
        (folder_out / "OFL.txt").write_text(note + licence, encoding="utf-8")


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    main(Path(sys.argv[1]))
