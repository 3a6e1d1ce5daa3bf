"""The client's document: data, pictures and template in, one PDF out.

Set with Typst: vector pictures, embedded fonts (Libertinus Serif and DejaVu Sans, which come with
the packages), tagged for readers that speak (PDF/UA-1) and for keeping (PDF/A-2a).
"""

from __future__ import annotations

import datetime as dt
import json
import re
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from itertools import count, repeat
from pathlib import Path
from typing import TYPE_CHECKING, Any

from logger import safety
from logger.errors import InputError, UsageError
from logger.processors import processors
from logger.report import monthly, style, words
from logger.report.access_charts import (
    comparison_chart,
    monthly_access_chart,
    obstruction_chart,
    shade_chart,
    tilt_chart,
)
from logger.report.exports import file_stem
from logger.report.inputs import CalibrationReport, Picture, PointReport, ReportInput
from logger.report.sky_charts import sun_path_chart, sweep_chart
from logger.report.tables import Cell, Column, Table, one_line, shorten, stacked_headings
from logger.site import Site
from logger.sun_paths import SunPaths
from logger.survey.compare import Difference

if TYPE_CHECKING:
    from matplotlib.figure import Figure

PAPERS = {"a4": "a4", "letter": "us-letter"}
STANDARDS: Any = ["ua-1", "a-2a"]

MOST_PHOTOS = 6
"""Of a point, in the order of their names."""

SWEPT = (
    "A board with a compass, a level and a gyro was swept along the skyline with its line of "
    "sight on the edge between ground and sky. Each sample was turned into an azimuth from true "
    "north ({north}) and an "
    "elevation above the level plane, with the calibrations named in this report. A periodic "
    "curve was fitted through all passes; where no pass went, nothing was filled in."
)
BY_BEARING = {
    False: "by the magnetic declination",
    True: "by the bearing calibration, which takes the place of the magnetic declination",
    None: "by the bearing calibration where there is one, elsewhere by the magnetic declination",
}
METHOD = (
    "Solar access is the irradiation on the plane with this horizon, over the irradiation with "
    "an open level horizon. The beam and the bright sky around the sun are lost while the sun's "
    "disc is behind the skyline, in proportion while it is partly behind; light from the rest of "
    "the sky is reduced by the plane's own view of it; light from the ground is left as it is. "
    "Beam access is the same for the beam alone. The orientation factor compares the plane "
    "without shade with the best fixed plane at the site; the total solar resource fraction is "
    "orientation factor times solar access.",
    "The intervals come from many horizons drawn with the errors of compass, level and hand. "
    "Where an unmeasured part of the skyline matters, low takes it as fully blocked and high as "
    "open. Every interval in this report, and every ±, is one of 95 %.",
)
LIMITS = (
    "The figures hold for the spot and height at which the board was swept; a metre away, near "
    "obstructions look different.",
    "Trees grow and are cut, houses are built. The skyline is the one of the day of the survey.",
    "A compass is disturbed by iron and by currents. A bearing check finds a constant error, not "
    "one that changes along the sweep.",
    "The light is that of a typical or a clear year and no forecast; snow, soiling and shade cast "
    "by module rows on each other are not in the figures.",
    "How much a shaded string loses depends on its wiring. The loss given here is the light that "
    "does not arrive, not the energy that an inverter does not deliver.",
)


def pdf(report: ReportInput, paper: str = "a4") -> bytes:
    """Set the document."""
    return write_document(report, paper).pdf


@dataclass(frozen=True)
class Document:
    """The document and the pictures in it."""

    pdf: bytes
    pictures: Mapping[str, bytes]  # SVG by name without suffix


def write_document(report: ReportInput, paper: str = "a4") -> Document:
    """Draw the pictures and set the document."""
    with _set(report, paper) as (compiler, pictures):
        document = compiler.compile(format="pdf", pdf_standards=STANDARDS)
    assert isinstance(document, bytes)
    return Document(document, pictures.drawn)


def pages_as_png(
    report: ReportInput, paper: str = "a4", dots_per_inch: float = 100.0
) -> list[bytes]:
    """The document's pages as PNG, for a web page or a screen."""
    with _set(report, paper) as (compiler, _):
        pages = compiler.compile(format="png", ppi=dots_per_inch)
    return [bytes(page) for page in (pages if isinstance(pages, list) else [pages or b""])]


@contextmanager
def _set(report: ReportInput, paper: str) -> Iterator[tuple[Any, _Pictures]]:
    """A compiler with the template, its data and its pictures."""
    import typst

    if paper not in PAPERS:
        raise UsageError(f"paper {paper!r} is none of {', '.join(PAPERS)}")
    with style.house_style(), tempfile.TemporaryDirectory(prefix="horizon-logger-") as name:
        folder = Path(name)
        pictures = _Pictures(folder)
        data = document_data(report, pictures) | {"paper": PAPERS[paper]}
        compiler = typst.Compiler(
            files("logger.report").joinpath("document.typ").read_bytes(),
            root=folder,
            font_paths=_fonts(_needs_system_fonts(data)),
            sys_inputs={"data": json.dumps(data, ensure_ascii=False)},
        )
        yield compiler, pictures


_SHEETS = """#set page(width: auto, height: auto, margin: 0mm)
#for name in json(bytes(sys.inputs.names)) { page(image(name)) }
"""


def as_png(pictures: Mapping[str, bytes], dots_per_inch: float = 150.0) -> dict[str, bytes]:
    """SVG pictures of this program as PNG, on all processors."""
    names, threads = list(pictures), processors()
    shares = [share for k in range(threads) if (share := names[k::threads])]
    if not shares:
        return {}
    # The compiler lets go of the interpreter while it works.
    with ThreadPoolExecutor(len(shares)) as pool:
        svgs = [[pictures[name] for name in share] for share in shares]
        drawn = pool.map(_rendered, svgs, repeat(dots_per_inch))
        pngs = {n: png for share, made in zip(shares, drawn, strict=True)
                for n, png in zip(share, made, strict=True)}  # fmt: skip
    return {name: pngs[name] for name in pictures}


def _rendered(svgs: Sequence[bytes], dots_per_inch: float) -> list[bytes]:
    import typst

    with tempfile.TemporaryDirectory(prefix="horizon-logger-") as name:
        sheets = [f"{k}.svg" for k in range(len(svgs))]
        svgs = [_with_letters_spelled(svg) for svg in svgs]
        for sheet, svg in zip(sheets, svgs, strict=True):
            (Path(name) / sheet).write_bytes(svg)
        system = any(_needs_system_fonts(svg.decode("utf-8")) for svg in svgs)
        compiler = typst.Compiler(
            _SHEETS.encode(),
            root=name,
            font_paths=_fonts(system),
            sys_inputs={"names": json.dumps(sheets)},
        )
        made = compiler.compile(format="png", ppi=dots_per_inch)
    return [bytes(png or b"") for png in (made if isinstance(made, list) else [made])]


@cache
def _fonts(system: bool) -> Any:
    import matplotlib
    import typst

    shipped = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    return typst.Fonts(
        include_system_fonts=system, include_embedded_fonts=True, font_paths=[shipped]
    )


_OUR_SIGNS = set("–—−…•’“”\N{ZERO WIDTH SPACE}")
"""In the fonts that come with the packages; asking them takes longer."""


def _needs_system_fonts(data: Any) -> bool:
    """Whether a text has a character beyond the fonts that come with the packages."""
    return bool(_beyond_our_fonts(set(json.dumps(data, ensure_ascii=False))))


def _beyond_our_fonts(letters: set[str]) -> set[str]:
    rare = letters - _LATIN - _OUR_SIGNS
    return {c for c in rare if ord(c) not in _our_letters()} if rare else rare


_LATIN = set(map(chr, range(0x250)))


@cache
def _our_letters() -> frozenset[int]:
    from matplotlib.font_manager import findfont, get_font

    return frozenset(get_font(findfont(style.FAMILY)).get_charmap())


@cache
def _letters_of_the_system() -> frozenset[int]:
    """What any font of this computer has a shape for; asked only where ours have none."""
    from matplotlib.font_manager import findSystemFonts, get_font

    known: set[int] = set()
    for path in findSystemFonts():
        # A file that cannot be read as a font is none.
        with suppress(OSError, RuntimeError):
            known.update(get_font(path).get_charmap())
    return frozenset(known)


def _spelled(letters: set[str]) -> dict[int, str]:
    """Letters that no font at hand has a shape for, and what to print for each: its number.

    The standards for keeping and reading aloud refuse a document with a letter without a shape.
    """
    lacking = (ord(c) for c in _beyond_our_fonts(letters))
    return {c: f"[U+{c:04X}]" for c in lacking if c not in _letters_of_the_system()}


_ASCII = bytes(range(0x80))


def _with_letters_spelled(svg: bytes) -> bytes:
    # Nearly all of a picture is numbers: what is left without them is soon looked through.
    spelled = _spelled(set(svg.translate(None, _ASCII).decode("utf-8")))
    return svg.decode("utf-8").translate(spelled).encode("utf-8") if spelled else svg


def document_data(report: ReportInput, pictures: _Pictures) -> dict[str, Any]:
    """What the template shows; its pictures are drawn on the way."""
    fit, reasons = words.fitness(report)
    people = {str(k): one_line(str(v)) for k, v in report.people.items() if str(v).strip()}
    several = len(report.points) > 1
    rules = monthly.rule_table([(p.name, p.planes) for p in report.points])
    facts = [
        *((_plain_label(k), v) for k, v in people.items()),
        ("place", place(report)),
        *([("surveyed", date(report.surveyed))] if report.surveyed else []),
        ("points", ", ".join(p.name for p in report.points)),
    ]
    data: dict[str, Any] = _clean(
        {
            "title": one_line(report.title) or "Horizon survey",
            "author": people.get("surveyor", ""),
            "subject": "Horizon profile, solar access and loss",
            "program": report.program,
            "made": date(report.made),
            "made_ymd": [report.made.year, report.made.month, report.made.day],
            "facts": facts,
            "fit": fit,
            "reasons": _first_of(reasons, max(MOST_REASONS, len(report.missing))),
            "summary": [_in_short(p, several) for p in report.points[:MOST_IN_SHORT]],
            "windows": [words.window_sentences(p) for p in report.points[MOST_IN_SHORT:]],
            "ranking": ranking(report) if several else [],
            "year": _table(monthly.summary_table([(p.name, p.planes) for p in report.points])),
            "rules": _table(rules) if rules.rows else None,
            "met": words.rules_sentence([a for p in report.points for a in p.planes]),
            "points": [point_data(report, p, pictures) for p in report.points],
            "comparison": _comparison(report, pictures) if several else None,
            "what_if": _table(what_if_table(report)) if report.what_ifs else None,
            "checks": _table(check_table(report), wide=(6,)),
            "calibrations": [_calibration(c) for c in report.calibrations],
            "samples": _table(sample_table(report), wide=(3, 4)),
            "steps": [
                {"point": p.name, "steps": "; ".join(p.profile.steps) or "none"}
                for p in report.points
            ],
            "method": method(report),
            "limits": LIMITS,
            "safety": safety.LONG_NOTICE,
            "assumptions": report.assumptions,
            "files": _table(file_table(report), mono=True),
        }
    )
    return data


MOST_REASONS = 8
"""On the cover why the survey is not fit for use; points without an answer are all named."""

MOST_IN_SHORT = 3
"""Points whose planes the cover tells of one by one; the table has them all."""


def _in_short(point: PointReport, one_of_several: bool) -> list[str]:
    """A point's answer: the solar window first, then plane by plane.

    Of several points only the year is told; months and obstructions stand on their pages.
    """
    window = " ".join(words.window_sentences(point))
    if one_of_several:
        return [window, words.year_of_planes(point)]
    return [window, *(" ".join(words.plane_sentences(point, plane)) for plane in point.planes)]


def method(report: ReportInput) -> list[str]:
    """How the figures came about."""
    bearings = {p.by_bearing for p in report.points}
    north = BY_BEARING[bearings.pop() if len(bearings) == 1 else None]
    return [SWEPT.format(north=north), *METHOD]


class _Pictures:
    """Writes each picture once; what is drawn goes by a name that tells what it shows."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.drawn: dict[str, bytes] = {}
        self._photos = 0

    def add(self, picture: Picture) -> dict[str, str]:
        stem = unused(file_stem(*picture.names), list(self.drawn))
        self.drawn[stem] = picture.svg
        name = f"picture {len(self.drawn)}.svg"
        (self.folder / name).write_bytes(_with_letters_spelled(picture.svg))
        return {"file": name, "alt": one_line(picture.alt)}

    def photo(self, path: Path, point: str) -> dict[str, str]:
        self._photos += 1
        name = f"photo {self._photos}.jpg"
        (self.folder / name).write_bytes(small_photo(path))
        return {"file": name, "alt": f"photo taken at {one_line(point)}"}


def unused(stem: str, taken: Sequence[str]) -> str:
    """The stem itself, or with the first number that makes it a new one."""
    known = {name.casefold() for name in taken}  # some file systems do not tell A from a
    numbered = (stem if k == 1 else f"{stem}-{k}" for k in count(1))
    return next(name for name in numbered if name.casefold() not in known)


def small_photo(path: Path, longest_px: int = 1000) -> bytes:
    """A photo as a JPEG of modest size, upright, without its metadata (which tell where it was)."""
    import io

    from PIL import Image, ImageOps

    out = io.BytesIO()
    try:
        with Image.open(path) as opened:
            upright = ImageOps.exif_transpose(opened).convert("RGB")
            upright.thumbnail((longest_px, longest_px))
            upright.info.clear()
            upright.save(out, "JPEG", quality=82)
    except (OSError, ValueError, Image.DecompressionBombError) as error:
        raise InputError(f"is no picture that can be read: {error}", str(path)) from error
    return out.getvalue()


KINDS = (
    "sun paths",
    "shade",
    "months",
    "obstructions",
    "sweep",
    "tilt",
    "sun paths by the clock",
)
"""The pictures of a point, in the document's order."""


def in_order(pictures: Iterable[Picture]) -> tuple[Picture, ...]:
    """A point's pictures in the document's order."""
    return tuple(sorted(pictures, key=lambda picture: KINDS.index(picture.names[1])))


def draw_point(point: PointReport, paths: SunPaths) -> tuple[Picture, ...]:
    """All pictures of one point, the sun's paths and the shade first."""
    return in_order((*draw_sky(point, paths), *draw_answer(point, paths.site)))


def draw_sky(point: PointReport, paths: SunPaths) -> tuple[Picture, ...]:
    """The pictures that show where the sun goes."""
    drawn: list[Picture] = []

    def add(kind: str, figure: Figure, alt: str) -> None:
        drawn.append(Picture((point.name, kind), style.svg(figure), alt))

    with style.house_style():
        add(
            "sun paths",
            sun_path_chart(paths, point.profile, point.name),
            f"Chart of the sun's paths over the skyline at {point.name}, azimuth against "
            f"elevation. {' '.join(words.plane_sentences(point, point.planes[0]))}",
        )
        if point.shade is not None:
            add(
                "shade",
                shade_chart(point.shade, point.name),
                f"Map of the hours in the shade at {point.name}, month by hour of the day.",
            )
        if point.tilts is not None and point.tilts.best.irradiation_kwh_m2 > 0:
            middle = paths.site.equatorward_azimuth_deg
            add(
                "tilt",
                tilt_chart(point.tilts, point.planes, middle, point.name),
                f"Map of the year's irradiation at {point.name} by tilt and azimuth.",
            )
        if paths.clock_lines:
            add(
                "sun paths by the clock",
                sun_path_chart(paths, point.profile, point.name, hours="clock"),
                f"Chart of the sun's paths over the skyline at {point.name}, with hours of the "
                "clock.",
            )
    return tuple(drawn)


def draw_answer(point: PointReport, site: Site) -> tuple[Picture, ...]:
    """The pictures of what was measured and of what is left of the light."""
    lead = point.planes[0]
    drawn: list[Picture] = []

    def add(kind: str, figure: Figure, alt: str) -> None:
        drawn.append(Picture((point.name, kind), style.svg(figure), alt))

    with style.house_style():
        add(
            "months",
            monthly_access_chart(point.planes, point.name),
            f"Bars of solar access by month at {point.name}; the figures stand in the tables.",
        )
        if lead.by_obstruction:
            add(
                "obstructions",
                obstruction_chart(lead, point.name),
                f"Bars of the loss by obstruction at {point.name}.",
            )
        if point.sights:
            middle = site.equatorward_azimuth_deg
            add(
                "sweep",
                sweep_chart(point.profile, point.sights, middle, point.name),
                f"Chart of the sight lines swept at {point.name} and the skyline fitted to them.",
            )
    return tuple(drawn)


def point_data(report: ReportInput, point: PointReport, pictures: _Pictures) -> dict[str, Any]:
    """One point's pages."""
    drawn = point.pictures
    if not drawn:
        if report.paths is None:
            raise ValueError(f"{point.name} has no pictures, and no sun paths to draw them with")
        drawn = draw_point(point, report.paths)
    placed = [pictures.add(picture) for picture in drawn]
    first = 2 if point.shade is not None else 1
    months = [monthly.monthly_table(plane) for plane in point.planes]
    tables = []
    if any(plane.by_obstruction for plane in point.planes):
        taken = monthly.without_nothing(monthly.obstruction_table(point.planes))
        if taken.rows:
            tables.append(taken)
    if any(plane.blocked for plane in point.planes):
        tables.append(monthly.blocked_table(point.planes))
    failed = [check for check in point.checks if not check.passed]
    here = replace(point, name="this point")  # its name stands at the head of the page
    return {
        "name": point.name,
        "pictures": placed[:first],
        "words": [*words.window_sentences(here), *words.plane_sentences(here, here.planes[0])],
        "quality": (
            f"{len(failed)} of {len(point.checks)} checks were not passed: the next page "
            "tells which and what to do."
            if failed
            else "Every quality check of this point passed."
        ),
        "more": placed[first:],
        "months": [_table(t) for t in months],
        "tables": [_table(t) | {"narrow": len(t.columns) <= NARROW} for t in tables],
        "photos": [pictures.photo(photo, point.name) for photo in point.photos[:MOST_PHOTOS]],
        "notes": [*(f"{check.check}: {check.why}" for check in failed), *point.notes],
    }


def ranking(report: ReportInput) -> list[str]:
    """The points in order of the year's solar access, and whether first and second differ."""
    ranked = ranked_points(report)
    unfit = [p.name for p in report.points if words.unfit(p)]
    left_out = [f"Not compared, for they are not fit for use: {', '.join(unfit)}."] if unfit else []
    if len(ranked) < 2:
        return left_out
    order = ", ".join(
        f"{p.name} ({words.percent(p.planes[0].solar_access.year.value)})" for p in ranked
    )
    (_, _, gap) = words.compared(ranked[:2])[0]
    return [
        f"From the most solar access to the least: {order}.",
        words.verdict(ranked[0].name, ranked[1].name, gap),
        *left_out,
    ]


def ranked_points(report: ReportInput) -> list[PointReport]:
    """Points fit for use whose first plane has a defined year, the greatest solar access first."""
    defined = [
        p
        for p in report.points
        if not words.unfit(p)
        and p.planes[0].solar_access.year.value == p.planes[0].solar_access.year.value
    ]
    return sorted(defined, key=lambda p: -p.planes[0].solar_access.year.value)


MOST_COMPARED_IN_PAIRS = 5


def compared_pairs(report: ReportInput) -> list[tuple[str, str, Difference]]:
    """Every pair of a few points; of many, each against the best."""
    ranked = ranked_points(report)
    if len(ranked) <= MOST_COMPARED_IN_PAIRS:
        return words.compared(ranked)
    return [words.compared([ranked[0], other])[0] for other in ranked[1:]]


def comparison_table(report: ReportInput) -> Table:
    """Differences of the year's solar access between points, with what they are worth."""
    answers = {True: "real", False: "no real difference", None: "cannot be told"}
    return Table(
        "Differences in the year's solar access",
        (
            Column("point", "point"),
            Column("other_point", "other point"),
            Column("difference", "difference", "%", 1, 6, 100.0),
            Column("difference_low", "low", "%", 1, 6, 100.0),
            Column("difference_high", "high", "%", 1, 6, 100.0),
            Column("is_it_real", "is it real?"),
        ),
        tuple(
            (a, b, gap.value, gap.low, gap.high, answers[gap.significant])
            for a, b, gap in compared_pairs(report)
        ),
    )


def _comparison(report: ReportInput, pictures: _Pictures) -> dict[str, Any]:
    pairs = compared_pairs(report)
    return {
        "pictures": [
            pictures.add(
                Picture(
                    ("points compared",),
                    style.svg(
                        comparison_chart([(_marked_name(p), p.planes[0]) for p in report.points])
                    ),
                    "Chart of the year's solar access at each point with its 95 % interval.",
                )
            )
        ],
        "sentences": [words.verdict(a, b, gap) for a, b, gap in pairs[:10]],
        "tables": [_table(comparison_table(report))] if pairs else [],
    }


def _marked_name(point: PointReport) -> str:
    return f"{shorten(point.name, 15)} (not fit)" if words.unfit(point) else point.name


def what_if_table(report: ReportInput) -> Table:
    """Changes tried out, before and after."""
    share = ("%", 1, 6, 100.0)
    return Table(
        "What if",
        (
            Column("change", "change"),
            Column("point", "point"),
            Column("plane", "plane"),
            Column("solar_access_before", "before", *share),
            Column("solar_access_after", "after", *share),
            Column("solar_access_after_low", "low", *share),
            Column("solar_access_after_high", "high", *share),
        ),
        tuple(
            (w.change, w.point, w.plane, w.before.value, w.after.value, w.after.low, w.after.high)
            for w in report.what_ifs
        ),
    )


def check_table(report: ReportInput) -> Table:
    """Every quality check, those of the points and those of the calibrations."""
    owners = [(p.name, p.checks) for p in report.points]
    owners += [(f"{c.purpose} calibration", c.checks) for c in report.calibrations]
    return Table(
        "Checks",
        (
            Column("of", "of"),
            Column("check", "check"),
            Column("passed", "passed"),
            Column("value", "value", "", 2, 4),
            Column("limit", "limit", "", 2, 4),
            Column("unit", "unit"),
            Column("why", "in words"),
        ),
        tuple(
            (owner, g.check, "yes" if g.passed else "NO", g.value, g.limit, g.unit, g.why)
            for owner, checks in owners
            for g in checks
        ),
    )


def sample_table(report: ReportInput) -> Table:
    """Samples read and used at each point, and why the rest was not."""
    return Table(
        "Samples",
        (
            Column("point", "point"),
            Column("read", "read", "", 0),
            Column("used", "used", "", 0),
            Column("not_used", "not used, by reason"),
            Column("true_north", "true north by"),
        ),
        tuple(
            (
                p.name,
                p.samples_read,
                p.samples_used,
                ", ".join(f"{reason}: {count}" for reason, count in p.rejected.items()) or "none",
                p.true_north,
            )
            for p in report.points
        ),
    )


def file_table(report: ReportInput) -> Table:
    """The recordings behind the report and their hashes."""
    rows: list[tuple[Cell, ...]] = [
        (p.name, f.name, f.sha256, f.remark) for p in report.points for f in p.files
    ]
    rows += [
        (f"{c.purpose} calibration", c.file.name, c.file.sha256, c.file.remark)
        for c in report.calibrations
        if c.file is not None
    ]
    return Table(
        "Files",
        (
            Column("of", "of"),
            Column("file", "file"),
            Column("sha256", "SHA-256"),
            Column("remark", "remark"),
        ),
        tuple(rows),
    )


def _calibration(calibration: CalibrationReport) -> dict[str, Any]:
    when = f", {_moment(calibration.date)}" if calibration.date else ""
    return {"title": f"{calibration.purpose}{when}", "rows": list(calibration.figures)}


def _moment(text: str) -> str:
    """A moment of ISO 8601 in words; other texts as they are."""
    try:
        moment = dt.datetime.fromisoformat(text).astimezone(dt.UTC)
    except ValueError:
        return text
    return f"{date(moment.date())}, {moment:%H:%M} UTC"


def place(report: ReportInput) -> str:
    """The site's coordinates in words."""
    site = report.site
    return (
        f"{abs(site.latitude_deg):.4f}° {'N' if site.latitude_deg >= 0 else 'S'}, "
        f"{abs(site.longitude_deg):.4f}° {'E' if site.longitude_deg >= 0 else 'W'}, "
        f"{site.altitude_m:.0f} m above sea level"
    )


def _first_of(reasons: Sequence[str], most: int) -> list[str]:
    """As many reasons as a cover has room for, and where the others stand."""
    if len(reasons) <= most:
        return list(reasons)
    more = len(reasons) - most
    return [*reasons[:most], f"and {more} more, under Calibration and quality"]


def date(day: dt.date) -> str:
    """Such as 14 May 2026."""
    return f"{day.day} {style.MONTHS[day.month - 1]} {day.year}"


def _plain_label(key: str) -> str:
    return one_line(key.replace("_", " "))


NARROW = 5
"""Columns of a table that fits in half the width of a page."""

MOST_IN_A_COLUMN = 30
"""Letters up to which a column of text is made as wide as its longest cell."""


def _table(table: Table, mono: bool = False, wide: Sequence[int] = ()) -> dict[str, Any]:
    """A table for the template.

    The columns of ``wide``, and of texts that people made long, share what room the others leave.
    """
    rows = table.printed()

    def share_of_room(k: int) -> int:
        if k in wide:
            return 2
        if table.columns[k].decimals is not None:
            return 0
        breakable = (row[k] for row in rows if not _SHA256.fullmatch(row[k]))
        return int(max(map(len, breakable), default=0) > MOST_IN_A_COLUMN)

    return {
        "title": table.title,
        "head": [
            {
                # A wide column has room for its heading on one line.
                "lines": [column.heading] if k in wide and not column.unit else _broken(lines),
                "right": column.decimals is not None,
                "room": share_of_room(k),
            }
            for k, (column, lines) in enumerate(
                zip(table.columns, stacked_headings(table), strict=True)
            )
        ],
        "rows": rows,
        "total": table.last_is_total,
        "mono": mono,
    }


def _broken(lines: Sequence[str], most: int = 10) -> list[str]:
    """A heading with its unit broken where that is long for a column of numbers."""
    return [
        part
        for line in lines
        for part in (
            re.split(r"(?<=/)| ", line) if line[:1] == "[" and len(line) > most else [line]
        )
    ]


_LONG_WORD = re.compile(r"(?<!\S)\S{61,}")
_SHA256 = re.compile("[0-9a-f]{64}")


def _clean(value: Any) -> Any:
    """Texts on one line, of letters that can be shown; a long word may be broken."""
    if isinstance(value, str):
        line = one_line(value)
        if not line.isascii():
            line = line.translate(_spelled(set(line)))
        return _LONG_WORD.sub(_breakable, line)
    if isinstance(value, dict):
        return {key: _clean(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_clean(item) for item in value]
    return value


def _breakable(found: re.Match[str]) -> str:
    word = found[0]
    if _SHA256.fullmatch(word):
        return word
    return "\N{ZERO WIDTH SPACE}".join(word[k : k + 20] for k in range(0, len(word), 20))
