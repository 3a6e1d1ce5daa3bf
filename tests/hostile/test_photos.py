"""Photos of a job from elsewhere: what lies in the point's folder, and nothing else."""

import io
import os
import sys
import warnings

import pytest
from PIL import Image

from logger.errors import InputError, LoggerError
from logger.job import read_job
from logger.report.photos import photo_at, photos_of


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


def picture(kind, size):
    out = io.BytesIO()
    Image.new("1" if kind == "PNG" else "L", size).save(out, kind)
    return out.getvalue()


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (picture("EPS", (4, 4)), "cannot identify"),  # a program, which another one would run
        (picture("PNG", (9000, 9000)), "it has 9000 times 9000 pixels"),  # kilobytes of it
        (b"", "cannot identify"),
    ],
    ids=["a program", "a picture without end", "nothing"],
)
def test_what_is_no_photo_whatever_its_name_is_refused(tmp_path, content, why):
    path = tmp_path / "a.png"
    path.write_bytes(content)
    with pytest.raises(InputError, match=why):
        photo_at(path)


def test_a_large_photo_of_a_camera_is_taken_without_a_word(tmp_path):
    path = tmp_path / "a.jpg"
    path.write_bytes(picture("JPEG", (12_000, 9_000)))  # 108 million pixels, as some phones make
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        _, small = photo_at(path)
    assert Image.open(io.BytesIO(small)).size == (1000, 750)
