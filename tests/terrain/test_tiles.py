"""Tiles as they come: joined, void, zipped, as GeoTIFF; and what is wrong with others."""

from __future__ import annotations

import io
import json
import shutil
import zipfile

import numpy as np
import pytest
from invented_valley import SITE, far_of

from logger.errors import InputError
from logger.site import Site
from logger.terrain import read_heights

rasterio = pytest.importorskip("rasterio")

POSTS = 1201


def hgt(value):
    return np.full((POSTS, POSTS), value, dtype=">i2").tobytes()


def geotiff(heights, step=1 / 1200, turn=0.0, crs="EPSG:4326", **more):
    """A GeoTIFF of N46E014 whose pixels have their middles on its posts."""
    transform = rasterio.Affine(step, turn, 14 - step / 2, turn, -step, 47 + step / 2)
    options = {"driver": "GTiff", "count": 1, "crs": crs, "transform": transform} | more
    rows, columns = heights.shape
    with rasterio.MemoryFile() as memory:
        with memory.open(width=columns, height=rows, dtype=heights.dtype, **options) as file:
            for band in range(1, options["count"] + 1):
                file.write(heights, band)
        return bytes(memory.read())


def zipped(*contents):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for k, content in enumerate(contents):
            archive.writestr(f"N46E01{4 + k}.hgt", content)
    return out.getvalue()


LEVEL = np.full((POSTS, POSTS), 300, dtype="int16")
BROKEN = {
    "cut short": ("N46E014.hgt", hgt(300)[:-1000], "cut short"),
    "of another size": ("N46E014.hgt", bytes(2 * 900 * 900), "1 arc second"),
    "empty": ("N46E014.hgt", b"", "holds 0 bytes"),
    "without a name": ("hills.hgt", hgt(300), "name"),
    "of no degree": ("N91E014.hgt", hgt(300), "no such degree"),
    "in the wrong order of bytes": ("N46E014.hgt", LEVEL.astype("<i2").tobytes(), "none of this"),
    "void only": ("N46E014.hgt", hgt(-32768), "void"),
    "elsewhere": ("N10E100.hgt", hgt(300), "N46E014"),
    "beside the site": ("N47E014.hgt", hgt(300), "N46E014"),
    "no zip": ("N46E014.hgt.zip", b"PK\x03\x04 no more", "damaged"),
    "two in one zip": ("N46E014.hgt.zip", zipped(hgt(300), hgt(300)), "not one"),
    "a zip cut short": ("N46E014.hgt.zip", zipped(hgt(300))[:-40], "damaged"),
    "no GeoTIFF": ("hills.tif", b"II*\x00 no more", "GeoTIFF"),
    "text": ("hills.tif", b"46.05 14.51 310\n" * 99, "GeoTIFF"),
    "a GeoTIFF cut short": ("hills.tif", geotiff(LEVEL)[:90_000], "GeoTIFF"),
    "projected": ("hills.tif", geotiff(LEVEL, step=30.0, crs="EPSG:32633"), "projected"),
    "without coordinates": ("hills.tif", geotiff(LEVEL, crs=None), "coordinates"),
    "rotated": ("hills.tif", geotiff(LEVEL, turn=1e-5), "rotated"),
    "of three bands": ("hills.tif", geotiff(LEVEL, count=3), "3 bands"),
    "a void GeoTIFF": ("hills.tif", geotiff(LEVEL, nodata=300), "void"),
    "in centimetres": ("hills.tif", geotiff(LEVEL.astype("int32") * 100), "none of this"),
    "nothing": ("readme.md", b"tiles go here", "no elevation tile"),
}


@pytest.mark.parametrize("what", BROKEN)
def test_a_tile_that_cannot_be_used_is_named_in_one_sentence_and_nothing_stored(
    what, run, calm_job, copy, tmp_path
):
    name, content, said = BROKEN[what]
    job, tiles = copy(calm_job), tmp_path / "tiles"
    tiles.mkdir()
    (tiles / name).write_bytes(content)
    before = sorted(p.relative_to(job) for p in job.rglob("*"))
    done = run("terrain", job, "--tiles", tiles)
    assert done.code == 3, done.out + done.err
    assert done.out == ""
    (sentence,) = [line for line in done.err.splitlines() if line.startswith("error: ")]
    assert said in done.err
    assert str(tiles) in sentence
    assert sorted(p.relative_to(job) for p in job.rglob("*")) == before


def test_a_folder_that_is_none(run, calm_job, copy, tmp_path):
    done = run("terrain", copy(calm_job), "--tiles", tmp_path / "nowhere")
    assert done.code == 3
    assert "cannot be read" in done.err


def test_one_damaged_tile_among_good_ones_stops_all(run, hills, calm_job, copy, tmp_path):
    job, tiles = copy(calm_job), tmp_path / "tiles"
    shutil.copytree(hills, tiles)
    (tiles / "N46E015.hgt").write_bytes(b"short")
    done = run("terrain", job, "--tiles", tiles)
    assert done.code == 3
    assert "N46E015.hgt" in done.err
    assert not (job / "terrain").exists()


def read(folder, site=SITE):
    return read_heights(folder, site, 151_000.0)


def test_zip_and_geotiff_hold_the_same_heights_as_hgt(hills, tmp_path):
    plain = far_of(hills)
    for ending, made in (
        (".hgt.zip", zipped),
        (".tif", lambda content: geotiff(np.frombuffer(content, ">i2").reshape(POSTS, POSTS)
                                         .astype("float32"))),
    ):  # fmt: skip
        other = tmp_path / ending[1:]
        other.mkdir()
        shutil.copy(hills / "N45E014.hgt", other)
        (other / f"N46E014{ending}").write_bytes(made((hills / "N46E014.hgt").read_bytes()))
        # Where both meet, posts with decimals stand on a lattice of their own: 0.1 m.
        assert far_of(other).elevation_deg == pytest.approx(plain.elevation_deg, abs=0.01)


def test_of_a_geotiff_that_reaches_far_beyond_no_more_is_kept_than_can_be_seen(tmp_path):
    row, column = np.mgrid[:2401, :2401]  # 20 by 20 degrees around the site, 30 arc seconds
    ground = (100 + row + column / 4).astype("float32")
    transform = rasterio.Affine(1 / 120, 0, 4 - 1 / 240, 0, -1 / 120, 56 + 1 / 240)
    (tmp_path / "wide.tif").write_bytes(geotiff(ground, transform=transform))
    heights = read(tmp_path)
    assert heights.at(46.0, 14.0) == pytest.approx(100 + 1200 + 1200 / 4, abs=0.1)
    assert heights.at(46.5, 14.9) == pytest.approx(100 + 1140 + 1308 / 4, abs=0.1)
    (grid,) = heights.grids
    assert grid.value.size < ground.size / 25


def test_finer_and_coarser_tiles_are_read_together(tmp_path):
    (tmp_path / "N46E014.hgt").write_bytes(hgt(300))
    (tmp_path / "N46E015.hgt").write_bytes(np.full((3601, 3601), 700, ">i2").tobytes())
    heights = read(tmp_path)
    assert [round(grid.step_lat_deg * 3600) for grid in heights.grids] == [1, 3]
    assert heights.at(46.5, 14.9) == pytest.approx(300)
    assert heights.at(46.5, 15.3) == pytest.approx(700)
    assert np.isnan(heights.at(46.5, 16.3))
    assert heights.highest_m == 700


def test_heights_lie_on_straight_lines_between_posts(tmp_path):
    row, column = np.mgrid[:POSTS, :POSTS]
    plane = (row % 1000 + 2 * (column % 500)).astype(">i2")
    (tmp_path / "N46E014.hgt").write_bytes(plane.tobytes())
    heights = read(tmp_path)
    assert heights.at(47 - 100 / 1200, 14 + 30 / 1200) == pytest.approx(160, abs=1e-6)
    assert heights.at(47 - 100.25 / 1200, 14 + 30.5 / 1200) == pytest.approx(161.25, abs=1e-6)


def test_a_void_post_spoils_its_neighbours_alone(tmp_path):
    value = np.full((POSTS, POSTS), 300, ">i2")
    value[100, 30] = -32768
    (tmp_path / "N46E014.hgt").write_bytes(value.tobytes())
    heights = read(tmp_path)
    assert np.isnan(heights.at(47 - 100.5 / 1200, 14 + 30.5 / 1200))
    assert heights.at(47 - 102 / 1200, 14 + 30.5 / 1200) == pytest.approx(300)


def test_what_one_tile_lacks_another_tells(tmp_path):
    value = np.full((POSTS, POSTS), 300, ">i2")
    value[:600] = -32768
    (tmp_path / "N46E014.hgt").write_bytes(value.tobytes())
    filling = np.full((POSTS, POSTS), 444, dtype="int16")
    (tmp_path / "filling.tif").write_bytes(geotiff(filling))
    heights = read(tmp_path)
    assert heights.at(46.9, 14.5) == pytest.approx(444)
    assert heights.at(46.1, 14.5) == pytest.approx(444)  # where two tell, the higher


@pytest.mark.parametrize(
    ("name", "site"),
    [
        ("S34W072", Site(-33.5, -71.5)),
        ("N00E000", Site(0.5, 0.5)),
        ("S01W001", Site(-0.5, -0.5)),
        ("N60W180", Site(60.5, -179.5)),
        ("N60E179", Site(60.5, 179.5)),
    ],
)
def test_a_name_tells_the_degree_in_every_quarter_of_the_earth(tmp_path, name, site):
    (tmp_path / f"{name}.hgt").write_bytes(hgt(123))
    assert read(tmp_path, site).at(site.latitude_deg, site.longitude_deg) == pytest.approx(123)


def test_tiles_join_across_the_date_line(tmp_path):
    for name, value in (("N60E179", 100), ("N60W180", 200)):
        (tmp_path / f"{name}.hgt").write_bytes(hgt(value))
    heights = read(tmp_path, Site(60.5, 179.9))
    assert heights.at(60.5, 179.9) == pytest.approx(100)
    assert heights.at(60.5, -179.9) == pytest.approx(200)


def test_near_a_pole_nothing_is_read(tmp_path):
    (tmp_path / "N88E000.hgt").write_bytes(hgt(100))
    with pytest.raises(InputError, match="pole"):
        read(tmp_path, Site(88.5, 0.5))


def test_tiles_licence_and_hashes_stand_in_the_job(run, hills, calm_job, copy, tmp_path):
    import hashlib

    job, tiles = copy(calm_job), tmp_path / "tiles"
    shutil.copytree(hills, tiles)
    (tiles / "LICENCE.txt").write_text("Made by us,\nfree for all.\n", encoding="utf-8")
    done = run("terrain", job, "--tiles", tiles)
    assert done.code == 0, done.err
    assert "Made by us, free for all." in done.out
    stored = json.loads((job / "terrain" / "yard.json").read_text(encoding="utf-8"))
    assert stored["licence"] == "Made by us, free for all."
    named = {one["name"]: one["sha256"] for one in stored["tiles"]}
    assert named == {p.name: hashlib.sha256(p.read_bytes()).hexdigest()
                     for p in tiles.glob("*.hgt")}  # fmt: skip
