"""Archives started by the tests themselves, on the loopback address, and ended by them."""

from __future__ import annotations

import contextlib
import json
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

HOST = "127.0.0.1"
PATIENCE_S = 60.0


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        return int(probe.getsockname()[1])


def needs(program: str, package: str) -> str:
    path = shutil.which(program)
    if path is None:
        pytest.skip(f"{program} is not installed: Debian package {package}")
    return path


@contextlib.contextmanager
def running(command: list[str], port: int, log: Path) -> Iterator[None]:
    """A program that answers at a port before the block begins, and is gone after it."""
    with log.open("wb") as out, subprocess.Popen(command, stdout=out, stderr=out) as process:
        try:
            until = time.monotonic() + PATIENCE_S
            while process.poll() is None and time.monotonic() < until:
                with contextlib.suppress(OSError), socket.create_connection((HOST, port), 1):
                    break
                time.sleep(0.05)
            else:
                pytest.fail(f"{command[0]} did not start: {log.read_text('utf-8', 'replace')}")
            yield
        finally:
            process.terminate()
            process.wait(timeout=PATIENCE_S)


@contextlib.contextmanager
def storescp(folder: Path, *more: str) -> Iterator[int]:
    """DCMTK's storage provider; the port that it listens at."""
    program, port = needs("storescp", "dcmtk"), free_port()
    store = folder / "store"
    store.mkdir(exist_ok=True)
    command = [program, *more, "-aet", "STORE", "-od", str(store), str(port)]
    with running(command, port, folder / "storescp.log"):
        yield port


@contextlib.contextmanager
def orthanc(folder: Path, own_port: int, *, tls: Path | None = None) -> Iterator[int]:
    """Orthanc without its web pages, that knows us by our title and port.

    With a folder of certificates it speaks TLS alone, and sends to none but the holder of ours.
    """
    program, port = needs("Orthanc", "orthanc"), free_port()
    known: dict[str, object] = {"AET": "SOUNDING", "Host": HOST, "Port": own_port}
    settings = {
        "Name": "test", "StorageDirectory": str(folder / "store"),
        "IndexDirectory": str(folder / "store"), "HttpServerEnabled": False,
        "DicomAet": "ORTHANC", "DicomPort": port, "DicomModalities": {"us": known},
        "DicomAlwaysAllowEcho": True, "DicomAlwaysAllowStore": True, "DicomAlwaysAllowFind": True,
        "DicomAlwaysAllowGet": True, "DicomAlwaysAllowMove": True, "StableAge": 1, "Plugins": [],
        "ConcurrentJobs": 1, "SynchronousCMove": True,
    }  # fmt: skip
    if tls is not None:
        known["UseDicomTls"] = True
        settings |= {
            "DicomTlsEnabled": True,
            "DicomTlsRemoteCertificateRequired": False,
            "DicomTlsCertificate": f"{tls / 'archive.pem'}",
            "DicomTlsPrivateKey": f"{tls / 'archive.key'}",
            "DicomTlsTrustedCertificates": f"{tls / 'ours.pem'}",
        }
    path = folder / "orthanc.json"
    path.write_text(json.dumps(settings))
    with running([program, str(path)], port, folder / "orthanc.log"):
        yield port
