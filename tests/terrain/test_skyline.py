"""The computed skyline against closed forms, a navigation table, and a search in fine steps."""

from __future__ import annotations

import numpy as np
import pytest
from invented_valley import EYE_M, SITE, far_of, write_tiles

from logger.site import Site
from logger.terrain import far_horizon, read_heights

EARTH_M = 6_371_000.0
BENT = 0.87
"""What refraction leaves of the Earth's curvature: 1 - 0.13."""
POSTS = 1201
DEGREE_M = 111_150.0
"""Of a degree of latitude at 46 to 47° on the ellipsoid of WGS 84; 111 195 on a sphere. [m]"""
STEP_M = DEGREE_M / 1200
"""Of 3 arc seconds along a meridian. [m]"""


def tile(folder, heights, name="N46E014.hgt"):
    folder.mkdir(exist_ok=True)
    (folder / name).write_bytes(np.rint(heights).astype(">i2").tobytes())
    return folder


def seen_from(folder, site, eye_m):
    return far_horizon(read_heights(folder, site, 151_000), site.latitude_deg,
                       site.longitude_deg, eye_m, 5.0)  # fmt: skip


def by_hand(height_m, distance_m, eye_m):
    """Surveying textbooks: the Earth falls away by d² / 2R, less what the ray bends. [deg]"""
    drop = BENT * distance_m**2 / (2 * EARTH_M)
    return np.degrees(np.arctan((height_m - eye_m - drop) / distance_m))


def place(row, column):
    return Site(47 - row / 1200, 14 + column / 1200)


@pytest.mark.parametrize("posts", [8, 60, 300, 800])
def test_the_top_of_a_cone_stands_where_trigonometry_puts_it(tmp_path, posts):
    row, column = np.mgrid[:POSTS, :POSTS]
    away = np.hypot(row - (1000 - posts), 0.7 * (column - 600))
    tile(tmp_path / "cone", np.maximum(1500 - 200 * away, 200))
    far = seen_from(tmp_path / "cone", place(1000, 600), 202.0)
    distance = posts * STEP_M
    assert far.distance_m[0] == pytest.approx(distance, rel=0.005)
    assert far.elevation_deg[0] == pytest.approx(by_hand(1500, distance, 202.0), abs=0.01)


def test_a_wall_one_post_thick_is_missed_from_no_side(tmp_path):
    heights = np.full((POSTS, POSTS), 100.0)
    heights[700] = 600.0
    tile(tmp_path / "wall", heights)
    far = seen_from(tmp_path / "wall", place(1000, 600), 102.0)
    azimuth = far.azimuth_deg
    front = (azimuth <= 50) | (azimuth >= 310)
    distance = 300 * STEP_M / np.cos(np.radians(azimuth[front]))
    expected = by_hand(600.0, distance, 102.0)
    assert np.abs(far.elevation_deg[front] - expected).max() < 0.02
    assert np.abs(far.distance_m[front] / distance - 1).max() < 0.005


def test_heights_computed_by_hand(tmp_path):
    # Along one meridian: 350 m at 3 km, 700 m at 10 km, 900 m at 30 km, seen from 300 m.
    # 0.87 d² / 2R: 0.6, 6.8 and 61.5 m; so atan of 49.4/3000, 393.2/10000 and 538.5/30000.
    expected = {3.0: (350, 0.943), 10.0: (700, 2.252), 30.0: (900, 1.028)}
    heights = np.full((POSTS, POSTS), 250.0)
    for left, (distance_km, (height, elevation)) in enumerate(expected.items()):
        alone = heights.copy()
        alone[1000 - round(distance_km * 1000 / STEP_M)] = height
        tile(tmp_path / str(left), alone)
        far = seen_from(tmp_path / str(left), place(1000, 600), 300.0)
        assert far.elevation_deg[0] == pytest.approx(elevation, abs=0.02), distance_km


@pytest.mark.parametrize(("eye_m", "dip_min"), [(10, 5.6), (40, 11.1), (100, 17.6)])
def test_the_sea_horizon_dips_as_nautical_almanacs_have_it(tmp_path, eye_m, dip_min):
    # Dip in minutes = 1.76 times the root of the eye's height in metres (from memory); a ray over
    # the sea bends a little more than over land, so the table's dip is 2 % smaller than ours.
    tile(tmp_path / "sea", np.zeros((POSTS, POSTS)))
    far = seen_from(tmp_path / "sea", place(600, 600), float(eye_m))
    ours = np.degrees(np.sqrt(2 * eye_m * BENT / EARTH_M))
    assert -far.elevation_deg == pytest.approx(ours, rel=0.003)
    assert -far.elevation_deg == pytest.approx(dip_min / 60, rel=0.03)
    assert far.distance_m == pytest.approx(np.sqrt(2 * eye_m * EARTH_M / BENT), rel=0.05)


def geodesic_places(site, azimuth_deg, distances):
    """By GeographicLib (Karney 2013)."""
    geographiclib = pytest.importorskip("geographiclib.geodesic")
    line = geographiclib.Geodesic.WGS84.Line(site.latitude_deg, site.longitude_deg, azimuth_deg)
    found = [line.Position(d) for d in distances]
    return np.array([(p["lat2"], p["lon2"]) for p in found])


@pytest.mark.parametrize("latitude", [-45.0, 0.0, 46.05, 70.0])
def test_rays_go_where_geodesics_go(latitude):
    from logger.terrain.skyline import _Fan, _radius_m

    azimuth = np.array([0.0, 33.0, 90.0, 200.0, 300.0])
    distances = np.array([500.0, 20_000.0, 150_000.0])
    fan = _Fan(latitude, 179.5, azimuth[:, None], _radius_m(latitude, azimuth)[:, None], 0.0)
    lat, lon = fan.places(distances)
    for k, a in enumerate(azimuth):
        right = geodesic_places(Site(latitude, 179.5), a, distances)
        north = 111_195 * (lat[k] - right[:, 0])
        east = 111_195 * np.cos(np.radians(latitude)) * (
            (lon[k] - right[:, 1] + 180) % 360 - 180)  # fmt: skip
        assert np.hypot(north, east).max() < 2.0


def test_a_real_grid_agrees_with_a_search_in_fine_steps(tmp_path):
    """matplotlib's sample data hold a grid of 344 by 403 heights at 3 arc seconds."""
    cbook = pytest.importorskip("matplotlib.cbook")
    rasterio = pytest.importorskip("rasterio")
    from scipy.interpolate import RegularGridInterpolator

    data = cbook.get_sample_data("jacksboro_fault_dem.npz")
    heights, step = data["elevation"], float(data["dx"])
    # Its "ymin" is the northern edge.
    west, north = float(data["xmin"]), float(data["ymin"])
    with rasterio.open(
        tmp_path / "fault.tif", "w", driver="GTiff", width=403, height=344, count=1,
        dtype="int16", crs="EPSG:4269", transform=rasterio.Affine(step, 0, west, 0, -step, north),
    ) as file:  # fmt: skip
        file.write(heights, 1)
    site = Site(36.55, -84.25)
    far = seen_from(tmp_path, site, 420.0)
    rows, columns = (np.arange(n) * step + step / 2 for n in heights.shape)
    exact = RegularGridInterpolator((rows, columns), heights, bounds_error=False)
    distances = np.arange(500.0, 25_000.0, 4.0)
    for azimuth in range(0, 360, 20):
        at = geodesic_places(site, azimuth, distances)
        height = exact(np.column_stack([north - at[:, 0], at[:, 1] - west]))
        best = np.nanmax(by_hand(height, distances, 420.0))
        assert far.elevation_deg[4 * azimuth] == pytest.approx(best, abs=0.01)


def test_the_hills_that_the_demo_writes_show_the_line_that_its_roof_was_swept_against(tmp_path):
    from logger.simulation.scenes import SWALLOW_HOUSE
    from logger.simulation.terrain import crest_around

    line = SWALLOW_HOUSE.ridge().shape
    far = far_of(write_tiles(tmp_path, crest_around(SITE, line, EYE_M - SITE.altitude_m)))
    assert far.elevation_deg == pytest.approx(line(far.azimuth_deg), abs=0.02)
    assert (far.distance_m.min(), far.distance_m.max()) == pytest.approx((6500, 9500), abs=300)
    assert far.whole.all()


def test_the_error_is_that_of_the_heights_at_that_distance(hills):
    far = far_of(hills)
    # 9.7 m each of ridge and eye; beyond 30 km the air's bending counts as well.
    expected = np.degrees(9.7 * np.sqrt(2) / far.distance_m)
    assert (far.standard_error_deg >= expected).all()
    assert far.standard_error_deg == pytest.approx(expected, rel=0.2)


def test_a_gap_counts_where_higher_ground_could_stand_in_it(tmp_path):
    heights = np.full((POSTS, POSTS), 100.0)
    heights[950] = 3000.0  # 4.6 km to the north: nothing behind it could be seen
    heights[:900] = -32768
    tile(tmp_path / "void", heights)
    far = seen_from(tmp_path / "void", place(1000, 600), 102.0)
    assert far.whole[0]
    assert far.elevation_deg[0] > 30
    west = far.azimuth_deg == 270
    assert not far.whole[west]
    # The tile ends half a degree to the west.
    assert far.gap_m[west] == pytest.approx(600 * STEP_M * np.cos(np.radians(46.17)), rel=0.03)


def test_two_tiles_join_without_a_seam(tmp_path, hills):
    """A ray along the meridian at which two tiles meet has its heights from both."""
    far = far_of(hills)
    south = (far.azimuth_deg > 170) & (far.azimuth_deg < 190)
    assert np.isfinite(far.elevation_deg).all()
    assert (far.distance_m[south] > 5_000).any()  # in the southern tile, 5.6 km away
    assert far.gap_m[south].min() > 100_000 or far.whole[south].all()
