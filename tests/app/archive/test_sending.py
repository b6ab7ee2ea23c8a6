"""To an archive: DCMTK's storescp on the loopback address gets every object, once, signed."""

from __future__ import annotations

import json
from dataclasses import replace

import pydicom
import pytest

from app.archive import node as node_module
from app.archive.node import Connection, Node, Secured
from app.archive.sending import SENT_FILE, send_folder
from app.cli.command_line import run
from core.errors import SoundingError
from core.measuring.ledger import LEDGER_FILE
from core.plans.history import sign
from core.sheet.encapsulated import encapsulated_pdf, encapsulated_stl
from tests.app.archive.servers import HOST, free_port, storescp
from tests.sheet_material import IDENTITY, fixture_at, ledger_of, plan_with

WHOLE = replace(IDENTITY, sop_instances=(("1.2.840.10008.5.1.4.1.1.2", "2.25.11"),))
NAMES = {"sheet.dcm", "body-fixture-36.dcm", "body-canal-left.dcm"}


def write_set(folder, *, signed):
    plan = plan_with(fixture_at(20.0, "36"))
    if signed:
        plan = sign(plan, name="Lee Marsh", role="dentist", at="2026-11-24T09:00:00+00:00")
    ledger = ledger_of(plan, identity=WHOLE)
    folder.mkdir()
    (folder / "sheet.dcm").write_bytes(encapsulated_pdf(ledger, b"%PDF-1.4 sheet"))
    for number, name in enumerate(("fixture-36", "canal-left"), start=1):
        data = encapsulated_stl(ledger, name, b"\0" * 84, number=number)
        (folder / f"body-{name}.dcm").write_bytes(data)
    (folder / LEDGER_FILE).write_text(ledger.to_json(), "utf-8")
    return folder


@pytest.fixture
def signed(tmp_path):
    return write_set(tmp_path / "signed", signed=True)


@pytest.fixture
def draft(tmp_path):
    return write_set(tmp_path / "draft", signed=False)


@pytest.fixture
def archive(tmp_path):
    with storescp(tmp_path) as port:
        yield Connection(node=Node("STORE", HOST, port))


def stored(tmp_path):
    found = [pydicom.dcmread(p) for p in (tmp_path / "store").iterdir()]
    return {str(d.SOPInstanceUID): d for d in found}


def objects(folder):
    found = [pydicom.dcmread(p) for p in folder.glob("*.dcm")]
    return {str(d.SOPInstanceUID): d for d in found}


def test_every_object_arrives_as_it_was_written(tmp_path, signed, archive):
    told = []
    sent = send_folder(signed, archive, progress=lambda *step: told.append(step))
    assert set(sent.stored) == NAMES
    assert sent.commitment == "not offered"
    assert told == [(1, 3), (2, 3), (3, 3)]
    assert stored(tmp_path) == objects(signed)


def test_nothing_unsigned_goes_unless_it_is_asked_for(tmp_path, draft, archive):
    with pytest.raises(SoundingError) as refusal:
        send_folder(draft, archive)
    assert refusal.value.code == "archive-unsigned"
    assert stored(tmp_path) == {}
    send_folder(draft, archive, unsigned=True)
    assert len(stored(tmp_path)) == 3


@pytest.mark.parametrize("broken", ["object", "ledger", "no ledger"])
def test_one_draft_among_signed_ones_stops_the_set(tmp_path, signed, archive, broken):
    if broken == "object":
        d = pydicom.dcmread(signed / "sheet.dcm")
        d.VerificationFlag = "UNVERIFIED"
        d.save_as(signed / "sheet.dcm")
    elif broken == "ledger":
        document = json.loads((signed / LEDGER_FILE).read_text("utf-8"))
        document["plan"]["signed"] = "yes"
        (signed / LEDGER_FILE).write_text(json.dumps(document), "utf-8")
    else:
        (signed / LEDGER_FILE).unlink()
    with pytest.raises(SoundingError) as refusal:
        send_folder(signed, archive)
    assert refusal.value.code == "archive-unsigned"
    assert stored(tmp_path) == {}


def test_what_was_stopped_goes_on_where_it_stopped(tmp_path, signed, archive):
    calls = []

    def stop():
        calls.append(1)
        return len(calls) > 1

    with pytest.raises(SoundingError) as refusal:
        send_folder(signed, archive, cancelled=stop)
    assert refusal.value.code == "archive-stopped"
    assert (refusal.value.fields["done"], refusal.value.fields["total"]) == (1, 3)
    (first,) = stored(tmp_path)
    for path in (tmp_path / "store").iterdir():
        path.unlink()
    sent = send_folder(signed, archive)
    assert len(sent.before) == 1
    assert first not in stored(tmp_path)
    assert len(stored(tmp_path)) == 2
    assert send_folder(signed, archive).stored == ()
    assert set(send_folder(signed, archive, again=True).stored) == NAMES


def test_another_archive_gets_everything_and_an_unreadable_book_is_no_fault(tmp_path, signed):
    (signed / SENT_FILE).write_text("{")
    with storescp(tmp_path) as port:
        for title in ("STORE", "OTHER"):
            sent = send_folder(signed, Connection(node=Node(title, HOST, port)))
            assert set(sent.stored) == NAMES


def test_an_archive_that_does_not_answer_is_told(signed, monkeypatch):
    monkeypatch.setattr(node_module, "PATIENCE_S", 2.0)
    with pytest.raises(SoundingError) as refusal:
        send_folder(signed, Connection(node=Node("STORE", HOST, free_port())))
    assert refusal.value.code == "archive-no-answer"
    assert not (signed / SENT_FILE).exists()


def test_an_archive_that_refuses_a_kind_of_object_is_told_and_keeps_the_others(tmp_path, signed):
    """A profile of storescp that takes encapsulated PDF and nothing else of ours."""
    profile = tmp_path / "storescp.cfg"
    profile.write_text(
        "[[TransferSyntaxes]]\n[Plain]\nTransferSyntax1 = LocalEndianExplicit\n"
        "TransferSyntax2 = LittleEndianImplicit\n[[PresentationContexts]]\n[Few]\n"
        "PresentationContext1 = VerificationSOPClass\\Plain\n"
        "PresentationContext2 = EncapsulatedPDFStorage\\Plain\n"
        "[[Profiles]]\n[Default]\nPresentationContexts = Few\n"
    )
    with (
        storescp(tmp_path, "-xf", str(profile), "Default") as port,
        pytest.raises(SoundingError) as refusal,
    ):
        send_folder(signed, Connection(node=Node("STORE", HOST, port)))
    assert refusal.value.code == "archive-not-all-stored"
    assert (refusal.value.fields["done"], refusal.value.fields["total"]) == (1, 3)
    assert [d.Modality for d in stored(tmp_path).values()] == ["DOC"]


def test_names_travel_encrypted_and_only_to_the_archive_that_is_meant(
    tmp_path, signed, certificates, monkeypatch
):
    monkeypatch.setattr(node_module, "PATIENCE_S", 10.0)
    own = [str(certificates / "archive.key"), str(certificates / "archive.pem")]
    with storescp(tmp_path, "+tls", *own, "-ic") as port:
        meant = Connection(
            node=Node("STORE", HOST, port), tls=Secured(ca=certificates / "archive.pem")
        )
        other = replace(meant, tls=Secured(ca=certificates / "stranger.pem"))
        for wrong in (other, replace(meant, tls=None)):
            with pytest.raises(SoundingError) as refusal:
                send_folder(signed, wrong)
            assert refusal.value.code == "archive-no-answer"
        assert stored(tmp_path) == {}
        assert set(send_folder(signed, meant).stored) == NAMES
    assert len(stored(tmp_path)) == 3


def test_a_certificate_that_is_none_is_told(signed, tmp_path):
    (tmp_path / "ca.pem").write_text("no certificate")
    connection = Connection(node=Node("STORE", HOST, 1), tls=Secured(ca=tmp_path / "ca.pem"))
    with pytest.raises(SoundingError) as refusal:
        send_folder(signed, connection)
    assert refusal.value.code == "archive-certificate"


@pytest.mark.parametrize(
    ("text", "node"),
    [("PACS@host:104", Node("PACS", "host", 104)), ("A B@10.0.0.1:1", Node("A B", "10.0.0.1", 1)),
     ("PACS@[::1]:11112", Node("PACS", "::1", 11112))],
)  # fmt: skip
def test_an_address_is_read(text, node):
    assert Node.of(text) == node
    assert str(Node.of(text)) == text


@pytest.mark.parametrize(
    "text", ["", "host:104", "PACS@host", "PACS@host:0", "PACS@host:65536", "@host:104",
             " @host:104", "SEVENTEEN-LETTERS@host:104", "A\\B@host:104", "PACS@::1:104"],
)  # fmt: skip
def test_what_is_no_address_is_refused(text):
    with pytest.raises(SoundingError) as refusal:
        Node.of(text)
    assert refusal.value.code == "archive-address"


def test_by_command_line(tmp_path, signed, draft, capsys):
    with storescp(tmp_path) as port:
        to = ["--to", f"STORE@{HOST}:{port}"]
        assert run(["send", str(draft), *to]) == 2
        assert "not signed off" in capsys.readouterr().err
        assert run(["send", str(signed), *to]) == 0
        said = capsys.readouterr()
        assert {f"stored: {name}" for name in NAMES} <= set(said.out.splitlines())
        assert said.err == ""
        assert run(["send", str(signed), *to, "--quiet"]) == 0
        assert capsys.readouterr() == ("", "")
    assert run(["send", str(tmp_path), *to]) == 2
    assert "no DICOM object" in capsys.readouterr().err


def test_without_the_optional_part_the_way_is_told(signed, monkeypatch):
    monkeypatch.setattr(node_module, "find_spec", lambda _name: None)
    with pytest.raises(SoundingError) as refusal:
        send_folder(signed, Connection(node=Node("STORE", HOST, 1)))
    assert refusal.value.code == "archive-not-installed"
