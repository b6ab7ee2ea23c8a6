"""An archive with the invented scans of two people of nearly the same name."""

from __future__ import annotations

import shutil
import subprocess
from datetime import date

import pydicom
import pytest

from app.archive import fetching
from app.archive.node import Connection, Node
from app.archive.sending import send_folder
from tests.app.archive.servers import HOST, free_port, orthanc
from tests.core.scan.make_dicom import ROOT, series, write_series

SUE = {
    "PatientID": "P2", "PatientName": "Sample^Sue", "PatientBirthDate": "19810304",
    "StudyDate": "20240306", "StudyInstanceUID": f"{ROOT}22", "SeriesInstanceUID": f"{ROOT}21",
    "FrameOfReferenceUID": f"{ROOT}23", "SeriesDescription": "Upper jaw",
}  # fmt: skip
SUE_DAY = date(2024, 3, 6)


@pytest.fixture(scope="session")
def archive(tmp_path_factory):
    """Orthanc that holds two scans of six slices; how it is reached, and the first of them."""
    folder = tmp_path_factory.mktemp("orthanc")
    own = free_port()
    with orthanc(folder, own) as port:
        connection = Connection(node=Node("ORTHANC", HOST, port), listen=own)
        scan = write_series(folder / "scan", series())
        sent = folder / "sent"
        sent.mkdir()
        for number, path in enumerate(sorted(scan.iterdir())):
            slice_ = pydicom.dcmread(path)
            slice_.save_as(sent / f"{number}.dcm")
            for keyword, value in SUE.items():
                setattr(slice_, keyword, value)
            uid = f"{SUE['SeriesInstanceUID']}.{number + 1}"
            slice_.SOPInstanceUID = slice_.file_meta.MediaStorageSOPInstanceUID = uid
            slice_.save_as(sent / f"sue-{number}.dcm")
        send_folder(sent, connection, unsigned=True, commitment=False)
        yield connection, scan


@pytest.fixture
def cache(tmp_path, monkeypatch):
    monkeypatch.setattr(fetching, "user_cache_path", lambda *_, **__: tmp_path / "cache")
    return tmp_path / "cache" / "scans"


@pytest.fixture(scope="session")
def certificates(tmp_path_factory):
    if shutil.which("openssl") is None:
        pytest.skip("openssl is not installed: Debian package openssl")
    folder = tmp_path_factory.mktemp("certificates")
    for name in ("archive", "ours", "stranger"):
        subprocess.run(
            ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj",
             f"/CN={name}", "-addext", f"subjectAltName=IP:{HOST}", "-keyout",
             str(folder / f"{name}.key"), "-out", str(folder / f"{name}.pem")],
            check=True, capture_output=True,
        )  # fmt: skip
    return folder
