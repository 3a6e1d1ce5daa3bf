"""The document's words: every message in every language, with the same fields."""

from __future__ import annotations

import datetime as dt
import sys
from pathlib import Path
from string import Formatter

import pytest
from babel.messages.pofile import read_po

from logger.access import FAIL, PASS
from logger.errors import UsageError
from logger.report import cover
from logger.report.language import LOCALES, REMARKS, Words

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tools"))

import make_catalogue  # noqa: E402 - a tool, outside the packages

OTHERS = [language for language in LOCALES if language != "en"]


def catalogue(language: str):
    with open(ROOT / "logger" / "report" / "words" / f"{language}.po", "rb") as file:
        return {m.id: m.string for m in read_po(file, locale=language) if m.id}


def fields(message: str) -> list[str]:
    return sorted(name for _, name, _, _ in Formatter().parse(message) if name)


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("language", OTHERS)
def test_every_message_of_the_code_is_translated(language):
    wanted = {message.id for message in make_catalogue.messages() if message.id}
    assert len(wanted) > 100
    known = catalogue(language)
    missing = sorted(map(str, wanted - set(known)))
    assert not missing, "run tools/make_catalogue.py and translate"
    for message, said in known.items():
        assert all([said] if isinstance(said, str) else said), message


@pytest.mark.parametrize("language", OTHERS)
def test_a_translation_has_the_fields_of_its_message(language):
    for message, said in catalogue(language).items():
        if isinstance(message, str):
            assert fields(said) == fields(message), message
        else:
            for one, other in zip(message, said, strict=True):
                assert set(fields(other)) - {"n"} == set(fields(one)) - {"n"}, message


def test_numbers_and_dates_follow_the_language():
    english, german = Words("en"), Words("de")
    day = dt.date(2026, 5, 14)
    assert (english.number(-1234.56, 1), german.number(-1234.56, 1)) == ("−1234.6", "−1234,6")
    assert (english.date(day), german.date(day)) == ("14 May 2026", "14. Mai 2026")
    assert english.months([0, 1, 2, 8, 10, 11]) == (
        "January to March, September, November and December"
    )
    assert german.months([0, 1, 2]) == "Januar bis März"
    assert english.number(-0.04, 1) == "0.0"
    assert english.number(float("nan")) == "–"


def test_what_german_says_is_what_english_says():
    """Typed by hand: no side, rank or verdict is turned round."""
    w = Words("de")
    sides = [w(side) for side in ("N", "NE", "E", "SE", "S", "SW", "W", "NW")]
    assert sides == ["N", "NO", "O", "SO", "S", "SW", "W", "NW"]
    more = (
        "Solar access at {more} is about {points} percentage points higher than at {less} ({low} "
        "to {high})."
    )
    assert w(more, more="Hof", points=4, less="First", low=2, high=6) == (
        "Der Sonnenzugang bei Hof ist etwa 4 Prozentpunkte höher als bei First (2 bis 6)."
    )
    for english, german in {
        "not fit": "nicht verwendbar",
        "The survey is not fit for use as it stands.": "Die Vermessung ist so nicht verwendbar.",
        "grown": "gewachsen",
        "failed": "nicht bestanden",
        "passed": "bestanden",
        "far": "fern",
        "worst place": "schlechtester Platz",
        "best place": "bester Platz",
        "yes": "ja",
    }.items():
        assert w(english) == german
    met, not_met = (w(cover.VERDICTS[verdict]) for verdict in (PASS, FAIL))
    assert met == "{rule}, mindestens {limit}: erfüllt ({places})."
    assert not_met == "{rule}, mindestens {limit}: nicht erfüllt ({places})."


def test_one_and_many_are_told_apart():
    w = Words("en")
    told = [w.count("{n} check passed.", "{n} checks passed.", n) for n in (1, 3)]
    assert told == ["1 check passed.", "3 checks passed."]


def test_a_language_that_no_surveyor_has_read_says_so_and_one_that_is_not_there_is_refused():
    assert "von keinem muttersprachlichen" in REMARKS["de"] == Words("de").remark
    assert Words("en").remark == ""
    with pytest.raises(UsageError, match="en, de"):
        Words("xx")
