"""Makes a test browser's own store of trusted authorities, as a phone's owner does by hand.

NSS, which Chromium brings along, is asked itself: its command-line tool is not everywhere.
"""

import ctypes
import subprocess
import sys
from pathlib import Path


def trust(home: Path, certificate: bytes) -> dict[str, str]:
    """Put an authority among those trusted for TLS; the environment a browser finds them by."""
    store = home / ".pki" / "nssdb"
    store.mkdir(parents=True)
    file = home / "authority.der"
    file.write_bytes(certificate)
    # in a process of its own: NSS is set up once in each, and for one store
    subprocess.run([sys.executable, __file__, str(store), str(file)], check=True, timeout=120)
    return {"HOME": str(home)}


class _Trust(ctypes.Structure):
    _fields_ = (("ssl", ctypes.c_uint), ("email", ctypes.c_uint), ("code", ctypes.c_uint))


def put_in(store: str, certificate: bytes) -> None:
    """Put a certificate (DER) into a new store as an authority for servers.

    Raises:
        OSError: NSS refuses a step.
    """
    nss, packages = ctypes.CDLL("libnss3.so"), ctypes.CDLL("libsmime3.so")
    for step in (
        nss.PK11_GetInternalKeySlot,
        nss.CERT_GetDefaultCertDB,
        packages.CERT_DecodeCertFromPackage,
    ):
        step.restype = ctypes.c_void_p

    def done(step: str, *arguments: object) -> None:
        if getattr(nss, step)(*arguments):
            raise OSError(f"{step}: NSS error {nss.PORT_GetError()}")

    done("NSS_InitReadWrite", f"sql:{store}".encode())
    slot = ctypes.c_void_p(nss.PK11_GetInternalKeySlot())
    if nss.PK11_NeedUserInit(slot):
        done("PK11_InitPin", slot, None, b"")
    made = ctypes.c_void_p(packages.CERT_DecodeCertFromPackage(certificate, len(certificate)))
    trusted = _Trust()
    done("CERT_DecodeTrustString", ctypes.byref(trusted), b"C,,")
    done("PK11_ImportCert", slot, made, ctypes.c_ulong(0), b"the shop's authority", 0)
    base = ctypes.c_void_p(nss.CERT_GetDefaultCertDB())
    done("CERT_ChangeCertTrust", base, made, ctypes.byref(trusted))
    nss.CERT_DestroyCertificate(made)
    nss.PK11_FreeSlot(slot)
    done("NSS_Shutdown")


if __name__ == "__main__":
    put_in(sys.argv[1], Path(sys.argv[2]).read_bytes())
