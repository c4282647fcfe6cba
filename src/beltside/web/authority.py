"""The shop's own certificate authority, and the server's certificates it signs.

A phone that trusts the authority knows this server again on any network. The authority is made on
first use; its key stays in the shop's folder, readable by its owner alone. It can vouch for nothing
but private addresses and local names (name constraints, RFC 5280 section 4.2.1.10): were the key
stolen, nobody could pose as a bank with it on a phone that trusts it.
"""

from __future__ import annotations

import ipaddress
import os
import secrets
import ssl
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final, cast

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from beltside.base.errors import BeltsideError
from beltside.web.addresses import PRIVATE_NETWORKS
from beltside.web.kept_secret import FOLDER, secret_folder, write_private

KEY_FILE: Final = "authority.key"
CERTIFICATE_FILE: Final = "authority.pem"
AUTHORITY_DAYS: Final = 3650
SERVER_DAYS: Final = 30
RENEW_DAYS: Final = 10
"""A server certificate with fewer days left is replaced."""
BEFORE: Final = timedelta(hours=24)
"""Certificates hold from a day ago: a phone's clock may be behind."""

LOCAL_DOMAINS: Final = ("localhost", "local", "lan", "home.arpa", "internal")


@dataclass(frozen=True)
class ServerCertificate:
    """A server's certificate and its key, PEM; what it is for and how long it holds."""

    chain_pem: bytes
    key_pem: bytes
    names: tuple[str, ...]
    expires_at: datetime

    def days_left(self, now: datetime) -> float:
        """Days until it lapses; negative afterwards."""
        return (self.expires_at - now) / timedelta(days=1)


class Authority:
    """The authority of one shop.

    Attributes
    ----------
    certificate
        Its certificate, which phones are told to trust.
    """

    def __init__(self, certificate: x509.Certificate, key: ec.EllipticCurvePrivateKey) -> None:
        self.certificate: Final = certificate
        self._key: Final = key

    @property
    def der(self) -> bytes:
        """The certificate as phones take it in (DER)."""
        return self.certificate.public_bytes(serialization.Encoding.DER)

    @property
    def fingerprint(self) -> str:
        """SHA-256 over the certificate in pairs of hex digits, as phones show it."""
        digest = self.certificate.fingerprint(hashes.SHA256()).hex().upper()
        return " ".join(digest[at : at + 2] for at in range(0, len(digest), 2))

    @property
    def name(self) -> str:
        """Its name, as it stands in the phone's list."""
        found = self.certificate.subject.get_attributes_for_oid(NameOID.COMMON_NAME)
        return str(found[0].value)

    def vouches_for(self, name: str) -> bool:
        """Whether phones accept this authority's word for an address or name (RFC 5280)."""
        limits = self.certificate.extensions.get_extension_for_class(x509.NameConstraints).value
        one = _general_name(name)
        for allowed in limits.permitted_subtrees or ():
            if isinstance(one, x509.IPAddress) and isinstance(allowed, x509.IPAddress):
                network = cast(ipaddress.IPv4Network, allowed.value)
                fits = cast(ipaddress.IPv4Address, one.value) in network
            elif isinstance(one, x509.DNSName) and isinstance(allowed, x509.DNSName):
                fits = f".{one.value}".endswith(f".{allowed.value}")
            else:
                continue
            if fits:
                return True
        return False

    def issue(self, names: Iterable[str], *, now: datetime | None = None) -> ServerCertificate:
        """A fresh server certificate for these addresses and names, good for 30 days.

        Raises
        ------
        BeltsideError
            When a name is none of those the authority vouches for.
        """
        now = now or datetime.now(UTC)
        wanted = tuple(dict.fromkeys(names))
        for name in wanted:
            if not self.vouches_for(name):
                raise BeltsideError(
                    f"The shop's certificates do not vouch for {name}",
                    allowed="private addresses, this machine's name, names ending in .local",
                    instead="a network with private addresses",
                )
        key = ec.generate_private_key(ec.SECP256R1())
        expires_at = min(
            now + timedelta(days=SERVER_DAYS), self.certificate.not_valid_after_utc
        ).replace(microsecond=0)
        certificate = (
            x509.CertificateBuilder()
            .subject_name(_name("Beltside"))
            .issuer_name(self.certificate.subject)
            .public_key(key.public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(now - BEFORE)
            .not_valid_after(expires_at)
            .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
            .add_extension(
                x509.SubjectAlternativeName([_general_name(name) for name in wanted]),
                critical=False,
            )
            .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
            .add_extension(_usage(digital_signature=True), critical=True)
            .add_extension(
                x509.AuthorityKeyIdentifier.from_issuer_public_key(self._key.public_key()),
                critical=False,
            )
            .add_extension(
                x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False
            )
            .sign(self._key, hashes.SHA256())
        )
        return ServerCertificate(
            certificate.public_bytes(serialization.Encoding.PEM),
            _key_pem(key),
            wanted,
            expires_at,
        )


def authority_of(folder: Path, *, now: datetime | None = None, name: str = "") -> Authority:
    """The authority kept in a shop's folder; made when there is none, or when it has lapsed.

    Parameters
    ----------
    name
        The machine's own name; one that is made vouches for it besides NAME.local.

    Raises
    ------
    BeltsideError
        When its files cannot be read or written, or others than their owner may read the key.
    """
    now = now or datetime.now(UTC)
    place = folder / FOLDER
    try:
        secret_folder(folder)
        if (place / KEY_FILE).exists() and (place / CERTIFICATE_FILE).exists():
            found = _read(place)
            if found.certificate.not_valid_after_utc - now > timedelta(days=SERVER_DAYS):
                return found
        return _make(place, now, name)
    except OSError as error:
        raise BeltsideError(
            f"The certificates in {place} cannot be kept: {error.strerror}",
            instead="a folder you may write to",
        ) from error


def _read(place: Path) -> Authority:
    key_file = place / KEY_FILE
    mode = key_file.stat().st_mode & 0o777
    if mode & 0o077 and os.name == "posix":
        raise BeltsideError(
            f"Others may read the key {key_file} (its rights are {mode:o})",
            allowed="600: for its owner only",
            instead=f"chmod 600 {key_file}; if anybody may have read it, delete the folder "
            f"{place} and let phones trust the new authority",
        )
    try:
        key = serialization.load_pem_private_key(key_file.read_bytes(), password=None)
        certificate = x509.load_pem_x509_certificate((place / CERTIFICATE_FILE).read_bytes())
    except (ValueError, TypeError) as error:
        raise BeltsideError(
            f"The certificates in {place} are damaged",
            instead="those of a backup; or delete the folder and let phones trust a new one",
        ) from error
    if (
        not isinstance(key, ec.EllipticCurvePrivateKey)
        or certificate.public_key() != key.public_key()
    ):
        raise BeltsideError(
            f"Key and certificate in {place} do not belong together",
            instead="those of one backup; or delete the folder and let phones trust a new one",
        )
    return Authority(certificate, key)


def _make(place: Path, now: datetime, own_name: str) -> Authority:
    key = ec.generate_private_key(ec.SECP256R1())
    name = _name(f"Beltside {now:%Y-%m-%d} {secrets.token_hex(2)}")
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - BEFORE)
        .not_valid_after(now + timedelta(days=AUTHORITY_DAYS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(key_cert_sign=True, crl_sign=True), critical=True)
        .add_extension(
            x509.NameConstraints(
                permitted_subtrees=[
                    *(x509.IPAddress(network) for network in PRIVATE_NETWORKS),
                    *(
                        x509.DNSName(domain)
                        for domain in (*LOCAL_DOMAINS, *filter(None, [own_name]))
                    ),
                ],
                excluded_subtrees=None,
            ),
            critical=True,
        )
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    # The key first: a certificate without its key would be taken for damage.
    write_private(place / KEY_FILE, _key_pem(key), 0o600)
    write_private(
        place / CERTIFICATE_FILE, certificate.public_bytes(serialization.Encoding.PEM), 0o644
    )
    return Authority(certificate, key)


def context_for(certificate: ServerCertificate, place: Path) -> ssl.SSLContext:
    """A TLS context of a server: TLS 1.2 and newer."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.set_ciphers("ECDHE+AESGCM:ECDHE+CHACHA20")
    load(context, certificate, place)
    return context


def load(context: ssl.SSLContext, certificate: ServerCertificate, place: Path) -> None:
    """Let a context use this certificate from the next connection on.

    The library reads them from a file only; it is there for that moment, for its owner's eyes.
    """
    file = place / f"server-{secrets.token_hex(8)}.pem"
    try:
        write_private(file, certificate.key_pem + certificate.chain_pem, 0o600)
        context.load_cert_chain(file)
    finally:
        file.unlink(missing_ok=True)


def _name(common: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, common)])


def _general_name(name: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def _usage(**wanted: bool) -> x509.KeyUsage:
    names = (
        "digital_signature",
        "content_commitment",
        "key_encipherment",
        "data_encipherment",
        "key_agreement",
        "key_cert_sign",
        "crl_sign",
        "encipher_only",
        "decipher_only",
    )
    return x509.KeyUsage(**{name: wanted.get(name, False) for name in names})


def _key_pem(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
