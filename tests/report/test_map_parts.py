"""What the maps show at first, and how their names keep apart."""

from __future__ import annotations

import numpy as np
import pandas as pd
from report_fakes import Outline
from shapely.geometry import Point

from wellrecords.report import write_lot_report
from wellrecords.report.map_data import box_about, lot_group, rings_frame, rings_group
from wellrecords.report.owner_view import FEW_SQUARES, squares_layer

LON, LAT = -71.5, 44.2
DEG_PER_KM = 1.0 / 111.195


def test_the_frame_holds_the_ring_that_reaches_as_far_as_the_wells():
    far_south = (LON, LAT - 16 * DEG_PER_KM, LON, LAT - 10 * DEG_PER_KM)
    west, south, east, north = rings_frame(LON, LAT, [far_south])
    assert north > LAT + 5 * DEG_PER_KM, "the ring about a lot at the edge is cut off"
    assert south < LAT - 5 * DEG_PER_KM
    assert east - west > north - south, "degrees of longitude are shorter"
    # Wells within half a kilometre: a ring of 5 km would shrink them to a dot.
    near = rings_frame(LON, LAT, [box_about(LON, LAT, 500.0)])
    assert DEG_PER_KM < near[3] - LAT < 2 * DEG_PER_KM
    assert rings_frame(LON, LAT, []) == near


def test_a_ring_s_distance_stands_below_it_and_the_lot_s_name_above():
    rings, lot = rings_group(LON, LAT), lot_group(Point(LON, LAT))
    assert all(label["below"] and label["lat"] < LAT for label in rings["labels"])
    assert not any(label.get("below") for label in lot["labels"])


def squares(count: int, side: int) -> tuple:
    """Return the layer of `side` by `side` squares of 5 km, each with `count` wells."""
    size = 5000.0 / 111_195.0
    at = [(column + 0.5, row + 0.5) for column in range(side) for row in range(side)]
    base_row, base_column = np.floor(LAT / size), np.floor(LON / (size / np.cos(np.radians(44))))
    wells = pd.DataFrame(
        [
            ((base_column + x) * size / np.cos(np.radians(44)), (base_row + y) * size)
            for x, y in at
            for _ in range(count)
        ],
        columns=["longitude", "latitude"],
    )
    # Spread within its square, so that no smaller square holds enough wells.
    spread = np.linspace(-0.4, 0.4, count) * size
    wells["latitude"] += np.tile(spread, len(at))
    wells["longitude"] += np.tile(spread[::-1], len(at))
    return squares_layer(wells, LON, LAT, 5)


def test_few_squares_bear_their_numbers_and_need_no_legend():
    ((_, group),), boxes = squares(9, 2)
    assert len(boxes) == 4
    assert "legend" not in group
    assert [label["text"] for label in group["labels"]] == ["9 wells"] * 4
    assert len({shape["fill"] for shape in group["shapes"]}) == 1
    assert group["key"][2] == "wells in a square of 3.1 mi a side"


def test_many_squares_are_coloured_and_explained():
    ((_, group),), boxes = squares(9, 4)
    assert len(boxes) > FEW_SQUARES
    assert "labels" not in group
    assert group["legend"]["classes"]


def test_a_well_without_a_number_is_called_by_its_row_for_the_contractor_alone(tmp_path, estimate, bid, wells, lot):
    first, second, third = estimate.neighbours["record_id"].iloc[:3]
    rows = {"record_id": [first, second], "source": "firm_log", "sheet": [None, "2018"], "file_row": [41, 52]}
    given = {"estimate": estimate, "bid": bid, "wells": wells, "lot": lot, "region": "Hills"}
    given["file_rows"] = pd.DataFrame(rows)
    html = write_lot_report(tmp_path / "firm.html", **given).read_text("utf-8")
    text = Outline(html).text
    assert "row 41" in text
    assert "2018, row 52" in text
    assert first not in text[text.index("The wells that the estimate leaned on") :]
    assert third in text, "a well that is not among them keeps its number"
    assert '"Well row 41"' in html, "the map calls it alike"
    assert "row 41" not in write_lot_report(tmp_path / "o.html", audience="owner", **given).read_text("utf-8")
