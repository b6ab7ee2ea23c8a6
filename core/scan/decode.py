"""Compressed pictures: their bytes in the file, and the child processes that decode them.

Decoders neither let other threads run nor survive hostile bytes, so they work in child
processes, with limits on time and memory. Pictures come back through a pipe, straight into
the volume: the child never maps memory of this process.
"""

from __future__ import annotations

import contextlib
import os
import struct
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import IO, BinaryIO

from core.errors import ScanError
from core.scan import decode_child
from core.scan.codestream import CodedForm, coded_form, fits_its_headers
from core.scan.decode_child import JOB, READY, REPLY
from core.scan.sources import READ_FAULTS

CODECS = {
    "1.2.840.10008.1.2.5": "rle",
    "1.2.840.10008.1.2.4.50": "jpeg",
    "1.2.840.10008.1.2.4.51": "jpeg",
    "1.2.840.10008.1.2.4.57": "lossless",
    "1.2.840.10008.1.2.4.70": "lossless",
    "1.2.840.10008.1.2.4.80": "jpegls",
    "1.2.840.10008.1.2.4.81": "jpegls",
    "1.2.840.10008.1.2.4.90": "jpeg2k",
    "1.2.840.10008.1.2.4.91": "jpeg2k",
    "1.2.840.10008.1.2.4.201": "jpeg2k",
    "1.2.840.10008.1.2.4.202": "jpeg2k",
    "1.2.840.10008.1.2.4.203": "jpeg2k",
}
"""Transfer syntaxes (PS3.6 table A-1) that are decoded, and by which decoder."""

LOSSY = frozenset(f"1.2.840.10008.1.2.4.{tail}" for tail in (50, 51, 81, 91, 203))
"""Transfer syntaxes that may have changed the values."""

CHILDREN = 2
SAMPLES_FOR_MORE = 4_000_000
"""With fewer a second child would start longer than it helps."""
MAX_LOST = 2
"""One slice more that cannot be decoded, and the series is refused."""
START_SECONDS = 30.0
PICTURE_SECONDS = 2.5
SECONDS_A_MEGAPIXEL = 1.0
MAX_FRAGMENTS = 1_000_000
_LOOK_EVERY = 1000
"""Fragments between two looks at whether the user has given up."""
_END_WITHIN = 16
"""The end marker of a codestream stands within so many bytes of its padded end."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One picture to decode.

    Parameters
    ----------
    index : int
        Slice that it becomes.
    codec : str
        Value of `CODECS`.
    rows, cols, width : int
        Expected size; bytes a sample.
    read : callable
        Returns the compressed bytes.
    told : callable, optional
        Takes the form that the codestream declares, where it declares one.
    """

    index: int
    codec: str
    rows: int
    cols: int
    width: int
    read: Callable[[], bytes]
    told: Callable[[CodedForm], None] | None = None


def frame_extents(
    file: BinaryIO, start: int, frames: int, stopped: Callable[[], bool]
) -> list[list[tuple[int, int]]]:
    """Where the fragments of each frame lie (PS3.5 A.4): (offset, length) lists, one a frame.

    Parameters
    ----------
    file : BinaryIO
    start : int
    frames : int
    stopped : callable
        Asked now and then; True ends the work.

    Raises
    ------
    ValueError
        When the fragments cannot be told apart into frames, or the user has given up.
    """
    pieces = _fragments(file, start, stopped)
    if not pieces:
        raise ValueError("no fragments")
    table, pieces = pieces[0], pieces[1:]
    if frames == 1:
        return [pieces]
    if len(pieces) == frames:
        return [[piece] for piece in pieces]
    file.seek(table[0])
    raw = file.read(min(table[1], 4 * frames + 4))
    offsets = struct.unpack(f"<{len(raw) // 4}I", raw[: len(raw) // 4 * 4])
    if len(offsets) != frames or not pieces:
        raise ValueError("the frames cannot be told apart")
    base = pieces[0][0] - 8
    index_at = {at - 8 - base: index for index, (at, _) in enumerate(pieces)}
    # A table that leads anywhere but to the first fragment of each frame in turn is wrong.
    firsts = [index_at.get(offset, -1) for offset in offsets]
    if firsts[0] != 0 or any(b <= a for a, b in pairwise(firsts)):
        raise ValueError("the table of frames does not fit the fragments")
    ends = (*firsts[1:], len(pieces))
    return [pieces[first:end] for first, end in zip(firsts, ends, strict=True)]


def _fragments(file: BinaryIO, start: int, stopped: Callable[[], bool]) -> list[tuple[int, int]]:
    pieces: list[tuple[int, int]] = []
    at = start
    while len(pieces) < MAX_FRAGMENTS:
        if len(pieces) % _LOOK_EVERY == 0 and stopped():
            raise ValueError("stopped")
        file.seek(at)
        head = file.read(8)
        if len(head) < 8 or head[:4] != b"\xfe\xff\x00\xe0":
            break  # the delimiter, or a file that ends early: what was found is tried
        length = struct.unpack_from("<I", head, 4)[0]
        pieces.append((at + 8, length))
        at += 8 + length
    return pieces


def decode_all(
    jobs: Sequence[Job],
    target: Callable[[int], memoryview],
    *,
    done: Callable[[], None],
    stopped: Callable[[], bool],
) -> tuple[int, ...]:
    """Decode jobs into their targets.

    Parameters
    ----------
    jobs : sequence of Job
    target : callable
        Slice index → writable bytes of rows × cols × width.
    done : callable
        Called after each job, from the decoding threads.
    stopped : callable
        True when the user has given up.

    Returns
    -------
    tuple of int
        Slices that could not be decoded, at most `MAX_LOST`.

    Raises
    ------
    ScanError
        ``scan_undecodable`` when more were lost, or no child can be started.
    """
    shared = _Shared(iter(jobs), target, done, stopped)
    samples = sum(job.rows * job.cols for job in jobs)
    children = min(CHILDREN, len(jobs), 1 + samples // SAMPLES_FOR_MORE)
    threads = [threading.Thread(target=shared.work, daemon=True) for _ in range(children)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if shared.fault is not None:
        raise shared.fault
    if len(shared.lost) > MAX_LOST:
        raise ScanError("scan_undecodable", count=len(shared.lost), total=len(jobs))
    return tuple(sorted(shared.lost))


class _Shared:
    """What the decoding threads share: the jobs left, and the slices lost."""

    def __init__(
        self,
        jobs: Iterator[Job],
        target: Callable[[int], memoryview],
        done: Callable[[], None],
        stopped: Callable[[], bool],
    ) -> None:
        self._jobs = jobs
        self._target = target
        self._done = done
        self._stopped = stopped
        self._lock = threading.Lock()
        self.lost: list[int] = []
        self.fault: BaseException | None = None

    def work(self) -> None:
        """Body of one thread, with one child."""
        child: _Child | None = None
        try:
            while (job := self._next()) is not None:
                packed = _packed(job)
                if packed is None:
                    self._lose(job)
                    continue
                if child is None:
                    child = _Child()
                if child.decode(job, packed, self._target(job.index)):
                    self._done()
                    continue
                self._lose(job)
                if not child.alive:
                    child = None
        except BaseException as fault:  # noqa: BLE001  (handed to the thread that waits)
            with self._lock:
                self.fault = fault
        finally:
            if child is not None:
                child.close()

    def _next(self) -> Job | None:
        with self._lock:
            if self.fault is not None or len(self.lost) > MAX_LOST or self._stopped():
                return None
            return next(self._jobs, None)

    def _lose(self, job: Job) -> None:
        with self._lock:
            self.lost.append(job.index)
        self._done()


def _packed(job: Job) -> bytes | None:
    """Compressed bytes, or None when they cannot be read or are of another size."""
    try:
        packed = job.read()
    except READ_FAULTS:
        return None
    if job.codec == "rle":
        return packed or None
    # A stream without its end marker was cut off; some decoders fill up the rest silently.
    if b"\xff\xd9" not in packed[-_END_WITHIN:]:
        return None
    if not fits_its_headers(packed):
        return None
    form = coded_form(packed)
    if form is None:
        return packed
    if (form.rows, form.cols) != (job.rows, job.cols) or form.precision > 8 * job.width:
        return None
    if job.told is not None:
        job.told(form)
    return packed


class _Child:
    """One decoding process and the watch over its time."""

    def __init__(self) -> None:
        environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
        try:
            # Own interpreter, own script: nothing here comes from the scan.
            self._process = subprocess.Popen(  # noqa: S603
                [sys.executable, "-P", str(Path(decode_child.__file__))],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                env=environment,
            )
        except OSError as error:
            raise ScanError("scan_no_decoder") from error
        if self._process.stdin is None or self._process.stdout is None:
            raise ScanError("scan_no_decoder")
        self._inlet: IO[bytes] = self._process.stdin
        self._outlet: IO[bytes] = self._process.stdout
        self.alive = True
        with self._watched(START_SECONDS):
            ready = self._read(1)
        if ready != READY:
            self.close()
            raise ScanError("scan_no_decoder")

    def decode(self, job: Job, packed: bytes, target: memoryview) -> bool:
        """Decode into `target`; False when it failed (then `alive` says what is left)."""
        head = JOB.pack(job.codec.encode(), job.rows, job.cols, job.width, len(packed))
        seconds = PICTURE_SECONDS + SECONDS_A_MEGAPIXEL * job.rows * job.cols / 1e6
        with self._watched(seconds):
            try:
                self._inlet.write(head + packed)
                self._inlet.flush()
                reply = self._read(REPLY.size)
                if reply == REPLY.pack(0):
                    return False
                if reply and self._outlet.readinto(target) == len(target):  # type: ignore[attr-defined]
                    return True
            except OSError:
                pass
        self.close()
        return False

    def _read(self, length: int) -> bytes:
        try:
            return self._outlet.read(length)
        except OSError:
            return b""

    @contextlib.contextmanager
    def _watched(self, seconds: float) -> Iterator[None]:
        """End the child when it takes too long: reading from it then ends as well."""
        watch = threading.Timer(seconds, self._process.kill)
        watch.daemon = True
        watch.start()
        try:
            yield
        finally:
            watch.cancel()

    def close(self) -> None:
        """End the child."""
        self.alive = False
        self._process.kill()
        for stream in (self._inlet, self._outlet):
            with contextlib.suppress(OSError):
                stream.close()
        self._process.wait()
