"""The wish to be printed without scaling, as an incremental update (ISO 32000-1, 7.5.6 and table 150)."""

from __future__ import annotations

import io

import pikepdf
import pytest

from coldlash.errors import PaperError
from coldlash.paper.print_scaling import at_true_scale

CATALOG = b"1 0 obj\n<</Type/Catalog/Pages 2 0 R/ViewerPreferences<</DisplayDocTitle true>>>>\nendobj\n"


def small_pdf(catalog=CATALOG, ident=b"/ID[(one)(two)]", tail=b""):
    """A PDF of one empty page, written by hand."""
    objects = [
        catalog,
        b"2 0 obj\n<</Type/Pages/Count 1/Kids[3 0 R]>>\nendobj\n",
        b"3 0 obj\n<</Type/Page/Parent 2 0 R/MediaBox[0 0 99 99]/Resources<<>>>>\nendobj\n",
    ]
    out = b"%PDF-1.7\n"
    places = []
    for item in objects:
        places.append(len(out))
        out += item
    table = b"xref\n0 4\n0000000000 65535 f\r\n" + b"".join(b"%010d 00000 n\r\n" % p for p in places)
    return (
        out + table + b"trailer\n<</Size 4/Root 1 0 R%s>>\nstartxref\n%d\n%%%%EOF%s" % (ident, len(out), tail)
    )


@pytest.mark.parametrize("tail", [b"", b"\n"])
@pytest.mark.parametrize("ident", [b"", b"/ID[(one)(two)]"])
def test_the_update_is_read_as_a_sound_file_with_the_wishes_and_the_old_bytes_before_it(tail, ident):
    before = small_pdf(ident=ident, tail=tail)
    after = at_true_scale(before)
    assert after.startswith(before)
    with pikepdf.open(io.BytesIO(after)) as file:  # independent software
        assert file.Root.ViewerPreferences.PrintScaling == "/None"
        assert file.Root.ViewerPreferences.Duplex == "/Simplex"
        assert file.Root.ViewerPreferences.DisplayDocTitle
        assert len(file.pages) == 1
        assert not file.check_pdf_syntax()
        if ident:
            first, second = file.trailer["/ID"]
            assert bytes(first) == b"one"
            assert bytes(second) != b"two"


def test_the_same_file_gives_the_same_update():
    assert at_true_scale(small_pdf()) == at_true_scale(small_pdf())


@pytest.mark.parametrize(
    ("pdf", "message"),
    [
        (b"%PDF-1.7\n", "the PDF's end is not as expected"),
        (
            small_pdf(b"1 0 obj\n<</Type/Catalog/Pages 2 0 R>>\nendobj\n"),
            "the PDF's catalog is not as expected",
        ),
        (at_true_scale(small_pdf()), "the PDF's end is not as expected"),
    ],
)
def test_a_file_that_is_laid_out_otherwise_is_refused(pdf, message):
    with pytest.raises(PaperError, match=message):
        at_true_scale(pdf)
