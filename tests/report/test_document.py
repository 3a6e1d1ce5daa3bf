"""The client's document: made for its four readers, whole, tagged, and never fooled by a name."""

from __future__ import annotations

import io
import re
import unicodedata
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from logger.access import Verdict
from logger.access.sky import Sky
from logger.errors import InputError, UsageError
from logger.horizon import HorizonProfile
from logger.job import read_job
from logger.report import cover, document, installer, pages, verifier
from logger.report.content import beside_of
from logger.report.language import Words
from logger.report.photos import photo_at
from logger.report.pictures import Pictures
from logger.site import Site
from logger.survey.recipe import WeatherSource

from .conftest import FAILED, NEAR, PASSED

NASTY = ("#let x = [*]", '=HYPERLINK("http://x","y")', "$e=mc^2$ _a_ *b* `c` <d> @e \\f", "-1+1")
LONG = [
    f"Apartment house at the old weir, roof facing the mill pond, corner {k}" for k in range(12)
]
W = Words()


def plain(text: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", text).split())


def pages_of(report, paper="a4", language="en") -> list[str]:
    """The text of each page on one line."""
    reader = PdfReader(io.BytesIO(document.write_document(report, paper, language).pdf))
    return [plain(page.extract_text()) for page in reader.pages]


def cover_of(report) -> str:
    """All that the cover says, before it is set."""

    def said(value) -> str:
        if isinstance(value, dict):
            value = list(value.values())
        return " ".join(map(said, value)) if isinstance(value, list) else str(value)

    return plain(said(cover.cover(report, Pictures(), W)))


def test_the_document_is_tagged_and_says_what_it_is(report_of):
    report = report_of(people={"surveyor": "A. Sample"})
    made = document.write_document(report).pdf
    assert made == document.write_document(report).pdf
    reader = PdfReader(io.BytesIO(made))
    assert reader.metadata.title == "Three Alders, an invented farm"
    assert reader.metadata.author == "A. Sample"
    catalog = reader.trailer["/Root"]
    assert catalog["/MarkInfo"]["/Marked"]
    assert catalog["/Lang"].startswith("en")
    assert "/StructTreeRoot" in catalog
    described = catalog["/Metadata"].get_object().get_data().decode()
    assert "<pdfuaid:part>1</pdfuaid:part>" in described
    assert "<pdfaid:part>2</pdfaid:part>" in described
    fonts = [
        font.get_object()["/DescendantFonts"][0].get_object()["/FontDescriptor"].get_object()
        for page in reader.pages
        for font in page["/Resources"]["/Font"].get_object().values()
    ]
    assert fonts
    assert all({"/FontFile", "/FontFile2", "/FontFile3"} & set(font) for font in fonts)


def crowded(point_of):
    """Three planes of long names, four failed checks."""
    names = ["passes agree", "compass calibration", "sun's range measured"]
    names.append("sun's range seen twice")
    failed = (replace(FAILED, check=name) for name in names)
    point = point_of(LONG[0], 30.0, checks=(PASSED, NEAR, *failed))
    planes = tuple(
        replace(p, plane=replace(p.plane, name=f"east wall above the loading bay, part {k}"))
        for k, p in enumerate((*point.access.planes, point.access.planes[0]))
    )
    return [replace(point, access=replace(point.access, planes=planes))]


def several(n, check):
    return lambda of: [of(name, 5.0 + 3 * k, checks=(check,)) for k, name in enumerate(LONG[:n])]


@pytest.mark.parametrize(
    ("points", "most", "paper", "language"),
    [
        (lambda _: [], 4, "a4", "en"),
        (lambda _: [], 4, "letter", "de"),
        (crowded, 4, "letter", "de"),
        (crowded, 4, "a4", "en"),
        (several(3, PASSED), 7, "a4", "en"),
        (several(12, FAILED), 19, "letter", "de"),
    ],
    ids=["one", "one, German", "crowded, German", "crowded", "three", "twelve, German"],
)
def test_a_report_stays_short_on_either_paper_and_its_cover_and_points_one_page_each(
    report_of, point_of, points, most, paper, language
):
    shown = points(point_of)
    report = report_of(*shown, people={"surveyor": "A. Sample", "client": "B. Example"})
    reader = PdfReader(io.BytesIO(document.write_document(report, paper, language).pdf))
    box = reader.pages[0].mediabox
    assert (round(box.width), round(box.height)) == {"a4": (595, 842), "letter": (612, 792)}[paper]
    texts = [plain(page.extract_text()) for page in reader.pages]
    assert len(texts) <= most
    safety = {"en": "Work on roofs, on ladders", "de": "Arbeit auf Dächern, auf Leitern"}
    assert safety[language] in texts[0]
    for k, point in enumerate(shown):
        assert point.name in texts[0]
        assert point.name in texts[1 + k]


def test_more_than_a_dozen_points_go_to_a_page_behind_the_cover(report_of, point_of):
    texts = pages_of(report_of(*(point_of(f"point {k:02d}", 10.0) for k in range(14))))
    found = [[f"Over the year point {k} receives" in text for k in (11, 12, 13)] for text in texts]
    assert found[:2] == [[True, False, False], [False, True, True]]


def test_another_paper_is_refused(report_of):
    with pytest.raises(UsageError, match="a4, letter"):
        document.write_document(report_of(), "a3")


def test_the_cover_is_for_the_client(report_of, point_of):
    people = {"surveyor": "A. Sample", "contact": "a@example.org", "client": "B. Example"}
    cover = pages_of(report_of(point_of("eave"), point_of("yard", 30.0), people=people))[0]
    for words in (
        "The survey is sound: all",
        "Over the year eave receives",
        "By the clock (Europe/Ljubljana) 9 to 15 h is",
        "the middle of many possible skies from clear to overcast",
        "Solar access at eave is",
        "taking away lime trees would gain most",
        "Solar access on roof month by month",
        "Compared on roof",
        "How modules are wired into strings",
        "Ask A. Sample, who did the survey: a@example.org.",
        "No rule of a programme or permit was given",
    ):
        assert words in cover
    # No command lines and no file names.
    assert not re.search(r"horizon-logger \w+ (report|\w+ --)|--\w|\.(sweep|csv|toml|pdf)", cover)


def test_the_cover_names_the_weather_but_not_its_file(report_of, point_of, recipe):
    point = point_of("eave")
    sky = Sky("monthly means", "monthly means of irradiation, means.csv")
    told = replace(point, access=replace(point.access, sky=sky))
    rested = replace(recipe, weather=WeatherSource(Path("weather/means.csv"), "0" * 64))
    told = cover_of(report_of(told, recipe=rested))
    assert "Sky The shares rest on monthly means of irradiation. " in told


@pytest.mark.parametrize(
    ("latitude", "longitude", "told"),
    [(46.05, 14.51, "46.0500° N, 14.5100° E"), (-33.2, -70.6, "33.2000° S, 70.6000° W")],
)
def test_the_cover_names_the_hemisphere(report_of, latitude, longitude, told):
    report = report_of()
    there = replace(report.job, site=Site(latitude, longitude, 310.0))
    assert cover.facts(replace(report, job=there), W).startswith(f"{told}, 310 m above")


def test_a_point_not_fit_says_so_before_its_answer(report_of, point_of):
    texts = pages_of(report_of(point_of("eave", checks=(PASSED, NEAR, FAILED)), point_of("yard")))
    assert "The survey is not fit for use as it stands: 1 of 2 points" in texts[0]
    assert "Not fit for use: failed passes agree. Over the year eave" in texts[0]
    assert texts[1].index("Not fit for use: failed passes agree") < texts[1].index("Over the year")
    assert "1 of 3 checks failed: passes agree" in texts[1]
    end = " ".join(texts[-2:])
    assert "sweep 280 to 300° again" in end
    assert "just enough" in end  # it came within a tenth of its limit
    assert "well within" not in end


@pytest.mark.parametrize(
    ("checks", "more", "fit", "told"),
    [
        ((PASSED, NEAR), {}, True, "The survey is sound"),
        ((PASSED, FAILED), {}, False, "Not told, because no point is fit for use."),
        (
            (PASSED,),
            {"left_out": {"shed": "shed: torn"}},
            False,
            "1 of 2 points.*shed has no answer. torn",
        ),
        ((PASSED,), {"not_swept": ("shed",)}, True, "shed has not been swept yet."),
    ],
)
def test_a_cover_is_marked_fit_only_where_every_point_is(
    report_of, point_of, checks, more, fit, told
):
    report = report_of(point_of("eave", checks=checks), **more)
    assert cover.cover(report, Pictures(), W)["fit"] is fit
    assert re.search(told, cover_of(report))


def test_a_job_without_a_time_zone_says_so_and_has_no_hours_by_the_clock(report_of):
    report = report_of()
    nowhere = replace(report, recipe=replace(report.recipe, timezone=""))
    assert "The job names no time zone; in UTC 9 to 15 h is" in cover_of(nowhere)
    assert "by the clock" not in str(installer.installer(nowhere, W)).lower()


def test_failed_rules_are_told_on_the_cover_and_in_numbers_at_the_end(report_of, point_of):
    point = point_of("yard", 30.0)
    verdict = Verdict("solar access", 0.9, 0.7, 0.65, 0.75)
    planes = tuple(replace(p, verdicts=(verdict,)) for p in point.access.planes)
    judged = report_of(replace(point, access=replace(point.access, planes=planes)))
    texts = pages_of(judged)
    german = " ".join(pages_of(judged, language="de"))
    assert "nicht bestanden" in german
    assert not re.search(r"\b(fail|pass|too close)\b", german)
    told = "Solar access of the year, at least 90 %: not met (yard: roof, east wall)."
    assert told in texts[0]
    assert re.search(r"yard roof solar access of the year 90 % 70\.0 % 65\.0–75\.0 fail", texts[-1])


def test_a_point_s_page_tells_months_and_what_blocks_with_azimuth_distance_and_hours(
    report_of, point_of
):
    point = point_of("yard", 30.0)
    page = pages_of(report_of(point))[1]
    solar = point.access.planes[0].solar_access
    assert "roof " + " ".join(f"{v * 100:.1f}" for v in solar.value) in page
    assert f"95 % interval {solar.low[0] * 100:.0f}–{solar.high[0] * 100:.0f}" in page
    assert re.search(r"=barn 150–200 12 no [\d.]+ [\d.]+ .*Dec.*: \d+:\d\d to 1\d:\d\d", page)
    assert "lime 200–220 not known no" in page


def test_sectors_of_one_name_are_told_as_one(report_of, point_of):
    point = point_of("yard", 30.0)
    plane = point.access.planes[0]
    barn = next(o for o in plane.by_obstruction if o.name == "=barn")
    other = replace(barn, from_azimuth_deg=20.0, to_azimuth_deg=30.0)
    twice = replace(plane, by_obstruction=(barn, other))
    access = replace(point.access, planes=(twice,))
    table = pages.blocks(report_of(), replace(point, access=access), W)
    ((name, span, *_, year, _),) = table["rows"]
    assert (name, span) == ("=barn", "150–200, 20–30")
    assert float(year) == pytest.approx(200 * barn.loss_fraction[12], abs=0.051)


def test_the_installer_finds_heights_positions_and_hours(report_of, point_of):
    point = point_of("yard", 30.0)
    page = next(t for t in pages_of(report_of(point)) if "For the installer" in t)
    assert "roof 35.0 180.0 175.3" in page  # by a compass 4.7° of declination less
    assert "yard – – – – 1.60 1.60 all" in page
    cells = installer.shaded_hours(point.access.planes[0].window)
    assert cells[5] == "–"
    assert f"December 08:57–14:57 {cells[11]}" in page
    assert "9–15 h by the clock" in page
    assert "Martínez-Moreno" in page


def test_the_note_of_the_job_stands_on_every_page_and_beside_the_line_to_sign(report_of):
    texts = pages_of(report_of(people={"note": "an example, not valid"}))
    assert all("an example, not valid" in text[:80] for text in texts)
    assert "an example, not valid place and date name and signature" in texts[-1]


def test_the_total_solar_resource_fraction_is_the_product_of_what_stands_beside_it(
    report_of, point_of
):
    report = report_of(point_of("eave"), point_of("yard", 30.0))
    table = verifier.verifier(report, W)["resource"]
    assert len(table["rows"]) == sum(len(p.access.planes) for p in report.points)
    for *_, access, factor, product, interval in table["rows"]:
        access, factor, product = (float(x.split()[0]) for x in (access, factor, product))
        assert product == pytest.approx(access * factor / 100, abs=0.15)  # 0.05 of each of three
        low, high = map(float, interval.split("–"))
        assert low <= product <= high


def test_the_verifier_finds_method_hashes_horizon_and_how_to_repeat(report_of, surveyed):
    result = replace(surveyed[0], checks=(PASSED,))
    command = "horizon-logger report alders --letter"
    end = " ".join(pages_of(report_of(result, command=command))[3:])
    for words in (
        "comes from a bearing calibration", "Every interval in this report", "pvlib 0.", command,
        "None failed or came within a tenth of its limit.",
    ):  # fmt: skip
        assert words in end
    assert result.sweeps[0].recording.sha256 in end.replace(" ", "")
    elevation = result.horizon.profile.elevation_at(np.arange(90.0, 180.0, 5.0))
    assert "90° " + " ".join(f"{e:.1f}" for e in elevation[:6]) in end


CAUTIONS = {
    "en": ("Never look at the sun", "roof edges", "skylight", "overhead lines", "codes"),
    "de": ("Nie in die Sonne sehen", "Dachkanten", "Lichtkuppel", "Freileitungen", "Vorschriften"),
}


@pytest.mark.parametrize("language", CAUTIONS)
def test_cautions_and_local_codes_are_in_every_report(report_of, language):
    text = " ".join(pages_of(report_of(), language=language))
    assert all(word in text for word in CAUTIONS[language])


def test_a_german_document_is_german(report_of, surveyed, job_folder):
    result = replace(surveyed[0], checks=(PASSED, FAILED))
    german = beside_of(read_job(job_folder), surveyed[0], "de")
    texts = pages_of(report_of(result, beside={"yard": german}), language="de")
    assert "Die Vermessung ist so nicht verwendbar." in texts[0]
    assert "Deutsche Fassung: von keinem muttersprachlichen Vermesser gelesen" in texts[0]
    assert re.search(r"\d,\d", texts[1])
    assert not re.search(r"\b(the|solar access|with|horizon in|planes?)\b", " ".join(texts[:3]))


def test_a_person_s_text_prints_as_itself_wherever_it_stands(report_of, point_of):
    point = point_of(re.sub(r'[<>:"/\\|?*]', "", NASTY[2]))  # no file name holds those
    planes = tuple(
        replace(p, plane=replace(p.plane, name=text))
        for p, text in zip(point.access.planes, NASTY[:2], strict=True)
    )
    named = replace(point, access=replace(point.access, planes=planes))
    got = "".join(pages_of(report_of(named, people={"client": NASTY[2], "note": NASTY[3]})))
    for text in (point.name, *NASTY):
        assert re.sub(r"\s", "", got).count(re.sub(r"\s", "", text)) >= 1 + (text != NASTY[2])


def test_a_very_long_word_stays_on_the_page_and_letters_beyond_latin_are_not_lost(report_of):
    people = {"client": "x" * 300, "address": "Ελένη Кузнецова Ñandú"}
    page = PdfReader(io.BytesIO(document.write_document(report_of(people=people)).pdf)).pages[0]
    right_edges = []

    def visit(text, _cm, tm, _font, size):
        if set(text.strip()) == {"x"}:
            right_edges.append(tm[4] + 0.6 * size * len(text.strip()))

    text = page.extract_text(visitor_text=visit)
    assert re.sub("[\\s\N{ZERO WIDTH SPACE}]", "", text).count("x" * 300) == 1
    assert right_edges
    assert max(right_edges) < page.mediabox.width
    assert people["address"] in plain(text)


def test_a_letter_that_no_font_shows_costs_the_tags_and_not_the_document(report_of):
    made = document.write_document(report_of(people={"client": "roof \U000f0123"}))
    assert "no font of this computer" in made.remark
    assert len(PdfReader(io.BytesIO(made.pdf)).pages) == 4


def test_an_incomplete_survey_still_makes_a_document(report_of, point_of):
    point = point_of("nowhere", checks=(FAILED,))
    nothing = HorizonProfile(np.arange(0.0, 360.0, 5.0), np.full(72, np.nan))
    unseen = replace(point, horizon=replace(point.horizon, profile=nothing))
    assert "Not fit for use" in pages_of(report_of(unseen))[0]


# Photos


def photo(path, gps=None):
    exif = Image.Exif()
    exif[0x0112] = 6  # turned a quarter
    exif[0x8825] = {1: "N", 2: (46.0, 3.0, 0.0), **(gps or {})}
    exif[0x8769] = {0x9003: "2026:05:14 08:20:11"}
    Image.new("RGB", (3000, 2000), "navy").save(path, exif=exif)
    return path


def test_photos_are_upright_small_and_tell_no_place(tmp_path):
    about, small = photo_at(photo(tmp_path / "02_towards-the_lime trees.jpg"))
    shown = Image.open(io.BytesIO(small))
    assert shown.size == (667, 1000)
    assert not shown.getexif()
    assert (about.caption, str(about.taken)) == ("towards the lime trees", "2026-05-14")
    assert about.direction_deg is None


def test_a_photo_has_caption_direction_and_date(report_of, job_folder, tmp_path):
    report = report_of()
    (tmp_path / "photos" / "yard").mkdir(parents=True)
    photo(tmp_path / "photos" / "yard" / "south.jpg", {16: "M", 17: 142.4})
    page = pages.point_page(
        replace(report, job=replace(report.job, folder=tmp_path)), report.points[0], Pictures(), W
    )
    told = "south, looking to 142° by the camera's compass, 14 May 2026"
    assert [photo["caption"] for photo in page["photos"]] == [told]


def test_a_photo_that_is_none_is_refused_by_name(tmp_path):
    (tmp_path / "sky.jpg").write_bytes(b"no picture")
    with pytest.raises(InputError, match=r"sky\.jpg: is no picture"):
        photo_at(tmp_path / "sky.jpg")
