"""Reading JSON strictly, and the ids that make sending twice harmless."""

from __future__ import annotations

import pytest

ID = "2f1f5c3e-6d1c-4c59-9b0e-0d6f3f7f1a11"


def send(machine, body: bytes, kind: str = "application/json", entry: str = ID):
    headers = [("X-Coldlash", "1"), ("Content-Type", kind), ("Idempotency-Key", entry)]
    return machine.ask("POST", "/api/change", headers, body)


def test_an_accepted_entry_repeats_its_id(machine):
    assert send(machine, b'{"gap": "0.15"}', entry=ID.upper()).json == {"readings": ["0.15"], "entry": ID}


@pytest.mark.parametrize(
    "entry", ["", "1", "x" * 36, ID[:-1], ID + "0", "2f1f5c3e-6d1c-0c59-9b0e-0d6f3f7f1a11"]
)
def test_an_entry_without_a_proper_id_is_refused(machine, entry):
    answer = send(machine, b'{"gap": "0.15"}', entry=entry)
    assert answer.status == 400
    assert "Idempotency-Key should be a UUID" in answer.json["error"]["message"]


@pytest.mark.parametrize("kind", ["text/plain", "", "application/jsonp"])
def test_another_content_type_is_refused(machine, kind):
    answer = send(machine, b'{"gap": "0.15"}', kind)
    assert answer.status == 415
    assert "takes application/json" in answer.json["error"]["message"]


@pytest.mark.parametrize(
    "body", [b"", b"{", b"\xff", b'{"gap": NaN}', b'{"gap": -Infinity}', b"[" * 900, b'{"gap": 1} x']
)
def test_what_is_not_json_is_refused(machine, body):
    answer = send(machine, body)
    assert answer.status == 400
    assert "isn't JSON" in answer.json["error"]["message"]


@pytest.mark.parametrize("body", [b"[]", b"1", b"null", b'"gap"'])
def test_json_that_is_no_object_is_refused(machine, body):
    answer = send(machine, body)
    assert answer.status == 422
    assert "should be a JSON object" in answer.json["error"]["message"]
