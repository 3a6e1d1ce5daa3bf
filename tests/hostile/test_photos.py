"""Photos of a job from elsewhere: what lies in the point's folder, and nothing else."""

import os
import sys

import pytest

from logger.errors import LoggerError
from logger.job import read_job
from logger.report.photos import photos_of


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pipes in folders")
def test_a_photo_lies_in_its_folder_and_is_a_file(tmp_path):
    """Jobs come from other people: a link may not bring their reader's own pictures in."""
    (tmp_path / "job.toml").write_text("[site]\nlatitude_deg = 46\nlongitude_deg = 14.5\n")
    job = read_job(tmp_path)
    folder = tmp_path / "photos" / "yard"
    folder.mkdir(parents=True)
    (tmp_path / "private.jpg").write_bytes(b"x")
    (folder / "a.jpg").write_bytes(b"x")
    (folder / "again.jpg").symlink_to("a.jpg")
    (folder / "out.jpg").symlink_to("../../private.jpg")
    (folder / "nowhere.jpg").symlink_to("gone.jpg")
    (folder / "folder.jpg").mkdir()
    os.mkfifo(folder / "pipe.jpg")
    assert [p.name for p in photos_of(job, "yard")] == ["a.jpg", "again.jpg"]
    for name in ("..", "../yard", "/etc", "yard/../../x"):
        with pytest.raises(LoggerError):
            photos_of(job, name)
