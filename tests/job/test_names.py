import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.errors import UsageError
from logger.job import folder_name, stamp


@pytest.mark.parametrize("name", ["north eave", "Südgiebel", "屋根 1", "point-2_b", "3.5 m mast"])
def test_an_everyday_name_stays_as_it_is(name: str) -> None:
    assert folder_name(name) == name


@pytest.mark.parametrize(
    ("name", "reason"),
    [
        ("", "empty"),
        ("   ", "empty"),
        ("../roof", "holds one of"),
        ("a/b", "holds one of"),
        ("a\\b", "holds one of"),
        ("C:", "holds one of"),
        ("tab\there", "control character"),
        (".hidden", "dot"),
        ("roof.", "dot"),
        ("con", "reserved"),
        ("LPT1.old", "reserved"),
        ("x" * 81, "longer than 80"),
        ("left\u202eright", "cannot be printed"),
    ],
)
def test_a_name_that_is_no_safe_folder_is_refused_with_the_reason(name: str, reason: str) -> None:
    with pytest.raises(UsageError, match=rf"^the point name .*{reason}"):
        folder_name(name)
    assert folder_name("x" * 80) == "x" * 80


def test_the_two_spellings_of_an_accent_are_one_name() -> None:
    assert folder_name("Gu\u0308nter") == folder_name("G\u00fcnter")


@given(st.text(max_size=90))
def test_what_is_taken_never_leaves_its_folder(name: str) -> None:
    try:
        tidy = folder_name(name)
    except UsageError:
        return
    assert not set(tidy) & set("/\\")
    assert tidy not in (".", "..")
    assert folder_name(tidy) == tidy


def test_a_moment_is_stamped_in_utc_whatever_its_zone() -> None:
    summer = dt.timezone(dt.timedelta(hours=2))
    assert stamp(dt.datetime(2026, 5, 14, 10, 12, 31, tzinfo=summer)) == "20260514T081231Z"
