"""A certificate that phones accept once they trust its root, and that can sign nothing else."""

import stat
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.x509.oid import ExtendedKeyUsageOID

from gearroom.site.ops import certificate
from tests.program import environment, manage

NOW = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)
NAMES = ["192.0.2.7", "shed.local", "shed", "2001:db8::7"]


@pytest.fixture
def files(tmp_path: Path) -> certificate.Files:
    return certificate.write(tmp_path / "tls", NAMES, now=NOW)


def test_it_names_every_host_and_address(files: certificate.Files) -> None:
    assert sorted(certificate.names_of(files.chain)) == sorted(NAMES)


def test_it_is_valid_no_longer_than_phones_allow(files: certificate.Files) -> None:
    until = certificate.valid_until(files.chain)
    assert timedelta(days=800) < until - NOW
    server = x509.load_pem_x509_certificate(files.chain.read_bytes())
    assert server.not_valid_after_utc - server.not_valid_before_utc <= timedelta(days=825)


def test_it_is_signed_by_the_root_and_for_servers_only(files: certificate.Files) -> None:
    server, root = x509.load_pem_x509_certificates(files.chain.read_bytes())
    server.verify_directly_issued_by(root)
    assert root == x509.load_der_x509_certificate(files.root.read_bytes())
    usage = server.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value
    assert list(usage) == [ExtendedKeyUsageOID.SERVER_AUTH]
    assert not server.extensions.get_extension_for_class(x509.BasicConstraints).value.ca
    assert root.extensions.get_extension_for_class(x509.BasicConstraints).value.path_length == 0


def test_it_keeps_the_key_from_others_and_the_roots_key_nowhere(files: certificate.Files) -> None:
    assert stat.S_IMODE(files.key.stat().st_mode) == 0o600
    assert stat.S_IMODE(files.key.parent.stat().st_mode) == 0o700
    assert sorted(path.name for path in files.key.parent.iterdir()) == [
        "root.crt",
        "server.key",
        "server.pem",
    ]


def test_it_is_made_anew_by_the_command_with_more_names(tmp_path: Path) -> None:
    env = environment(tmp_path)
    manage("make_certificate", env=env)
    chain = certificate.Files.within(tmp_path / "tls").chain
    first = chain.read_bytes()
    said = manage("make_certificate", "--name", "gear.example.org", env=env).stdout
    assert chain.read_bytes() != first
    assert certificate.names_of(chain)[0] == "gear.example.org"
    assert str(tmp_path / "tls" / "root.crt") in said


def test_it_refuses_what_is_no_name(tmp_path: Path) -> None:
    result = manage("make_certificate", "--name", "a b/c", env=environment(tmp_path), check=False)
    assert result.returncode == 1
    assert "'a b/c' is neither a host name nor an address" in result.stderr
