"""A certificate made on this laptop, for phones on its own network."""

from __future__ import annotations

import contextlib
import ipaddress
import os
import socket
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from tackfree.errors import InputError, ToolError

CA_DAYS, LEAF_DAYS, RENEW_DAYS = 3650, 397, 30
PRIVATE = ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "127.0.0.0/8")


@dataclass(frozen=True, kw_only=True)
class Certificates:
    """Files of a certificate and its key, and of the authority a phone is told to trust."""

    chain: Path
    key: Path
    authority: Path
    fingerprint: str
    names: tuple[str, ...]


def names_of_this_machine() -> tuple[str, ...]:
    """Its name on a local network, then its addresses there."""
    name = socket.gethostname().split(".")[0].lower() or "deck"
    found = {"127.0.0.1"}
    probe = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    with probe, contextlib.suppress(OSError):
        probe.connect(("10.255.255.255", 9))  # nothing is sent: it only picks a way out
        found.add(str(probe.getsockname()[0]))
    with contextlib.suppress(OSError):
        found |= {str(a[4][0]) for a in socket.getaddrinfo(name, None, socket.AF_INET)}
    return (f"{name}.local", "localhost", *sorted(filter(_private, found)))


def certificates(folder: Path, names: tuple[str, ...], *, now: datetime) -> Certificates:
    """The certificate for some names, made anew when they changed or it is nearly over.

    The authority stays the same, so a phone is set up once. It can vouch only for names
    under ``local``, for ``localhost`` and for private addresses: its key, if it were
    stolen, forges no other site.

    Parameters
    ----------
    folder : Path
        Where they are kept; keys readable by this user only.
    names : tuple of str
        Host names under ``local``, ``localhost``, and private IPv4 addresses.
    now : datetime
        Aware.

    Raises
    ------
    InputError
        If a name is outside of what the authority may vouch for.
    """
    for name in names:
        if not _private(name):
            raise InputError(
                f"{name} is no name of a local network.",
                where="--name",
                do="Use a name that ends in .local, or a private address.",
            )
    folder.mkdir(parents=True, exist_ok=True)
    folder.chmod(0o700)
    authority, authority_key = _authority(folder, now)
    chain, key = folder / "chain.pem", folder / "key.pem"
    if not _good(chain, key, authority, names, now):
        _make_leaf(chain, key, authority, authority_key, names, now)
    print_ = authority.fingerprint(hashes.SHA256()).hex(":").upper()
    return Certificates(
        chain=chain, key=key, authority=folder / "authority.pem", fingerprint=print_, names=names
    )


def _private(name: str) -> bool:
    try:
        address = ipaddress.ip_address(name)
    except ValueError:
        return name == "localhost" or (name.endswith(".local") and len(name) < 64)
    return any(address in ipaddress.ip_network(n) for n in PRIVATE)


def _authority(folder: Path, now: datetime) -> tuple[x509.Certificate, ec.EllipticCurvePrivateKey]:
    path, key_path = folder / "authority.pem", folder / "authority-key.pem"
    if path.exists() and key_path.exists():
        try:
            kept = x509.load_pem_x509_certificate(path.read_bytes())
            key = serialization.load_pem_private_key(key_path.read_bytes(), None)
        except ValueError as error:
            raise ToolError(
                "the certificate authority cannot be read.",
                where=str(path),
                do="Remove the folder; phones must then be set up again.",
            ) from error
        assert isinstance(key, ec.EllipticCurvePrivateKey)
        if kept.not_valid_after_utc > now + timedelta(days=LEAF_DAYS):
            return kept, key
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Tackfree on this laptop")])
    allowed: list[x509.GeneralName] = [x509.DNSName("local"), x509.DNSName("localhost")]
    allowed += [x509.IPAddress(ipaddress.ip_network(n)) for n in PRIVATE]
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=CA_DAYS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(x509.NameConstraints(allowed, None), critical=True)
        .add_extension(_usage(signs=True), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    _write_key(key_path, key)
    path.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    return made, key


def _make_leaf(
    chain: Path, key_path: Path, authority: x509.Certificate,
    authority_key: ec.EllipticCurvePrivateKey, names: tuple[str, ...], now: datetime,
) -> None:  # fmt: skip
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, names[0])])
    ours = authority.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    made = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(authority.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=LEAF_DAYS - 1))
        .add_extension(x509.SubjectAlternativeName(_general(names)), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(ours), critical=False
        )
        .sign(authority_key, hashes.SHA256())
    )
    _write_key(key_path, key)
    pem = serialization.Encoding.PEM
    chain.write_bytes(made.public_bytes(pem) + authority.public_bytes(pem))


def _general(names: tuple[str, ...]) -> list[x509.GeneralName]:
    out: list[x509.GeneralName] = []
    for name in names:
        try:
            out.append(x509.IPAddress(ipaddress.ip_address(name)))
        except ValueError:
            out.append(x509.DNSName(name))
    return out


def _good(
    chain: Path, key: Path, authority: x509.Certificate, names: tuple[str, ...], now: datetime
) -> bool:
    if not (chain.exists() and key.exists()):
        return False
    try:
        leaf = x509.load_pem_x509_certificates(chain.read_bytes())[0]
        have = leaf.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
        leaf.verify_directly_issued_by(authority)
    except Exception:  # whatever is wrong with it, it is made anew
        return False
    over = leaf.not_valid_after_utc < now + timedelta(days=RENEW_DAYS)
    return not over and set(have) == set(_general(names))


def _usage(*, signs: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=True, content_commitment=False, key_encipherment=False,
        data_encipherment=False, key_agreement=False, key_cert_sign=signs, crl_sign=signs,
        encipher_only=False, decipher_only=False,
    )  # fmt: skip


def _write_key(path: Path, key: ec.EllipticCurvePrivateKey) -> None:
    pem = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "wb") as file:
        file.write(pem)
    path.chmod(0o600)
