from __future__ import annotations

import zipfile

import pytest

from core.errors import ScanError
from core.scan.sources import opened


def names(path):
    with opened(path) as export:
        return [source.name for source in export.sources]


def test_a_folder_is_walked_to_its_bottom(tmp_path):
    (tmp_path / "a" / "b").mkdir(parents=True)
    (tmp_path / "a" / "b" / "I1").write_bytes(b"x")
    (tmp_path / "readme.txt").write_bytes(b"y")
    assert names(tmp_path) == ["a/b/I1", "readme.txt"]


def test_names_that_lead_nowhere_cost_no_file_beside_them(tmp_path):
    # In whatever order a folder gives its names, some of those that lead nowhere come first.
    for number in range(30):
        (tmp_path / f"I{number:02d}").write_bytes(b"x")
        (tmp_path / f"to-nowhere{number}").symlink_to(tmp_path / "gone")
    assert names(tmp_path) == [f"I{number:02d}" for number in range(30)]


def test_members_of_a_zip_are_read_without_unpacking(tmp_path):
    path = tmp_path / "export.dat"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("disc/I1", b"hello")
    with opened(path) as export:
        (source,) = export.sources
        assert export.head(source, 3) == b"hel"
        with export.open(source) as file:
            assert file.read() == b"hello"
    assert [p.name for p in tmp_path.iterdir()] == ["export.dat"]


@pytest.mark.parametrize(
    "name",
    ["../evil", "a/../../evil", "/etc/evil", "C:/evil", "\\\\server\\evil", "..\\evil", "C:evil"],
)
def test_names_that_lead_outside_are_refused(tmp_path, name):
    path = tmp_path / "x.zip"
    with zipfile.ZipFile(path, "w") as archive:
        info = zipfile.ZipInfo("placeholder")
        info.filename = name
        archive.writestr(info, b"x")
    with pytest.raises(ScanError) as caught:
        names(path)
    assert caught.value.code == "zip_unsafe_name"


@pytest.mark.parametrize("members", [1, 8])
def test_archives_that_swell_are_refused(tmp_path, members):
    path = tmp_path / "x.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for index in range(members):
            archive.writestr(f"I{index}", bytes((80 << 20) // members))
    with pytest.raises(ScanError) as caught:
        names(path)
    assert caught.value.code == "zip_swells"


def test_locked_and_damaged_archives_are_refused(tmp_path):
    path = tmp_path / "x.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("I1", b"hello")
    whole = path.read_bytes()
    at = whole.index(b"PK\x01\x02") + 8
    path.write_bytes(whole[:at] + b"\x01" + whole[at + 1 :])
    with pytest.raises(ScanError) as caught:
        names(path)
    assert caught.value.code == "zip_encrypted"
    at = whole.index(b"PK\x01\x02")
    path.write_bytes(whole[:at] + b"XXXX" + whole[at + 4 :])
    with pytest.raises(ScanError) as caught:
        names(path)
    assert caught.value.code == "zip_damaged"


def test_a_missing_path_is_a_plain_refusal(tmp_path):
    with pytest.raises(ScanError, match="no file or folder"):
        names(tmp_path / "nowhere")
    with pytest.raises(ScanError):
        names("bad\0name")


def test_a_member_without_a_name_is_damage(tmp_path):
    path = tmp_path / "export.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("xy", b"hello")
    data = bytearray(path.read_bytes())
    entry = data.index(b"PK\x01\x02")  # the central directory's: lengths of name and extra field
    data[entry + 28 : entry + 32] = b"\0\0\2\0"
    path.write_bytes(data)
    with pytest.raises(ScanError) as caught:
        names(path)
    assert caught.value.code == "zip_damaged"
