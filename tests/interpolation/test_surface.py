import json

import numpy as np
import pytest

from wellrecords.interpolation import IntervalKriging, surface

BOUNDS = (500_000.0, 500_000.0, 526_000.0, 523_000.0)


@pytest.fixture(scope="module")
def model(field):
    return IntervalKriging(n_trees=10).fit(*field)


@pytest.fixture(scope="module")
def drawn(model):
    return surface(model, BOUNDS, 250.0)


def test_cells_equal_single_predictions(model, drawn):
    """Cells that share their neighbours differ from those asked one by one by little beside the spread."""
    assert drawn.median.shape == (92, 104)
    row, column = np.nonzero(drawn.support == 2)
    points = np.column_stack([drawn.easting[column], drawn.northing[row]])
    quantiles = np.log(model.predict(points).quantile([0.1, 0.5, 0.9]))
    spread = quantiles[:, 2] - quantiles[:, 0]
    difference = np.abs(np.log(drawn.median[row, column]) - quantiles[:, 1]) / spread
    assert difference.mean() < 0.01
    assert np.quantile(difference, 0.99) < 0.1


def test_cells_without_support_are_empty(drawn):
    """No well stands beyond 520,000, so that the far corner says nothing."""
    assert drawn.support[-1, -1] == 0
    assert np.isnan(drawn.median[drawn.support == 0]).all()
    assert np.isfinite(drawn.median[drawn.support > 0]).all()
    assert (drawn.p10 <= drawn.median)[drawn.support > 0].all()


def test_the_caller_may_rate_the_support(model):
    def west_only(points):
        return np.where(points[:, 0] < 510_000, "good", "none")

    found = surface(model, BOUNDS, 1_000.0, support=west_only)
    assert np.isnan(found.median[:, 10:]).all()
    assert np.isfinite(found.median[:, :10]).all()


def test_compact_is_json_with_empty_cells_as_null(drawn):
    compact = drawn.compact()
    again = json.loads(json.dumps(compact, allow_nan=False))
    assert again["rows"] * again["columns"] == len(again["median"]) == len(again["support"])
    assert again["median"][-1] is None
    assert again["median"][0] == pytest.approx(drawn.median[0, 0], rel=0.01)


def test_geotiff_lies_north_up_with_its_place(drawn, tmp_path):
    rasterio = pytest.importorskip("rasterio")
    path = drawn.write_geotiff(tmp_path / "rock.tif", "EPSG:26910")
    with rasterio.open(path) as raster:
        assert raster.descriptions == ("p10", "median", "p90", "support")
        assert raster.bounds[:2] == BOUNDS[:2]
        value = next(raster.sample([(drawn.easting[5], drawn.northing[7])]))
    np.testing.assert_allclose(value[1], drawn.median[7, 5])


def test_bad_bounds_are_refused(model):
    with pytest.raises(ValueError, match="bounds_m"):
        surface(model, (1.0, 0.0, 0.0, 1.0), 10.0)
