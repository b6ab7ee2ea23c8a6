"""Plan document (JSON values) → `core.plans.plan.Plan`; a refusal names the place in the file."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, get_args

from core.direction import REGIONS, CheekAnswer, SideAnswers
from core.errors import PlanError
from core.fixture import Fixture, FixtureSize
from core.geometry import points, vector
from core.level import Level
from core.plans.limits import KEYS
from core.plans.plan import (
    MISSING,
    TISSUES,
    TROUBLE_PLACES,
    TROUBLES,
    ChangedLimit,
    Declaration,
    DeclaredState,
    ImageCheck,
    OwnHand,
    Plan,
    ScanTie,
    SideCheck,
    SignOff,
    Site,
    TissuePoint,
)
from core.plans.plan_reader import At, text_at
from core.plans.plan_structures import read_structure
from core.structures import AngleMark, Ruler, StentAxis

STATES = get_args(DeclaredState)


def parse(document: Mapping[str, Any]) -> Plan:
    """Read a plan document of the present version.

    Parameters
    ----------
    document : mapping
        JSON values; kept in `Plan.document`, so that keys unknown here survive a save.

    Raises
    ------
    PlanError
        ``plan-invalid``, ``plan-missing-key``, ``plan-invalid-value``, ``plan-wrong-tooth``,
        ``plan-same-id`` or ``plan-reason-missing``.
    """
    top = At(dict(document))
    structures = top.each("structures", read_structure)
    fixtures = top.each("fixtures", _fixture)
    sites = top.each("sites", _site)
    stent_axes = top.each("channels", _stent_axis)
    # A clearance's target is the id of a structure or of a fixture: they share one set of names.
    _refuse_same_ids("structures and fixtures", (s.id for s in (*structures, *fixtures)))
    _refuse_same_ids("sites", (s.id for s in sites))
    _refuse_same_ids("channels", (s.id for s in stent_axes))
    rulers, angles = top.each("rulers", _ruler), top.each("angles", _angle)
    _refuse_same_ids("rulers and angles", [*(r.id for r in rulers), *(a.id for a in angles)])
    arch = top.maybe("arch", lambda at: at)
    interpreted = top.maybe("interpreted", lambda at: at)
    return Plan(
        scan=top.maybe("scan", _scan),
        jaw=top.maybe("jaw", lambda at: at.one_of("lower", "upper")),
        level=top.maybe("level", _level),
        arch_points=None if arch is None else points(arch.get("points").points(least=2)),
        side_answers=SideAnswers() if arch is None else _side_answers(arch),
        sites=sites,
        structures=structures,
        stent_axes=stent_axes,
        fixtures=fixtures,
        rulers=rulers,
        angles=angles,
        locked=top.each("locked", At.id),
        declared=top.each("declared", _declaration),
        midline=top.maybe("midline", lambda at: vector(at.point())),
        tissue_points=top.each("tissue_points", _tissue_point),
        side_check=top.maybe("side_check", _side_check),
        image_check=top.maybe("image_check", _image_check),
        own_hand=top.maybe("own_hand", _own_hand),
        interpreted_by="" if interpreted is None else text_at(interpreted, "by"),
        interpreted_at="" if interpreted is None else text_at(interpreted, "at"),
        limits=top.maybe("limits", _limits) or {},
        reasons=top.maybe("reasons", _reasons) or {},
        sign_off=top.maybe("sign_off", _sign_off),
        revision=top.maybe("revision", lambda at: at.whole(least=1)) or 1,
        notes=top.each("notes", _note),
        history=top.each("history", _entry),
        document=document,
    )


def _refuse_same_ids(where: str, ids: Iterable[str]) -> None:
    seen: set[str] = set()
    for each in ids:
        if each in seen:
            raise PlanError("plan-same-id", where=where, id=each)
        seen.add(each)


def _scan(at: At) -> ScanTie:
    return ScanTie(
        series_uid=text_at(at, "series_uid"),
        frame_of_reference_uid=text_at(at, "frame_of_reference_uid"),
        fingerprint=text_at(at, "fingerprint"),
    )


def _level(at: At) -> Level:
    origin, up = at.get("origin").point(), at.get("up")
    return up.built(lambda: Level(origin=vector(origin), up=vector(up.point())))


def _side_answers(arch: At) -> SideAnswers:
    right_end = arch.maybe("right_end", At.point)
    starts = arch.maybe("starts", lambda at: at.one_of("first", "last"))
    if right_end is None and starts is not None:
        # Older plans name the traced point instead of its place.
        right_end = arch.get("points").points(least=2)[0 if starts == "first" else -1]
    return SideAnswers(
        region=arch.maybe("teeth", lambda at: at.one_of(*REGIONS)),
        front_end=arch.maybe("front_end", At.point),
        right_end=right_end,
        cheek=arch.maybe("cheek", _cheek),
    )


def _cheek(at: At) -> CheekAnswer:
    place, towards = at.get("at").point(), at.get("towards")
    return towards.built(lambda: CheekAnswer(at=place, towards=towards.point()))


def _site(at: At) -> Site:
    return Site(
        id=at.get("id").id(),
        tooth=at.maybe("tooth", At.tooth) or "",
        station_mm=at.get("station_mm").number(),
    )


def _fixture(at: At) -> Fixture:
    fixture_id, tooth = at.get("id").id(), at.maybe("tooth", At.tooth) or ""
    platform, direction = at.get("platform").point(), at.get("towards_apex")
    size = _size(at.get("size"))
    return direction.built(
        lambda: Fixture(
            id=fixture_id,
            tooth=tooth,
            platform=vector(platform),
            towards_apex=vector(direction.point()),
            size=size,
        )
    )


def _size(at: At) -> FixtureSize:
    diameter, length = at.get("diameter_mm").length(), at.get("length_mm").length()
    platform = at.maybe("platform_diameter_mm", At.length)
    apical = at.maybe("apical_diameter_mm", At.length)
    taper = at.maybe("taper_from_mm", At.number)
    bone_level = at.maybe("bone_level_mm", At.number) or 0.0
    return at.built(
        lambda: FixtureSize(
            diameter_mm=diameter,
            length_mm=length,
            platform_diameter_mm=platform,
            apical_diameter_mm=apical,
            taper_from_mm=taper,
            bone_level_mm=bone_level,
        )
    )


def _stent_axis(at: At) -> StentAxis:
    axis_id = at.get("id").id()
    occlusal, gingival = at.get("occlusal").point(), at.get("gingival").point()
    diameter = at.maybe("diameter_mm", At.length) or 3.0
    offset = at.maybe("offset_sd_mm", At.length) or 0.0
    direction = at.maybe("direction_sd_deg", lambda d: d.number(size=90.0)) or 0.0
    return at.built(
        lambda: StentAxis(
            id=axis_id,
            occlusal=vector(occlusal),
            gingival=vector(gingival),
            diameter_mm=diameter,
            offset_sd_mm=offset,
            direction_sd_deg=direction,
        )
    )


def _ruler(at: At) -> Ruler:
    marks = at.get("points")
    ruler_id, ends, label = at.get("id").id(), points(marks.points(least=2)), text_at(at, "label")
    return marks.built(lambda: Ruler(id=ruler_id, points=ends, label=label))


def _angle(at: At) -> AngleMark:
    marks = at.get("points")
    angle_id, ends, label = at.get("id").id(), points(marks.points(least=3)), text_at(at, "label")
    return marks.built(lambda: AngleMark(id=angle_id, points=ends, label=label))


def _tissue_point(at: At) -> TissuePoint:
    tissue = at.get("tissue").one_of(*TISSUES)
    return TissuePoint(tissue=tissue, at=vector(at.get("at").point()))


def _declaration(at: At) -> Declaration:
    structure, state = at.get("structure").text(), at.get("state").one_of(*STATES)
    reason = text_at(at, "reason")
    # Only this state takes a structure out of the summary; nobody may do that without a reason.
    if state == "not near this site" and not reason.strip():
        raise PlanError("plan-reason-missing", where=at.where, structure=structure)
    if state == MISSING and not structure.startswith("root-"):
        raise at.get("state").wrong("'tooth missing' only for the root of a tooth")
    return Declaration(
        structure=structure,
        state=state,
        reason=reason,
        by=text_at(at, "by"),
        at=text_at(at, "at"),
    )


def _side_check(at: At) -> SideCheck:
    return SideCheck(
        side=at.get("side").one_of("left", "right"),
        against=text_at(at, "against"),
        by=text_at(at, "by"),
        at=text_at(at, "at"),
    )


def _image_check(at: At) -> ImageCheck:
    trouble = at.maybe("trouble", lambda t: t)
    answers: dict[str, str] = {}
    if trouble is not None:
        trouble.must_be_object()
        for key, found in trouble.value.items():
            # An unanswered question (null) stays unanswered; a wrong word is not an answer.
            if found is not None and (key in TROUBLES or found in TROUBLE_PLACES):
                answers[key] = trouble.get(key).one_of(*TROUBLE_PLACES)
    return ImageCheck(trouble=answers, by=text_at(at, "by"), at=text_at(at, "at"))


def _own_hand(at: At) -> OwnHand:
    person, sd = at.get("person").text(), at.get("sd_mm").number()
    marks = at.maybe("marks", lambda m: m.whole(least=0)) or 0
    placings = at.maybe("placings", lambda m: m.whole(least=0)) or 0
    return at.built(
        lambda: OwnHand(
            person=person,
            sd_mm=sd,
            marks=marks,
            placings=placings,
            studied=text_at(at, "studied"),
            by=text_at(at, "by"),
            at=text_at(at, "at"),
        )
    )


def _limits(at: At) -> dict[str, ChangedLimit]:
    at.must_be_object()
    # Other keys stay in the document; `core.plans.plan_checks` says that they have no effect.
    found: dict[str, ChangedLimit] = {}
    for key in KEYS:
        changed = at.maybe(key, _changed_limit)
        if changed is not None:
            found[key] = changed
    return found


def _reasons(at: At) -> dict[str, str]:
    at.must_be_object()
    return {key: at.get(key).text() for key in at.value if at.has(key)}


def _changed_limit(at: At) -> ChangedLimit:
    value = at.get("value").number(size=50.0)
    if value < 0:
        raise at.get("value").wrong("a limit in mm, 0 or more")
    return ChangedLimit(
        value=value, by=text_at(at, "by"), at=text_at(at, "at"), reason=text_at(at, "reason")
    )


def _sign_off(at: At) -> SignOff:
    return SignOff(
        name=at.get("name").text(),
        role=text_at(at, "role"),
        at=text_at(at, "at"),
        plan_fingerprint=text_at(at, "plan_fingerprint"),
        revision=at.maybe("revision", lambda r: r.whole(least=0)) or 0,
    )


def _note(at: At) -> Mapping[str, object]:
    if isinstance(at.value, str):
        return {"text": at.value}
    return _entry(at)


def _entry(at: At) -> Mapping[str, object]:
    at.must_be_object()
    return dict(at.value)
