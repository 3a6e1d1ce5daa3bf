from pathlib import Path

import pytest

from logger.job import Job, JobPlane, create_job
from logger.site import Site


@pytest.fixture
def job(tmp_path: Path) -> Job:
    return create_job(
        tmp_path / "hillside",
        Site(46.05, 14.51, 310.0),
        name="Hillside barn",
        timezone="Europe/Ljubljana",
        planes=(JobPlane("roof", 35.0, 170.0),),
        people={"surveyor": "A. Example"},
    )
