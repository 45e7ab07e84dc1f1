"""TLS on the marina's network: the shop's own small authority, and what it signs.

The authority is made once, lives in the home and says of itself that it signs for names and
numbers of a local network only (name constraints, RFC 5280 4.2.1.10), so that a phone that
trusts it trusts it for nothing else.
"""

import hashlib
import ipaddress
import os
import secrets
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from asn1crypto import algos, core, keys, pem, x509
from ecdsa import BadSignatureError, NIST256p, SigningKey, VerifyingKey
from ecdsa.der import UnexpectedDER
from ecdsa.util import sigdecode_der, sigencode_der

from pipelines.whole_files import write_whole

FOLDER = "authority"
KEY_FAULT = (
    "is missing or was changed: take it from a backup (ringland restore BACKUP --mend); without "
    "one, move its folder away and start 'ringland dockside' anew, whose new authority every "
    "phone must then be told to trust"
)
AUTHORITY, AUTHORITY_KEY = "authority.crt", "authority.key"
SERVER, SERVER_KEY = "server.crt", "server.key"
_AUTHORITY_LASTS, _SERVER_LASTS = timedelta(days=3650), timedelta(days=397)
"""Phones refuse a server's certificate that lasts longer than 398 days (from memory)."""
_RENEWED_BEFORE = timedelta(days=30)
_CLOCKS_OFF = timedelta(days=1)
DOMAINS = ("localhost", "local", "lan", "home.arpa")
NETWORKS = ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "127.0.0.0/8", "169.254.0.0/16",
            "fc00::/7", "fe80::/10", "::1/128")  # fmt: skip
"""Networks of a house or a marina (RFC 1918, 3927, 4193), for which alone the authority signs."""


class CertificateError(ValueError):
    """What phones trust is not there as it was; the message says what to do."""


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


def is_local(name: str) -> bool:
    """Whether the authority may sign for a name or number."""
    try:
        number = ipaddress.ip_address(name)
    except ValueError:
        return any(name == one or name.endswith(f".{one}") for one in DOMAINS)
    nets = (ipaddress.ip_network(one) for one in NETWORKS)
    return any(number in net for net in nets if net.version == number.version)


def own_certificates(folder: Path, names: Sequence[str], now: datetime) -> Certificates:
    """The server's certificate for these names and numbers, by the shop's own authority.

    Args:
        folder: of the home; the authority in it is made if it is not there.
        names: host names and addresses the server answers to, each `is_local`.
        now: a certificate that ends soon is made anew.

    Raises:
        CertificateError: what phones trust is lost or damaged.
    """
    place = folder / FOLDER
    place.mkdir(mode=0o700, parents=True, exist_ok=True)
    if not (place / AUTHORITY).exists() and not (place / SERVER).exists():
        key = SigningKey.generate(curve=NIST256p)
        _keep_key(place / AUTHORITY_KEY, key)
        _keep(place / AUTHORITY, _authority(key, now))
    lost = [path for path in faulty_keys(folder) if path.name in (AUTHORITY, AUTHORITY_KEY)]
    if lost:
        raise CertificateError(f"{lost[0]} {KEY_FAULT}")
    der = _read(place / AUTHORITY)
    if not _still_serves(place, names, now):
        signer = SigningKey.from_pem((place / AUTHORITY_KEY).read_text(encoding="ascii"))
        key = SigningKey.generate(curve=NIST256p)
        signed = _signed(x509.Certificate.load(der).subject, signer, key, names, now)
        _keep_key(place / SERVER_KEY, key)
        _keep(place / SERVER, signed)
    shown = hashlib.sha256(der).hexdigest().upper()
    pairs = ":".join(shown[at : at + 2] for at in range(0, len(shown), 2))
    return Certificates(place / SERVER, place / SERVER_KEY, Authority(der, pairs))


def _authority(key: SigningKey, now: datetime) -> x509.Certificate:
    name = _name("ringland dockside, this shop's own authority")
    permitted = [x509.GeneralName("dns_name", one) for one in DOMAINS]
    permitted += [x509.GeneralName("ip_address", one) for one in NETWORKS]
    bounds = x509.NameConstraints(
        {"permitted_subtrees": [x509.GeneralSubtree({"base": one}) for one in permitted]}
    )
    extensions = [
        _extension("basic_constraints", {"ca": True, "path_len_constraint": 0}, critical=True),
        _extension("key_usage", {"key_cert_sign", "crl_sign"}, critical=True),
        _extension("key_identifier", _identifier(key), critical=False),
        _extension("name_constraints", bounds, critical=True),
    ]
    return _certificate(name, name, key, key, now, _AUTHORITY_LASTS, extensions)


def _signed(
    issuer: x509.Name, signer: SigningKey, key: SigningKey, names: Sequence[str], now: datetime
) -> x509.Certificate:
    by = {"key_identifier": _identifier(signer)}
    extensions = [
        _extension("basic_constraints", {"ca": False}, critical=True),
        _extension("key_usage", {"digital_signature"}, critical=True),
        _extension("extended_key_usage", ["server_auth"], critical=False),
        _extension("subject_alt_name", [_alternative(one) for one in names], critical=False),
        _extension("authority_key_identifier", by, critical=False),
    ]
    subject = _name("ringland dockside")
    return _certificate(subject, issuer, key, signer, now, _SERVER_LASTS, extensions)


def _certificate(
    subject: x509.Name,
    issuer: x509.Name,
    key: SigningKey,
    signer: SigningKey,
    now: datetime,
    lasts: timedelta,
    extensions: Sequence[x509.Extension],
) -> x509.Certificate:
    algorithm = algos.SignedDigestAlgorithm({"algorithm": "sha256_ecdsa"})
    whole = now.replace(microsecond=0)
    told = x509.TbsCertificate(
        {
            "version": "v3",
            "serial_number": secrets.randbits(127) + 1,
            "signature": algorithm,
            "issuer": issuer,
            "validity": {
                "not_before": x509.Time({"utc_time": whole - _CLOCKS_OFF}),
                "not_after": x509.Time({"utc_time": whole + lasts}),
            },
            "subject": subject,
            "subject_public_key_info": keys.PublicKeyInfo.load(key.verifying_key.to_der()),
            "extensions": list(extensions),
        }
    )
    signature = signer.sign_deterministic(
        told.dump(), hashfunc=hashlib.sha256, sigencode=sigencode_der
    )
    return x509.Certificate(
        {
            "tbs_certificate": told,
            "signature_algorithm": algorithm,
            "signature_value": core.OctetBitString(signature),
        }
    )


def _extension(name: str, value: object, *, critical: bool) -> x509.Extension:
    return x509.Extension({"extn_id": name, "critical": critical, "extn_value": value})


def _identifier(key: SigningKey) -> bytes:
    return hashlib.sha1(key.verifying_key.to_string(), usedforsecurity=False).digest()


def _name(words: str) -> x509.Name:
    return x509.Name.build({"common_name": words})


def _alternative(name: str) -> x509.GeneralName:
    try:
        return x509.GeneralName("ip_address", str(ipaddress.ip_address(name)))
    except ValueError:
        return x509.GeneralName("dns_name", name)


def faulty_keys(folder: Path) -> list[Path]:
    """Files of the authority, and of what it signed, that are lost, damaged or do not fit.

    Args:
        folder: of the home; where no authority was made, nothing is lost.
    """
    place = folder / FOLDER
    if not place.exists():
        return []
    pairs = ((AUTHORITY, AUTHORITY_KEY), (SERVER, SERVER_KEY))
    certificates = [place / one for one, _ in pairs if not _is_signed(place / one, place)]
    return certificates + [place / key for one, key in pairs if not _fits(place / key, place / one)]


def _is_signed(path: Path, place: Path) -> bool:
    with suppress(*_UNREADABLE):
        made = x509.Certificate.load(_read(path))
        issuer = VerifyingKey.from_der(
            x509.Certificate.load(_read(place / AUTHORITY)).public_key.dump()
        )
        signature, signed = made["signature_value"].native, made["tbs_certificate"].dump()
        issuer.verify(signature, signed, hashlib.sha256, sigdecode=sigdecode_der)
        return path.read_bytes() == pem.armor("CERTIFICATE", made.dump())  # type: ignore[no-any-return]  # asn1crypto says nothing of types
    return False


def _fits(path: Path, certificate: Path) -> bool:
    with suppress(*_UNREADABLE):
        key = SigningKey.from_pem(path.read_text(encoding="ascii"))
        public = x509.Certificate.load(_read(certificate)).public_key.dump()
        is_its: bool = key.verifying_key.to_der() == public
        return is_its and path.read_bytes() == key.to_pem(format="pkcs8")
    return False


_UNREADABLE = (
    OSError,
    ValueError,
    TypeError,
    KeyError,
    AssertionError,
    UnexpectedDER,
    BadSignatureError,
)
"""What the libraries raise of files that are not there or not what they were."""


def _still_serves(place: Path, names: Sequence[str], now: datetime) -> bool:
    if any(path.name in (SERVER, SERVER_KEY) for path in faulty_keys(place.parent)):
        return False
    made = x509.Certificate.load(_read(place / SERVER))
    told = {one.native for one in made.subject_alt_name_value}
    return told == set(names) and now + _RENEWED_BEFORE < made.not_valid_after


def _keep(path: Path, made: x509.Certificate) -> None:
    write_whole(path, pem.armor("CERTIFICATE", made.dump()))


def _read(path: Path) -> bytes:
    der: bytes = pem.unarmor(path.read_bytes())[2]
    return der


def _keep_key(path: Path, key: SigningKey) -> None:
    before = os.umask(0o077)
    try:
        write_whole(path, key.to_pem(format="pkcs8"))
    finally:
        os.umask(before)
