"""TLS on the marina's network: the shop's own small authority, and what it signs.

The authority is made once, lives in the home and signs for this machine's names only, which
it says of itself (name constraints), so that a phone that trusts it trusts it for nothing else.
"""

import ipaddress
import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.whole_files import write_whole

if TYPE_CHECKING:
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey

FOLDER = "authority"
AUTHORITY, AUTHORITY_KEY = "authority.crt", "authority.key"
SERVER, SERVER_KEY = "server.crt", "server.key"
_AUTHORITY_LASTS, _SERVER_LASTS = timedelta(days=3650), timedelta(days=397)
"""Phones refuse a server's certificate that lasts longer than 398 days (from memory)."""
_RENEWED_BEFORE = timedelta(days=30)
_CLOCKS_OFF = timedelta(days=1)


@dataclass(frozen=True)
class Authority:
    """What a phone is given to trust: the certificate (DER), and its SHA-256 to compare."""

    certificate: bytes
    fingerprint: str


@dataclass(frozen=True)
class Certificates:
    """The files a server is run with."""

    certificate: Path
    key: Path
    authority: Authority


def own_certificates(folder: Path, names: Sequence[str], now: datetime) -> Certificates:
    """The server's certificate for these names and numbers, by the shop's own authority.

    Args:
        folder: of the home; the authority in it is made if it is not there.
        names: host names and addresses the server answers to.
        now: a certificate that ends soon is made anew.
    """
    from cryptography import x509  # noqa: PLC0415
    from cryptography.hazmat.primitives import hashes  # noqa: PLC0415
    from cryptography.hazmat.primitives.asymmetric.ec import (  # noqa: PLC0415
        EllipticCurvePrivateKey,
    )
    from cryptography.hazmat.primitives.serialization import (  # noqa: PLC0415
        Encoding,
        load_pem_private_key,
    )

    place = folder / FOLDER
    place.mkdir(parents=True, exist_ok=True)
    if not (place / AUTHORITY).exists():
        key = _new_key()
        made = _authority(key, now)
        _keep_key(place / AUTHORITY_KEY, key)
        write_whole(place / AUTHORITY, made.public_bytes(Encoding.PEM))
    authority = x509.load_pem_x509_certificate((place / AUTHORITY).read_bytes())
    if not _still_serves(place, names, now):
        signer = load_pem_private_key((place / AUTHORITY_KEY).read_bytes(), None)
        assert isinstance(signer, EllipticCurvePrivateKey)
        key = _new_key()
        signed = _signed(authority, signer, key, names, now)
        _keep_key(place / SERVER_KEY, key)
        write_whole(place / SERVER, signed.public_bytes(Encoding.PEM))
    shown = authority.fingerprint(hashes.SHA256()).hex(":").upper()
    return Certificates(
        place / SERVER, place / SERVER_KEY, Authority(authority.public_bytes(Encoding.DER), shown)
    )


def _new_key() -> "EllipticCurvePrivateKey":
    from cryptography.hazmat.primitives.asymmetric import ec  # noqa: PLC0415

    return ec.generate_private_key(ec.SECP256R1())


def _keep_key(path: Path, key: "EllipticCurvePrivateKey") -> None:
    from cryptography.hazmat.primitives import serialization  # noqa: PLC0415

    text = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    old = os.umask(0o077)
    try:
        write_whole(path, text)
    finally:
        os.umask(old)


def _authority(key: "EllipticCurvePrivateKey", now: datetime) -> "x509.Certificate":
    from cryptography import x509  # noqa: PLC0415
    from cryptography.hazmat.primitives import hashes  # noqa: PLC0415

    name = _name("ringland dockside, this shop's own authority")
    local = [ipaddress.ip_network(one) for one in PRIVATE]
    return (
        _begun(name, name, key, now, _AUTHORITY_LASTS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs=True), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(
            x509.NameConstraints(
                [
                    *(x509.DNSName(one) for one in ("local", "lan", "home.arpa", "localhost")),
                    *(x509.IPAddress(one) for one in local),
                ],
                None,
            ),
            critical=True,
        )
        .sign(key, hashes.SHA256())
    )


PRIVATE = ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "127.0.0.0/8", "169.254.0.0/16",
           "fc00::/7", "fe80::/10", "::1/128")  # fmt: skip
"""Networks of a house or a marina (RFC 1918, 3927, 4193), for which alone the authority signs."""


def _signed(
    authority: "x509.Certificate",
    signer: "EllipticCurvePrivateKey",
    key: "EllipticCurvePrivateKey",
    names: Sequence[str],
    now: datetime,
) -> "x509.Certificate":
    from cryptography import x509  # noqa: PLC0415
    from cryptography.hazmat.primitives import hashes  # noqa: PLC0415
    from cryptography.x509.oid import ExtendedKeyUsageOID  # noqa: PLC0415

    by = x509.AuthorityKeyIdentifier.from_issuer_public_key(signer.public_key())
    return (
        _begun(_name("ringland dockside"), authority.subject, key, now, _SERVER_LASTS)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(
            x509.SubjectAlternativeName([_alternative(n) for n in names]), critical=False
        )
        .add_extension(by, critical=False)
        .sign(signer, hashes.SHA256())
    )


def _begun(
    name: "x509.Name",
    issuer: "x509.Name",
    key: "EllipticCurvePrivateKey",
    now: datetime,
    lasts: timedelta,
) -> "x509.CertificateBuilder":
    from cryptography import x509  # noqa: PLC0415

    return (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - _CLOCKS_OFF)
        .not_valid_after(now + lasts)
    )


def _name(words: str) -> "x509.Name":
    from cryptography import x509  # noqa: PLC0415

    return x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, words)])


def _usage(*, signs: bool) -> "x509.KeyUsage":
    from cryptography import x509  # noqa: PLC0415

    return x509.KeyUsage(
        digital_signature=not signs,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=signs,
        crl_sign=signs,
        encipher_only=False,
        decipher_only=False,
    )


def _alternative(name: str) -> "x509.GeneralName":
    from cryptography import x509  # noqa: PLC0415

    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def _still_serves(place: Path, names: Sequence[str], now: datetime) -> bool:
    from cryptography import x509  # noqa: PLC0415

    if not ((place / SERVER).exists() and (place / SERVER_KEY).exists()):
        return False
    made = x509.load_pem_x509_certificate((place / SERVER).read_bytes())
    told = made.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    wanted = {_alternative(name) for name in names}
    return set(told) == wanted and now + _RENEWED_BEFORE < made.not_valid_after_utc
