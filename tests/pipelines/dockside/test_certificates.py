"""The shop's authority, as OpenSSL reads it through Python's own TLS."""

import shutil
import ssl
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from pipelines.dockside.certificates import (
    AUTHORITY,
    AUTHORITY_KEY,
    SERVER,
    SERVER_KEY,
    CertificateError,
    Certificates,
    faulty_keys,
    is_local,
    own_certificates,
)

NOW = datetime.now(UTC)  # OpenSSL asks the machine's clock
NAMES = ["127.0.0.1", "192.168.1.20", "dock.local", "localhost"]


def handshake(made: Certificates, name: str, trusted: bytes | None) -> None:
    """A whole TLS handshake in memory.

    Raises:
        ssl.SSLError: the client does not believe the server.
    """
    serves = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    serves.load_cert_chain(made.certificate, made.key)
    asks = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    asks.verify_flags |= ssl.VERIFY_X509_STRICT
    if trusted is not None:
        asks.load_verify_locations(cadata=trusted)
    to_server, to_client = ssl.MemoryBIO(), ssl.MemoryBIO()
    server = serves.wrap_bio(to_server, to_client, server_side=True)
    client = asks.wrap_bio(to_client, to_server, server_hostname=name)
    for _ in range(4):
        for side in (client, server):
            try:
                side.do_handshake()
            except ssl.SSLWantReadError:
                continue
    assert client.version() == "TLSv1.3"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Certificates:
    return own_certificates(tmp_path_factory.mktemp("home"), NAMES, NOW)


@pytest.mark.parametrize("name", NAMES)
def test_a_phone_that_trusts_the_authority_believes_each_name(
    made: Certificates, name: str
) -> None:
    handshake(made, name, made.authority.certificate)


def test_a_phone_that_does_not_trust_it_or_asks_another_name_does_not(made: Certificates) -> None:
    with pytest.raises(ssl.SSLCertVerificationError, match="unable to get local issuer"):
        handshake(made, "dock.local", None)
    with pytest.raises(ssl.SSLCertVerificationError, match="Hostname mismatch"):
        handshake(made, "other.local", made.authority.certificate)


@pytest.mark.parametrize("name", ["bank.example", "8.8.8.8"])
def test_the_authority_is_believed_for_no_name_of_the_internet(tmp_path: Path, name: str) -> None:
    made = own_certificates(tmp_path, [name], NOW)

    assert not is_local(name)
    with pytest.raises(ssl.SSLCertVerificationError, match="permitted subtree violation"):
        handshake(made, name, made.authority.certificate)


def test_the_authority_is_made_once_and_the_servers_anew_for_other_names_or_near_its_end(
    tmp_path: Path,
) -> None:
    first = own_certificates(tmp_path, NAMES, NOW)
    kept = first.certificate.read_bytes()

    assert own_certificates(tmp_path, NAMES, NOW).authority == first.authority
    assert first.certificate.read_bytes() == kept
    more = own_certificates(tmp_path, [*NAMES, "10.0.0.7"], NOW)
    handshake(more, "10.0.0.7", first.authority.certificate)
    kept = more.certificate.read_bytes()
    later = own_certificates(tmp_path, [*NAMES, "10.0.0.7"], NOW + timedelta(days=380))
    assert later.authority == first.authority
    assert later.certificate.read_bytes() != kept


def test_keys_are_for_the_owners_eyes_only(made: Certificates) -> None:
    for path in (made.key, made.key.with_name("authority.key")):
        assert path.stat().st_mode & 0o077 == 0


FILES = (AUTHORITY, AUTHORITY_KEY, SERVER, SERVER_KEY)


@pytest.mark.parametrize("name", FILES)
@pytest.mark.parametrize("is_lost", [True, False])
def test_a_key_or_certificate_that_is_lost_or_changed_is_named(
    made: Certificates, tmp_path: Path, name: str, *, is_lost: bool
) -> None:
    """A damaged one ended in a traceback; a lost authority was made anew, which no phone trusts."""
    place = Path(shutil.copytree(made.key.parent, tmp_path / "authority"))
    assert faulty_keys(tmp_path) == []
    content = (place / name).read_bytes()
    (place / name).unlink()
    if not is_lost:
        at = len(content) // 2
        (place / name).write_bytes(content[:at] + bytes([content[at] ^ 1]) + content[at + 1 :])

    assert place / name in faulty_keys(tmp_path)
    if name in (SERVER, SERVER_KEY):
        again = own_certificates(tmp_path, NAMES, NOW)
        handshake(again, "dock.local", made.authority.certificate)
        assert faulty_keys(tmp_path) == []
    else:
        with pytest.raises(CertificateError, match="restore BACKUP --mend"):
            own_certificates(tmp_path, NAMES, NOW)
