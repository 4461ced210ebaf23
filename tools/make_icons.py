"""Make the icons of the pages: blades in the gap between rocker and valve, drawn here. A developer's tool.

    python tools/make_icons.py CHROMIUM        for example /usr/bin/chromium

Writes icon.svg and, rendered by that browser, icon-192.png, icon-512.png and their maskable twins (everything
that matters within the middle 80 %, as the manifest's "maskable" purpose asks).
"""

from __future__ import annotations

import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

OUT = Path(__file__).resolve().parent.parent / "src" / "coldlash" / "web" / "static" / "icons"
INK, PAPER, ACCENT, BAND = "#16191d", "#ffffff", "#0072b2", "#56b4e9"

JAWS = f"""<g fill="{PAPER}" stroke="{INK}" stroke-width="15" stroke-linejoin="round">
<path d="M132 58H348V128L318 196H162L132 128Z"/>
<path d="M162 316H318V454H162Z"/>
</g>
<path stroke="{INK}" stroke-width="7" d="M162 372L218 316M162 428L274 316M186 454L318 322M242 454L318 378"/>"""
BLADES = f"""<g stroke="{INK}" stroke-width="11" stroke-linejoin="round">
<rect x="84" y="203" width="356" height="32" rx="7" fill="{PAPER}"/>
<rect x="84" y="240" width="322" height="32" rx="7" fill="{BAND}"/>
<rect x="84" y="277" width="288" height="32" rx="7" fill="{PAPER}"/>
</g>"""


def drawing(ground: str, scale: float) -> str:
    """The icon on a ground, drawn at ``scale`` about its middle."""
    shift = 256 * (1 - scale)
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 512 512" width="512" height="512">\n'
        f"<title>coldlash</title>\n{ground}\n"
        f'<g transform="translate({shift:g} {shift:g}) scale({scale:g})">\n{JAWS}\n{BLADES}\n</g>\n</svg>\n'
    )


def main(chromium: str) -> None:
    OUT.mkdir(parents=True, exist_ok=True)
    plain = drawing(f'<rect width="512" height="512" rx="96" fill="{ACCENT}"/>', 1)
    maskable = drawing(f'<rect width="512" height="512" fill="{ACCENT}"/>', 0.82)
    (OUT / "icon.svg").write_text(plain, encoding="utf-8")
    with sync_playwright() as play:
        browser = play.chromium.launch(
            executable_path=chromium, args=["--headless", "--no-sandbox", "--disable-gpu"]
        )
        for kind, svg in (("", plain), ("-maskable", maskable)):
            for size in (192, 512):
                page = browser.new_page(viewport={"width": size, "height": size})
                sized = svg.replace('width="512" height="512">', f'width="{size}" height="{size}">', 1)
                page.set_content(f'<body style="margin:0;background:transparent">{sized}</body>')
                page.screenshot(path=OUT / f"icon{kind}-{size}.png", omit_background=True)
                page.close()
        browser.close()


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    main(sys.argv[1])
