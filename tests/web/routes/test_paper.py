"""Pages and PDFs of everything that is printed."""

from __future__ import annotations

import io
import re
import shutil
from datetime import date
from urllib.parse import urlencode

import pikepdf
import pytest
from tests.demos import demo_copy
from tests.web.conftest import Client

from coldlash.desk.desk import Desk
from coldlash.desk.reporting import sums_of
from coldlash.errors import PaperError
from coldlash.web.book_app import book_app
from coldlash.web.pairing import Pairing
from coldlash.web.routes.paper import content_disposition
from coldlash.web.settings import Settings

TODAY = date.today()  # noqa: DTZ011  (as the pages take it)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return demo_copy(tmp_path_factory.mktemp("demo") / "book.coldlash", TODAY)


@pytest.fixture(scope="module")
def house(made, tmp_path_factory):
    """Nothing here changes the book, so one serves all."""
    folder = tmp_path_factory.mktemp("house")
    book = shutil.copy(made, folder / "book.coldlash")
    pairing = Pairing(folder / "state")
    with Desk.open(str(book)) as desk:
        yield desk, Client(book_app(Settings(pairing), desk))
    pairing.close()


@pytest.fixture
def van(house):
    desk, _ = house
    return f"/engines/{desk.book.engine('Van engine').id}"


def pdf_of(answer):
    assert (answer.status, answer.header("content-type")) == (200, "application/pdf"), answer.text[:2000]
    assert answer.header("cache-control") == "private, no-cache"
    with pikepdf.open(io.BytesIO(answer.body)) as pdf, pdf.open_metadata() as about:
        return str(pdf.Root.Lang), about["dc:title"], len(pdf.pages)


def test_links_stand_where_paper_is_needed(house, van):
    desk, client = house
    text = client.get(van).text
    assert f'href="{van}/print/sheet.pdf"' in text
    assert f'href="{van}/print/strip"' in text
    assert f'href="{van}/print"' in text
    assert 'href="/calendar"' in client.get("/").text
    visit = desk.book.visits("Van engine")[-1]
    assert f'href="{van}/visits/{visit.id}/sheet.pdf"' in client.get(f"{van}/visits/{visit.id}").text
    overview = client.get(f"{van}/print?paper=letter").text
    for path in ("sheet.pdf", "strip", "report", "label.pdf"):
        assert f'href="{van}/print/{path}?paper=letter"' in overview


def test_sheets_and_labels_are_pdfs_with_a_name_of_their_own(house, van):
    desk, client = house
    blank = client.get(f"{van}/print/sheet.pdf")
    assert pdf_of(blank) == ("en", "Visit sheet, Van engine", 1)
    assert blank.header("content-disposition") == 'attachment; filename="visit-sheet-van-engine.pdf"'
    visit = desk.book.visits("Van engine")[-1]
    filled = client.get(f"{van}/visits/{visit.id}/sheet.pdf?paper=letter")
    assert pdf_of(filled)[1].startswith("Visit of ")
    assert filled.header("content-disposition") == f'attachment; filename="visit-{visit.day}-van-engine.pdf"'
    assert "Van engine" in pdf_of(client.get(f"{van}/print/label.pdf"))[1]
    assert pdf_of(client.get("/print/labels.pdf"))[2] >= 1


def test_a_visit_that_is_not_this_engines_is_not_printed(house, van):
    desk, client = house
    other = next(e for e in desk.book.engines() if e.name != "Van engine" and desk.book.visits(e.name))
    visit = desk.book.visits(other.name)[-1]
    assert client.get(f"{van}/visits/{visit.id}/sheet.pdf").status == 404
    assert client.get(f"{van}/visits/00000000-0000-4000-8000-000000000000/sheet.pdf").status == 404
    assert client.get("/engines/nothing/print").status == 404


def test_a_document_follows_the_language_of_who_asks_and_is_the_same_each_time(house, van):
    _, client = house
    german = client.get(f"{van}/print/sheet.pdf", [("accept-language", "de")])
    assert pdf_of(german)[0] == "de"
    again = client.get(f"{van}/print/sheet.pdf", [("accept-language", "de")])
    assert again.body == german.body


def test_a_report_is_made_while_a_page_watches_then_taken(house, van):
    _, client = house
    answer = client.get(f"{van}/print/report?paper=a4")
    for _ in range(40):
        if "It is ready" in answer.text:
            break
        assert 'http-equiv="refresh"' in answer.text
        assert client.get(f"{van}/print/report/state?paper=a4").json["words"]
        answer = client.get(f"{van}/print/report?paper=a4")
    assert "It is ready" in answer.text
    pdf = client.get(f"{van}/print/report.pdf?paper=a4")
    assert pdf_of(pdf)[:2] == ("en", "Report, Van engine")
    assert pdf.header("content-disposition") == 'attachment; filename="report-van-engine.pdf"'
    assert client.get(f"{van}/print/report/state?paper=a4").json["busy"] is False


def test_a_report_that_can_not_be_made_says_why(house, van, monkeypatch):
    _, client = house

    def refused(*_, **__):
        raise PaperError("the typesetter says: no")

    monkeypatch.setattr("coldlash.web.routes.paper.print_report", refused)
    answer = client.get(f"{van}/print/report?paper=letter")
    assert answer.status == 422
    assert "the typesetter says: no" in answer.text
    assert client.get(f"{van}/print/report.pdf?paper=letter").status == 422


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        (lambda sums: sums[-1], "the same. The copy holds"),
        (lambda sums: f"  {sums[-1][:8].upper()} {sums[-1][8:16]}", "the same. The copy holds"),
        (lambda sums: sums[1][:16], "the same up to visit 1 of"),
        (lambda sums: "0" * 16, "the book never gives this checksum"),
        (lambda sums: "12ab", "give at least the first 16, at most all 64"),
        (lambda sums: "zz" * 10, "has other characters than 0 to 9 and a to f"),
    ],
)  # fmt: skip
def test_a_printed_checksum_is_held_against_the_book(house, van, typed, says):
    desk, client = house
    text = typed(sums_of(desk, "Van engine"))
    answer = client.get(f"{van}/print/check?{urlencode({'checksum': text})}")
    assert answer.status == 200
    assert says in answer.text
    assert f'value="{text.strip()}"' in answer.text


def test_checksums_do_not_depend_on_the_language(house, van):
    _, client = house
    shown = [
        re.findall(
            r'<p class="fingerprint">([^<]+)<',
            client.get(f"{van}/print/check", [("accept-language", tag)]).text,
        )
        for tag in ("en", "de")
    ]
    assert shown[0] == shown[1] != []


ASKED = {"asked": "1", "diameter": "175", "thickness": "0,1", "height": "16", "mark": "tdc", "paper": "a4"}


def strip(client, path, **values):
    return client.get(f"{path}?{urlencode({**ASKED, **values}, doseq=True)}")


def test_a_strip_is_laid_out_on_the_page_and_taken_as_a_pdf(house, van):
    _, client = house
    assert client.get(f"{van}/print/strip").status == 200
    answer = strip(client, f"{van}/print/strip", timing="7,5", mark=["tdc", "half"], others="5atdc=idle")
    assert answer.status == 200
    # Derived: pi x (175 + 0.1) = 550.09 mm round; 7.5 degrees of it are 11.46 mm; 1 mm is 0.65 degrees.
    for text in (
        "Once round: 550.1 mm. Half a turn is 275.0 mm",
        "11.46",
        "A mark 1 mm off is 0.65° off",
        "idle",
    ):
        assert text in answer.text
    assert "static timing" in answer.text
    assert "<svg" in answer.text
    (link,) = re.findall(r'href="([^"]+strip\.pdf\?[^"]+)"', answer.text)
    pdf = client.get(link.replace("&amp;", "&"))
    assert pdf_of(pdf)[1] == "Pulley strip, Van engine"
    with pikepdf.open(io.BytesIO(pdf.body)) as read:
        assert read.Root.ViewerPreferences.PrintScaling == "/None"


def test_a_strip_for_a_pulley_alone(house):
    _, client = house
    assert client.get("/print/strip").status == 200
    answer = strip(client, "/print/strip", diameter="", circumference="549.8", turns="counterclockwise")
    assert "turns counterclockwise as you face it" in answer.text
    pdf = strip(client, "/print/strip.pdf", diameter="60", turns="clockwise", paper="letter")
    assert pdf.header("content-disposition") == 'attachment; filename="strip.pdf"'
    assert pdf_of(pdf)[1] == "Pulley strip"


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"diameter": "wide"}, "is not a number"),
        ({"diameter": "", "circumference": ""}, "give"),
        ({"timing": "early"}, "is not known; write tdc"),
        ({"others": "900"}, "give degrees from 0 to below 720"),
        ({"height": "3"}, "strip height"),
    ],
)
def test_what_can_not_be_a_strip_gives_the_form_back_with_what_was_typed(house, given, says):
    _, client = house
    for path in ("/print/strip", "/print/strip.pdf"):
        answer = strip(client, path, turns="clockwise", **given)
        assert answer.status == 422
        assert says in re.findall(r'id="fault">([^<]+)<', answer.text)[0]
        for name, value in given.items():
            assert f'name="{name}"' in answer.text
            assert value in answer.text
        assert '<option value="clockwise" selected>' in answer.text


def test_a_file_name_may_be_in_any_script():
    # Published: RFC 6266, 4.3 and 5; RFC 8187, 3.2.3 (value-chars percent-encoded UTF-8).
    assert content_disposition("report-van.pdf") == 'attachment; filename="report-van.pdf"'
    assert (
        content_disposition("strip-öl.pdf")
        == "attachment; filename=\"strip-_l.pdf\"; filename*=UTF-8''strip-%C3%B6l.pdf"
    )
    hostile = content_disposition('a"; x=\r\nb.pdf')
    assert "\r" not in hostile
    assert hostile.startswith('attachment; filename="a___x___b.pdf"; ')
