"""One plain page for the patient: what is planned, one picture, what to ask.

The words stand in `core.words.patient` and are replaced as a whole by a translation; the risks
come from the practice's own text and are printed as they stand there.
"""

from __future__ import annotations

import string
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from core.drawing import Chart, Sides
from core.errors import OutputError, PlanError
from core.identity import Tooth
from core.pictures.chart import View, across_arch_chart, through_axis_chart
from core.plans.plan import Jaw
from core.sheet.case import Case, Subject
from core.sheet.page import Pages, PaperName
from core.trust.figures import plain
from core.words.catalogue import language, message, say, together
from core.words.patient import PATIENT, patient_words
from core.words.values import SIDES

LONGEST_RISKS = 2000
_SIZE = 11.5
_TOP_MM = 16.0
_PICTURE_MM = (40.0, 52.0)
_SCALE = 1.5


def read_risks(path: str | Path) -> str:
    """The practice's own text: UTF-8, a paragraph a line.

    Raises
    ------
    OutputError
        ``risk-text`` where it cannot be read, is empty, or is too long for the page.
    """
    try:
        text = Path(path).read_text("utf-8-sig").strip()
    except (OSError, UnicodeDecodeError) as error:
        raise OutputError("risk-text", path=path, reason=message("sheet.risks.not-text")) from error
    if not text:
        raise OutputError("risk-text", path=path, reason=message("sheet.risks.empty"))
    if len(text) > LONGEST_RISKS:
        reason = message("sheet.risks.too-long", most=LONGEST_RISKS)
        raise OutputError("risk-text", path=path, reason=reason)
    return text


def checked_words(words: Mapping[str, str] | None) -> Mapping[str, str]:
    """The table of words, or a translation of all of it with the same fields.

    Raises
    ------
    OutputError
        ``page-word-missing`` with the keys that are missing or lack a field.
    """
    if words is None:
        return patient_words(language())
    missing = [
        key
        for key, text in PATIENT.items()
        if not str(words.get(key, "")).strip() or _fields(text) != _fields(str(words[key]))
    ]
    if missing:
        raise OutputError("page-word-missing", missing=", ".join(missing))
    return words


def _fields(text: str) -> set[str] | None:
    try:
        return {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}
    except ValueError:
        return None


def patient_page(
    case: Case,
    *,
    paper: PaperName = "A4",
    risks: str = "",
    words: Mapping[str, str] | None = None,
) -> bytes | None:
    """The page as a PDF; None where the plan holds neither fixture nor site.

    Parameters
    ----------
    case : Case
    paper : PaperName, optional
    risks : str, optional
    words : mapping of str to str, optional
        The practice's own sentences by their keys.

    Raises
    ------
    OutputError
        ``page-word-missing``; ``page-too-long`` where the practice's text does not fit.
    """
    table = checked_words(words)
    if not case.subjects:
        return None
    pages = Pages(paper, top_mm=_TOP_MM)
    pages.new_page()
    lead = case.subjects[0]
    _head(pages, case, table)
    _plan(pages, case, lead, table)
    _risks(pages, risks, table)
    _questions(pages, table, _jaws(case, lead))
    if pages.y > pages.bottom:
        raise OutputError(
            "page-too-long",
            page=message("sheet.risks.the-page"),
            what=message("sheet.risks.the-text"),
        )

    def frame(sheet: Pages, number: int, count: int) -> None:
        line = f"{case.ledger.program} · {case.patient.scanned} · {number}/{count}"
        sheet.text(sheet.left, sheet.height - 10.0, line, size=7.5, width=sheet.inner)

    # Nobody says in which language a text of the practice is.
    of = None if words is None else ""
    return pages.render(frame, case.facts(say("sheet.risks.title"), of=of))


def page_texts(case: Case, table: Mapping[str, str], lead: Subject) -> list[str]:
    """The sentences about the plan, in order, fields filled in.

    Parameters
    ----------
    case : Case
    table : mapping of str to str
    lead : Subject
        The fixture or site that the page is about.
    """
    texts: list[str] = []
    tooth = _tooth(lead)
    if case.side_is_contradicted:
        texts.append(table["side_open"])
    elif tooth is None:
        texts.append(table["plan_gap"])
    else:
        texts.append(
            table["plan_one"].format(
                jaw=table[f"jaw_{tooth.jaw}"], side=table[f"side_{tooth.side}"],
                number=tooth.iso, name=table[f"tooth_{tooth.position}"],
            )
        )  # fmt: skip
    if lead.fixture is None:
        texts.append(table["no_implant"])
    else:
        size = lead.fixture.size
        texts.append(
            table["implant"].format(length=plain(size.length_mm), width=plain(size.diameter_mm))
        )
    places = {s.tooth or s.id for s in case.subjects}
    if len(places) > 1:
        texts.append(table["more"].format(count=len(places)))
    texts.append(table["scan"])
    return texts


def _tooth(subject: Subject) -> Tooth | None:
    try:
        return Tooth.of(subject.tooth)
    except PlanError:
        return None


def _jaws(case: Case, lead: Subject) -> tuple[Jaw, ...]:
    """The one that the page is about, else both: nerve and sinus belong to one of them."""
    tooth = _tooth(lead)
    jaw = case.plan.known_jaw if tooth is None else tooth.jaw
    return ("lower", "upper") if jaw is None else (jaw,)


def _head(pages: Pages, case: Case, table: Mapping[str, str]) -> None:
    who = case.patient
    pages.text(pages.left, pages.y + 7.0, table["title"], size=22, face="strong",
               width=pages.inner)  # fmt: skip
    line = f"{who.name} · {who.birth} · {who.patient_id}"
    pages.text(pages.left, pages.y + 14.0, line, size=_SIZE, width=pages.inner, whole=True)
    pages.y += 18.0
    if not case.signed:
        pages.rect(pages.left, pages.y, pages.inner, 7.5, edge=0.5)
        pages.text(pages.left + 3.0, pages.y + 5.3, table["draft"], size=12, face="strong",
                   width=pages.inner - 6.0)  # fmt: skip
        pages.y += 10.0


def _plan(pages: Pages, case: Case, lead: Subject, table: Mapping[str, str]) -> None:
    """The text on the left, the picture with its words on the right."""
    top = pages.y
    chart = _chart(case, lead, table)
    room = pages.inner
    below = top
    if chart is not None:
        width = chart.size_mm[0] * _SCALE
        x = pages.right - width
        room = x - pages.left - 6.0
        below = pages.block(x, top, width, table["picture_heading"], size=_SIZE, face="strong")
        _, height = pages.chart(chart, x, below + 1.0, scale=_SCALE)
        words = together(
            table["picture"],
            *(table[f"picture_{jaw}"] for jaw in _jaws(case, lead)),
        )
        below = pages.block(x, below + height + 2.5, width, words, size=10)
    y = pages.block(pages.left, top, room, table["plan_heading"], size=15, face="strong") + 1.0
    for text in page_texts(case, table, lead):
        y = pages.block(pages.left, y, room, text, size=_SIZE) + 2.0
    pages.y = max(y, below) + 2.0


def _chart(case: Case, lead: Subject, table: Mapping[str, str]) -> Chart | None:
    station = case.station(lead)
    if case.arch is None or station is None:
        return None
    view = View(size_mm=_PICTURE_MM, window=case.window, most_witnesses=0, bare=True)
    if lead.fixture is None:
        chart = across_arch_chart(case.volume, case.plan, case.arch, station, view=view)
    else:
        chart = through_axis_chart(case.volume, case.plan, case.arch, lead.fixture, view=view)
    left, right = (_plain_side(words, table) for words in (chart.sides.left, chart.sides.right))
    sides = Sides(left=left, right=right, top="", bottom="")
    return replace(chart, labels=(), sides=sides)


def _plain_side(words: str, table: Mapping[str, str]) -> str:
    """Cheek and tongue in place of the trade's words; letters of directions are left out."""
    for direction, key in (("buccal", "cheek"), ("lingual", "tongue"), ("palatal", "palate")):
        if words.lower().startswith(str(SIDES[direction])):
            return table[key]
    return ""


def _risks(pages: Pages, risks: str, table: Mapping[str, str]) -> None:
    y = pages.block(pages.left, pages.y, pages.inner, table["risk_heading"], size=15,
                    face="strong") + 1.0  # fmt: skip
    for paragraph in (risks or table["risk_none"]).splitlines():
        if paragraph.strip():
            y = pages.block(pages.left, y, pages.inner, paragraph.strip(), size=_SIZE) + 1.5
    pages.y = y + 2.0


def _questions(pages: Pages, table: Mapping[str, str], jaws: Sequence[Jaw]) -> None:
    y = pages.block(pages.left, pages.y, pages.inner, table["questions_heading"], size=15,
                    face="strong") + 1.0  # fmt: skip
    others = tuple(f"_{jaw}" for jaw in ("lower", "upper") if jaw not in jaws)
    asked = (k for k in table if k.startswith("question_"))
    for key in (k for k in asked if not others or not k.endswith(others)):
        pages.rect(pages.left, y + 0.7, 3.4, 3.4, edge=0.3)
        y = pages.block(pages.left + 6.0, y, pages.inner - 6.0, table[key], size=_SIZE) + 1.2
    y = pages.block(pages.left, y + 2.0, pages.inner, table["tell"], size=_SIZE) + 3.0
    height = 9.0
    pages.rect(pages.left, y, pages.inner, height, edge=0.8)
    pages.text((pages.left + pages.right) / 2, y + 6.2, table["not_the_talk"], size=14,
               face="strong", align="middle", width=pages.inner - 6.0)  # fmt: skip
    pages.y = y + height
