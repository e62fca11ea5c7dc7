"""A certificate of one's own, so that phones on the local network may use their cameras.

Browsers give a page the camera only over TLS. A root is made, it signs one certificate for this
machine's names and addresses, and the root's key is thrown away: a phone that is told to trust the
root trusts this server and nothing else, ever.
"""

import ipaddress
import os
import socket
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Self

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

# Phones refuse server certificates that are valid for more than 825 days.
VALID_DAYS = 820


@dataclass(frozen=True)
class Files:
    """Where a certificate of one's own is: for the server (PEM), its key, and for phones (DER)."""

    chain: Path
    key: Path
    root: Path

    @classmethod
    def within(cls, folder: Path) -> Self:
        return cls(folder / "server.pem", folder / "server.key", folder / "root.crt")


def local_names() -> list[str]:
    """The names and addresses by which this machine may be reached, the likeliest first."""
    host = socket.gethostname().split(".")[0].lower()
    addresses: list[str] = []
    # The address of the way out: no packet is sent, the network is only asked for the route.
    for family, elsewhere in ((socket.AF_INET, "192.0.2.1"), (socket.AF_INET6, "2001:db8::1")):
        with suppress(OSError), socket.socket(family, socket.SOCK_DGRAM) as probe:
            probe.connect((elsewhere, 9))
            addresses.append(probe.getsockname()[0])
    with suppress(OSError):
        addresses += [str(entry[4][0]) for entry in socket.getaddrinfo(socket.gethostname(), None)]
    usable = [
        address
        for address in addresses
        if "%" not in address and not ipaddress.ip_address(address).is_loopback
    ]
    return list(dict.fromkeys([*usable, f"{host}.local", host, "localhost", "127.0.0.1", "::1"]))


def make(names: Sequence[str], *, now: datetime) -> tuple[bytes, bytes, bytes]:
    """A certificate for DNS names and IP addresses: (chain in PEM, key in PEM, root in DER).

    Elliptic curve P-256, valid from an hour before `now` (clocks differ) for VALID_DAYS.
    """
    start, end = now - timedelta(hours=1), now + timedelta(days=VALID_DAYS)
    root_key, key = (ec.generate_private_key(ec.SECP256R1()) for _ in range(2))
    root_name = x509.Name(
        [x509.NameAttribute(NameOID.COMMON_NAME, f"Gearroom on {names[0]} {now:%Y-%m-%d}"[:64])]
    )
    server_name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, names[0][:64])])

    def builder(subject: x509.Name, public: ec.EllipticCurvePublicKey) -> x509.CertificateBuilder:
        return (
            x509.CertificateBuilder()
            .subject_name(subject)
            .issuer_name(root_name)
            .public_key(public)
            .serial_number(x509.random_serial_number())
            .not_valid_before(start)
            .not_valid_after(end)
            .add_extension(x509.SubjectKeyIdentifier.from_public_key(public), critical=False)
            .add_extension(
                x509.AuthorityKeyIdentifier.from_issuer_public_key(root_key.public_key()),
                critical=False,
            )
        )

    root = (
        builder(root_name, root_key.public_key())
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_key_usage(signs_certificates=True), critical=True)
        .sign(root_key, hashes.SHA256())
    )
    server = (
        builder(server_name, key.public_key())
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_key_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName([_name(name) for name in names]), critical=False)
        .sign(root_key, hashes.SHA256())
    )
    pem = serialization.Encoding.PEM
    return (
        server.public_bytes(pem) + root.public_bytes(pem),
        key.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()),
        root.public_bytes(serialization.Encoding.DER),
    )


def _key_usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _name(name: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def write(folder: Path, names: Sequence[str], *, now: datetime) -> Files:
    """Make a certificate in a folder of its own, the key readable by its owner only."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    files = Files.within(folder)
    chain, key, root = make(names, now=now)
    for path, content, mode in ((files.key, key, 0o600), (files.chain, chain, 0o644),
                                (files.root, root, 0o644)):  # fmt: skip
        draft = path.with_suffix(".draft")
        with os.fdopen(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, mode), "wb") as out:
            out.write(content)
        draft.replace(path)
    return files


def names_of(chain: Path) -> list[str]:
    """The DNS names and IP addresses that a server certificate in PEM is for."""
    certificate = x509.load_pem_x509_certificate(chain.read_bytes())
    names = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    addresses = [str(address) for address in names.get_values_for_type(x509.IPAddress)]
    return [*names.get_values_for_type(x509.DNSName), *addresses]


def valid_until(chain: Path) -> datetime:
    """The instant after which a server certificate in PEM is refused, in UTC."""
    return x509.load_pem_x509_certificate(chain.read_bytes()).not_valid_after_utc
