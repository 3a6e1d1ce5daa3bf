"""The client's document: pages and template in, one PDF out.

Set with Typst: vector pictures, embedded fonts (Libertinus Serif and DejaVu Sans, which come with
the packages), tagged for readers that speak (PDF/UA-1) and for keeping (PDF/A-2a).
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
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
from logger.report.content import Report, note_of
from logger.report.language import Words
from logger.report.pictures import Pictures
from logger.report.tables import one_line

PAPERS = {"a4": "a4", "letter": "us-letter"}
STANDARDS: Any = ["ua-1", "a-2a"]


@dataclass(frozen=True)
class Document:
    """The document as a file."""

    pdf: bytes
    remark: str = ""  # What a reader of the terminal must know of it


def write_document(report: Report, paper: str = "a4", language: str = "en") -> Document:
    """Set the document."""
    with _set(report, paper, language) as compiled:
        return as_pdf(compiled)


def as_pdf(compiled: Callable[..., Any]) -> Document:
    """What is set as a PDF to be kept and read aloud."""
    import typst

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


def pages_as_png(
    report: Report, paper: str = "a4", language: str = "en", dots_per_inch: float = 100.0
) -> list[bytes]:
    """The document's pages as PNG, for a web page or a screen."""
    with _set(report, paper, language) as compiled:
        made = compiled(format="png", ppi=dots_per_inch)
    return [bytes(page) for page in (made if isinstance(made, list) else [made or b""])]


@contextmanager
def _set(report: Report, paper: str, language: str) -> Iterator[Callable[..., Any]]:
    """What compiles the template with its data and its pictures."""
    if paper not in PAPERS:
        raise UsageError(f"paper {paper!r} is none of {', '.join(PAPERS)}")
    pictures = Pictures()
    data = document_data(report, pictures, Words(language)) | {"paper": PAPERS[paper]}
    with compiler("document.typ", data, pictures.files) as compiled:
        yield compiled


@contextmanager
def compiler(
    template: str, data: Mapping[str, Any], pictures: Mapping[str, bytes]
) -> Iterator[Callable[..., Any]]:
    """What compiles a template of this room with its data and its pictures."""
    import typst

    with temporary_folder() as folder:
        for name, content in pictures.items():
            (folder / name).write_bytes(content)
        said = json.dumps(data, ensure_ascii=False)
        drawn = (c.decode() for n, c in pictures.items() if n.endswith(".svg"))
        (folder / template).write_bytes(files("logger.report").joinpath(template).read_bytes())
        yield typst.Compiler(
            f"{folder}/{template}",
            root=str(folder),
            font_paths=_fonts(_beyond_our_fonts(said) or any(map(_beyond_our_fonts, drawn))),
            sys_inputs={"data": said},
        ).compile


def document_data(report: Report, pictures: Pictures, w: Words) -> dict[str, Any]:
    """What the template shows, page by page; a page more is a function more here and there."""
    made = report.made
    shown = [
        cover.cover(report, pictures, w),
        *(array.page(found, pictures, w) for found in report.arrays),
        *(pages.point_page(report, point, pictures, w) for point in report.points),
        *([changed_page(report.changed, w)] if report.changed else ()),
        installer.installer(report, w),
        verifier.verifier(report, w),
    ]
    data: dict[str, Any] = clean(
        {
            "title": report.job.name,
            "author": report.job.people.get("surveyor", ""),
            "subject": w("Horizon survey and solar access"),
            "note": note_of(report),
            "language": w.language,
            "remark": w.remark,
            "made": [made.year, made.month, made.day],
            "footer": w(
                "{program} · report of {date}",
                program=f"horizon-logger {__version__}",
                date=w.date(made),
            ),
            # The template fills these in; braces stay.
            "page": w("page {page} of {pages}", page="{page}", pages="{pages}"),
            "pages": shown,
        }
    )
    return data


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
