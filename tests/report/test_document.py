"""The client's document: whole, tagged, embedded, in reading order, and never fooled by a name."""

from __future__ import annotations

import io
import re
import unicodedata
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.font_manager import findfont, get_font
from PIL import Image
from pypdf import PdfReader

from logger.errors import InputError, UsageError
from logger.horizon import HorizonProfile
from logger.report import document
from logger.report.figures import plane_figures
from logger.report.inputs import CalibrationReport, WhatIf

NASTY = ("#let x = [*]", '=HYPERLINK("http://x","y")', "$e=mc^2$ _a_ *b* `c` <d> @e \\f", "-1+1")


def read(pdf: bytes) -> tuple[PdfReader, str]:
    reader = PdfReader(io.BytesIO(pdf))
    text = "\n".join(page.extract_text() for page in reader.pages)
    return reader, unicodedata.normalize("NFKC", text)


def test_the_document_is_tagged_and_says_what_it_is(report):
    reader, _ = read(document.pdf(report))
    assert reader.metadata.title == "Weir Mill barns"
    assert reader.metadata.author == "A. Sample"
    catalog = reader.trailer["/Root"]
    assert catalog["/MarkInfo"]["/Marked"]
    assert catalog["/Lang"].startswith("en")
    assert "/StructTreeRoot" in catalog
    described = catalog["/Metadata"].get_object().get_data().decode()
    assert "<pdfuaid:part>1</pdfuaid:part>" in described
    assert "<pdfaid:part>2</pdfaid:part>" in described


def test_every_font_is_embedded(report):
    reader, _ = read(document.pdf(report))
    fonts = [
        font.get_object()["/DescendantFonts"][0].get_object()["/FontDescriptor"].get_object()
        for page in reader.pages
        for font in page["/Resources"]["/Font"].get_object().values()
    ]
    assert fonts
    assert all({"/FontFile", "/FontFile2", "/FontFile3"} & set(font) for font in fonts)


@pytest.mark.parametrize(("paper", "size"), [("a4", (595, 842)), ("letter", (612, 792))])
def test_the_paper_is_the_one_asked_for(report, paper, size):
    reader, _ = read(document.pdf(report, paper))
    box = reader.pages[0].mediabox
    assert (round(box.width), round(box.height)) == size


def test_another_paper_is_refused(report):
    with pytest.raises(UsageError, match="a4, letter"):
        document.pdf(report, "a3")


def test_the_monthly_table_reads_in_order(report):
    _, text = read(document.pdf(report))
    table = text[text.index("roof: tilt 30°, azimuth 180°") :]
    rows = re.findall(r"^(Jan|Feb|Mar|Dec|year) (.*)$", table, re.MULTILINE)
    assert rows[1] == ("Feb", "50.0 46.0 53.0 50.0 9.5 50.0")
    assert [name for name, _ in rows[:5]] == ["Jan", "Feb", "Mar", "Dec", "year"]
    assert rows[0][1] == "– – – – 0.0 –"


@pytest.mark.parametrize("text", NASTY)
def test_a_persons_text_prints_as_itself_wherever_it_stands(report, result_plane, text, point_of):
    result_plane["name"] = text
    named = replace(
        report,
        title=text,
        points=(point_of(result_plane, name=text),),
        people={"client": text},
        what_ifs=(WhatIf(text, text, text, report.points[0].planes[0].solar_access.year,
                         report.points[0].planes[0].beam_access.year),),
    )  # fmt: skip
    reader, got = read(document.pdf(named))
    assert reader.metadata.title == text
    squeezed = re.sub(r"\s", "", got)
    assert squeezed.count(re.sub(r"\s", "", text)) >= 8


def test_the_same_input_gives_the_same_file(report):
    assert document.pdf(report) == document.pdf(report)


def test_a_failed_check_stands_on_the_cover(report, result_plane, point_of):
    poor = replace(report, points=(point_of(result_plane, passed=False),))
    reader, _ = read(document.pdf(poor))
    cover = reader.pages[0].extract_text()
    assert "Not fit for use as it stands" in cover
    assert "go back to 280 to 300 degrees" in cover
    (page, more) = (reader.pages[k].extract_text() for k in (1, 2))
    assert "1 of 1 checks were not passed" in " ".join(page.split())
    assert "go back to 280 to 300 degrees" in more
    good, _ = read(document.pdf(report))
    assert "Fit for use: every quality check passed" in good.pages[0].extract_text()


def test_points_without_an_answer_are_all_on_the_cover(report, result_plane, point_of):
    failing = tuple(point_of(result_plane, name=f"eave {k}", passed=False) for k in range(9))
    left_out = {f"gone {k}": f"gone {k}: there is no recording" for k in range(3)}
    many = replace(report, points=failing, missing=left_out)
    reader, _ = read(document.pdf(many))
    cover = reader.pages[0].extract_text()
    assert all(f"{name}: no answer – there is no recording" in cover for name in left_out)
    assert "and 4 more, under Calibration and quality" in cover


def test_the_cover_answers_for_the_solar_window_and_for_every_plane(report, result_plane):
    wall = result_plane | {"name": "wall", "solar_access": result_plane["beam_access"]}
    point = replace(
        report.points[0], planes=(plane_figures(result_plane), plane_figures(wall))
    )  # fmt: skip
    reader, _ = read(document.pdf(replace(report, points=(point,))))
    cover = " ".join(reader.pages[0].extract_text().split())
    assert "From 9 to 15 h solar time something stands before the sun at north eave in 1" in cover
    assert "1 of 12 months (February)" in cover
    assert "In the way: =barn." in cover
    assert "the plane roof receives 87 % of what" in unicodedata.normalize("NFKC", cover)
    assert "the plane wall receives 83 % of what" in unicodedata.normalize("NFKC", cover)


def test_the_cover_of_several_points_answers_for_each(report, result_plane, point_of):
    points = tuple(point_of(result_plane, f"spot {k}") for k in range(5))
    text = read(document.pdf(replace(report, points=points)))[1]
    cover = " ".join(text[: text.index("Contents")].split())
    assert all(f"before the sun at spot {k} in" in cover for k in range(5))
    assert cover.count("Of what an open level horizon would give over the year: roof 87 %") == 3


@pytest.mark.parametrize(
    ("bearings", "said"),
    [
        ((False, False), "(by the magnetic declination)"),
        ((True, True), "(by the bearing calibration, which takes the place of the magnetic"),
        ((True, False), "(by the bearing calibration where there is one, elsewhere by the"),
    ],
)
def test_the_method_says_what_true_north_comes_from(report, bearings, said):
    points = tuple(replace(report.points[0], by_bearing=b) for b in bearings)
    told = document.method(replace(report, points=points))
    assert said in told[0]
    assert "every ±, is one of 95 %" in told[-1]


def test_a_calibration_is_told_with_its_moment_and_every_figure(report):
    figures = tuple((f"figure {k}", f"{k} µT") for k in range(7))
    made = CalibrationReport("level", "2026-05-14T06:24:00.000Z", figures)
    words = " ".join(read(document.pdf(replace(report, calibrations=(made,))))[1].split())
    assert "level, 14 May 2026, 06:24 UTC" in words
    assert all(f"{what} {value}".replace("µ", "μ") in words for what, value in figures)


def test_a_point_without_an_answer_stands_on_the_cover(report):
    short = replace(report, missing={"garden": "there is no recording of this point"})
    cover = read(document.pdf(short))[0].pages[0].extract_text()
    assert "Not fit for use" in cover
    assert "garden" in cover


def test_points_closer_than_their_uncertainty_do_not_really_differ(report, result_plane, point_of):
    near = result_plane | {
        "solar_access": result_plane["solar_access"]
        | {"annual": {"value": 0.861, "low": 0.83, "high": 0.89}}
    }
    both = replace(report, points=(point_of(result_plane), point_of(near, "south eave")))
    _, text = read(document.pdf(both))
    words = " ".join(text.split())
    assert "Between north eave and south eave there is no real difference" in words


def test_safety_and_hashes_are_in_it(report):
    _, text = read(document.pdf(report))
    words = " ".join(text.split())
    for caution in ("Never look at the sun", "roof edges", "skylight", "overhead lines", "codes"):
        assert caution in words
    assert "3f8a00b1" * 8 in text


def test_a_very_long_word_stays_on_the_page(report):
    wide = replace(report, people={"client": "x" * 300})
    reader, text = read(document.pdf(wide))
    assert text.replace("\n", "").replace("\N{ZERO WIDTH SPACE}", "").count("x" * 300) == 1
    right_edges = []

    def visit(text, _cm, tm, _font, size):
        if set(text.strip()) == {"x"}:
            right_edges.append(tm[4] + 0.6 * size * len(text.strip()))

    reader.pages[0].extract_text(visitor_text=visit)
    assert right_edges
    assert max(right_edges) < reader.pages[0].mediabox.width


def test_letters_beyond_latin_are_not_lost(report):
    abroad = replace(report, people={"client": "Ελένη Кузнецова Ñandú"})
    _, text = read(document.pdf(abroad))
    assert "Ελένη Кузнецова Ñandú" in text


def test_a_letter_that_no_font_shows_is_told_by_its_number(report, result_plane, point_of):
    nowhere = "\U000f0123"  # for private use: no font can be counted on to have it
    name = f"roof {nowhere}"
    document_of = replace(report, title=name, points=(point_of(result_plane, name=name),))
    written = document.write_document(document_of)
    reader, text = read(written.pdf)
    assert reader.metadata.title == "roof [U+F0123]"
    assert text.count("roof [U+F0123]") >= 4
    # Whoever opens the picture may have a font that shows it.
    assert all(nowhere in svg.decode() for svg in written.pictures.values())
    assert document.as_png(written.pictures).keys() == written.pictures.keys()


def test_a_name_of_any_length_is_set(report, result_plane, point_of):
    name = "Sonnenhangdachfläche" * 8
    long = replace(report, points=(point_of(result_plane | {"name": name}, name=name),))
    _, text = read(document.pdf(long))
    squeezed = re.sub("[\\s\N{ZERO WIDTH SPACE}]", "", text)
    assert squeezed.count(name) >= 6


def test_long_names_leave_room_for_the_other_columns(report, result_plane, point_of):
    name = "third bay from the left over the workshop, behind the chimney"
    long = replace(report, points=(point_of(result_plane, name=name),))
    for table in (document.check_table(long), document.sample_table(long)):
        laid_out = document._table(table, wide=(len(table.columns) - 1,))
        rooms = [column["room"] for column in laid_out["head"]]
        assert 0 < rooms[0] < rooms[-1]
    files = document._table(document.file_table(long))
    # A sum cannot be broken: its column is as wide as it is.
    assert [column["room"] for column in files["head"]] == [1, 0, 0, 0]


def test_our_own_signs_are_in_the_fonts_that_come_along():
    known = set(map(chr, get_font(findfont("DejaVu Sans")).get_charmap()))
    assert document._OUR_SIGNS - {"\N{ZERO WIDTH SPACE}"} <= known


def test_photos_are_upright_small_and_tell_no_place(report, tmp_path):
    photo = tmp_path / "sky.jpg"
    exif = Image.Exif()
    exif[0x0112] = 6  # turned a quarter
    exif[0x8825] = {1: "N", 2: (46.0, 3.0, 0.0)}
    Image.new("RGB", (3000, 2000), "navy").save(photo, exif=exif)
    small = Image.open(io.BytesIO(document.small_photo(photo)))
    assert small.size == (667, 1000)
    assert not small.getexif()
    with_photo = replace(report, points=(replace(report.points[0], photos=(photo,)),))
    (image,) = (i for page in read(document.pdf(with_photo))[0].pages for i in page.images)
    assert image.image.size == (667, 1000)
    assert not any(page.images for page in read(document.pdf(report))[0].pages)


def test_a_photo_that_is_none_is_refused_by_name(report, tmp_path):
    photo = tmp_path / "sky.jpg"
    photo.write_bytes(b"no picture")
    broken = replace(report, points=(replace(report.points[0], photos=(photo,)),))
    with pytest.raises(InputError, match=r"sky\.jpg: is no picture"):
        document.pdf(broken)


def test_an_incomplete_survey_still_makes_a_document(report, result_plane, point_of):
    nothing = np.full(72, np.nan)
    unseen = replace(
        point_of(result_plane, passed=False),
        profile=HorizonProfile(np.arange(0.0, 360.0, 5.0), nothing, nothing),
    )
    _, text = read(document.pdf(replace(report, points=(unseen,))))
    assert "Not fit for use" in text
