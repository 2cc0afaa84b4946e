import builtins

import numpy as np
import pytest

from wellrecords.errors import WellRecordsError
from wellrecords.terrain import TILE_CELLS, LandForm, sample_elevation_ft
from wellrecords.units import FT_PER_M

rasterio = pytest.importorskip("rasterio")
from pyproj import Transformer  # noqa: E402
from rasterio.transform import from_origin  # noqa: E402

CRS = "EPSG:26919"
TO_DEGREES = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
WEST, NORTH, CELL = 400_000.0, 5_030_000.0, 100.0


def write(path, cells, *, unit=None, nodata=None, crs=CRS):
    profile = {
        "driver": "GTiff",
        "width": cells.shape[1],
        "height": cells.shape[0],
        "count": 1,
        "dtype": "float32",
        "crs": crs,
        "transform": from_origin(WEST, NORTH, CELL, CELL),
        "nodata": nodata,
    }
    with rasterio.open(path, "w", **profile) as grid:
        grid.write(cells.astype("float32"), 1)
        if unit:
            grid.units = (unit,)
    return path


def plane(height: int, width: int) -> np.ndarray:
    """Elevation that bilinear interpolation must give back exactly: 100 + 0.02 east - 0.01 south, by metres."""
    row, column = np.mgrid[0:height, 0:width]
    return 100.0 + 0.02 * (column + 0.5) * CELL - 0.01 * (row + 0.5) * CELL


def places(count: int, height: int, width: int):
    rng = np.random.default_rng(0)
    east = rng.uniform(CELL, (width - 1) * CELL, count)
    south = rng.uniform(CELL, (height - 1) * CELL, count)
    longitude, latitude = TO_DEGREES.transform(WEST + east, NORTH - south)
    return longitude, latitude, 100.0 + 0.02 * east - 0.01 * south


@pytest.mark.parametrize(("unit", "feet"), [("ft", 1.0), ("feet", 1.0), ("m", 1 / 0.3048), (None, 1 / 0.3048)])
def test_a_plane_is_given_back_in_feet(tmp_path, unit, feet):
    path = write(tmp_path / "ground.tif", plane(60, 80), unit=unit)
    longitude, latitude, expected = places(300, 60, 80)
    assert sample_elevation_ft(path, longitude, latitude) == pytest.approx(expected * feet, rel=1e-5)


def test_the_unit_may_be_said_where_the_file_does_not(tmp_path):
    path = write(tmp_path / "ground.tif", plane(20, 20))
    longitude, latitude, expected = places(5, 20, 20)
    assert sample_elevation_ft(path, longitude, latitude, unit="ft") == pytest.approx(expected, rel=1e-5)


def test_a_grid_of_several_windows_gives_the_same(tmp_path):
    width = TILE_CELLS * 2 + 50
    path = write(tmp_path / "wide.tif", plane(30, width), unit="ft")
    longitude, latitude, expected = places(500, 30, width)
    assert sample_elevation_ft(path, longitude, latitude) == pytest.approx(expected, rel=1e-5)


def test_outside_the_grid_and_in_empty_cells_nothing_is_said(tmp_path):
    cells = plane(20, 20)
    cells[5, 5] = -9999.0
    path = write(tmp_path / "ground.tif", cells, unit="ft", nodata=-9999.0)
    inside_empty = TO_DEGREES.transform(WEST + 5.4 * CELL, NORTH - 5.4 * CELL)
    clear = TO_DEGREES.transform(WEST + 9.4 * CELL, NORTH - 9.4 * CELL)
    outside = TO_DEGREES.transform(WEST - 500.0, NORTH - 500.0)
    longitude, latitude = np.array([inside_empty, clear, outside, (np.nan, 45.0)]).T
    said = np.isfinite(sample_elevation_ft(path, longitude, latitude))
    assert said.tolist() == [False, True, False, False]


def test_the_rim_belongs_to_the_grid(tmp_path):
    path = write(tmp_path / "ground.tif", np.full((3, 3), 7.0), unit="ft")
    longitude, latitude = TO_DEGREES.transform(WEST + 0.1 * CELL, NORTH - 2.95 * CELL)
    assert sample_elevation_ft(path, longitude, latitude) == pytest.approx([7.0])


def test_what_cannot_be_used_is_said_clearly(tmp_path):
    with pytest.raises(WellRecordsError, match="cannot be read"):
        sample_elevation_ft(tmp_path / "absent.tif", np.array([-70.0]), np.array([45.0]))
    fathoms = write(tmp_path / "fathoms.tif", plane(5, 5), unit="fathoms")
    with pytest.raises(WellRecordsError, match="fathoms"):
        sample_elevation_ft(fathoms, np.array([-70.0]), np.array([45.0]))
    lost = write(tmp_path / "lost.tif", plane(5, 5), crs=None)
    with pytest.raises(WellRecordsError, match="no coordinate system"):
        sample_elevation_ft(lost, np.array([-70.0]), np.array([45.0]))


def test_without_the_extra_the_next_step_is_said(monkeypatch, tmp_path):
    real = builtins.__import__

    def no_rasterio(name, *args, **kwargs):
        if name.split(".")[0] == "rasterio":
            raise ImportError(name)
        return real(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", no_rasterio)
    with pytest.raises(WellRecordsError, match=r"pip install 'wellrecords\[raster\]'"):
        sample_elevation_ft(tmp_path / "ground.tif", np.array([-70.0]), np.array([45.0]))


def test_the_form_of_a_plane_is_its_slope(tmp_path):
    path = write(tmp_path / "plane.tif", plane(120, 150))
    form = LandForm.read(path, CRS, (WEST + 3_000, NORTH - 9_000, WEST + 12_000, NORTH - 3_000))
    places = np.array([[WEST + 5_000.0, NORTH - 5_000.0], [WEST + 9_900.0, NORTH - 3_050.0]])
    found = form.at(places)
    metres = 100.0 + 0.02 * (places[:, 0] - WEST) - 0.01 * (NORTH - places[:, 1])
    np.testing.assert_allclose(found["land_elevation_ft"], metres * FT_PER_M, rtol=1e-6)
    np.testing.assert_allclose(found["slope_percent"], 100 * np.hypot(0.02, 0.01), rtol=1e-6)
    # the lowest ground in reach is the corner to the south-west, which lies 0.02 * 1,000 + 0.01 * 1,000 m lower
    np.testing.assert_allclose(found["above_valley_ft"], 30.0 * FT_PER_M, rtol=0.02)


def test_ground_beyond_the_grid_takes_the_nearest_cell_and_another_country_is_refused(tmp_path):
    cells = plane(40, 40)
    cells[10:20, 10:20] = -9999.0
    path = write(tmp_path / "small.tif", cells, unit="ft", nodata=-9999.0)
    form = LandForm.read(path, CRS, (WEST - 2_000, NORTH - 6_000, WEST + 6_000, NORTH + 2_000))
    beyond = form.at(np.array([[WEST - 1_500.0, NORTH - 2_000.0], [WEST + 1_500.0, NORTH - 1_500.0]]))
    assert np.isfinite(beyond.to_numpy()).all()
    assert cells.min() < 0 < beyond["land_elevation_ft"].min()
    with pytest.raises(WellRecordsError, match="holds no ground of the region"):
        LandForm.read(path, CRS, (WEST + 90_000, NORTH - 9_000, WEST + 95_000, NORTH - 3_000))
