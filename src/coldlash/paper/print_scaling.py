"""Asks in the PDF itself to be printed without scaling, on one side of the paper.

The viewer preferences PrintScaling (None) and Duplex (Simplex) of ISO 32000-1, table 150, are hints that the print
dialog starts from; the person can still choose otherwise, which is why the paper carries a check bar. They are
added as an incremental update (ISO 32000-1, 7.5.6): the catalog is written once more behind the file, with a
new cross-reference section that points back to the old one. Nothing before it changes.
"""

from __future__ import annotations

import hashlib
import re

from coldlash.errors import PaperError
from coldlash.language import say

PREFERENCES = b"/PrintScaling/None/Duplex/Simplex"

_END = re.compile(rb"trailer\s*<<(?P<trailer>.*?)>>\s*startxref\s+(?P<at>\d+)\s+%%EOF\s*\Z", re.DOTALL)
_ROOT = re.compile(rb"/Root\s+(\d+)\s+(\d+)\s+R")
_ID = re.compile(rb"/ID\s*\[\s*\((?P<first>(?:[^()\\]|\\.)*)\)", re.DOTALL)


def at_true_scale(pdf: bytes) -> bytes:
    """The same file with both wishes in it. Raises PaperError for a file that is not laid out as expected.

    Expected is what our typesetter writes: a plain cross-reference table, a catalog outside object streams that
    has viewer preferences already, no update yet.
    """
    end = _END.search(pdf, max(0, len(pdf) - 4096))
    root = _ROOT.search(end["trailer"]) if end else None
    if end is None or root is None or b"/Prev" in end["trailer"]:
        raise PaperError(
            say("the PDF's end is not as expected, so printing without scaling can't be asked for")
        )
    number, generation = int(root[1]), int(root[2])
    catalog = re.search(rb"(?<!\d)%d %d obj\s*(<<.*?>>)\s*endobj" % (number, generation), pdf, re.DOTALL)
    if catalog is None or catalog[1].count(b"/ViewerPreferences<<") != 1 or b"/PrintScaling" in catalog[1]:
        raise PaperError(
            say("the PDF's catalog is not as expected, so printing without scaling can't be asked for")
        )
    body = catalog[1].replace(b"/ViewerPreferences<<", b"/ViewerPreferences<<" + PREFERENCES)
    start = len(pdf) if pdf.endswith(b"\n") else len(pdf) + 1
    gap = b"" if pdf.endswith(b"\n") else b"\n"
    again = b"%d %d obj\n%s\nendobj\n" % (number, generation, body)
    table = b"xref\n%d 1\n%010d %05d n\r\n" % (number, start, generation)
    trailer = end["trailer"]
    same = _ID.search(trailer)
    if same is not None:
        # The first part of the ID stays, the second names this version of the file (ISO 32000-1, 14.4).
        version = hashlib.sha256(pdf).hexdigest()[:32].encode()
        ident = b"/ID[(%s)<%s>]" % (same["first"], version)
        trailer = re.sub(rb"/ID\s*\[.*\]", lambda _: ident, trailer, flags=re.DOTALL)
    foot = b"trailer\n<<%s/Prev %s>>\nstartxref\n%d\n%%%%EOF\n" % (trailer, end["at"], start + len(again))
    return pdf + gap + again + table + foot
