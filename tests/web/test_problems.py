"""One shape for what goes wrong."""

from __future__ import annotations

import pytest
from starlette.exceptions import HTTPException

from coldlash.errors import BookError, Fault, FaultyFileError, InputError
from coldlash.web.problems import Problem, problem_from


def test_a_program_gets_kind_message_and_hint(machine):
    answer = machine.get("/api/nothing")
    assert answer.status == 404
    assert answer.json == {
        "error": {
            "kind": "not_found",
            "message": "There is no such page here.",
            "hint": "Go back to the shed and look from there.",
        }
    }


def test_a_person_gets_a_page_with_the_same_words(machine):
    answer = machine.get("/nothing", [("Accept", "text/html,*/*")])
    assert answer.status == 404
    assert "There is no such page here." in answer.text
    assert "<h1>" in answer.text


def test_whoever_asks_for_json_gets_it_on_any_path(machine):
    assert machine.get("/nothing", [("Accept", "application/json")]).json["error"]["kind"] == "not_found"


def test_a_conflict_carries_both_values(machine):
    answer = machine.ask("POST", "/api/clash", [("X-Coldlash", "1")])
    assert answer.status == 409
    assert (answer.json["mine"], answer.json["theirs"]) == ("0.10", "0.15")
    assert answer.json["error"]["kind"] == "conflict"


def test_a_wrong_method_says_so_and_names_the_right_ones(machine):
    answer = machine.ask("DELETE", "/api/secret", [("X-Coldlash", "1")])
    assert (answer.status, answer.json["error"]["kind"]) == (405, "method")
    assert "GET" in answer.header("allow")


@pytest.mark.parametrize(
    ("error", "status", "kind"),
    [
        (InputError("0,15 mm is not a gap"), 422, "bad_input"),
        (BookError("the book is locked"), 503, "book"),
        (HTTPException(400, "malformed"), 400, "bad_request"),
        (Problem(418, "no", kind="teapot"), 418, "teapot"),
        (Problem(418, "no"), 418, "error"),
        (ZeroDivisionError("inside"), 500, "our_fault"),
    ],
)
def test_every_error_has_its_status_and_kind(error, status, kind):
    problem = problem_from(error)
    assert (problem.status, problem.kind) == (status, kind)
    assert ("inside" in problem.message) is False


def test_all_faults_of_a_file_travel_with_their_lines():
    problem = problem_from(FaultyFileError("log.csv", [Fault("no gap", 3, 2), Fault("no date", 1)]))
    assert problem.status == 422
    assert problem.extra["faults"] == [
        {"line": 1, "column": 0, "message": "no date"},
        {"line": 3, "column": 2, "message": "no gap"},
    ]
