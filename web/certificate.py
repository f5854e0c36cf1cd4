"""The certificate under which the pages are served: read, tried on itself, and its faults said in one line each."""

from __future__ import annotations

import os
import ssl
import stat
from dataclasses import dataclass
from pathlib import Path

NO_CHECK_TIME = 0x200000
"""X509_V_FLAG_NO_CHECK_TIME of OpenSSL: dates are judged apart, by a clock that may not know them yet."""
ROUNDS = 8


@dataclass(frozen=True, slots=True)
class Certificate:
    """`context` to serve with; `names`: hosts and addresses it is for; `begins`, `ends`: as OpenSSL writes times."""

    file: Path
    context: ssl.SSLContext
    names: tuple[str, ...]
    begins: str
    ends: str

    def doubt(self, now_s: float) -> str | None:
        """One line when it is not valid at `now_s`, in seconds since 1970, else None.

        It is served all the same: phones will warn, but no fill has to wait for a certificate.
        """
        if now_s > ssl.cert_time_to_seconds(self.ends):
            return f"{self.file}: the certificate ended on {self.ends}, and phones warn: renew it"
        if now_s < ssl.cert_time_to_seconds(self.begins):
            return f"{self.file}: the certificate begins on {self.begins} only, and phones warn: renew it"
        return None


def read_certificate(certificate: Path, key: Path) -> Certificate:
    """Both in PEM form, the certificate with those above it. Raises ValueError, one line, where they cannot serve."""
    _readable(certificate, "certificate")
    _readable(key, "key")
    if stat.S_IMODE(os.stat(key).st_mode) & stat.S_IRWXO:
        raise ValueError(f"{key}: everybody on this machine can read the key: chmod o= {key}")
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2

    def nobody_types_one() -> bytes:
        raise ValueError(f"{key}: the key has a password, and nobody is there to type it: take it off by openssl pkey")

    try:
        context.load_cert_chain(certificate, key, password=nobody_types_one)
    except ssl.SSLError as error:
        raise ValueError(_why(error, certificate, key)) from None
    told = _as_a_client_sees_it(context, certificate)
    names = tuple(value for kind, value in told.get("subjectAltName", ()) if kind in ("DNS", "IP Address"))
    return Certificate(certificate, context, names, told["notBefore"], told["notAfter"])


def _readable(path: Path, what: str) -> None:
    try:
        path.read_bytes()
    except OSError as error:
        raise ValueError(f"{path}: the {what} of [http] cannot be read: {error.strerror}") from None


def _why(error: ssl.SSLError, certificate: Path, key: Path) -> str:
    if error.reason == "KEY_VALUES_MISMATCH":
        return f"{key}: this is not the key of {certificate}: name the pair that was made together"
    weak = f"; it is weaker than this machine takes ({error.reason})" if "SMALL" in str(error.reason) else ""
    return f"{certificate}, {key}: no certificate and key in PEM form{weak}: write them anew"


def _as_a_client_sees_it(context: ssl.SSLContext, certificate: Path) -> dict:
    """Shake hands with ourselves, trusting this certificate alone; what a client is told of it."""
    client = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    client.check_hostname = False
    client.load_verify_locations(certificate)
    client.verify_flags = ssl.VerifyFlags(ssl.VERIFY_X509_PARTIAL_CHAIN | NO_CHECK_TIME)
    to_server, to_client = ssl.MemoryBIO(), ssl.MemoryBIO()
    caller = client.wrap_bio(to_client, to_server)
    answerer = context.wrap_bio(to_server, to_client, server_side=True)
    try:
        for _ in range(ROUNDS):
            if all([_step(caller), _step(answerer)]):
                break
    except ssl.SSLCertVerificationError as error:
        raise ValueError(f"{certificate}: not for a server: {error.verify_message}: have it made for one") from None
    return caller.getpeercert() or {}


def _step(side: ssl.SSLObject) -> bool:
    try:
        side.do_handshake()
    except ssl.SSLWantReadError:
        return False
    return True
