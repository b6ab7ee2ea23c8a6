"""A course through places that are known unequally well: it bends no faster than a canal does.

The least of the places' squared errors, each by its own standard deviation, and of the third
difference along the course: a steady bend costs nothing, a change of bend does (Whittaker ET 1922,
Proc Edinburgh Math Soc 41:63-75). What is left of the doubt is the inverse of the sum of both.
"""

from __future__ import annotations

import numpy as np

from core.geometry import Array

CHANGE_OF_BEND = 0.03
"""Standard deviation of the third derivative along a canal, 1/mm² (chosen on drawn jaws, whose
canals wave by 0.4 mm over 25 mm; no published figure)."""


def smoothed(places_mm: Array, sd_mm: Array, step_mm: float) -> tuple[Array, Array]:
    """Lay a smooth course through places.

    Parameters
    ----------
    places_mm : (n, 3) patient LPS mm
        Evenly spaced along the course, nearly.
    sd_mm : (n,)
        Of each place, in each direction.
    step_mm : float
        Between places.

    Returns
    -------
    (n, 3), (n,)
        The course, and its standard deviation in each direction.
    """
    count = len(places_mm)
    precision = np.diag(1.0 / sd_mm**2)
    if count > 3:
        change = np.diff(np.eye(count), 3, axis=0) / step_mm**3
        precision += change.T @ change * step_mm / CHANGE_OF_BEND**2
    covariance = np.linalg.inv(precision)
    course = covariance @ (places_mm / sd_mm[:, None] ** 2)
    return np.asarray(course), np.sqrt(np.diag(covariance))


def resampled(course_mm: Array, step_mm: float) -> Array:
    """The same polyline in even steps of about `step_mm`, ends kept, at least three places.

    Parameters
    ----------
    course_mm : (n, 3) patient LPS mm
    step_mm : float
    """
    apart = np.linalg.norm(np.diff(course_mm, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(apart)])
    at = np.linspace(0.0, along[-1], max(round(float(along[-1]) / step_mm), 2) + 1)
    return np.stack([np.interp(at, along, course_mm[:, axis]) for axis in range(3)], axis=1)


def bend(course_mm: Array) -> Array:
    """(n,) curvature of a polyline at its places, 1/mm; both ends take their neighbour's."""
    before, after = course_mm[1:-1] - course_mm[:-2], course_mm[2:] - course_mm[1:-1]
    lengths = np.linalg.norm(before, axis=1), np.linalg.norm(after, axis=1)
    turn = before / lengths[0][:, None] - after / lengths[1][:, None]
    inner = np.linalg.norm(turn, axis=1) / (0.5 * (lengths[0] + lengths[1]))
    return np.concatenate([inner[:1], inner, inner[-1:]])
