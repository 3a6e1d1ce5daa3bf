"""A process beside this one gives the very answers that this one would."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from logger.errors import InputError
from logger.horizon_csv import read_horizon_csv
from logger.processors import processors
from logger.report.exports import json_text
from logger.survey.demo import shipped_survey
from logger.survey.helper import Helper, first_helper
from logger.survey.report import surveyed_points
from logger.survey.sun_side import Task


@pytest.fixture(scope="module")
def helper() -> Iterator[Helper]:
    with Helper() as started:
        yield started


@pytest.fixture(scope="module")
def one_point(tmp_path_factory) -> Path:
    source, folder = shipped_survey(), tmp_path_factory.mktemp("jobs") / "one"
    text = (source / "job.toml").read_text(encoding="utf-8").partition("[[points]]")[0]
    shutil.copytree(source / "sweeps" / "yard", folder / "sweeps" / "yard")
    shutil.copytree(source / "calibrations", folder / "calibrations")
    (folder / "job.toml").write_text(text, encoding="utf-8")
    return folder


def test_a_question_is_answered_by_another_process(helper):
    assert helper.ask(os.getpid) != os.getpid()
    assert helper.ask(divmod, 17, 5) == (3, 2)


def test_an_error_says_the_same_from_there(helper, tmp_path):
    missing = tmp_path / "none.csv"
    with pytest.raises(InputError) as here:
        read_horizon_csv(missing)
    with pytest.raises(InputError) as there:
        helper.ask(read_horizon_csv, missing)
    assert (there.value.what, there.value.where, there.value.hint) == (
        here.value.what,
        here.value.where,
        here.value.hint,
    )
    assert helper.ask(divmod, 17, 5) == (3, 2)  # it goes on


def test_without_the_other_process_this_one_does_it():
    with Helper() as helper:
        helper._process.kill()
        helper._process.wait()
        assert helper.ask(os.getpid) == os.getpid()


def test_a_helper_is_gone_when_its_context_is_left():
    with first_helper() as helper:
        assert (helper is None) == (processors() == 1)
        if helper is None:
            return
        process = helper._process
        assert process.poll() is None
    assert process.poll() is not None


def test_one_point_has_the_same_answer_with_a_helper_and_without(one_point):
    (alone,), _ = surveyed_points(Task(one_point), processes=1)
    (helped,), _ = surveyed_points(Task(one_point), processes=2)
    assert json_text(helped.document) == json_text(alone.document)
    assert helped.report.pictures == alone.report.pictures
    assert helped.what_ifs == alone.what_ifs
    assert helped.checks == alone.checks


def test_a_weather_file_that_cannot_be_read_is_told_with_a_helper(one_point, tmp_path):
    with pytest.raises(InputError, match=r"none\.epw"):
        surveyed_points(Task(one_point, weather=tmp_path / "none.epw"), processes=2)
