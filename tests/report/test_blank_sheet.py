"""The sheet to draw a horizon on by hand: the axes of the sun-path chart and nothing else."""

from logger.report.charts import new_axes, new_figure
from logger.report.language import Words
from logger.report.sky_chart import BLANK_TOP_DEG, blank_sheet, sky_axes


def texts(axes):
    labels = [*axes.get_xticklabels(), *axes.get_yticklabels()]
    return [label.get_text() for label in labels] + [axes.get_xlabel(), axes.get_ylabel()]


def test_the_blank_sheet_has_the_axes_of_the_report_and_no_sun_and_no_horizon():
    sheet = blank_sheet(180.0, Words()).axes
    own = new_axes(new_figure(88.0), 11, 3, 11, 6)
    sky_axes(own, 180.0, 0.0, BLANK_TOP_DEG, Words())
    assert len(sheet) == 1
    assert texts(sheet[0]) == texts(own)
    assert "S\n180°" in texts(sheet[0])
    drawn = [*sheet[0].lines, *sheet[0].collections, *sheet[0].patches, *sheet[0].texts]
    assert drawn == []
