"""The certificate of a laptop vouches for its own network, and for nothing else."""

from __future__ import annotations

import ssl
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509

from tackfree.errors import InputError
from tackfree.service.tls import certificates, names_of_this_machine

NOW = datetime(2027, 4, 12, 11, 0, tzinfo=UTC)
NAMES = ("deck.local", "192.168.1.20")


def test_keys_are_private_and_the_authority_stays(tmp_path: Path) -> None:
    first = certificates(tmp_path / "tls", NAMES, now=NOW)
    for name in ("key.pem", "authority-key.pem"):
        assert (tmp_path / "tls" / name).stat().st_mode & 0o077 == 0
    chain = first.chain.read_bytes()
    assert certificates(tmp_path / "tls", NAMES, now=NOW).chain.read_bytes() == chain
    other = certificates(tmp_path / "tls", ("deck.local", "192.168.1.21"), now=NOW)
    assert other.fingerprint == first.fingerprint
    assert other.chain.read_bytes() != chain
    later = certificates(tmp_path / "tls", NAMES, now=NOW + timedelta(days=380))
    assert later.fingerprint == first.fingerprint
    ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(later.chain, later.key)


def test_what_a_phone_asks_of_a_certificate(tmp_path: Path) -> None:
    made = certificates(tmp_path, NAMES, now=NOW)
    leaf, authority = x509.load_pem_x509_certificates(made.chain.read_bytes())
    # practice: phones take at most 825 days, a name in SAN, and the use "server"
    assert (leaf.not_valid_after_utc - leaf.not_valid_before_utc).days <= 398
    names = leaf.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert names.get_values_for_type(x509.DNSName) == ["deck.local"]
    assert [str(a) for a in names.get_values_for_type(x509.IPAddress)] == ["192.168.1.20"]
    limits = authority.extensions.get_extension_for_class(x509.NameConstraints)
    assert limits.critical
    leaf.verify_directly_issued_by(authority)


@pytest.mark.outside
@pytest.mark.parametrize(
    ("host", "good"), [("deck.local", True), ("192.168.1.20", True), ("bank.example", False)]
)
def test_openssl_judges_the_chain(tmp_path: Path, host: str, good: bool) -> None:
    # library: OpenSSL's own verification, at a moment inside its lifetime
    made = certificates(tmp_path, NAMES, now=NOW)
    kind = "-verify_ip" if host[0].isdigit() else "-verify_hostname"
    done = subprocess.run(
        ["openssl", "verify", "-attime", str(int(NOW.timestamp())), "-purpose", "sslserver",
         "-CAfile", made.authority, kind, host, made.chain],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (done.returncode == 0) is good, done.stderr


@pytest.mark.parametrize("name", ["bank.example", "8.8.8.8", "local", "deck.local.example"])
def test_names_of_other_networks_are_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError):
        certificates(tmp_path, (name,), now=NOW)


def test_this_machine_has_a_name(tmp_path: Path) -> None:
    names = names_of_this_machine()
    assert names[0].endswith(".local")
    assert "127.0.0.1" in names
    certificates(tmp_path, names, now=NOW)
