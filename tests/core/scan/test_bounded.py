"""Reading takes a time and a memory that what was named can justify, and can be stopped."""

from __future__ import annotations

import io
import math
import struct
import time

import make_dicom as make
import pytest

from core.errors import ScanError
from core.scan import inspect, open_scan
from core.scan.decode import frame_extents
from core.scan.header import MAX_HEADER_BYTES, read_header
from core.scan.stacks import group
from core.scan.walk import Export, opened
from tests.hostile import dicom_bytes as wire
from tests.hostile.exports import common_head

ITEM = b"\xfe\xff\x00\xe0"


def never():
    return False


def headers(count, folder):
    """Headers of slices that all point in another direction."""
    for k in range(count):
        turn = k * 0.0015
        cos, sin = math.cos(turn), math.sin(turn)
        head = common_head() | {
            "SOPInstanceUID": f"1.2.{k}", "Rows": 4, "Columns": 4, "BitsAllocated": 16,
            "BitsStored": 16, "HighBit": 15, "PixelRepresentation": 0, "PixelSpacing": "0.3\\0.3",
            "ImagePositionPatient": f"0\\0\\{k * 0.3:.4f}",
            "ImageOrientationPatient": f"{cos:.9f}\\{sin:.9f}\\0\\{-sin:.9f}\\{cos:.9f}\\0",
        }  # fmt: skip
        (folder / f"{k}").write_bytes(wire.file_bytes(head, bytes(32), wire.EXPLICIT))
    with opened(folder) as export:
        return [read_header(export, source) for source in export.sources]


def test_slices_of_many_directions_are_grouped_in_linear_time(tmp_path):
    images = headers(2000, tmp_path)
    start = time.process_time()
    assert len(group(images)) == len(images)
    # A third of a second of the processor; where every pair is compared it takes over four.
    assert time.process_time() - start < 2.0


def test_grouping_can_be_stopped(tmp_path):
    with pytest.raises(ScanError) as caught:
        group(headers(3, tmp_path), lambda: True)
    assert caught.value.code == "scan_cancelled"


def fragments(pieces, offsets):
    table = struct.pack(f"<{len(offsets)}I", *offsets)
    items = [table, *([b"\0\0"] * pieces)]
    return io.BytesIO(b"".join(ITEM + struct.pack("<I", len(item)) + item for item in items))


def test_fragments_find_their_frames_in_linear_time():
    seconds = []
    for frames in (100, 1600):
        file = fragments(20 * frames, [200 * frame for frame in range(frames)])
        start = time.process_time()
        extents = frame_extents(file, 0, frames, never)
        seconds.append(time.process_time() - start)
        assert [len(pieces) for pieces in extents] == [20] * frames
    assert seconds[1] < 48 * seconds[0] + 0.05


@pytest.mark.parametrize(
    "offsets", [[0, 20, 10], [0, 12, 20], [10, 20, 30], [0, 0, 20], [0, 20, 4000]]
)
def test_a_table_that_does_not_fit_its_fragments_is_no_guess(offsets):
    assert frame_extents(fragments(6, [0, 20, 40]), 0, 3, never)
    with pytest.raises(ValueError, match="table"):
        frame_extents(fragments(6, offsets), 0, 3, never)


def test_reading_fragments_can_be_stopped():
    with pytest.raises(ValueError, match="stopped"):
        frame_extents(fragments(6, [0, 20, 40]), 0, 3, lambda: True)


def test_no_header_is_read_beyond_64_mb(tmp_path, monkeypatch):
    path = make.write(make.dataset(make.voxels()[0], k=0, position=(0, 0, 0)), tmp_path / "a")
    data = path.read_bytes()
    at = data.index(struct.pack("<HH", 0x0028, 0x0002))
    size = MAX_HEADER_BYTES + (6 << 20)
    private = struct.pack("<HH2sHI", 0x0021, 0x1001, b"OB", 0, size)
    with path.open("wb") as file:
        file.write(data[:at] + private)
        file.seek(size, io.SEEK_CUR)  # a hole: it takes no room on the disk
        file.write(data[at:])
    lengths = []
    usual = Export.head

    def head(self, source, length):
        lengths.append(length)
        return usual(self, source, length)

    monkeypatch.setattr(Export, "head", head)
    with pytest.raises(ScanError) as caught:
        inspect(path)
    assert caught.value.code == "scan_only_damaged"
    assert max(lengths) <= MAX_HEADER_BYTES


@pytest.mark.parametrize("door", [inspect, open_scan])
def test_too_little_memory_is_a_refusal(tmp_path, monkeypatch, door):
    def full(*_):
        raise MemoryError

    monkeypatch.setattr("core.scan.open.judge_all", full)
    with pytest.raises(ScanError) as caught:
        door(make.write_series(tmp_path))
    assert caught.value.code == "scan_too_large"
