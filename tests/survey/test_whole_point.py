"""The folder of a point: what its recordings bear is told as for a recording alone."""

import shlex


def test_an_interrupted_recording_of_a_point_is_told(copy_job, call, tmp_path):
    job = copy_job(tmp_path / "alders")
    (path,) = (job / "sweeps" / "meadow").glob("*.sweep")
    content = path.read_bytes()
    path.write_bytes(content[: content.rindex(b"e ")])
    done = call("replay", job, "meadow", "--set", "draws=0")
    assert f"{path}: not sealed: the recording was interrupted" in done.stderr
    assert done.exit_code == 0


def test_the_way_on_from_a_broken_seal_works_as_it_is_told(copy_job, call, tmp_path):
    job = copy_job(tmp_path / "three alders")
    (path,) = (job / "sweeps" / "meadow").glob("*.sweep")
    path.write_bytes(path.read_bytes().replace(b'"observer"', b'"Observer"', 1))
    done = call("replay", job, "meadow", "--set", "draws=0")
    assert done.exit_code == 3
    told = done.stderr.partition("alone: horizon-logger ")[2].strip()
    again = call(*shlex.split(told), "--set", "draws=0")
    assert again.exit_code == 4
    assert "broken seal accepted" in again.stderr
