from dataclasses import replace

import numpy as np
import pytest

from logger.live.steady import Steadier
from logger.live.tremor import tremor_deg
from logger.orientation import sight_lines
from logger.orientation.sight_lines import SightLines
from logger.recording import StreamBuilder
from logger.recording.samples import Samples
from logger.settings import Settings
from logger.simulation import Operator

from .conftest import CORRECTIONS, Chunks, board_chunks

EACH_ROW_ALONE = Settings(use_gyro=False)


def lying(seconds: float, rate_deg_s: tuple[float, float, float]) -> Samples:
    """A board at rest whose gyro says something else."""
    n = int(seconds * 50)
    columns = Samples.blank(n)
    columns["t_s"] = columns["received_s"] = np.arange(n) / 50
    columns["force_g"][:] = (0.0, 0.0, -1.0)
    columns["field_ut"][:] = (22.0, 0.0, 42.0)
    columns["rate_deg_s"][:] = rate_deg_s
    return Samples(**columns)


def decoded(chunks: Chunks) -> Samples:
    builder = StreamBuilder()
    for t, chunk in chunks:
        builder.feed(t, chunk)
    return builder.samples()


def in_batches(steadier: Steadier, samples: Samples, rows: int = 4) -> list[Samples]:
    return [steadier.take(samples.rows(slice(i, i + rows))) for i in range(0, len(samples), rows)]


def test_a_gyro_that_drifts_does_not_carry_the_level_away() -> None:
    steady = Steadier(np.zeros(3)).take(lying(60.0, (1.0, -1.0, 0.5)))
    down = -steady.force_g / np.linalg.norm(steady.force_g, axis=1)[:, None]
    lean = np.degrees(np.arccos(np.clip(down[:, 2], -1, 1)))
    assert lean.max() < 1.5  # 1.4 deg/s held against a pull of 1/s
    assert lean[-1] < 0.2  # and found out after a while


def test_a_known_bias_is_taken_off_from_the_start() -> None:
    steady = Steadier(np.zeros(3), np.array([1.0, -1.0, 0.5])).take(lying(5.0, (1.0, -1.0, 0.5)))
    assert steady.force_g == pytest.approx(np.tile([0.0, 0.0, -1.0], (250, 1)), abs=1e-9)


def test_how_the_rows_were_batched_changes_nothing() -> None:
    samples = decoded(board_chunks(operator=replace(Operator.calm(), sectors=((0.0, 20.0),))))
    whole = Steadier(np.zeros(3)).take(samples)
    parts = in_batches(Steadier(np.zeros(3)), samples)
    assert np.concatenate([p.force_g for p in parts]) == pytest.approx(whole.force_g, nan_ok=True)


def test_a_brisk_hand_shakes_the_reading_less_than_its_acceleration_would() -> None:
    samples = decoded(
        board_chunks(operator=replace(Operator.brisk(), sectors=((0.0, 60.0),), passes=1))
    )

    def jitter(rows: Samples) -> float:
        elevation = sight_lines(rows, CORRECTIONS, EACH_ROW_ALONE).elevation_deg
        return float(np.nanstd(np.diff(elevation)))

    assert jitter(Steadier(np.zeros(3)).take(samples)) < jitter(samples) / 2


def test_without_a_gyro_the_rows_stay_as_they_are() -> None:
    chunks = board_chunks(operator=replace(Operator.calm(), sectors=((0.0, 20.0),)), streams="AM")
    samples = decoded(chunks)
    assert Steadier(np.zeros(3)).take(samples) is samples


def swept(scene: str, operator: Operator) -> list[float]:
    """Tremor along a sweep, twice a second."""
    samples = decoded(board_chunks(scene=scene, operator=operator))
    sight = sight_lines(Steadier(np.zeros(3)).take(samples), CORRECTIONS, EACH_ROW_ALONE)
    ends = range(150, len(sight), 25)
    return [tremor_deg(sight.rows(slice(max(0, end - 150), end))) for end in ends]


@pytest.mark.parametrize("operator", [Operator.calm(), Operator.brisk()], ids=["calm", "brisk"])
@pytest.mark.parametrize("scene", ["ridge", "street-with-mast"])
def test_a_steady_hand_is_never_told_to_come_down(scene: str, operator: Operator) -> None:
    assert np.nanmax(swept(scene, replace(operator, passes=1, sectors=((60.0, 200.0),)))) < 1.0


def test_a_hand_that_shakes_by_two_degrees_mostly_is() -> None:
    shaky = replace(Operator.calm(), tremor_deg=2.0, sectors=((60.0, 160.0),), passes=1)
    assert np.mean(np.array(swept("street", shaky)) > 1.0) > 0.7


def test_nothing_is_said_of_a_tremor_before_it_can_be_told() -> None:
    one = np.zeros(1)
    sight = SightLines(one, one, one, one, one, np.ones(1, bool), np.array([""]))
    assert np.isnan(tremor_deg(sight))
    assert np.isnan(tremor_deg(sight.rows(slice(0, 0))))
