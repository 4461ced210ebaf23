"""A certificate authority of the owner's own, made on first use, kept private, good for the local network only.

A phone that trusts this authority can open the pages over HTTPS, keep them for use without a network, and
install them. The authority's certificate carries name constraints (RFC 5280, 4.2.1.10): only addresses that
are never routed on the internet, ``.local``, other private-use names and the machine's own full name. A
stolen key can't be used to pose as a site of the internet, for clients that honour the constraints.
"""

from __future__ import annotations

import contextlib
import ipaddress
import os
import secrets
import shutil
import ssl
import stat
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from coldlash.errors import InputError
from coldlash.language import say
from coldlash.web.network import LOOPBACK_NAMES, NOT_ON_THE_INTERNET, is_local

CA_DAYS = 3650
SERVER_DAYS = 397  # longest life that phones and browsers accept from any authority (398 days less one)
RENEW_DAYS = 60
CLOCK_SLACK = timedelta(days=1)  # a phone or workshop computer whose clock is behind still accepts it

# .local: RFC 6762; .internal: reserved by ICANN for private use, 2024; home.arpa: RFC 8375; localhost: RFC 6761.
PRIVATE_SUFFIXES = ("local", "internal", "home.arpa", "localhost")

_KEY_FILE = "authority-key.pem"
_CERTIFICATE_FILE = "authority.pem"
_SERVER_FILE = "server.pem"


@dataclass(frozen=True, slots=True)
class ServerCertificate:
    """What the TLS server loads: one PEM ``file`` (0600) with the key and the certificate, and what it is good for."""

    file: Path
    certificate: x509.Certificate
    hosts: frozenset[str]

    @property
    def not_after(self) -> datetime:
        """When it expires (UTC)."""
        return self.certificate.not_valid_after_utc


class Authority:
    """The local authority. Use ``Authority.open``; the constructor takes what that has checked."""

    def __init__(
        self,
        folder: Path,
        key: ec.EllipticCurvePrivateKey,
        certificate: x509.Certificate,
        clock: Callable[[], datetime],
    ) -> None:
        self._folder = folder
        self._key = key
        self._clock = clock
        self.certificate = certificate

    @classmethod
    def open(
        cls, state_dir: Path, host_name: str = "", clock: Callable[[], datetime] = lambda: datetime.now(UTC)
    ) -> Authority:
        """Open the authority in ``state_dir``/authority, making it on first use.

        ``host_name`` is the machine's full name; it is permitted in the constraints if it has a dot. A new
        authority takes the place of one with less than RENEW_DAYS to live; phones must then trust the new one.
        Raises InputError if its files are damaged, incomplete, readable by others, or can't be written.
        """
        folder = state_dir / "authority"
        try:
            make_private_folder(state_dir)
            if not folder.exists():
                _create(folder, host_name, clock())
        except OSError as error:
            raise InputError(
                say(
                    "the folder {folder} for the local certificate authority can't be made ({strerror}); "
                    "give coldlash a state folder that it may write to",
                    folder=folder,
                    strerror=error.strerror,
                )
            ) from error
        authority = cls(folder, *_load(folder), clock)
        if authority.certificate.not_valid_after_utc - clock() < timedelta(days=RENEW_DAYS):
            retired = folder.with_name(f"authority-retired-{secrets.token_hex(4)}")
            folder.rename(retired)
            shutil.rmtree(retired)
            _create(folder, host_name, clock())
            authority = cls(folder, *_load(folder), clock)
        return authority

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the certificate, as phones show it: pairs of hexadecimal digits with colons."""
        return self.certificate.fingerprint(hashes.SHA256()).hex(":").upper()

    @property
    def der(self) -> bytes:
        """The certificate (never the key) as DER, the form phones install."""
        return self.certificate.public_bytes(serialization.Encoding.DER)

    @property
    def pem(self) -> bytes:
        """The certificate (never the key) as PEM, the form desktop programs take."""
        return self.certificate.public_bytes(serialization.Encoding.PEM)

    def permits(self, host: str) -> bool:
        """True if the constraints let this authority vouch for ``host`` (a name or an address)."""
        try:
            ipaddress.ip_address(host)
        except ValueError:
            return any(host == name or host.endswith("." + name) for name in self._permitted_names())
        return is_local(host)

    def server_certificate(self, hosts: Iterable[str]) -> ServerCertificate:
        """A certificate for ``hosts`` (names and addresses) and this machine itself, issued or renewed as needed.

        The one on file is used while it covers all hosts and has RENEW_DAYS left; SERVER_DAYS at most. Hosts that
        the constraints don't permit are left out. Raises InputError if none is left or the file can't be written.
        """
        wanted = frozenset(host for host in hosts if self.permits(host))
        if not wanted:
            raise InputError(
                say(
                    "none of the names and addresses given is on a local network, so no certificate can "
                    "be issued for them: {given}",
                    given=", ".join(sorted(hosts)) or "none given",
                )
            )
        wanted |= LOOPBACK_NAMES
        kept = self._kept_server_certificate()
        if kept is not None and wanted <= kept.hosts and self._has_time_left(kept):
            return kept
        return self._issue(wanted)

    def tls_context(self, server: ServerCertificate) -> ssl.SSLContext:
        """A context for the TLS server: TLS 1.2 or newer, the certificate loaded."""
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        context.load_cert_chain(server.file)
        return context

    def _permitted_names(self) -> list[str]:
        constraints = self.certificate.extensions.get_extension_for_class(x509.NameConstraints).value
        return [name.value for name in constraints.permitted_subtrees or [] if isinstance(name, x509.DNSName)]

    def _has_time_left(self, server: ServerCertificate) -> bool:
        return server.not_after - self._clock() >= timedelta(days=RENEW_DAYS)

    def _kept_server_certificate(self) -> ServerCertificate | None:
        file = self._folder / _SERVER_FILE
        try:
            pem = file.read_bytes()
            certificate = x509.load_pem_x509_certificate(pem)
            certificate.verify_directly_issued_by(self.certificate)
        except (OSError, ValueError, TypeError, InvalidSignature):
            return None  # missing, damaged or from another authority: it is issued anew
        names = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
        hosts = [*names.get_values_for_type(x509.DNSName)]
        hosts += [str(address) for address in names.get_values_for_type(x509.IPAddress)]
        return ServerCertificate(file, certificate, frozenset(hosts))

    def _issue(self, hosts: frozenset[str]) -> ServerCertificate:
        now = self._clock()
        key = ec.generate_private_key(ec.SECP256R1())
        names: list[x509.GeneralName] = []
        for host in sorted(hosts):
            try:
                names.append(x509.IPAddress(ipaddress.ip_address(host)))
            except ValueError:
                names.append(x509.DNSName(host))
        starts = now - CLOCK_SLACK
        ends = min(starts + timedelta(days=SERVER_DAYS), self.certificate.not_valid_after_utc)
        ca_key_id = self.certificate.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
        certificate = (
            x509.CertificateBuilder()
            .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "coldlash pages")]))
            .issuer_name(self.certificate.subject)
            .public_key(key.public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(starts)
            .not_valid_after(ends)
            .add_extension(x509.SubjectAlternativeName(names), critical=False)
            .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
            .add_extension(_key_usage(signature=True), critical=True)
            .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
            .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
            .add_extension(
                x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(ca_key_id), critical=False
            )
            .sign(self._key, hashes.SHA256())
        )
        file = self._folder / _SERVER_FILE
        try:
            write_private(file, _key_pem(key) + certificate.public_bytes(serialization.Encoding.PEM))
        except OSError as error:
            raise InputError(
                say(
                    "the server certificate can't be written to {file} ({strerror}); free some space or "
                    "give coldlash a state folder that it may write to",
                    file=file,
                    strerror=error.strerror,
                )
            ) from error
        return ServerCertificate(file, certificate, hosts)


def make_private_folder(folder: Path) -> None:
    """Make ``folder`` with mode 0700, parents as needed; an existing one is left as it is.

    Raises InputError if other users of the machine may write to an existing one: they could put their own files
    in place of ours. Raises OSError if it can't be made.
    """
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    mode = stat.S_IMODE(folder.stat().st_mode)
    if mode & 0o022:
        raise InputError(
            say(
                "other users of this machine may write to the state folder {folder} (mode {mode:04o}), "
                "so nothing secret can be kept there; choose another folder, or: chmod go-w {folder}",
                folder=folder,
                mode=mode,
            )
        )


def write_private(file: Path, content: bytes) -> None:
    """Write ``content`` to ``file`` whole or not at all, mode 0600 from the first byte on. Raises OSError."""
    draft = file.with_name(f".{file.name}-{secrets.token_hex(4)}")
    try:
        descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(descriptor, "wb") as out:
            out.write(content)
            out.flush()
            os.fsync(out.fileno())
        draft.replace(file)
    except OSError:
        draft.unlink(missing_ok=True)
        raise


def _create(folder: Path, host_name: str, now: datetime) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    named = host_name.strip().rstrip(".").lower()
    title = f"coldlash local authority {now:%Y-%m-%d} {secrets.token_hex(2)}"
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, title)])
    permitted: list[x509.GeneralName] = [x509.DNSName(suffix) for suffix in PRIVATE_SUFFIXES]
    if "." in named and not any(named.endswith("." + suffix) for suffix in PRIVATE_SUFFIXES):
        permitted.append(x509.DNSName(named))
    permitted += [x509.IPAddress(block) for block in NOT_ON_THE_INTERNET]
    starts = now - CLOCK_SLACK
    certificate = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(starts)
        .not_valid_after(starts + timedelta(days=CA_DAYS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_key_usage(certificates=True), critical=True)
        .add_extension(x509.NameConstraints(permitted, None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    # A folder made aside and renamed: a second process, or a kill half-way, never sees a key without certificate.
    draft = folder.with_name(f".authority-{secrets.token_hex(4)}")
    draft.mkdir(mode=0o700)
    try:
        write_private(draft / _KEY_FILE, _key_pem(key))
        write_private(draft / _CERTIFICATE_FILE, certificate.public_bytes(serialization.Encoding.PEM))
        with contextlib.suppress(FileExistsError):
            draft.rename(folder)
    except OSError:
        if not folder.exists():
            raise
    finally:
        shutil.rmtree(draft, ignore_errors=True)


def _load(folder: Path) -> tuple[ec.EllipticCurvePrivateKey, x509.Certificate]:
    key_file, certificate_file = folder / _KEY_FILE, folder / _CERTIFICATE_FILE
    remedy = say(
        "remove the folder {folder} to start a new authority; every phone must then trust the new one",
        folder=folder,
    )
    try:
        for path in (folder, key_file):
            mode = stat.S_IMODE(path.stat().st_mode)
            if mode & 0o077:
                raise InputError(
                    say(
                        "{path} of the local certificate authority is open to other users of this "
                        "machine (mode {mode:04o}). If nobody else uses it: chmod {folder} {path}. If "
                        "somebody may have read it, {remedy}",
                        path=path,
                        mode=mode,
                        folder="700" if path is folder else "600",
                        remedy=remedy,
                    )
                )
        key = serialization.load_pem_private_key(key_file.read_bytes(), password=None)
        certificate = x509.load_pem_x509_certificate(certificate_file.read_bytes())
    except OSError as error:
        raise InputError(
            say(
                "the local certificate authority can't be read: {filename} ({strerror}); {remedy}",
                filename=error.filename,
                strerror=error.strerror,
                remedy=remedy,
            )
        ) from error
    except (ValueError, TypeError) as error:
        raise InputError(
            say(
                "the local certificate authority in {folder} is damaged; {remedy}",
                folder=folder,
                remedy=remedy,
            )
        ) from error
    if not isinstance(key, ec.EllipticCurvePrivateKey) or key.public_key() != certificate.public_key():
        raise InputError(
            say(
                "key and certificate of the local authority in {folder} don't belong together; {remedy}",
                folder=folder,
                remedy=remedy,
            )
        )
    return key, certificate


def _key_pem(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )


def _key_usage(*, signature: bool = False, certificates: bool = False) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=signature,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=certificates,
        crl_sign=certificates,
        encipher_only=False,
        decipher_only=False,
    )
