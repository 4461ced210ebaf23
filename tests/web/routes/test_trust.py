"""The certificate is offered, the key never is, and the steps stand on the page."""

from __future__ import annotations

from dataclasses import replace

from cryptography import x509

from coldlash.web.application import create_app
from coldlash.web.settings import Settings


def test_phones_get_the_certificate_as_der_and_computers_as_pem(stranger, settings: Settings):
    assert settings.authority is not None
    der = stranger.get("/trust/coldlash-authority.crt")
    pem = stranger.get("/trust/coldlash-authority.pem")
    # published (M): application/x-x509-ca-cert is what phones take as an authority's certificate
    assert der.header("content-type") == "application/x-x509-ca-cert"
    assert x509.load_der_x509_certificate(der.body) == settings.authority.certificate
    assert x509.load_pem_x509_certificate(pem.body) == settings.authority.certificate
    assert b"PRIVATE" not in der.body + pem.body


def test_the_page_shows_the_fingerprint_and_the_steps_for_each_kind_of_device(stranger, settings: Settings):
    assert settings.authority is not None
    page = stranger.get("/trust").text
    assert settings.authority.fingerprint in page
    for heading in ("iPhone and iPad", "Android", "Computer", "To take it back"):
        assert f"<h2>{heading}</h2>" in page


def test_the_key_is_under_no_address(stranger):
    for name in (
        "authority-key.pem",
        "server.pem",
        "../authority/authority-key.pem",
        "coldlash-authority.key",
    ):
        assert stranger.get(f"/trust/{name}").status in (401, 404)


def test_without_https_there_is_nothing_to_trust_and_the_page_says_so(settings: Settings, machine):
    machine.app = create_app(replace(settings, authority=None))
    assert "there is no certificate to trust" in machine.get("/trust").text
    for name in ("crt", "pem"):
        answer = machine.get(f"/trust/coldlash-authority.{name}", [("Accept", "application/json")])
        assert answer.status == 404
        assert "aren't shared over HTTPS" in answer.json["error"]["message"]
