"""A look in space: places, what is nearer, and the letters of the patient's sides."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from core.pictures.ink import STROKES
from core.sheet.space_picture import (
    Body,
    Eye,
    Segment,
    SiteScene,
    looking,
    side_letters,
    space_picture,
)


def ball(style, middle, radius):
    mesh = trimesh.creation.icosphere(subdivisions=4, radius=radius)
    return Body(
        style=style, points=np.asarray(mesh.vertices) + middle,
        normals=np.asarray(mesh.vertex_normals), triangles=np.asarray(mesh.faces, dtype=np.int64),
    )  # fmt: skip


def scene(*bodies, jaw=None):
    return SiteScene(
        middle=np.zeros(3), up=np.array([0.0, 0.0, 1.0]), buccal=np.array([1.0, 0.0, 0.0]),
        bodies=bodies, jaw=jaw, why_no_jaw="",
        distances=(Segment(ends=np.zeros((2, 3)), below=False),),
    )  # fmt: skip


def eye_of(found, turn=0.0, lift=0.0, px_per_mm=10.0):
    turned = looking(found, turn_deg=turn, lift_deg=lift)
    return Eye(turned=turned, px_per_mm=px_per_mm, size=(201, 161))


@pytest.mark.parametrize("turn", [-170.0, 0.0, 35.0, 90.0])
@pytest.mark.parametrize("lift", [-60.0, 0.0, 45.0])
def test_a_look_is_a_turn_and_never_a_mirror(turn, lift):
    turned = looking(scene(), turn_deg=turn, lift_deg=lift)
    assert turned @ turned.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(turned) == pytest.approx(1.0)
    assert turned[1] @ (0, 0, 1) == pytest.approx(np.cos(np.radians(lift)))


def test_from_the_patients_left_cheek_in_front_lies_left_and_behind_right():
    """DICOM LPS: x to the patient's left, y backwards, z to the head."""
    found = scene()
    letters = {letter: (right, up) for letter, right, up in side_letters(eye_of(found))}
    assert letters["P"] == pytest.approx((1.0, 0.0))
    assert letters["A"] == pytest.approx((-1.0, 0.0))
    assert letters["S"] == pytest.approx((0.0, 1.0))
    assert set(letters) == {"A", "P", "S", "I"}, "left and right run to and from the eye"
    front = {letter: right for letter, right, _ in side_letters(eye_of(found, turn=-90.0))}
    assert front["L"] == pytest.approx(1.0), "seen from in front the patient's left is on the right"
    assert front["R"] == pytest.approx(-1.0)


def test_a_point_is_drawn_where_it_lies():
    eye = eye_of(scene())
    ((column, row, away),) = eye.places(np.array([[2.0, 3.0, 4.0]]), np.zeros(3))
    assert (column, row) == pytest.approx((100 + 30.0, 80 - 40.0))
    assert away == pytest.approx(-2.0), "2 mm nearer to the eye than the middle"


def test_a_ball_covers_its_disc_and_the_nearer_one_is_seen():
    far, near = ball("root", (-6.0, 0.0, 0.0), 4.0), ball("canal", (6.0, 0.0, 0.0), 2.0)
    picture = space_picture(scene(far, near), eye_of(scene()))
    colours = {style: np.array(STROKES[style].on_dark) for style in ("root", "canal")}
    bright = picture.max(axis=2) > 60
    assert bright.sum() == pytest.approx(np.pi * 40.0**2, rel=0.01)
    middle = picture[80, 100].astype(float)
    assert middle / middle.max() == pytest.approx(
        colours["canal"] / colours["canal"].max(), abs=0.02
    )
    behind = space_picture(scene(far, near), eye_of(scene(), turn=180.0))[80, 100].astype(float)
    assert behind / behind.max() == pytest.approx(colours["root"] / colours["root"].max(), abs=0.02)


def test_the_jaw_is_glass_before_what_lies_in_it_and_has_lines_of_height():
    canal = ball("canal", (0.0, 0.0, 0.0), 2.0)
    jaw = ball("", (0.0, 0.0, 0.0), 7.0)
    eye = eye_of(scene())
    bare = space_picture(scene(canal), eye)[80, 100].astype(float)
    behind = space_picture(scene(canal, jaw=jaw), eye)[80, 100].astype(float)
    alone = space_picture(scene(jaw=jaw), eye).astype(float)
    assert not np.allclose(bare, behind)
    assert behind[0] - behind[1] > 10, "the canal's colour still shows"
    # 10 px a mm, a line each 2 mm of height; the middle of the ball lies at height 0.
    column = alone[:, 108].max(axis=1)
    beside = np.maximum(column[24:125], column[36:137])
    dark = 30 + np.flatnonzero(column[30:131] < 0.8 * beside)
    assert {round((80 - row) / 20) * 20 for row in dark} >= {-40, -20, 20, 40}
    assert (np.abs((80 - dark) - np.round((80 - dark) / 20) * 20) <= 2).all()


def test_what_lies_before_the_jaw_is_not_behind_glass():
    jaw, stick = ball("", (0.0, 0.0, 0.0), 3.0), ball("root", (8.0, 0.0, 0.0), 2.0)
    eye = eye_of(scene())
    with_jaw = space_picture(scene(stick, jaw=jaw), eye)[80, 100]
    assert with_jaw == pytest.approx(space_picture(scene(stick), eye)[80, 100])
