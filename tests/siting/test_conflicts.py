"""No ground left: which setbacks, against cases worked by hand."""

import math

import pytest
from shapely import LineString, Point, box
from site_fixtures import make_lot, make_plan, make_settings

from wellrecords.siting import describe, site_lot

STRIP = box(0, 0, 100, 100)


def test_one_setback_that_alone_decides():
    """A field along the west edge keeps 120 ft from a lot 100 ft wide; 100 ft less a hair would do."""
    plan = make_plan(("drain_field", box(-20, -300, 0, 400)))
    siting = site_lot(make_lot(STRIP), plan, make_settings(drain_field=120, least_ground_ft2=10))
    assert siting.ground_area_ft2 == 0
    assert siting.candidates.empty
    (conflict,) = siting.conflicts
    assert conflict.features == ("drain field",)
    assert conflict.setback_ft == (120.0,)
    # 10 ft2 along the whole east edge is a strip of 0.1 ft.
    assert conflict.would_do_ft[0] == pytest.approx(99.9, rel=1e-3)
    assert conflict.freed_ft2 == pytest.approx(10_000, rel=1e-3)


def test_two_setbacks_of_which_either_would_do():
    """Property lines keep 40 ft, a line through the middle 15 ft: a square of 20 ft is covered.

    The middle line would have to keep less than 10 ft, or the property lines less than 35 ft.
    """
    plan = make_plan(("sewer_line", LineString([(50, -50), (50, 150)])))
    siting = site_lot(make_lot(STRIP), plan, make_settings(property_line=40, sewer_line=15, least_ground_ft2=0.5))
    by_name = {conflict.features: conflict for conflict in siting.conflicts}
    assert set(by_name) == {("property line",), ("sewer line",)}
    assert by_name[("sewer line",)].would_do_ft[0] == pytest.approx(10, abs=0.06)
    assert by_name[("property line",)].would_do_ft[0] == pytest.approx(35, abs=0.06)
    # Without the property lines the whole lot but the sewer's 30 ft strip is open.
    assert by_name[("property line",)].freed_ft2 == pytest.approx(70 * 100, rel=1e-3)


def test_setbacks_that_must_give_together():
    """Two tanks, each covering the lot alone: only both together free ground."""
    plan = make_plan(("septic_tank", Point(50, 50)), ("fuel_tank", Point(50, 50)), status=["existing", "proposed"])
    siting = site_lot(make_lot(STRIP), plan, make_settings(septic_tank=100, fuel_tank=150))
    (conflict,) = siting.conflicts
    assert set(conflict.features) == {"septic tank", "fuel tank"}
    assert conflict.proposed == ("fuel tank",)
    # Both fall by one share; the corners lie 50 sqrt(2) ft away, and the larger sets the share.
    share = 50 * math.sqrt(2) / 150
    assert conflict.would_do_ft == pytest.approx((100 * share, 150 * share), abs=1.0)
    text = " ".join(describe(siting))
    assert "only the authority may grant that" in text
    assert "moving may do as well: fuel tank" in text


def test_what_is_in_the_way_is_said_shortly():
    """Either of two; two together; what no setback decides; and nothing where ground is left."""
    line = make_plan(("sewer_line", LineString([(50, -50), (50, 150)])))
    either = site_lot(make_lot(STRIP), line, make_settings(property_line=40, sewer_line=15, least_ground_ft2=0.5))
    assert either.in_the_way == "property line or sewer line"
    tanks = make_plan(("septic_tank", Point(50, 50)), ("fuel_tank", Point(50, 50)))
    together = site_lot(make_lot(STRIP), tanks, make_settings(septic_tank=100, fuel_tank=150))
    assert together.in_the_way == "septic tank with fuel tank"
    built = site_lot(make_lot(STRIP), make_plan(("building", box(-1, -1, 101, 101))), make_settings(building=10))
    assert built.in_the_way == "the features themselves, the tolerance or overhead lines"
    free = site_lot(make_lot(STRIP), tanks, make_settings(septic_tank=10, fuel_tank=10))
    assert (free.has_ground, free.in_the_way) == (True, "")


def test_overhead_line_and_own_ground_are_not_for_giving():
    """The mast's clearance covers a 40 ft lot; a building covers another whole."""
    narrow = box(0, 0, 40, 40)
    line = make_plan(("overhead_line", LineString([(20, -50), (20, 90)])))
    siting = site_lot(make_lot(narrow), line, make_settings(overhead_line=50))
    assert siting.ground_area_ft2 == 0
    assert siting.conflicts == ()
    assert any("lowering setbacks would free none" in note for note in siting.notes)
    built = site_lot(make_lot(narrow), make_plan(("building", box(-1, -1, 41, 41))), make_settings(building=10))
    assert built.conflicts == ()


def test_names_are_numbered_and_each_feature_stands_alone():
    """Two fields of which only one covers the lot: that one is named."""
    plan = make_plan(("drain_field", Point(50, 50)), ("drain_field", Point(-95, 50)), name=["trench", "trench"])
    siting = site_lot(make_lot(STRIP), plan, make_settings(drain_field=100))
    assert siting.features["feature"].tolist() == ["property line", "trench 1", "trench 2"]
    assert siting.conflicts[0].features == ("trench 1",)
    assert siting.conflicts[0].would_do_ft[0] == pytest.approx(50 * math.sqrt(2), abs=1.0)
