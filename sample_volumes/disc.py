"""A scan as it comes on a disc: DICOMDIR, folders without extensions, and things beside it."""

from __future__ import annotations

import shutil
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from numpy.typing import NDArray
from pydicom.fileset import FileSet
from pydicom.uid import JPEGLSLossless

from sample_volumes.dicom_out import Header, slice_dataset, stored_values, uid
from sample_volumes.voxelise import Grid

README = """This folder imitates a disc from an imaging centre. Everything on it is invented.
Name: ORCHARD^Sample   ID: S-0112
VIEWER.EXE is text, no program.
"""
FAKE_PROGRAM = b"This is text in place of a program. It cannot be run.\r\n" * 40
AUTORUN = "[autorun]\r\nlabel=Invented sample\r\n"


def overview_of(stored: NDArray[np.uint16]) -> NDArray[np.uint16]:
    """(rows, columns) a coronal overview: means along y, coarse."""
    return np.asarray(stored[::-2, :, ::2].mean(axis=1), dtype=np.uint16)


def write_disc(
    folder: Path, header: Header, grid: Grid, grey: NDArray[np.int16]
) -> NDArray[np.uint16]:
    """Write the series through a DICOMDIR, with decoys beside it; return the stored values."""
    stored = stored_values(grey)
    if folder.exists():
        shutil.rmtree(folder)
    files = FileSet()
    files.ID = "SAMPLE"
    files.UID = uid(f"{header.name}/disc")
    with TemporaryDirectory() as work:
        for k, values in enumerate(stored):
            d = slice_dataset(header, grid, values, k)
            d.compress(JPEGLSLossless, generate_instance_uid=False)
            d.save_as(Path(work) / f"{k}", enforce_file_format=True)
            files.add(Path(work) / f"{k}")
        overview = overview_of(stored)
        d = slice_dataset(header, grid, overview, 0)
        d.SOPInstanceUID = uid(f"{header.name}/localizer")
        d.file_meta.MediaStorageSOPInstanceUID = d.SOPInstanceUID
        d.SeriesInstanceUID = uid(f"{header.name}/localizer-series")
        d.SeriesNumber = 99
        d.SeriesDescription = "Overview"
        d.ImageType = ["ORIGINAL", "PRIMARY", "LOCALIZER"]
        x, y, z = grid.first_mm
        half_depth = 0.5 * (grid.shape[1] - 1) * grid.voxel_mm
        top = z + (grid.shape[0] - 1) * grid.voxel_mm
        d.ImagePositionPatient = [f"{x:.4f}", f"{y + half_depth:.4f}", f"{top:.4f}"]
        d.ImageOrientationPatient = [1, 0, 0, 0, 0, -1]
        d.PixelSpacing = [2 * grid.voxel_mm, 2 * grid.voxel_mm]
        d.SliceThickness = str(grid.shape[1] * grid.voxel_mm)
        d.save_as(Path(work) / "overview", enforce_file_format=True)
        files.add(Path(work) / "overview")
        files.write(folder)
    (folder / "README.TXT").write_text(README, encoding="ascii")
    (folder / "AUTORUN.INF").write_text(AUTORUN, encoding="ascii")
    (folder / "VIEWER.EXE").write_bytes(FAKE_PROGRAM)
    return stored
