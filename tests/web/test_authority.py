"""The local authority: its keys stay private, its certificates hold in a real handshake, and only for local names."""

from __future__ import annotations

import hashlib
import ipaddress
import os
import ssl
import stat
import warnings
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError

from coldlash.errors import InputError
from coldlash.web.authority import Authority, make_private_folder, write_private

HOSTS = ("192.168.7.20", "garage.local")


class Now:
    def __init__(self) -> None:
        self.time = datetime.now(UTC)

    def __call__(self) -> datetime:
        return self.time


@pytest.fixture
def now() -> Now:
    return Now()


@pytest.fixture
def authority(tmp_path: Path, now: Now) -> Authority:
    return Authority.open(tmp_path / "state", "garage.workshop.example", now)


def shake_hands(
    server: ssl.SSLContext,
    authority: Authority,
    host: str,
    prepare: Callable[[ssl.SSLContext], None] | None = None,
) -> str:
    """A whole TLS handshake in memory, by OpenSSL, verifying chain and name. Returns the protocol version."""
    client = ssl.create_default_context(cadata=authority.pem.decode())
    if prepare is not None:
        prepare(client)
    to_server, to_client = ssl.MemoryBIO(), ssl.MemoryBIO()
    ends = [
        client.wrap_bio(to_client, to_server, server_hostname=host),
        server.wrap_bio(to_server, to_client, server_side=True),
    ]
    waiting = True
    while waiting:
        waiting = False
        for end in ends:
            try:
                end.do_handshake()
            except ssl.SSLWantReadError:
                waiting = True
    return ends[0].version() or ""


def forge(tmp_path: Path, host: str) -> ssl.SSLContext:
    """What a thief of the authority's key would make: a certificate for any host, signed by it."""
    folder = tmp_path / "state" / "authority"
    ca_key = serialization.load_pem_private_key((folder / "authority-key.pem").read_bytes(), None)
    ca = x509.load_pem_x509_certificate((folder / "authority.pem").read_bytes())
    assert isinstance(ca_key, ec.EllipticCurvePrivateKey)
    key = ec.generate_private_key(ec.SECP256R1())
    try:
        name: x509.GeneralName = x509.IPAddress(ipaddress.ip_address(host))
    except ValueError:
        name = x509.DNSName(host)
    now = datetime.now(UTC)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "forged")]))
        .issuer_name(ca.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + timedelta(days=30))
        .add_extension(x509.SubjectAlternativeName([name]), critical=False)
        .add_extension(x509.ExtendedKeyUsage([x509.oid.ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(ca.public_key()),  # type: ignore[arg-type]
            critical=False,
        )
        .sign(ca_key, hashes.SHA256())
    )
    file = tmp_path / "forged.pem"
    pem = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    file.write_bytes(pem + certificate.public_bytes(serialization.Encoding.PEM))
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(file)
    return context


# --- private ---


def test_folder_and_keys_are_for_the_owner_alone_whatever_the_umask(tmp_path: Path):
    before = os.umask(0)
    try:
        authority = Authority.open(tmp_path / "state")
        authority.server_certificate(HOSTS)
    finally:
        os.umask(before)
    folder = tmp_path / "state" / "authority"
    modes = {path.name: stat.S_IMODE(path.stat().st_mode) for path in [folder, *folder.iterdir()]}
    assert modes == {
        "authority": 0o700,
        "authority-key.pem": 0o600,
        "authority.pem": 0o600,
        "server.pem": 0o600,
    }


@pytest.mark.parametrize(
    ("name", "mode"), [("authority-key.pem", 0o640), ("authority-key.pem", 0o604), ("", 0o755)]
)
def test_a_key_that_others_may_read_is_not_used(tmp_path: Path, authority: Authority, name, mode):
    path = tmp_path / "state" / "authority" / name
    path.chmod(mode)
    with pytest.raises(
        InputError, match=rf"open to other users of this machine \(mode {mode:04o}\).*chmod [67]00"
    ):
        Authority.open(tmp_path / "state")


def test_a_state_folder_that_others_may_write_to_is_not_used(tmp_path: Path):
    shared = tmp_path / "shared"
    shared.mkdir()
    shared.chmod(0o777)
    with pytest.raises(InputError, match="other users of this machine may write to the state folder"):
        Authority.open(shared)
    assert list(shared.iterdir()) == []


def test_what_is_given_away_holds_no_key(authority: Authority):
    assert b"PRIVATE" not in authority.pem
    loaded = x509.load_der_x509_certificate(authority.der)
    assert loaded == x509.load_pem_x509_certificate(authority.pem) == authority.certificate


def test_the_authority_stays_the_same_and_a_second_process_takes_it(tmp_path: Path, authority: Authority):
    assert Authority.open(tmp_path / "state").der == authority.der


def test_a_process_that_loses_the_race_takes_the_winners_authority(tmp_path: Path, monkeypatch):
    # The other process makes the folder between our look and our rename.
    real = Path.exists
    winner = Authority.open(tmp_path / "winner")
    looked: list[Path] = []

    def exists(self: Path, **kwargs: bool) -> bool:
        if self.name == "authority" and not looked:
            looked.append(self)
            (tmp_path / "state").mkdir(mode=0o700, exist_ok=True)
            os.rename(tmp_path / "winner" / "authority", self)
            return False
        return real(self)

    monkeypatch.setattr(Path, "exists", exists)
    assert Authority.open(tmp_path / "state").der == winner.der
    assert sorted(path.name for path in (tmp_path / "state").iterdir()) == ["authority"]


def test_the_fingerprint_is_the_sha_256_of_the_certificate(authority: Authority):
    # derived: by hashlib over the DER that phones install
    expected = hashlib.sha256(authority.der).hexdigest().upper()
    assert authority.fingerprint.replace(":", "") == expected
    assert len(authority.fingerprint) == 95


# --- a real handshake ---


@pytest.mark.parametrize("host", [*HOSTS, "localhost", "127.0.0.1", "::1"])
def test_a_phone_that_trusts_the_authority_accepts_the_server(authority: Authority, host):
    # independent software: OpenSSL through Python's ssl
    context = authority.tls_context(authority.server_certificate(HOSTS))
    assert shake_hands(context, authority, host) == "TLSv1.3"


def test_the_chain_also_holds_for_a_second_verifier(authority: Authority):
    # independent software: the verifier of the cryptography library (Rust), which follows the CA/Browser Forum's rules
    server = authority.server_certificate(HOSTS)
    verifier = PolicyBuilder().store(Store([authority.certificate]))
    subject = x509.IPAddress(ipaddress.ip_address("192.168.7.20"))
    chain = verifier.build_server_verifier(subject).verify(server.certificate, [])
    assert chain == [server.certificate, authority.certificate]


def test_a_phone_that_trusts_nobody_refuses_and_so_does_one_that_meets_another_name(
    authority: Authority, tmp_path: Path
):
    context = authority.tls_context(authority.server_certificate(HOSTS))
    stranger = Authority.open(tmp_path / "elsewhere")
    with pytest.raises(ssl.SSLCertVerificationError, match="verify failed"):
        shake_hands(context, stranger, "192.168.7.20")
    with pytest.raises(ssl.SSLCertVerificationError, match=r"not valid for|mismatch"):
        shake_hands(context, authority, "192.168.7.21")


def test_nothing_older_than_tls_1_2_is_spoken(authority: Authority):
    context = authority.tls_context(authority.server_certificate(HOSTS))

    def only(version: ssl.TLSVersion) -> Callable[[ssl.SSLContext], None]:
        def prepare(client: ssl.SSLContext) -> None:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", DeprecationWarning)
                client.set_ciphers("ALL:@SECLEVEL=0")
                client.minimum_version = version
                client.maximum_version = version

        return prepare

    assert shake_hands(context, authority, "garage.local", only(ssl.TLSVersion.TLSv1_2)) == "TLSv1.2"
    context.set_ciphers("ALL:@SECLEVEL=0")  # so that nothing but the version stands in the way
    with pytest.raises(ssl.SSLError, match=r"(?i)unsupported protocol|version"):
        shake_hands(context, authority, "garage.local", only(ssl.TLSVersion.TLSv1_1))


# --- constraints: a stolen key ---


@pytest.mark.parametrize(
    "host", ["bank.example", "attacker.workshop2.example", "8.8.8.8", "172.32.0.1", "2606:4700::1"]
)
def test_a_stolen_key_cannot_pose_as_the_internet(authority: Authority, tmp_path: Path, host):
    # published: RFC 5280, 4.2.1.10; independent software: OpenSSL and the verifier of cryptography
    forged = forge(tmp_path, host)
    with pytest.raises(ssl.SSLCertVerificationError, match="permitted subtree violation"):
        shake_hands(forged, authority, host)
    try:
        subject: x509.GeneralName = x509.IPAddress(ipaddress.ip_address(host))
    except ValueError:
        subject = x509.DNSName(host)
    leaf = x509.load_pem_x509_certificate((tmp_path / "forged.pem").read_bytes())
    verifier = PolicyBuilder().store(Store([authority.certificate])).build_server_verifier(subject)
    with pytest.raises(VerificationError):
        verifier.verify(leaf, [])


def test_a_forged_local_name_is_the_control_that_the_forgery_is_well_made(
    authority: Authority, tmp_path: Path
):
    assert shake_hands(forge(tmp_path, "other.local"), authority, "other.local") == "TLSv1.3"


def test_the_authority_vouches_for_local_hosts_and_its_own_full_name_only(authority: Authority):
    allowed = [
        "192.168.7.20",
        "garage.local",
        "localhost",
        "garage.workshop.example",
        "nas.home.arpa",
        "x.internal",
    ]
    refused = ["8.8.8.8", "workshop.example", "xgarage.workshop.example.org", "garage", "com", "2606:4700::1"]
    assert [host for host in allowed if not authority.permits(host)] == []
    assert [host for host in refused if authority.permits(host)] == []


def test_a_bare_host_name_is_never_put_into_the_constraints(tmp_path: Path):
    authority = Authority.open(tmp_path, "app")
    assert not authority.permits("app")
    assert not authority.permits("bank.app")


def test_hosts_that_are_not_permitted_are_left_out_and_none_left_is_an_error(authority: Authority):
    server = authority.server_certificate(["192.168.7.20", "8.8.8.8"])
    assert "8.8.8.8" not in server.hosts
    with pytest.raises(
        InputError, match=r"none of the names and addresses given is on a local network.*8\.8\.8\.8"
    ):
        authority.server_certificate(["8.8.8.8"])


# --- lives and renewal ---


def test_a_server_certificate_lives_no_longer_than_phones_accept(authority: Authority, now: Now):
    # published: CA/Browser Forum Baseline Requirements (M): at most 398 days
    certificate = authority.server_certificate(HOSTS).certificate
    life = certificate.not_valid_after_utc - certificate.not_valid_before_utc
    assert life == timedelta(days=397)
    # A phone whose clock is a few hours behind accepts it already.
    assert certificate.not_valid_before_utc <= now.time - timedelta(hours=23)


def test_the_certificate_on_file_is_used_until_sixty_days_before_its_end_and_then_renewed(
    authority: Authority, now: Now
):
    first = authority.server_certificate(HOSTS)
    now.time += timedelta(days=335)
    assert authority.server_certificate(HOSTS).certificate == first.certificate
    now.time += timedelta(days=2)
    renewed = authority.server_certificate(HOSTS)
    assert renewed.certificate != first.certificate
    assert renewed.not_after - now.time > timedelta(days=390)


def test_a_new_address_gets_a_new_certificate_and_a_lost_one_does_not(authority: Authority):
    first = authority.server_certificate(HOSTS)
    assert authority.server_certificate(["garage.local"]).certificate == first.certificate
    moved = authority.server_certificate(["192.168.8.5", "garage.local"])
    assert moved.certificate != first.certificate
    assert {"192.168.8.5", "garage.local", "localhost"} <= moved.hosts


def test_an_authority_near_its_end_is_replaced(tmp_path: Path, authority: Authority, now: Now):
    # About ten years: then the phones must trust a new one, before the old one fails.
    now.time += timedelta(days=3650 - 62)
    assert Authority.open(tmp_path / "state", clock=now).der == authority.der
    late = authority.server_certificate(HOSTS)
    assert late.not_after <= authority.certificate.not_valid_after_utc
    now.time += timedelta(days=2)
    renewed = Authority.open(tmp_path / "state", clock=now)
    assert renewed.der != authority.der
    assert sorted(path.name for path in (tmp_path / "state").iterdir()) == ["authority"]
    server = renewed.server_certificate(HOSTS)
    assert server.certificate != late.certificate


def test_a_damaged_server_certificate_is_issued_anew(tmp_path: Path, authority: Authority):
    file = authority.server_certificate(HOSTS).file
    for content in (b"", b"-----BEGIN CERTIFICATE-----\nxx\n-----END CERTIFICATE-----\n"):
        file.write_bytes(content)
        context = authority.tls_context(authority.server_certificate(HOSTS))
        assert shake_hands(context, authority, "garage.local") == "TLSv1.3"
    foreign = Authority.open(tmp_path / "other").server_certificate(HOSTS)
    file.write_bytes(foreign.file.read_bytes())
    context = authority.tls_context(authority.server_certificate(HOSTS))
    assert shake_hands(context, authority, "garage.local") == "TLSv1.3"


# --- trouble ---


def test_a_damaged_or_incomplete_authority_is_told_with_its_remedy(tmp_path: Path, authority: Authority):
    folder = tmp_path / "state" / "authority"
    key = (folder / "authority-key.pem").read_bytes()
    (folder / "authority-key.pem").write_bytes(b"nonsense")
    with pytest.raises(InputError, match="is damaged; remove the folder"):
        Authority.open(tmp_path / "state")
    (folder / "authority-key.pem").unlink()
    with pytest.raises(InputError, match=r"can't be read: .*authority-key.pem .*remove the folder"):
        Authority.open(tmp_path / "state")
    other = Authority.open(tmp_path / "other")
    write_private(folder / "authority-key.pem", key)
    write_private(folder / "authority.pem", other.pem)
    with pytest.raises(InputError, match="don't belong together; remove the folder"):
        Authority.open(tmp_path / "state")


def test_a_state_folder_that_cannot_be_made_is_told(tmp_path: Path):
    (tmp_path / "file").touch()
    with pytest.raises(InputError, match=r"can't be made .*give coldlash a state folder"):
        Authority.open(tmp_path / "file" / "state")


def test_a_certificate_that_cannot_be_written_is_told_and_leaves_the_old_one(
    authority: Authority, monkeypatch
):
    first = authority.server_certificate(HOSTS)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match=r"can't be written to .*No space left on device.*free some space"):
        authority.server_certificate(["192.168.9.9"])
    assert [path.name for path in first.file.parent.iterdir() if path.name.startswith(".")] == []
    monkeypatch.undo()
    assert authority.server_certificate(HOSTS).certificate == first.certificate


def test_an_authority_that_cannot_be_written_leaves_nothing_half_made(tmp_path: Path, monkeypatch):
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match="No space left on device"):
        Authority.open(tmp_path / "state")
    assert list((tmp_path / "state").iterdir()) == []


def test_an_existing_folder_keeps_its_mode(tmp_path: Path):
    folder = tmp_path / "home"
    folder.mkdir(mode=0o755)
    make_private_folder(folder)
    assert stat.S_IMODE(folder.stat().st_mode) == 0o755
