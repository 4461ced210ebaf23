"""The pages of import: upload, preview, corrections, taking in with progress and stop, undoing."""

from __future__ import annotations

import shutil
import threading
from datetime import date

import pytest
from tests.demos import demo_copy
from tests.logbook.sheets.written import as_csv, as_xlsx
from tests.web.conftest import Client

from coldlash.desk.desk import Desk
from coldlash.desk.importing import FileImport
from coldlash.logbook.records import mm
from coldlash.web import import_jobs
from coldlash.web.book_app import book_app
from coldlash.web.import_jobs import Job, Jobs
from coldlash.web.pairing import Pairing
from coldlash.web.problems import Problem
from coldlash.web.settings import Settings

TODAY = date.today()  # noqa: DTZ011  (as the pages take it)
SHEET = [
    ["Date", "Odometer", "Valve", "Gap", "Set to"],
    ["4/5/1999", 1000, "E3", 0.15, 0.20],
    ["5/6/2000", 2000, "E3", 0.10, None],
    ["oil changed", None, None, None, None],
]


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    return demo_copy(tmp_path_factory.mktemp("demo") / "book.coldlash", TODAY)


@pytest.fixture
def house(made, tmp_path):
    book = shutil.copy(made, tmp_path / "book.coldlash")
    pairing = Pairing(tmp_path / "state")
    with Desk.open(str(book)) as desk:
        yield desk, Client(book_app(Settings(pairing), desk))
    pairing.close()


def upload(client: Client, data: bytes, name: str = "old.xlsx", engine: str = "") -> str:
    """Send a file as a browser's form does; returns where it leads."""
    token = client.form_token("/import")
    parts = [("form_token", "", token.encode()), ("engine", "", engine.encode()), ("file", name, data)]
    body = b""
    for field, filename, content in parts:
        file = f'; filename="{filename}"' if filename or field == "file" else ""
        body += (
            f'--cut\r\ncontent-disposition: form-data; name="{field}"{file}\r\n\r\n'.encode()
            + content
            + b"\r\n"
        )
    body += b"--cut--\r\n"
    answer = client.ask("POST", "/import", [("content-type", "multipart/form-data; boundary=cut")], body)
    assert answer.status in (303, 422), answer.text
    return answer.header("location") if answer.status == 303 else answer.text


def post(client: Client, path: str, **values: str):
    return client.ask("POST", path, form={**values, "form_token": client.form_token("/import")})


def van(desk: Desk) -> str:
    return desk.book.engine("Van engine").id


ANSWERS = {
    "do": "look", "single": "felt", "letters": "en", "distance_is": "own", "engine": "Van engine",
    "column:0:order": "dmy", "column:1:unit": "km", "column:3:unit": "mm", "column:4:unit": "mm",
}  # fmt: skip


def test_a_spreadsheet_is_looked_at_corrected_taken_in_and_taken_out_again(house):
    desk, client = house
    before = len(desk.book.visits("Van engine"))
    where = upload(client, as_xlsx(SHEET))
    text = client.get(where).text
    for said in (
        "What must be told first",
        "Odometer: in which unit is it?",
        "Date: which day is 4/5/1999?",
        "1 row was not understood as a reading",
        "row 4: oil changed (only words)",
    ):
        assert said in text
    assert "Take it in" not in text
    assert post(client, where, **ANSWERS).status == 303
    text = client.get(where).text
    assert "2 visits would be added." in text
    blades = desk.book.visits("Van engine")[-1].blades_um
    go, nogo = (mm(b) for b in (max(b for b in blades if b < 150), min(b for b in blades if b > 150)))
    assert (
        f"row 2: Van engine, 1999-05-04, 1,000 km, E3: found {go} goes, {nogo} does not; set on 0.20 mm"
        in text
    )
    assert len(desk.book.visits("Van engine")) == before
    assert post(client, where, do="take", by="Ann").header("location") == where
    assert "2 visits added." in client.get(where).text
    assert len(desk.book.visits("Van engine")) == before + 2
    (entry,) = desk.book.imports()
    assert (entry.source, entry.by) == ("old.xlsx", "Ann")
    assert "old.xlsx" in client.get("/import").text
    page = client.get(f"/imports/{entry.id}").text
    assert "The visits are of 1999-05-04 to 2000-06-05." in page
    assert post(client, f"/imports/{entry.id}", reason="").status == 422
    assert post(client, f"/imports/{entry.id}", reason="a trial").status == 303
    assert "Undone on" in client.get(f"/imports/{entry.id}").text
    assert len(desk.book.visits("Van engine")) == before


def test_a_form_sent_back_unchanged_answers_nothing(house):
    # What stands in the selects when the page is sent must not settle what was asked.
    _, client = house
    where = upload(
        client, as_csv([["Datum", "km", "Ventil", "Spiel mm"], ["2019-05-04", "1", "E3", "0,15"]], ";")
    )
    assert "Which valve is E?</li>" in client.get(where).text
    same = {"do": "look", "engine": "Van engine", "letters": "", "single": "", "column:2:role": "valve"}
    assert post(client, where, **same).status == 303
    text = client.get(where).text
    assert "Which valve is E?</li>" in text
    assert "One number is given for a gap found: what does it mean?</li>" in text


def test_all_faults_are_listed_by_row_and_column_and_nothing_can_be_taken_in(house):
    desk, client = house
    rows = [SHEET[0], ["2019-05-04", 1000, "E9", 0.15, None], ["2019-05-05", 1100, "E3", "abc", None]]
    where = upload(client, as_xlsx(rows), engine=van(desk))
    post(client, where, **{**ANSWERS, "column:0:order": ""})
    text = client.get(where).text
    assert "2 faults" in text
    assert "row 2, column C: Valve: Generic flat-four" in text or "row 2, column C: Valve:" in text
    assert "row 3, column D: Gap: &#39;abc&#39; is not a number here" in text
    assert "Take it in" not in text
    post(client, where, do="take")
    assert "2 faults" in client.get(where).text
    assert desk.book.imports() == ()


def test_a_correction_that_is_none_is_said_above_the_page(house):
    desk, client = house
    where = upload(client, as_xlsx(SHEET), engine=van(desk))
    refused = post(client, where, do="look", **{"column:1:role": "weather"})
    assert refused.status == 422
    assert "&#39;weather&#39; is nothing a column can be" in refused.text
    refused = post(client, where, do="look", heading="x")
    assert "is not the number of a row" in refused.text


def test_another_sheet_and_another_heading_are_understood_afresh(house):
    desk, client = house
    where = upload(client, as_xlsx(SHEET, Other=[["words"], *SHEET]), engine=van(desk))
    assert post(client, where, do="look", sheet="Other").status == 303
    assert 'value="2"' in client.get(where).text.split('name="heading"')[1][:60]
    assert post(client, where, do="look", sheet="Other", heading="0").status == 303
    assert 'value="0"' in client.get(where).text.split('name="heading"')[1][:60]


def test_a_log_file_needs_only_its_engine(house):
    desk, client = house
    log = (
        "date,distance_km,engine_temp_c,valve,found_go_mm,found_nogo_mm,adjusted,left_mm,note\n"
        "1999-05-04,1000,18,E3,0.10,0.15,no,,\n"
    )
    where = upload(client, log.encode(), "log.csv")
    assert "Of which engine are these readings?" in client.get(where).text
    assert post(client, where, do="look", engine="Van engine").status == 303
    assert "1 visit would be added." in client.get(where).text
    post(client, where, do="take")
    assert "1 visit added." in client.get(where).text
    assert desk.book.imports()[0].source == "log.csv"


def test_a_meter_that_went_back_can_be_explained_on_the_page(house):
    desk, client = house
    rows = [
        ["Date", "Odometer km", "Valve", "Gap mm"],
        ["1970-05-04", 99800, "I3", 0.15],
        ["1971-05-04", 190, "I3", 0.15],
    ]
    where = upload(client, as_xlsx(rows), engine=van(desk))
    answers = {"do": "look", "single": "felt"}
    post(client, where, **answers)
    text = client.get(where).text
    assert "it rolled over past 99999 km" in text
    assert 'name="explained:3"' in text
    post(client, where, **answers, **{"explained:3": "rolled over"})
    assert "2 visits would be added." in client.get(where).text


def test_what_is_no_file_of_rows_is_said(house):
    _, client = house
    text = client.get(upload(client, b"\x89PNG\r\n\x1a\n\0\0\0\r")).text
    assert "is no text and no spreadsheet that is known here" in text
    assert "Choose another file" in text
    assert "Choose a file first." in upload(client, b"", "")


def test_a_file_is_put_away(house):
    _, client = house
    where = upload(client, as_xlsx(SHEET))
    assert post(client, where, do="forget").header("location") == "/import"
    assert client.get(where).status == 404


def test_unknown_files_and_imports_are_not_found(house):
    _, client = house
    assert client.get("/import/nothing").status == 404
    assert client.get("/import/nothing/state").status == 404
    assert client.get("/imports/nothing").status == 404


def test_what_was_added_since_is_shown_before_it_is_undone(house):
    desk, client = house
    where = upload(client, as_xlsx(SHEET), engine=van(desk))
    post(client, where, **ANSWERS)
    post(client, where, do="take")
    (entry,) = desk.book.imports()
    visit = desk.book.visits("Van engine")[0]
    desk.book.change_visit(visit.id, {"note": "rain"}, reason="remembered")
    page = client.get(f"/imports/{entry.id}").text
    assert "1 change of the visit" in page
    refused = post(client, f"/imports/{entry.id}", reason="a trial")
    assert refused.status == 422
    assert "something was added to 1 of its visits since; nothing was undone" in refused.text
    assert post(client, f"/imports/{entry.id}", reason="a trial", anyway="yes").status == 303


# --- while it is worked on ---


def test_a_long_import_shows_progress_is_stopped_and_leaves_nothing(house, monkeypatch):
    desk, client = house
    monkeypatch.setattr("coldlash.web.routes.imports.AT_FIRST_S", 0.0)
    where = upload(client, as_xlsx(SHEET), engine=van(desk))
    job = client.app.state.import_jobs.get(where.rpartition("/")[2])
    job.wait(20)
    post(client, where, **ANSWERS)
    job.wait(20)
    before, reached, go = len(desk.book.visits("Van engine")), threading.Event(), threading.Event()

    def slow(self, desk, *, by, watch):
        with desk.book.transaction():
            desk.book.add_vehicle("half written")
            watch("writing", 250, 12_500)
            reached.set()
            assert go.wait(20)
            watch("writing", 500, 12_500)
        raise AssertionError("it was not stopped")

    monkeypatch.setattr(FileImport, "take", slow)
    assert post(client, where, do="take").status == 303
    assert reached.wait(20)
    page = client.get(where)
    assert "Writing visits: 250 of 12,500" in page.text
    assert '<noscript><meta http-equiv="refresh" content="3"></noscript>' in page.text
    assert client.get(f"{where}/state").json == {"busy": True, "words": "Writing visits: 250 of 12,500"}
    # Everything else is answered meanwhile.
    assert client.get("/").status == 200
    assert post(client, where, do="take").status == 303
    job.stop()
    go.set()
    assert post(client, where, do="stop").status == 303
    job.wait(20)
    assert "Stopped. Nothing was taken in." in client.get(where).text
    assert client.get(f"{where}/state").json["busy"] is False
    assert len(desk.book.visits("Van engine")) == before
    assert "half written" not in [vehicle.name for vehicle in desk.book.vehicles()]


def test_one_file_is_worked_on_by_one_at_a_time():
    job, go = Job("f"), threading.Event()
    job.start(lambda _: go.wait(20))
    with pytest.raises(Problem, match="This file is being worked on"):
        job.start(lambda _: None)
    go.set()
    job.wait(20)
    assert not job.busy


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_fault_of_ours_is_not_shown_from_inside():
    def fails(_: Job) -> None:
        raise RuntimeError("the inside")

    job = Job("f")
    job.start(fails)
    job.wait(20)
    assert job.fault == "This is a fault of coldlash, not yours. Nothing was taken in."


def test_only_so_many_files_are_held_and_old_ones_are_let_go(monkeypatch):
    now = [0.0]
    jobs = Jobs(lambda: now[0])
    held = [jobs.new(str(n)) for n in range(import_jobs.MOST)]
    newer = jobs.new("newer")
    with pytest.raises(Problem, match="That file is not here any more"):
        jobs.get(held[0].id)
    now[0] = import_jobs.KEPT_S + 1
    jobs.get(newer.id)
    jobs.new("later")
    with pytest.raises(Problem, match="not here any more"):
        jobs.get(held[1].id)
    assert jobs.get(newer.id) is newer
    monkeypatch.setattr(Job, "busy", True)
    for n in range(import_jobs.MOST - 2):
        jobs.new(str(n))
    with pytest.raises(Problem, match="Several files are being taken in just now"):
        jobs.new("one too many")
