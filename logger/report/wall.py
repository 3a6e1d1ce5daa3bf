"""What a class measured: the page for the wall, and the same for the terminal."""

from __future__ import annotations

import math
from collections.abc import Iterator

from logger.report.charts import drawn
from logger.report.document import Document, as_pdf
from logger.report.observers import observers_chart, spread_text
from logger.report.tables import DASH, in_words
from logger.survey.classroom import Lesson, Student

TITLE = "How well did we measure?"
HEAD = ("who", "year's access", "went well", "to do better, what cost most first")


def wall_page(lesson: Lesson) -> Document:
    """One page: all horizons, and a line a student."""
    data = {
        "title": TITLE,
        "date": [lesson.swept.year, lesson.swept.month, lesson.swept.day],
        "facts": list(_facts(lesson)),
        "picture": "all.svg",
        "alt": "All horizons of the class, thin, over the one they are held against, thick; "
        "below, how each differs.",
        "head": HEAD,
        "rows": [_row(one) for one in lesson.students],
        "notes": [*lesson.twice, *lesson.left_out, *lesson.remarks],
    }
    figure = observers_chart(lesson.observers, lesson.middle_deg, 78.0, 270.0)
    return as_pdf("wall.typ", data, {"all.svg": drawn(figure)})


def lesson_text(lesson: Lesson) -> str:
    """The same lines for the terminal."""
    table = in_words("Each student", HEAD, [_row(one) for one in lesson.students]).rstrip()
    notes = [*lesson.twice, *lesson.remarks]
    return "\n\n".join(
        part for part in ("\n".join(_facts(lesson)), table, "\n".join(notes)) if part
    )


def _row(one: Student) -> list[str]:
    access = DASH if math.isnan(one.access) else f"{100 * one.access:.1f} % ({100 * one.off:+.1f})"
    better = [f"{k}. {told}" for k, told in enumerate(one.better, start=1)]
    return [
        one.name,
        access.replace("-", "−"),
        "; ".join(one.well) or DASH,
        "; ".join(better if len(better) > 1 else one.better) or "nothing: keep at it",
    ]


def _facts(lesson: Lesson) -> Iterator[str]:
    found = lesson.observers
    right = "the true horizon" if found.reference else "what all say together"
    yield (
        f"{len(found.names)} observers, {len(found.sweeps)} sweeps of one point. By {right} "
        f"{lesson.plane} gets {100 * lesson.access:.1f} % of the year's light; in brackets how "
        "many points each differs."
    )
    yield (
        "One observer differs from another by a standard deviation of "
        f"{spread_text(found.access.reproducibility, 100.0)} points of access, "
        f"{spread_text(found.lift.reproducibility)}° up or down and "
        f"{spread_text(found.turn.reproducibility)}° to the side (in brackets its 95 % interval)."
    )
    apart = [found.names[i] for i, *_ in found.access.outlying()]
    if apart:
        names = ", ".join(dict.fromkeys(apart))
        yield f"Apart from the others in access (Mandel's h or k beyond 1 %), and counted: {names}."
