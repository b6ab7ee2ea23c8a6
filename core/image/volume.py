"""The scanned volume: stored values, the voxel-to-patient transform, and what was not scanned."""

from __future__ import annotations

import dataclasses
import hashlib
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from core.findings import Finding
from core.geometry import Array, PictureGrid


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanIdentity:
    """Whose scan it is, as the header says. Empty text where the header is silent.

    Parameters
    ----------
    patient_name : str
        DICOM person name, all component groups, as decoded (``Family^Given=...``).
    patient_id, birth_date, sex, study_date, study_time, description, study_description : str
        Dates as ``YYYY-MM-DD`` where the header's can be read, else as written.
    series_uid, study_uid, frame_of_reference_uid : str
    kernel : str
        Convolution kernel or reconstruction named by the header.
    header : mapping of str to str
        Further plain attributes that the archive objects and the sheet need
        (``StudyID``, ``AccessionNumber``, ``ReferringPhysicianName``, ``PatientSex`` ...).
    sop_instances : tuple of (sop class uid, sop instance uid)
        In slice order; one pair for a multi-frame object.
    """

    patient_name: str = ""
    patient_id: str = ""
    birth_date: str = ""
    sex: str = ""
    study_date: str = ""
    study_time: str = ""
    description: str = ""
    study_description: str = ""
    modality: str = ""
    series_uid: str = ""
    study_uid: str = ""
    frame_of_reference_uid: str = ""
    kernel: str = ""
    header: dict[str, str] = dataclasses.field(default_factory=dict)
    sop_instances: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Volume:
    """Voxels in patient space. Immutable: the arrays are read-only.

    Parameters
    ----------
    voxels : (K, J, I) int16, uint16, int32 or float32, C-contiguous
        Stored values, slice - row - column, in one common linear scale.
    mm_from_ijk : (4, 4) float64
        Affine of DICOM PS3.3 C.7.6.2.1.1: (i, j, k, 1) → patient LPS mm, with i the column,
        j the row and k the slice; k's column comes from the measured slice positions.
    slope, intercept : float
        grey = stored x slope + intercept. Grey values are not Hounsfield units.
    padding : (low, high) or None
        Inclusive range of stored values that mean *not scanned*.
    field : (J, I) uint8 or None
        1 where the round field was scanned, 0 in the constant fill around it; None: all scanned.
    made_up : (K,) bool
        True for a slice that was put in between where one was missing.
    identity : ScanIdentity
    findings : tuple of Finding

    Raises
    ------
    ValueError
        When shapes do not fit or the affine cannot be inverted.
    """

    voxels: NDArray[Any]
    mm_from_ijk: Array
    slope: float = 1.0
    intercept: float = 0.0
    padding: tuple[float, float] | None = None
    field: NDArray[np.uint8] | None = None
    made_up: NDArray[np.bool_]
    identity: ScanIdentity = ScanIdentity()
    findings: tuple[Finding, ...] = ()
    ijk_from_mm: Array = dataclasses.field(init=False)
    _fingerprint: list[str] = dataclasses.field(init=False, repr=False, default_factory=list)

    def __post_init__(self) -> None:
        # The kernels read the machine's own byte order only.
        native = np.asarray(self.voxels).dtype.newbyteorder("=")
        voxels = np.ascontiguousarray(self.voxels, dtype=native)
        if voxels.ndim != 3 or min(voxels.shape) < 2:
            raise ValueError(f"a volume needs at least two voxels along each axis: {voxels.shape}")
        affine = np.array(self.mm_from_ijk, dtype=np.float64)
        if affine.shape != (4, 4) or not np.isfinite(affine).all():
            raise ValueError("mm_from_ijk must be a finite 4 x 4 matrix")
        if abs(np.linalg.det(affine[:3, :3])) < 1e-12:
            raise ValueError("mm_from_ijk cannot be inverted")
        made_up = np.array(self.made_up, dtype=bool)
        if made_up.shape != (voxels.shape[0],):
            raise ValueError("made_up needs one value a slice")
        inverse = np.linalg.inv(affine)
        voxels = voxels.view()
        for array in (voxels, affine, made_up, inverse):
            array.flags.writeable = False
        object.__setattr__(self, "voxels", voxels)
        object.__setattr__(self, "mm_from_ijk", affine)
        object.__setattr__(self, "made_up", made_up)
        object.__setattr__(self, "ijk_from_mm", inverse)
        if self.field is not None:
            field_mask = np.array(self.field, dtype=np.uint8)
            if field_mask.shape != voxels.shape[1:]:
                raise ValueError("field must have the shape of a slice")
            field_mask.flags.writeable = False
            object.__setattr__(self, "field", field_mask)

    @property
    def shape(self) -> tuple[int, int, int]:
        """(K, J, I): slices, rows, columns."""
        k, j, i = self.voxels.shape
        return k, j, i

    @property
    def voxel_mm(self) -> Array:
        """(3,) column step, row step, slice step in mm: lengths of the affine's columns."""
        return np.asarray(np.linalg.norm(self.mm_from_ijk[:3, :3], axis=0))

    def mm(self, ijk: ArrayLike) -> Array:
        """(n, 3) voxel positions → (n, 3) patient LPS mm."""
        p = np.atleast_2d(np.asarray(ijk, dtype=np.float64))
        return np.asarray(p @ self.mm_from_ijk[:3, :3].T + self.mm_from_ijk[:3, 3])

    def ijk(self, points_mm: ArrayLike) -> Array:
        """(n, 3) patient LPS mm → (n, 3) voxel positions (column, row, slice)."""
        p = np.atleast_2d(np.asarray(points_mm, dtype=np.float64))
        return np.asarray(p @ self.ijk_from_mm[:3, :3].T + self.ijk_from_mm[:3, 3])

    def grey_at(self, points_mm: ArrayLike) -> NDArray[np.float32]:
        """Grey values at patient points, trilinear; NaN where not scanned.

        Parameters
        ----------
        points_mm : (n, 3) patient LPS mm

        Returns
        -------
        (n,) float32
        """
        from core.image import sampling

        return sampling.at_points(self, np.atleast_2d(np.asarray(points_mm, dtype=np.float64)))

    def section(
        self,
        origin: ArrayLike,
        right: ArrayLike,
        up: ArrayLike,
        size_mm: tuple[float, float],
        pixel_mm: float,
        slab_mm: float = 0.0,
    ) -> NDArray[np.float32]:
        """Cut a flat picture; see `core.geometry.PictureGrid` for where its pixels lie.

        Parameters
        ----------
        origin : (3,) mm
            Centre of the picture.
        right, up : (3,)
            Perpendicular unit vectors.
        size_mm : (width, height)
        pixel_mm : float
        slab_mm : float
            Thickness averaged for looking; no measurement uses it.

        Returns
        -------
        (rows, cols) float32 grey values, row 0 at the top, NaN where not scanned.

        Raises
        ------
        ValueError
            When right and up are not perpendicular unit vectors.
        """
        grid = PictureGrid.of_size(
            origin=origin, right=right, up=up, size_mm=size_mm, pixel_mm=pixel_mm
        )
        return self.picture(grid, slab_mm=slab_mm)

    def picture(
        self, grid: PictureGrid, *, slab_mm: float = 0.0, maximum: bool = False
    ) -> NDArray[np.float32]:
        """(rows, cols) float32 grey values on a grid; mean or maximum through the slab.

        Parameters
        ----------
        grid : PictureGrid
        slab_mm : float, optional
            Thickness of the slab, mm; 0 for a plane.
        maximum : bool, optional
            True: the brightest of the slab in place of the mean.
        """
        from core.image import sampling

        return sampling.picture(self, grid, slab_mm=slab_mm, maximum=maximum)

    def scanned_at(self, points_mm: ArrayLike) -> NDArray[np.bool_]:
        """(n,) True where a patient point was scanned (see `measurements` of sampling)."""
        return np.isfinite(self.grey_at(points_mm))

    def fingerprint(self) -> str:
        """``sha256:...`` over shape, affine rounded to 1e-6 and stored values (k, j, i).

        Little-endian throughout: three int64 for the shape, sixteen float64 for the affine
        (row by row, negative zero written as zero), then the voxels. Computed once: a large scan
        takes a second, and every measuring compares it.
        """
        if not self._fingerprint:
            self._fingerprint.append(self._summed())
        return self._fingerprint[0]

    def _summed(self) -> str:
        digest = hashlib.sha256()
        digest.update(np.asarray(self.shape, dtype="<i8").tobytes())
        digest.update((np.round(self.mm_from_ijk, 6) + 0.0).astype("<f8").tobytes())
        little = self.voxels.dtype.newbyteorder("<")
        for k in range(self.shape[0]):
            digest.update(np.ascontiguousarray(self.voxels[k], dtype=little).data)
        return f"sha256:{digest.hexdigest()}"
