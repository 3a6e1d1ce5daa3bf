"""What a sweep's header and the job tell of a point's leaves and heights decides its answer."""

from dataclasses import replace

import pytest

from logger.horizon import LeafSeen
from logger.job import point_recordings, read_job
from logger.settings import Settings
from logger.survey.demo import shipped_survey
from logger.survey.points import load_sweep, point_result
from logger.survey.recipe import recipe_of


def yard_with(settings, header=None, **heights):
    """The shipped yard under its own recipe, with another header or other heights."""
    job = read_job(shipped_survey())
    recipe = replace(recipe_of(job), settings=settings)
    (path,) = point_recordings(job, "yard")
    sweep = load_sweep(path)
    header = {**sweep.recording.header, **(header or {})}
    sweep = replace(sweep, recording=replace(sweep.recording, header=header))
    points = tuple(replace(p, **heights) if p.name == "yard" else p for p in job.points)
    return point_result(replace(job, points=points), "yard", recipe, sweeps=(sweep,))


def test_what_the_sweep_saw_of_the_leaves_decides_when_they_come():
    nothing_drawn = Settings(draws=0)
    leafy, bare = (yard_with(nothing_drawn, {"leaf": state}) for state in ("in leaf", "bare"))
    assert leafy.horizon.profile.leaf_seen == (LeafSeen(134, "in leaf"),)
    assert bare.horizon.profile.leaf_seen == (LeafSeen(134, "bare"),)
    assert yard_with(nothing_drawn, {"leaf": "none"}).horizon.profile.leaf_seen == ()
    april = [p.access.planes[0].solar_access.value[3] for p in (leafy, bare)]
    december = [p.access.planes[0].solar_access.value[11] for p in (leafy, bare)]
    assert april[1] > april[0] + 0.001
    assert december[1] == pytest.approx(december[0])


def test_a_module_above_the_sight_never_gets_a_lower_bound_below_the_sight_s():
    few = Settings(draws=200)
    level = yard_with(few)
    roof = yard_with(few, module_height_m=4.6)
    assert roof.horizon.profile.rise_m == pytest.approx(-3.0)
    assert [c.check for c in roof.checks if not c.passed] == ["corrected to module height"]
    for low, above in zip(level.access.planes, roof.access.planes, strict=True):
        assert above.solar_access.low[12] >= low.solar_access.survey_low[12]
        assert above.solar_access.annual > low.solar_access.annual
        assert "height of the module" in [part.cause for part in above.parts]


@pytest.mark.parametrize(
    ("of_the_job", "of_the_recording", "counts"),
    [(3.0, 1.2, 1.2), (3.0, None, 3.0), (None, 1.2, 1.2)],
)
def test_the_sight_height_is_the_recordings_own_else_the_jobs(of_the_job, of_the_recording, counts):
    header = {"sight_height_m": of_the_recording}
    heights = {"sight_height_m": of_the_job, "module_height_m": 6.0}
    result = yard_with(Settings(draws=0), header, **heights)
    assert result.horizon.sweeps[0].sight_height_m == counts
    assert result.horizon.profile.rise_m == pytest.approx(counts - 6.0)
