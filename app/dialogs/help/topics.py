"""What stands in the help: topics, in plain words; what every number means, how the keys work.

Topics are reached from the number they explain by their key, the kind of a row.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from app.components import licence_lines
from app.tools.key_lines import KEY_LINES
from core.measurement_kinds import MeasurementKind
from core.version import PROGRAM
from core.words.catalogue import language, say
from core.words.cautions import SPOKEN
from core.words.columns import meanings
from core.words.glossary import glossary
from core.words.sheet import BY_HAND_MEANS, EACH_BY_ITSELF, UNCERTAINTY


@dataclass(frozen=True, slots=True, kw_only=True)
class Topic:
    """One page of help: a title and its paragraphs."""

    title: str
    paragraphs: tuple[str, ...]


def _start() -> Topic:
    return Topic(
        title=say("dialogs.help.topics.what-a-case-needs"),
        paragraphs=(
            say("dialogs.help.topics.you-can-do-these-steps"),
            say("dialogs.help.topics.1-the-jaw-plane-heights"),
            say("dialogs.help.topics.2-the-arch-sections-stand"),
            say("dialogs.help.topics.3-the-side-compare-missing"),
            say("dialogs.help.topics.4-the-vital-structures-mark"),
            say("dialogs.help.topics.5-a-fixture-on-a"),
            say("dialogs.help.topics.6-the-sheet-it-is"),
        ),
    )


def _verdicts() -> Topic:
    return Topic(
        title=say("dialogs.help.topics.the-four-verdicts"),
        paragraphs=(
            say("dialogs.help.topics.meets-limit-even-the-smallest"),
            say("dialogs.help.topics.too-near-to-tell-borderline"),
            say("dialogs.help.topics.below-limit-the-value-itself"),
            say("dialogs.help.topics.not-assessed-something-was-not"),
            say("dialogs.help.topics.a-row-without-a-limit"),
            say("dialogs.help.topics.source-of-the-rule-jcgm"),
        ),
    )


def _uncertainty() -> Topic:
    return Topic(
        title=say("dialogs.help.topics.smallest-plausible-value-and-uncertainty"),
        paragraphs=(
            say("dialogs.help.topics.at-least-the-smallest-plausible"),
            say("dialogs.help.topics.uncertainty-u-twice-the-combined"),
            str(EACH_BY_ITSELF),
            str(UNCERTAINTY),
            say("dialogs.help.topics.values-are-rounded-down-and"),
        ),
    )


def _trust() -> Topic:
    return Topic(
        title=say("dialogs.help.topics.checking-yourself-the-scan-and"),
        paragraphs=(
            say("dialogs.help.topics.repeat-study-file-menu-you"),
            say("dialogs.help.topics.scale-check-file-menu-you"),
            say("dialogs.help.topics.self-test-help-menu-the"),
            say("dialogs.help.topics.identify-tissues-checks-menu-where"),
            say("dialogs.help.topics.follow-canal"),
            say("dialogs.help.topics.find-floor"),
            say("dialogs.help.topics.find-root"),
            say("dialogs.help.topics.find-foramen"),
            say("dialogs.help.topics.find-border"),
            say("dialogs.help.topics.near-edge"),
            say("dialogs.help.topics.stent-axis-one-click-on"),
        ),
    )


def _hidden() -> Topic:
    return Topic(
        title=say("dialogs.help.topics.hidden"),
        paragraphs=(
            say("dialogs.help.topics.hidden-plates"),
            say("dialogs.help.topics.hidden-gum"),
            say("dialogs.help.topics.hidden-shading"),
            say("dialogs.help.topics.hidden-field"),
            say("dialogs.help.topics.hidden-what-to-do"),
        ),
    )


def _limits() -> Topic:
    return Topic(
        title=say("dialogs.help.topics.limits"),
        paragraphs=(
            say("dialogs.help.topics.a-limit-is-a-planning"),
            say("dialogs.help.topics.you-can-change-a-limit"),
        ),
    )


def _by_hand() -> Topic:
    return Topic(
        title=say("dialogs.help.topics.if-placed-by-hand"),
        paragraphs=(
            str(BY_HAND_MEANS),
            say("dialogs.help.topics.the-fixture-is-shifted-and"),
        ),
    )


def _sides() -> Topic:
    return Topic(
        title=say("dialogs.help.topics.left-and-right"),
        paragraphs=(
            say("dialogs.help.topics.left-and-right-are-the"),
            say("dialogs.help.topics.on-a-section-across-the"),
        ),
    )


def _keys() -> Topic:
    return Topic(
        title=say("dialogs.help.topics.keys"),
        paragraphs=(
            say("dialogs.help.topics.wheel-move-along-the-arch"),
            say("dialogs.help.topics.ctrl-wheel-zooms-hold-the"),
            say("dialogs.help.topics.ctrl-arrow-keys-move-what"),
            say("dialogs.help.topics.ctrl-page-up-page-down"),
            *map(str, KEY_LINES),
            say("dialogs.help.topics.ctrl-z-ctrl-y-undo"),
            say("dialogs.help.topics.ctrl-c-copies-the-picture"),
            say("dialogs.help.topics.f6-goes-from-panel-to"),
            say("dialogs.help.topics.in-the-measurements-space-shows"),
            say("dialogs.help.topics.in-the-log-return-settles"),
        ),
    )


def _sizes() -> Topic:
    return Topic(
        title=say("dialogs.help.topics.sizes-in-this-position"),
        paragraphs=(
            say("dialogs.help.topics.the-table-tries-every-size"),
            say("dialogs.help.topics.8-of-13-a-limit"),
            say("dialogs.help.topics.the-table-keeps-the-order"),
            say("dialogs.help.topics.click-a-row-or-press"),
        ),
    )


def _profile() -> Topic:
    return Topic(
        title=say("dialogs.help.topics.ridge-profile"),
        paragraphs=(
            say("dialogs.help.topics.the-width-of-the-ridge"),
            say("dialogs.help.topics.the-dashed-line-is-the"),
            say("dialogs.help.topics.to-csv-writes-widths-at"),
        ),
    )


def _grey() -> Topic:
    return Topic(
        title=say("dialogs.help.topics.grey-values"),
        paragraphs=(
            say("dialogs.help.topics.the-mean-and-spread-of"),
            say("dialogs.help.topics.they-are-grey-values-of"),
            say("dialogs.help.topics.no-class-of-bone-and"),
        ),
    )


def _about() -> Topic:
    return Topic(
        title=say("dialogs.help.topics.about"),
        paragraphs=(
            (say("dialogs.help.topics.to-sound-a-ridge-is", program=PROGRAM)),
            str(SPOKEN),
        ),
    )


def _more() -> dict[str, tuple[str, ...]]:
    return {
        "clearance": (
            say("dialogs.help.topics.it-is-measured-in-space"),
            say("dialogs.help.topics.if-nobody-measured-the-diameter"),
        ),
        "ridge_width": (
            say("dialogs.help.topics.widths-along-the-axis-are"),
            say("dialogs.help.topics.if-the-line-crosses-more"),
        ),
        "ridge_height": (
            say("dialogs.help.topics.it-ends-at-the-near"),
            say("dialogs.help.topics.where-a-tooth-stands-in"),
        ),
        "plate_thickness": (say("dialogs.help.topics.plates-thinner-than-about-twice"),),
        "wall": (
            say("dialogs.help.topics.gaps-sockets-canals-and-metal"),
            say("dialogs.help.topics.the-remaining-bone-panel-shows"),
            say("dialogs.help.topics.below-its-limit-and-open"),
            say("dialogs.help.topics.limits-2-mm-buccal-and"),
        ),
        "undercut_depth": (
            say("dialogs.help.topics.a-drill-that-perforates-the"),
            say("dialogs.help.topics.by-level-chan-et-al"),
            say("dialogs.help.topics.the-two-differ-in-direction"),
        ),
        "undercut_angle": (say("dialogs.help.topics.the-smaller-the-angle-the"),),
        "entry": (say("dialogs.help.topics.for-free-hand-work-mark"),),
    }


def topics() -> dict[str, Topic]:
    """All topics by key, in the order of the contents."""
    pages = {"start": _start(), "glossary": _glossary(), "verdicts": _verdicts()}
    pages |= {"uncertainty": _uncertainty(), "trust": _trust(), "hidden": _hidden()}
    pages["limits"] = _limits()
    pages |= {"by hand": _by_hand(), "sides": _sides()}
    for kind in MeasurementKind:
        paragraphs = (str(kind.row.definition), *_more().get(kind, ()))
        pages[kind.value] = Topic(title=kind.row.title, paragraphs=paragraphs)
    pages |= {"ridge profile": _profile(), "sizes": _sizes(), "grey values": _grey()}
    pages["table"] = _table()
    return pages | {"keys": _keys(), "licences": _licences(), "about": _about()}


def _glossary() -> Topic:
    """Every term in the order of the alphabet; a measure's meaning is its definition."""
    measures = {kind.row.title: str(kind.row.definition) for kind in MeasurementKind}
    terms = {**glossary(language()), **measures}
    return Topic(
        title=say("dialogs.help.topics.glossary"),
        paragraphs=tuple(f"{term} — {terms[term]}" for term in sorted(terms, key=str.casefold)),
    )


def _table() -> Topic:
    """Data dictionary of the table of measurements."""
    return Topic(
        title=say("dialogs.help.topics.columns-of-the-table"),
        paragraphs=(
            say("dialogs.help.topics.sheet-csv-holds-one-row"),
            *(f"{name}: {meaning}" for name, meaning in meanings(language()).items()),
            say("dialogs.help.topics.sheet-csv-schema-json-and"),
        ),
    )


@lru_cache(maxsize=1)
def _licences() -> Topic:
    """What is installed here, as it says itself."""
    return Topic(
        title=say("dialogs.help.topics.licences"),
        paragraphs=(
            say("dialogs.help.topics.sounding-is-built-on-the"),
            *licence_lines(),
        ),
    )
