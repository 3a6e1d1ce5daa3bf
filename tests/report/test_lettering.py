"""Words stand where matplotlib's own text would stand, in less time."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.backends.backend_svg import RendererSVG
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath

from logger.report import style
from logger.report.lettering import lettering


@pytest.fixture
def axes():
    figure = style.new_figure()
    figure.set_dpi(72)  # an SVG counts in points
    made = style.add_axes(figure)
    made.set_xlim(0, 10)
    made.set_ylim(-1, 1)
    return made


@pytest.mark.parametrize("text", ["lp", "field trees, playground", "Sp\nlong line, played"])
@pytest.mark.parametrize("across", ["left", "center", "right"])
def test_a_word_is_as_wide_as_matplotlibs_own_text(axes, text, across):
    with style.house_style():
        style.write(axes, text, 4.0, 0.2, ha=across)
        own = axes.text(4.0, 0.2, text, ha=across)
        theirs = own.get_window_extent(RendererSVG(*axes.figure.bbox.size, _Nowhere()))
    ((_, room),) = lettering(axes).rooms(1.0)
    np.testing.assert_allclose(room.box.intervalx, theirs.intervalx, atol=0.1)


@pytest.mark.parametrize(("up", "of_box"), [("top", 1.0), ("center", 0.5)])
def test_a_word_stands_where_it_was_put(axes, up, of_box):
    style.write(axes, "lp\nlp", 4.0, 0.2, va=up)
    ((_, room),) = lettering(axes).rooms(1.0)
    _, y = axes.transData.transform((4.0, 0.2))
    assert room.box.y0 + of_box * room.box.height == pytest.approx(y)


def test_the_outlines_of_letters_fill_the_room(axes):
    style.write(axes, "lp", 4.0, 0.2)
    ((word, room),) = lettering(axes).rooms(1.0)
    font = FontProperties(family=[style.FAMILY], size=word.size_pt)
    ink = TextPath((room.x, room.baselines[0]), "lp", prop=font).get_extents()
    np.testing.assert_allclose(room.box.intervaly, ink.intervaly, atol=0.2)


def test_a_word_stands_aside_by_points(axes):
    for right, up in ((0, 0), (72, 36)):
        style.write(axes, "here", 4.0, 0.2, right, up)
    (_, plain), (_, aside) = lettering(axes).rooms(2.0)
    np.testing.assert_allclose(aside.box.min - plain.box.min, [144, 72])


def test_an_svg_viewer_with_another_font_still_aligns_words(axes):
    style.write(axes, "to the right of", 4.0, 0.2, ha="right")
    picture = style.svg(axes.figure).decode()
    assert "text-anchor: end" in picture
    assert ">to the right of</text>" in picture


def test_paper_lies_behind_a_backed_word_alone(axes):
    style.write(axes, "bare", 2.0, 0.0)
    plain = style.svg(axes.figure).decode().count("<path")
    style.write(axes, "backed", 4.0, 0.0, backed=True)
    assert style.svg(axes.figure).decode().count("<path") == plain + 1


def test_the_extent_of_all_words_holds_each_of_them(axes):
    style.write(axes, "left", 1.0, 0.0)
    style.write(axes, "right", 9.0, 0.5)
    letters = lettering(axes)
    whole = letters.get_window_extent()
    for _, room in letters.rooms(1.0):
        assert whole.x0 <= room.box.x0 < room.box.x1 <= whole.x1
        assert whole.y0 <= room.box.y0 < room.box.y1 <= whole.y1


class _Nowhere:
    def write(self, text: str) -> None:
        pass
