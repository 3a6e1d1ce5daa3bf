"""The client's document: pages and template in, one PDF out.

Set with Typst: vector pictures, embedded fonts (Libertinus Serif and DejaVu Sans, which come with
the packages), tagged for readers that speak (PDF/UA-1) and for keeping (PDF/A-2a).
"""

from __future__ import annotations

import json
import re
import textwrap
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from logger import __version__
from logger.errors import UsageError
from logger.files import temporary_folder
from logger.report import array, cover, installer, pages, verifier
from logger.report.changed import changed_page
from logger.report.content import Report
from logger.report.language import Words, messages_of
from logger.report.pictures import Pictures
from logger.report.tables import one_line

PAPERS = {"a4": "a4", "letter": "us-letter"}
STANDARDS: Any = ["ua-1", "a-2a"]
LONGEST_NOTE = 110
"""Letters of the job's note in the running head; the cover has all of it."""


@dataclass(frozen=True)
class Document:
    """The document as a file."""

    pdf: bytes
    remark: str = ""  # What a reader of the terminal must know of it


def write_document(report: Report, paper: str = "a4", language: str = "en") -> Document:
    """Set the document."""
    pictures = Pictures()
    data = document_data(report, pictures, Words(language), paper)
    return as_pdf("document.typ", data, pictures.files)


def as_pdf(template: str, data: Mapping[str, Any], pictures: Mapping[str, bytes]) -> Document:
    """A template of this room with its data and its pictures, to be kept and read aloud."""
    import typst

    with temporary_folder() as folder:
        compiled = laid_out(folder, template, data, pictures).compile
        try:
            return Document(compiled(format="pdf", pdf_standards=STANDARDS))
        except typst.TypstError as error:
            if not re.search("could not be displayed with|PDF/", str(error)):
                raise
            # The standards for keeping and reading aloud refuse a letter without a shape.
            remark = (
                "no font of this computer has a letter of some name: the document is not tagged "
                "for reading aloud (install a font such as Noto and make it again)"
            )
            return Document(compiled(format="pdf"), remark)


def laid_out(
    folder: Path, template: str, data: Mapping[str, Any], pictures: Mapping[str, bytes]
) -> Any:
    """What compiles a template: that and its pictures in a folder, and its data."""
    import typst

    text = files("logger.report").joinpath(template).read_bytes()
    for name, content in {**pictures, template: text}.items():
        (folder / name).write_bytes(content)
    said = json.dumps(clean(data), ensure_ascii=False)
    drawn = (c.decode() for n, c in pictures.items() if n.endswith(".svg"))
    fonts = _fonts(any(map(_beyond_our_fonts, (said, *drawn))))
    return typst.Compiler(
        f"{folder}/{template}", root=str(folder), font_paths=fonts, sys_inputs={"data": said}
    )


def document_data(
    report: Report, pictures: Pictures, w: Words, paper: str = "a4"
) -> dict[str, Any]:
    """What the template shows, page by page; a page more is a function more here and there."""
    if paper not in PAPERS:
        raise UsageError(f"paper {paper!r} is none of {', '.join(PAPERS)}")
    job, made = report.job, report.made
    return {
        "paper": PAPERS[paper],
        "title": job.name,
        "author": job.people.get("surveyor", ""),
        "subject": w("Horizon survey and solar access"),
        "note": textwrap.shorten(job.people.get("note", ""), LONGEST_NOTE, placeholder=" …"),
        "language": w.language,
        "words": {message: w(message) for message in messages_of("document.typ")},
        "remark": w.remark,
        "made": [made.year, made.month, made.day],
        "footer": w(
            "{program} · report of {date}",
            program=f"horizon-logger {__version__}",
            date=w.date(made),
        ),
        # The template fills these in; braces stay.
        "page": w("page {page} of {pages}", page="{page}", pages="{pages}"),
        "pages": [
            cover.cover(report, pictures, w),
            *(array.page(found, pictures, w) for found in report.arrays),
            *(pages.point_page(report, point, pictures, w) for point in report.points),
            *([changed_page(report.changed, w)] if report.changed else ()),
            installer.installer(report, w),
            verifier.verifier(report, w),
        ],
    }


@cache
def _fonts(system: bool) -> Any:
    import matplotlib
    import typst

    shipped = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    return typst.Fonts(
        include_system_fonts=system, include_embedded_fonts=True, font_paths=[shipped]
    )


_RARE = re.compile("[^\u0000-\u058f\u1e00-\u22ff]")
"""Beyond Latin, Greek, Cyrillic and signs: fonts of the system are looked for, which takes long."""


def _beyond_our_fonts(text: str) -> bool:
    return not text.isascii() and _RARE.search(text) is not None


_LONG_WORD = re.compile(r"(?<!\S)\S{41,}")
_SHA256 = re.compile("[0-9a-f]{64}")


def clean(value: Any) -> Any:
    """Texts on one line; a long word may be broken."""
    if isinstance(value, str):
        return _LONG_WORD.sub(_breakable, one_line(value))
    if isinstance(value, dict):
        return {key: clean(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [clean(item) for item in value]
    return value


def _breakable(found: re.Match[str]) -> str:
    word = found[0]
    if _SHA256.fullmatch(word):
        return word
    return "\N{ZERO WIDTH SPACE}".join(word[k : k + 20] for k in range(0, len(word), 20))
