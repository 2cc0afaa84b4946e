"""How exact and how fast the siting is. Run ``python tests/benchmarks/bench_siting.py``.

The first table holds the allowed ground of a square lot, 300 ft a side with
property lines at 10 ft, against areas worked by hand; the second times lots
of growing size with a house, a drain field and a road.
"""

import math
import sys
import time
from pathlib import Path

from shapely import LineString, Point, box

sys.path.insert(0, str(Path(__file__).parents[1] / "siting"))
from site_fixtures import make_lot, make_plan, make_settings

from wellrecords.siting import site_lot

HAND = {
    "point in the corner": (Point(10, 10), math.pi * 100**2 / 4),
    "point in the middle": (Point(150, 150), math.pi * 100**2),
    "line of 80 ft": (LineString([(110, 150), (190, 150)]), 80 * 200 + math.pi * 100**2),
    "field of 40 by 60 ft": (box(130, 120, 170, 180), 40 * 60 + 200 * 100 + math.pi * 100**2),
}

if __name__ == "__main__":
    print(f"{'drain field at 100 ft':<24}{'by hand, ft2':>14}{'computed, ft2':>15}{'off by':>10}")
    for name, (shape, taken) in HAND.items():
        rules = make_settings(property_line=10, drain_field=100)
        ground = site_lot(make_lot(box(0, 0, 300, 300)), make_plan(("drain_field", shape)), rules).ground_area_ft2
        hand = 280**2 - taken
        print(f"{name:<24}{hand:>14,.1f}{ground:>15,.1f}{ground / hand - 1:>10.4%}")
    print(f"\n{'lot':<24}{'acres':>14}{'seconds':>15}")
    rules = make_settings(property_line=10, drain_field=100, house=10, road=25).model_copy(update={"grid_ft": 5.0})
    for side in (300, 1320, 5280):
        plan = make_plan(
            ("drain_field", box(60, 60, 110, 110)),
            ("house", box(150, 150, 190, 180)),
            ("road", LineString([(-50, -20), (side + 50, -20)])),
        )
        start = time.perf_counter()
        site_lot(make_lot(box(0, 0, side, side)), plan, rules)
        print(f"{f'{side:,} ft square':<24}{side**2 / 43560:>14,.1f}{time.perf_counter() - start:>15.2f}")
