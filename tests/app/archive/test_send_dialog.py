"""*Send to archive …* by mouse and keys: refused while unsigned, sent, remembered, stopped."""

from __future__ import annotations

import pytest

pytest.importorskip("PySide6")

from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QFileDialog

from app.archive.node import Secured
from app.archive.sending import Sent
from app.case.settings import settings_of
from app.dialogs import send_to_archive
from app.dialogs.send_to_archive import show_send
from core.errors import SoundingError
from tests.app.archive.servers import HOST, storescp
from tests.app.archive.test_sending import stored, write_set

LEFT = Qt.MouseButton.LeftButton
LONG = 60_000


@pytest.fixture
def dialog(qtbot, session, desk, closing):
    window = closing(show_send(session, desk, None))
    qtbot.waitUntil(window.isVisible)
    return window


def typed(edit, text):
    edit.setFocus()
    edit.selectAll()
    QTest.keyClicks(edit, text)


def test_a_draft_is_refused_and_goes_when_it_is_asked_for(
    qtbot, dialog, session, tmp_path, monkeypatch
):
    folder = write_set(tmp_path / "draft", signed=False)
    monkeypatch.setattr(QFileDialog, "getExistingDirectory", lambda *_: str(folder))
    assert not dialog.ok.isEnabled()
    with storescp(tmp_path) as port:
        QTest.mouseClick(dialog.choose, LEFT)
        typed(dialog.address, f"STORE@{HOST}:{port}")
        QTest.mouseClick(dialog.ok, LEFT)
        qtbot.waitUntil(lambda: "not signed off" in dialog.trouble.text(), timeout=LONG)
        assert stored(tmp_path) == {}
        dialog.unsigned.click()
        QTest.mouseClick(dialog.ok, LEFT)
        qtbot.waitUntil(lambda: "stored 3 objects" in dialog.trouble.text(), timeout=LONG)
        assert "does not offer to confirm" in dialog.trouble.text()
    assert len(stored(tmp_path)) == 3
    assert settings_of(session).value.archive == f"STORE@{HOST}:{port}"
    assert dialog.bar.isHidden()


def test_an_address_that_is_none_is_told_in_the_window(dialog, tmp_path):
    typed(dialog.folder, str(tmp_path))
    typed(dialog.address, "somewhere")
    QTest.mouseClick(dialog.ok, LEFT)
    assert "AET@HOST:PORT" in dialog.trouble.text()
    assert dialog.isVisible()


def test_it_can_be_stopped_between_two_objects(qtbot, dialog, tmp_path, monkeypatch):
    running = []

    def slow(folder, connection, *, progress, cancelled, **more):
        running.append(cancelled)
        progress(1, 3)
        while not cancelled():
            QTest.qSleep(5)
        raise SoundingError("archive-stopped", node=connection.node, done=1, total=3)

    monkeypatch.setattr(send_to_archive, "send_folder", slow)
    typed(dialog.folder, str(tmp_path))
    typed(dialog.address, "STORE@127.0.0.1:104")
    QTest.mouseClick(dialog.ok, LEFT)
    qtbot.waitUntil(lambda: dialog.bar.isVisible() and dialog.bar.value() == 1, timeout=LONG)
    assert not dialog.ok.isEnabled()
    QTest.mouseClick(dialog.stop, LEFT)
    assert "Send again to continue" in dialog.trouble.text()
    assert running[0]()
    assert dialog.ok.isEnabled()


def test_certificates_and_the_own_port_reach_the_connection(qtbot, dialog, tmp_path, monkeypatch):
    asked = []
    nothing = Sent(stored=(), before=(), commitment="not asked")

    def send(_folder, connection, **_more):
        asked.append(connection)
        return nothing

    monkeypatch.setattr("app.dialogs.send_to_archive.send_folder", send)
    dialog.folder.setText(str(tmp_path))
    dialog.address.setText("ARCHIVE@192.0.2.1:2762")
    dialog.title.setText("SOUNDING")
    assert not dialog.ca.isEnabled()
    dialog.tls.setChecked(True)
    for name in ("ca", "cert", "key"):
        edit = getattr(dialog, name)
        assert edit.isEnabled()
        edit.setText(str(tmp_path / f"{name}.pem"))
    for wrong in ("port", "0", "65536", "-1", "123456"):
        dialog.listen.setText(wrong)
        assert not dialog.is_complete(), wrong
    dialog.listen.setText("11112")
    assert dialog.is_complete()
    QTest.mouseClick(dialog.ok, LEFT)
    qtbot.waitUntil(lambda: bool(asked), timeout=LONG)
    (made,) = asked
    assert made.listen == 11112
    assert made.tls == Secured(**{n: tmp_path / f"{n}.pem" for n in ("ca", "cert", "key")})
