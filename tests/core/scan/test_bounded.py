"""Reading takes a time and a memory that what was named can justify, and can be stopped.

Work is counted, not timed: lines of the program that are run, and the most memory that is taken,
for so many pictures and for twice as many. Work that compares every pair takes four times both.
"""

from __future__ import annotations

import io
import math
import struct
import sys
import tracemalloc
from pathlib import Path

import make_dicom as make
import pytest

import core
from core.errors import ScanError
from core.scan import inspect, open_scan, preview
from core.scan.decode import frame_extents
from core.scan.header import MAX_HEADER_BYTES, read_header
from core.scan.sources import Export, opened
from core.scan.stacks import group
from tests.hostile import dicom_bytes as wire
from tests.hostile.exports import ENHANCED_CT, common_head

ITEM = b"\xfe\xff\x00\xe0"
LINEAR = 3.0
"""Twice the work, in tables that grow by doubling; every pair compared would be four times."""
CORE = str(Path(core.__file__).parent)


class Counted:
    """Lines of the core that are run, and bytes that are taken, while something is done."""

    def __init__(self, work):
        self.lines = 0
        before = sys.gettrace()
        tracemalloc.start()
        sys.settrace(self._trace)
        try:
            self.result = work()
        finally:
            sys.settrace(before)
            self.bytes = tracemalloc.get_traced_memory()[1]
            tracemalloc.stop()

    def _trace(self, frame, event, arg):
        self.lines += event == "line"
        return self._trace if frame.f_code.co_filename.startswith(CORE) else None

    def times(self, less):
        """How many times more lines and bytes than another took."""
        return self.lines / less.lines, self.bytes / less.bytes


def never():
    return False


def cosines(k, turn=0.0015):
    """A direction of its own for each picture."""
    turn *= k
    cos, sin = math.cos(turn), math.sin(turn)
    return f"{cos:.9f}\\{sin:.9f}\\0\\{-sin:.9f}\\{cos:.9f}\\0"


def layout():
    return common_head() | {
        "Rows": 4, "Columns": 4, "BitsAllocated": 16, "BitsStored": 16, "HighBit": 15,
        "PixelRepresentation": 0,
    }  # fmt: skip


def headers(count, folder, turn=0.0015):
    """Headers of slices that all point in another direction."""
    folder.mkdir()
    for k in range(count):
        head = layout() | {
            "SOPInstanceUID": f"1.2.{k}", "PixelSpacing": "0.3\\0.3",
            "ImagePositionPatient": f"0\\0\\{k * 0.3:.4f}",
            "ImageOrientationPatient": cosines(k, turn),
        }  # fmt: skip
        (folder / f"{k}").write_bytes(wire.file_bytes(head, bytes(32), wire.EXPLICIT))
    with opened(folder) as export:
        return [read_header(export, source) for source in export.sources]


def one_object(count, path):
    """One object whose frames all point in another direction."""
    head = layout() | {
        "SOPClassUID": ENHANCED_CT, "SOPInstanceUID": "1.2.3", "NumberOfFrames": str(count),
        "SharedFunctionalGroupsSequence": [
            {"PixelMeasuresSequence": [{"PixelSpacing": "0.3\\0.3", "SliceThickness": "0.3"}]}
        ],
        "PerFrameFunctionalGroupsSequence": [
            {
                "PlanePositionSequence": [{"ImagePositionPatient": f"0\\0\\{k * 0.3:.4f}"}],
                "PlaneOrientationSequence": [{"ImageOrientationPatient": cosines(k)}],
            }
            for k in range(count)
        ],
    }  # fmt: skip
    path.write_bytes(wire.file_bytes(head, bytes(32 * count), wire.EXPLICIT))
    return path


@pytest.mark.parametrize("turn", [0.0015, 0.0006], ids=["with gaps", "without gaps"])
def test_slices_of_many_directions_are_grouped_in_linear_work(tmp_path, turn):
    few, many = headers(150, tmp_path / "few", turn), headers(300, tmp_path / "many", turn)
    less, more = Counted(lambda: group(few)), Counted(lambda: group(many))
    assert (len(less.result), len(more.result)) == (150, 300)
    assert max(more.times(less)) < LINEAR


def test_frames_of_many_directions_are_reported_in_linear_work(tmp_path):
    few, many = one_object(100, tmp_path / "few"), one_object(200, tmp_path / "many")
    inspect(few)
    less, more = Counted(lambda: inspect(few)), Counted(lambda: inspect(many))
    assert (len(less.result), len(more.result)) == (100, 200)
    assert max(more.times(less)) < LINEAR


def test_four_thousand_frames_of_many_directions_can_be_stopped_anywhere(tmp_path):
    """Stopped at any question, no more is asked; between two there are at most 500 frames."""
    path = one_object(4000, tmp_path / "a")
    asked = [0]

    def never_but_count():
        asked[0] += 1
        return False

    with opened(path) as export:
        image = read_header(export, export.sources[0], never_but_count)
        reading, asked[0] = asked[0], 0
        assert reading >= 8
        assert len(group([image], never_but_count)) == 4000
        grouping = asked[0]
        assert grouping >= 8
        for stop in (1, 5):
            left = iter([False] * (stop - 1) + [True])
            with pytest.raises(ScanError, match="stopped"):
                read_header(export, export.sources[0], left.__next__)
            assert next(left, None) is None


def test_grouping_can_be_stopped(tmp_path):
    with pytest.raises(ScanError) as caught:
        group(headers(3, tmp_path / "a"), lambda: True)
    assert caught.value.code == "scan_cancelled"


def fragments(pieces, offsets):
    table = struct.pack(f"<{len(offsets)}I", *offsets)
    items = [table, *([b"\0\0"] * pieces)]
    return io.BytesIO(b"".join(ITEM + struct.pack("<I", len(item)) + item for item in items))


def test_fragments_find_their_frames_in_linear_work():
    def work(frames):
        file = fragments(20 * frames, [200 * frame for frame in range(frames)])
        return Counted(lambda: frame_extents(file, 0, frames, never))

    less, more = work(200), work(400)
    assert [len(pieces) for pieces in more.result] == [20] * 400
    assert max(more.times(less)) < LINEAR


def test_two_hundred_thousand_fragments_can_be_stopped_anywhere():
    file = fragments(200_000, [200 * frame for frame in range(10_000)])
    asked = []
    assert len(frame_extents(file, 0, 10_000, lambda: bool(asked.append(1)))) == 10_000
    assert len(asked) >= 100
    left = iter([False] * 50 + [True])
    with pytest.raises(ValueError, match="stopped"):
        frame_extents(file, 0, 10_000, left.__next__)
    assert next(left, None) is None


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


@pytest.mark.parametrize(
    ("door", "where"),
    [
        (inspect, "core.scan.open.assess_all"),
        (inspect, "core.scan.assess.read_header"),
        (inspect, "core.scan.assess.group"),
        (open_scan, "core.scan.open.assess_all"),
        (open_scan, "core.scan.pixels.array_type"),
        (open_scan, "core.scan.pixels.continuity_findings"),
        (open_scan, "core.scan.open.round_field"),
    ],
)
def test_too_little_memory_is_a_refusal(tmp_path, monkeypatch, door, where):
    def full(*_, **__):
        raise MemoryError

    monkeypatch.setattr(where, full)
    with pytest.raises(ScanError) as caught:
        door(make.write_series(tmp_path))
    assert caught.value.code == "scan_too_large"


def test_too_little_memory_for_a_preview_is_no_picture(tmp_path, monkeypatch):
    def full(*_, **__):
        raise MemoryError

    (report,) = inspect(make.write_series(tmp_path))
    monkeypatch.setattr("core.scan.pixels.array_type", full)
    assert preview(tmp_path, report) is None
