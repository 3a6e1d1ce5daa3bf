"""Shapes land on paper where their coordinates say, in SVG and on matplotlib's axes alike."""

from __future__ import annotations

import io
import re
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.figure import Figure
from PIL import Image, ImageFont

from logger.report import document
from logger.report.drawing import (
    POINTS_A_MM,
    Areas,
    Lines,
    Marks,
    Panel,
    Sheet,
    Words,
    between,
    boxes,
    width_em,
)
from logger.report.on_axes import draw_panel, house_style

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def sheet() -> Sheet:
    """50 by 40 mm with margins of 10 mm: a panel of 30 by 20 mm, x from 0 to 30, y from 0 to 2."""
    made = Sheet(50.0, 40.0, "#ffffff")
    panel = made.panel(10.0, 10.0, 10.0, 10.0)
    panel.x_limits, panel.y_limits = (0.0, 30.0), (0.0, 2.0)
    return made


def elements(sheet: Sheet, tag: str) -> list[ElementTree.Element]:
    return list(ElementTree.fromstring(sheet.svg()).iter(f"{SVG}{tag}"))


def pixel(png: bytes, x_mm: float, y_mm: float) -> tuple[int, ...]:
    """The colour of a place that is so far from the left and upper edges of 50 by 40 mm."""
    image = Image.open(io.BytesIO(png)).convert("RGB")
    at = int(x_mm / 50 * image.width), int(y_mm / 40 * image.height)
    return image.getpixel(at)


def on_matplotlib(sheet: Sheet) -> bytes:
    figure = Figure(figsize=(50 / 25.4, 40 / 25.4), dpi=200)
    out = io.BytesIO()
    with house_style():
        draw_panel(figure, sheet.panels[0])
        figure.savefig(out)
    return out.getvalue()


@pytest.fixture(params=["svg", "matplotlib"])
def painted(request):
    if request.param == "svg":
        return lambda sheet: document.as_png({"it": sheet.svg()}, 200)["it"]
    return on_matplotlib


def test_an_area_covers_what_its_coordinates_say(sheet, painted):
    sheet.panels[0].add(Areas(boxes([(15, 30, 1, 2)]), "#ff0000"))
    png = painted(sheet)
    assert pixel(png, 26, 19) == (255, 0, 0)  # just inside the left lower corner at 25, 20 mm
    assert pixel(png, 39, 11) == (255, 0, 0)
    for outside in ((24, 19), (26, 21), (41, 15), (30, 9)):
        assert pixel(png, *outside) == (255, 255, 255)


def test_what_is_clipped_ends_with_the_panel(sheet, painted):
    sheet.panels[0].add(Areas(boxes([(-90, 90, -9, 9)]), "#ff0000"))
    png = painted(sheet)
    assert pixel(png, 11, 11) == (255, 0, 0)
    assert pixel(png, 9, 20) == (255, 255, 255)


def test_a_ring_has_a_hole(sheet, painted):
    outer, inner = boxes([(0, 30, 0, 2), (10, 20, 0.5, 1.5)])
    sheet.panels[0].add(Areas((outer, inner[::-1]), "#ff0000"))
    png = painted(sheet)
    assert pixel(png, 12, 20) == (255, 0, 0)
    assert pixel(png, 25, 20) == (255, 255, 255)


def test_what_has_the_higher_order_lies_over_what_was_added_later(sheet, painted):
    sheet.panels[0].add(Areas(boxes([(0, 30, 0, 2)]), "#ff0000", order=2))
    sheet.panels[0].add(Areas(boxes([(0, 30, 0, 2)]), "#0000ff", order=1))
    assert pixel(painted(sheet), 25, 20) == (255, 0, 0)


def test_a_hatched_area_is_partly_paper(sheet, painted):
    sheet.panels[0].add(Areas(boxes([(0, 30, 0, 2)]), edge="#000000", hatch="crossed"))
    image = Image.open(io.BytesIO(painted(sheet))).convert("L")
    inside = np.asarray(image)[90:220, 90:300]
    assert 0.02 < (inside < 128).mean() < 0.5


def test_a_not_a_number_breaks_a_line(sheet):
    path = np.array([(0, 0), (10, 1), (np.nan, 1), (20, 1), (30, 0)], dtype=float)
    sheet.panels[0].add(Lines((path,), "#000000", 1.0))
    (drawn,) = [e for e in elements(sheet, "path") if e.get("stroke")]
    assert drawn.get("d").count("M") == 2
    first = [float(v) for v in re.findall(r"[\d.]+", drawn.get("d"))[:2]]
    assert first == pytest.approx([10 * POINTS_A_MM, 30 * POINTS_A_MM], abs=0.01)


def test_a_mark_at_no_place_is_left_out(sheet):
    places = np.array([(1.0, 1.0), (np.nan, 1.0)])
    sheet.panels[0].add(Marks(places, "dot", 3.0, "#000000"))
    assert len([e for e in elements(sheet, "path") if e.get("transform")]) == 1


def test_a_text_is_written_as_it_is_and_where_it_belongs(sheet):
    nasty = "<a> & $x$ \x00\x0b#"
    sheet.panels[0].add(Words(nasty + "\nbelow", 15, 1, 3, 4, across="middle"))
    first, second = elements(sheet, "text")
    assert (first.text, second.text) == ("<a> & $x$ #", "below")
    assert float(first.get("x")) == pytest.approx(25 * POINTS_A_MM + 3, abs=0.01)
    assert float(first.get("y")) == pytest.approx(20 * POINTS_A_MM - 4, abs=0.01)
    assert float(second.get("y")) - float(first.get("y")) == pytest.approx(1.2 * 7.5, abs=0.01)


def test_the_frame_says_what_coordinates_mean():
    panel = Panel(10.0, 20.0, 100.0, 50.0, (0.0, 4.0), (0.0, 5.0))
    place = [(1.0, 1.0)]
    assert panel.on_paper(place).tolist() == [[35.0, 60.0]]
    assert panel.on_paper(place, "panel").tolist() == [[110.0, 20.0]]
    assert panel.on_paper(place, "x").tolist() == [[35.0, 20.0]]
    assert panel.on_paper(place, "y").tolist() == [[110.0, 60.0]]


def test_between_two_curves_lies_an_area_for_each_stretch_where_both_are_known():
    x, high = np.arange(5.0), np.array([1.0, 1.0, np.nan, 2.0, 2.0])
    first, second = between(x, 0.0, high)
    assert first.tolist() == [[0, 1], [1, 1], [1, 0], [0, 0]]
    assert second[:, 0].tolist() == [3, 4, 4, 3]


@pytest.mark.parametrize("text", ["lime tree", "21 Mar · 22 Sep", "WMW iii {}~", "30° – 5 µT…"])
def test_the_width_of_a_text_is_that_of_the_typeface(text):
    shipped = document._shipped_fonts()
    plain = ImageFont.truetype(shipped / "DejaVuSans.ttf", 1000, layout_engine=0)
    heavy = ImageFont.truetype(shipped / "DejaVuSans-Bold.ttf", 1000, layout_engine=0)
    assert width_em(text) == pytest.approx(plain.getlength(text) / 1000, rel=0.02)
    assert width_em(text, bold=True) == pytest.approx(heavy.getlength(text) / 1000, rel=0.06)


def test_the_callers_matplotlib_settings_are_left_alone(sheet):
    import matplotlib

    before = dict(matplotlib.rcParams)
    on_matplotlib(sheet)
    assert dict(matplotlib.rcParams) == before
