"""The shop's own certificates, held against OpenSSL's verification (RFC 5280)."""

from __future__ import annotations

import hashlib
import socket
import ssl
import stat
import threading
from datetime import UTC, datetime, timedelta
from ipaddress import IPv4Address, IPv4Network
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from cryptography.x509.oid import ExtendedKeyUsageOID

from beltside.base.errors import BeltsideError
from beltside.web import authority as authority_module
from beltside.web.addresses import PRIVATE_NETWORKS, is_private, own_addresses, own_name
from beltside.web.authority import authority_of, context_for
from beltside.web.kept_secret import FOLDER, form_secret
from beltside.web.phones_door import PhonesDoor

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def handshake(server: ssl.SSLContext, ca_pem: str, name: str) -> dict[str, object]:
    """One connection over a socket pair; gives the certificate the client saw and accepted."""
    client = ssl.create_default_context(cadata=ca_pem)
    ours, theirs = socket.socketpair()

    def serve() -> None:
        try:
            with server.wrap_socket(theirs, server_side=True) as one:
                one.recv(1)
        except OSError:
            theirs.close()

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        with client.wrap_socket(ours, server_hostname=name) as one:
            found = one.getpeercert()
            one.sendall(b"x")
            assert found is not None
            return dict(found)
    finally:
        ours.close()
        thread.join()


def pem_of(folder: Path) -> str:
    return (folder / FOLDER / "authority.pem").read_text(encoding="ascii")


def test_a_client_that_trusts_the_authority_trusts_the_server(tmp_path: Path) -> None:
    authority = authority_of(tmp_path)
    server = context_for(authority.issue(["192.168.1.7", "tarn.local"]), tmp_path)
    for name in ("192.168.1.7", "tarn.local"):
        handshake(server, pem_of(tmp_path), name)
    for name in ("192.168.1.8", "other.local"):
        with pytest.raises(ssl.SSLCertVerificationError):
            handshake(server, pem_of(tmp_path), name)


def test_a_client_that_does_not_trust_it_refuses(tmp_path: Path) -> None:
    server = context_for(authority_of(tmp_path / "a").issue(["192.168.1.7"]), tmp_path)
    authority_of(tmp_path / "b")
    with pytest.raises(ssl.SSLCertVerificationError):
        handshake(server, pem_of(tmp_path / "b"), "192.168.1.7")


@pytest.mark.parametrize("name", ["bank.example", "8.8.8.8", "local.example"])
def test_the_authority_vouches_for_nothing_outside(tmp_path: Path, name: str) -> None:
    with pytest.raises(BeltsideError, match="do not vouch"):
        authority_of(tmp_path).issue([name])


@pytest.mark.parametrize("name", ["bank.example", "8.8.8.8"])
def test_a_stolen_key_is_no_use_outside(
    tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """OpenSSL refuses what the name constraints do not permit, though the key signed it."""
    authority = authority_of(tmp_path)
    monkeypatch.setattr(authority_module.Authority, "vouches_for", lambda self, one: True)
    server = context_for(authority.issue([name]), tmp_path)
    with pytest.raises(ssl.SSLCertVerificationError, match="permitted subtree violation"):
        handshake(server, pem_of(tmp_path), name)


def test_certificates_are_short_lived_and_for_servers_only(tmp_path: Path) -> None:
    made = authority_of(tmp_path, now=NOW).issue(["10.0.0.5", "tarn.local"], now=NOW)
    leaf = x509.load_pem_x509_certificate(made.chain_pem)
    assert leaf.not_valid_after_utc - NOW <= timedelta(days=30)
    # CA/Browser Forum Baseline Requirements: below 398 days; phones refuse longer ones.
    assert leaf.not_valid_after_utc - leaf.not_valid_before_utc < timedelta(days=398)
    names = leaf.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert names.get_values_for_type(x509.IPAddress) == [IPv4Address("10.0.0.5")]
    assert names.get_values_for_type(x509.DNSName) == ["tarn.local"]
    usage = leaf.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value
    assert list(usage) == [ExtendedKeyUsageOID.SERVER_AUTH]
    constraints = leaf.extensions.get_extension_for_class(x509.BasicConstraints).value
    assert constraints.ca is False


def test_the_key_is_its_owners_alone(tmp_path: Path) -> None:
    authority_of(tmp_path)
    form_secret(tmp_path)
    place = tmp_path / FOLDER
    modes = {path.name: stat.S_IMODE(path.stat().st_mode) for path in place.iterdir()}
    assert modes == {"authority.key": 0o600, "authority.pem": 0o644, "forms.key": 0o600}
    assert stat.S_IMODE(place.stat().st_mode) == 0o700
    (place / "authority.key").chmod(0o644)
    with pytest.raises(BeltsideError, match="Others may read the key"):
        authority_of(tmp_path)


def test_the_authority_stays_and_its_fingerprint_is_what_phones_show(tmp_path: Path) -> None:
    first, again = authority_of(tmp_path), authority_of(tmp_path)
    assert first.der == again.der
    digest = hashlib.sha256(first.der).hexdigest().upper()
    assert first.fingerprint.replace(" ", "") == digest
    assert len(first.fingerprint.split()) == 32
    assert first.name.startswith("Beltside ")


def test_a_lapsing_authority_is_made_anew(tmp_path: Path) -> None:
    first = authority_of(tmp_path, now=NOW)
    assert authority_of(tmp_path, now=NOW + timedelta(days=3600)).der == first.der
    assert authority_of(tmp_path, now=NOW + timedelta(days=3630)).der != first.der


@pytest.mark.parametrize("damage", [b"", b"nonsense", "other"])
def test_damaged_files_are_said(tmp_path: Path, damage: bytes | str) -> None:
    authority_of(tmp_path / "shop")
    authority_of(tmp_path / "other")
    data = damage if isinstance(damage, bytes) else pem_of(tmp_path / "other").encode()
    (tmp_path / "shop" / FOLDER / "authority.pem").write_bytes(data)
    with pytest.raises(BeltsideError, match=r"damaged|belong together"):
        authority_of(tmp_path / "shop")


def test_no_key_of_a_server_stays_on_the_disk(tmp_path: Path) -> None:
    PhonesDoor(tmp_path, port=1)
    assert {path.name for path in (tmp_path / FOLDER).iterdir()} == {
        "authority.key",
        "authority.pem",
    }


def test_old_tls_is_refused(tmp_path: Path) -> None:
    """RFC 8996 deprecates TLS 1.0 and 1.1."""
    context = context_for(authority_of(tmp_path).issue(["localhost"]), tmp_path)
    assert context.minimum_version == ssl.TLSVersion.TLSv1_2
    names = [one["name"] for one in context.get_ciphers()]
    assert all("GCM" in one or "CHACHA20" in one for one in names)


class Machine:
    """A machine whose addresses, name and clock a test sets."""

    def __init__(self) -> None:
        self.addresses, self.name, self.at = ("192.168.1.7",), "tarn", NOW

    def door(self, folder: Path) -> PhonesDoor:
        return PhonesDoor(
            folder,
            port=8461,
            addresses=lambda: self.addresses,
            name=lambda: self.name,
            now=lambda: self.at,
        )


def test_the_certificate_is_renewed_before_it_lapses(tmp_path: Path) -> None:
    machine = Machine()
    door = machine.door(tmp_path)
    first = door.certificate
    machine.at += timedelta(days=19)
    assert door.look() is False
    machine.at += timedelta(days=2)
    assert door.look() is True
    assert door.certificate.expires_at > first.expires_at
    assert door.certificate.days_left(machine.at) > 29


def test_it_is_renewed_when_the_address_changes_and_new_connections_get_it(
    tmp_path: Path,
) -> None:
    machine = Machine()
    machine.at = datetime.now(UTC)
    door = machine.door(tmp_path)
    with pytest.raises(ssl.SSLCertVerificationError):
        handshake(door.context, pem_of(tmp_path), "10.1.2.3")
    machine.addresses = ("10.1.2.3",)
    assert door.look() is True
    handshake(door.context, pem_of(tmp_path), "10.1.2.3")
    assert door.address == "https://10.1.2.3:8461"
    assert "192.168.1.7" not in door.hosts
    assert {"10.1.2.3", "localhost", "127.0.0.1", "tarn.local"} <= door.hosts


def test_public_addresses_are_not_served(tmp_path: Path) -> None:
    """192.0.2.0/24 and 198.51.100.0/24 stand for public ones (RFC 5737)."""
    machine = Machine()
    machine.addresses = ("198.51.100.4", "192.168.1.7")
    assert "198.51.100.4" not in machine.door(tmp_path).hosts
    assert not is_private("192.0.2.1")


def test_private_networks_are_those_of_the_standards() -> None:
    """Python's own table of the IANA special-purpose registry calls each private or shared."""
    shared = IPv4Network("100.64.0.0/10")
    assert all(one.is_private or one == shared for one in PRIVATE_NETWORKS)
    assert all(one.is_global is False for one in PRIVATE_NETWORKS)


def test_own_addresses_are_private_and_the_name_fits_an_address() -> None:
    assert all(map(is_private, own_addresses()))
    assert not any(one.startswith("127.") for one in own_addresses())
    assert own_name() == "" or "." not in own_name()


def test_the_downloaded_certificate_is_der(tmp_path: Path) -> None:
    authority = authority_of(tmp_path)
    again = x509.load_der_x509_certificate(authority.der)
    assert again.public_bytes(serialization.Encoding.PEM).decode() == pem_of(tmp_path)
