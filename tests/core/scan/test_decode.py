from __future__ import annotations

import io
import os
import struct
import sys
from pathlib import Path

import make_dicom as make
import numpy as np
import pydicom
import pytest
from pydicom.encaps import encapsulate, generate_frames

from core.errors import ScanError
from core.scan import decode, functional_groups, open_scan
from core.scan.codestream import coded_form
from core.scan.decode import frame_extents

CODED = [
    make.RLELossless,
    make.JPEGLSLossless,
    make.JPEGLosslessSV1,
    make.JPEG2000Lossless,
]


def cut(path):
    path.write_bytes(path.read_bytes()[:-200])


@pytest.mark.parametrize("syntax", CODED, ids=lambda uid: uid.keyword)
def test_a_slice_that_cannot_be_decoded_costs_that_slice(tmp_path, syntax):
    make.write_series(tmp_path, syntax=syntax, names=lambda k: f"I{k}")
    cut(tmp_path / "I2")
    volume = open_scan(tmp_path)
    assert list(np.flatnonzero(volume.made_up)) == [2]
    (finding,) = [f for f in volume.findings if f.code == "scan_slices_lost"]
    assert finding.fields["slices"] == "3"
    values = make.voxels()
    np.testing.assert_array_equal(np.delete(volume.voxels, 2, 0), np.delete(values, 2, 0))
    between = np.rint((values[1].astype(float) + values[3]) / 2)
    np.testing.assert_array_equal(volume.voxels[2], between)


def test_a_stream_without_its_end_is_lost_even_where_the_decoder_fills_it_up(tmp_path):
    # The usual JPEG library only warns about a missing end, and paints the rest grey.
    values = np.random.default_rng(4).integers(0, 255, (6, 40, 48)).astype(np.uint8)
    slices = make.series(values)
    make.write_series(tmp_path, slices, syntax=make.JPEGBaseline8Bit, names=lambda k: f"I{k}")
    path = tmp_path / "I2"
    path.write_bytes(path.read_bytes()[:-300])
    assert list(np.flatnonzero(open_scan(tmp_path).made_up)) == [2]


@pytest.mark.parametrize("syntax", CODED, ids=lambda uid: uid.keyword)
def test_three_such_slices_refuse_the_series(tmp_path, syntax):
    make.write_series(tmp_path, syntax=syntax, names=lambda k: f"I{k}")
    for k in (0, 2, 5):
        cut(tmp_path / f"I{k}")
    with pytest.raises(ScanError) as caught:
        open_scan(tmp_path)
    assert caught.value.code == "scan_undecodable"


@pytest.mark.parametrize("syntax", CODED[1:], ids=lambda uid: uid.keyword)
def test_a_codestream_of_another_size_is_never_handed_to_a_decoder(tmp_path, syntax, monkeypatch):
    make.write_series(tmp_path, syntax=syntax, names=lambda k: f"I{k}")
    larger = make.series(make.voxels((6, 40, 24)))[3]
    ds = pydicom.dcmread(make.write(larger, tmp_path / "I3", syntax))
    form = coded_form(next(generate_frames(ds.PixelData, number_of_frames=1)))
    assert (form.rows, form.cols) == (40, 24)
    ds.Rows = 20
    ds.save_as(tmp_path / "I3")
    handed = []
    monkeypatch.setattr(
        decode._Child, "decode", lambda self, job, packed, target: handed.append(job.index) or True
    )
    assert list(np.flatnonzero(open_scan(tmp_path).made_up)) == [3]
    assert sorted(handed) == [0, 1, 2, 4, 5]


class Job:
    """What `decode_all` is given here: raw bytes for a child that misbehaves."""

    @staticmethod
    def of(index, packed):
        return decode.Job(index=index, codec="rle", rows=2, cols=2, width=2, read=lambda: packed)


def misbehaving(tmp_path, monkeypatch, body):
    script = tmp_path / "child.py"
    script.write_text(
        "import sys, os, time\nout = sys.stdout.buffer\nout.write(b'R'); out.flush()\n" + body
    )
    monkeypatch.setattr(decode.decode_child, "__file__", str(script))


def run(jobs):
    store = np.zeros((len(jobs), 2, 2), np.uint16)
    target = [plane.reshape(-1).view(np.uint8).data for plane in store]
    return decode.decode_all(jobs, lambda k: target[k], done=lambda: None, stopped=lambda: False)


def test_a_child_that_dies_costs_its_slices_only(tmp_path, monkeypatch):
    misbehaving(tmp_path, monkeypatch, "sys.stdin.buffer.read(18)\nos.abort()\n")
    assert run([Job.of(0, b"abcd"), Job.of(1, b"abcd")]) == (0, 1)
    with pytest.raises(ScanError) as caught:
        run([Job.of(k, b"abcd") for k in range(5)])
    assert caught.value.code == "scan_undecodable"


def test_a_child_that_stalls_is_ended(tmp_path, monkeypatch):
    # Longer than any limit of a test: waiting for it would be red.
    misbehaving(tmp_path, monkeypatch, "time.sleep(10_000)\n")
    monkeypatch.setattr(decode, "PICTURE_SECONDS", 0.3)
    assert run([Job.of(0, b"abcd"), Job.of(1, b"abcd")]) == (0, 1)


def test_a_child_that_does_not_start_is_a_plain_refusal(tmp_path, monkeypatch):
    monkeypatch.setattr(sys, "executable", str(tmp_path / "nothing"))
    with pytest.raises(ScanError) as caught:
        run([Job.of(0, b"abcd")])
    assert caught.value.code == "scan_no_decoder"
    monkeypatch.undo()
    script = tmp_path / "child.py"
    script.write_text("raise SystemExit(3)")
    monkeypatch.setattr(decode.decode_child, "__file__", str(script))
    with pytest.raises(ScanError) as caught:
        run([Job.of(0, b"abcd")])
    assert caught.value.code == "scan_no_decoder"


@pytest.mark.skipif(sys.platform != "linux", reason="the limit on address space is Linux's")
def test_a_child_cannot_take_all_memory(tmp_path):
    import subprocess

    script = (
        "from core.scan import decode_child as d; d._limit_memory()\n"
        "try: bytearray(2 << 30)\nexcept MemoryError: print('bounded')"
    )
    found = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True,
        cwd=Path.cwd(), env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )  # fmt: skip
    assert found.stdout.strip() == "bounded"


def test_the_child_imports_nothing_of_this_program():
    source = Path(decode.decode_child.__file__).read_text("utf-8")
    assert "core." not in source.split('"""', 2)[2]
    assert "import core" not in source


@pytest.mark.parametrize("table", [True, False])
def test_fragments_of_frames(table):
    frames = [b"a" * 10, b"b" * 22, b"c" * 4]
    data = encapsulate(frames, fragments_per_frame=2 if table else 1, has_bot=table)
    file = io.BytesIO(b"head" + data)
    extents = frame_extents(file, 4, 3, lambda: False)
    joined = [b"".join(data[o - 4 : o - 4 + n] for o, n in pieces) for pieces in extents]
    assert [j.rstrip(b"\0") for j in joined] == frames


def test_fragments_that_cannot_be_told_apart_are_no_guess():
    data = encapsulate([b"a" * 10, b"b" * 22], fragments_per_frame=2, has_bot=False)
    with pytest.raises(ValueError, match="told apart"):
        frame_extents(io.BytesIO(data), 0, 2, lambda: False)


@pytest.mark.parametrize(("least", "children"), [(decode.SAMPLES_FOR_MORE, 1), (500, 2)])
def test_a_small_scan_starts_one_child(tmp_path, monkeypatch, least, children):
    real, started = decode._Child, []

    class Counted(real):
        def __init__(self):
            started.append(self)
            super().__init__()

    monkeypatch.setattr(decode, "_Child", Counted)
    monkeypatch.setattr(decode, "SAMPLES_FOR_MORE", least)
    make.write_series(tmp_path, syntax=make.JPEGLSLossless)
    np.testing.assert_array_equal(open_scan(tmp_path).voxels, make.voxels())
    assert 1 <= len(started) <= children


@pytest.mark.parametrize("fault", [struct.error, NotImplementedError, AssertionError, KeyError])
def test_whatever_a_general_reader_raises_on_a_multi_frame_file_is_damage(
    tmp_path, monkeypatch, fault
):
    make.write(make.multi_frame(make.voxels()), tmp_path / "one")
    assert open_scan(tmp_path).voxels.shape == make.voxels().shape

    def broken(*_):
        raise fault

    monkeypatch.setattr(functional_groups, "_groups", broken)
    with pytest.raises(ScanError) as caught:
        open_scan(tmp_path)
    assert caught.value.code == "scan_only_damaged"
