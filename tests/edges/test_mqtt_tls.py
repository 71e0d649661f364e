"""TLS to the broker: its certificate must be trusted and made out to the host name that is asked for.

The certificates are made here, for each run, with the library cryptography.
"""

from __future__ import annotations

import asyncio
import gc
import threading
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from supervisor.edges.mqtt import Broker, Publisher
from tests.edges.mqtt_kit import Played, bad_broker, publishing, real_broker, until
from tests.harness.virtual import virtually

# After a handshake that fails the library leaves the socket to the garbage collector, which closes it.
pytestmark = pytest.mark.filterwarnings("ignore:unclosed <ssl.SSLSocket:ResourceWarning")


@pytest.fixture(autouse=True)
def collected() -> Iterator[None]:
    """Let no test after these find such a socket: collect them once the loop and its threads have ended."""
    yield
    for thread in threading.enumerate():
        if thread.name == "mqtt connect":
            thread.join(10.0)
    gc.collect()


def certificate(folder: Path, name: str) -> tuple[Path, Path]:
    """Make a key and a certificate for a host name, signed by itself; return the files of both."""
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName(name)]), critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
        .sign(key, hashes.SHA256())
    )
    certificate_file, key_file = folder / f"{name}.pem", folder / f"{name}.key"
    certificate_file.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    private = (serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    key_file.write_bytes(key.private_bytes(*private))
    return certificate_file, key_file


async def outcome(made_out_to: tuple[Path, Path], trusted: Path | None) -> dict[str, Any]:
    """Publish at a broker on `localhost` with this certificate; return what is told of the first attempt."""
    certificate_file, key_file = made_out_to
    async with real_broker(ssl=True, certfile=str(certificate_file), keyfile=str(key_file)) as port:
        publisher = Publisher(
            Broker("localhost", port, "ampminder-demo", tls=True, ca_file=trusted), Played().reporter()
        )
        async with publishing(publisher):
            await until(lambda: publisher.told()["connected"] or publisher.told()["problem"])
            told = publisher.told()
        await asyncio.sleep(0.1)
    return told


def test_a_trusted_certificate_for_this_host_name_is_taken(tmp_path: Path) -> None:
    right = certificate(tmp_path, "localhost")
    assert virtually(outcome)(right, right[0])["connected"]


def test_a_trusted_certificate_for_another_host_name_is_refused(tmp_path: Path) -> None:
    other = certificate(tmp_path, "broker.example")
    told = virtually(outcome)(other, other[0])
    assert not told["connected"]
    assert "Hostname mismatch" in told["problem"]


def test_a_certificate_that_nobody_vouches_for_is_refused(tmp_path: Path) -> None:
    right = certificate(tmp_path, "localhost")
    (tmp_path / "other").mkdir()
    told = virtually(outcome)(right, certificate(tmp_path / "other", "localhost")[0])
    assert not told["connected"]
    assert "CERTIFICATE_VERIFY_FAILED" in told["problem"]


def test_a_missing_file_of_certificates_is_named(tmp_path: Path) -> None:
    told = virtually(outcome)(certificate(tmp_path, "localhost"), tmp_path / "nowhere.pem")
    assert not told["connected"]
    assert "nowhere.pem" in told["problem"]


@virtually
async def test_before_the_certificate_is_found_right_nothing_but_a_greeting_is_sent() -> None:
    came = bytearray()

    async def plain(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        came.extend(await reader.read(4096))
        writer.write(b"\x20\x02\x00\x00" * 4)  # as a broker without TLS accepts a client
        came.extend(await reader.read(4096))

    async with bad_broker(plain) as port:
        broker = Broker("localhost", port, "ampminder-demo", tls=True, user="line", password=lambda: "open sesame")
        publisher = Publisher(broker, Played().reporter())
        async with publishing(publisher):
            await until(lambda: publisher.told()["problem"])
            assert not publisher.told()["connected"]
    assert came[0] == 0x16  # a TLS handshake record (RFC 8446, 5.1)
    assert b"sesame" not in came
