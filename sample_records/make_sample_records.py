"""Make the sample records of Wendlemere County, which does not exist.

Run ``python sample_records/make_sample_records.py``: it writes the same files
each time, beside itself (or into a folder given as argument). See README.md
beside it for what they are.
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import numpy as np
import pandas as pd

HERE = Path(__file__).resolve().parent
if str(HERE) not in sys.path:
    sys.path.insert(0, str(HERE))

from sample_maker import completion_reports, country, firm_log, lots, well_inventory, wells  # noqa: E402
from sample_maker.country import sample_region  # noqa: E402
from sample_maker.rows import truth_rows  # noqa: E402
from shapely import box  # noqa: E402

from wellrecords.simulation import depth_to_target_ft  # noqa: E402

__all__ = ["make_sample_records", "sample_region"]

TARGETS_GPM = (1.0, 3.0, 5.0, 10.0)


def _true_wells(true: pd.DataFrame) -> pd.DataFrame:
    """Return the table of true wells, rounded to what matters."""
    table = pd.DataFrame(
        {
            "easting_m": true["easting_m"].round(1),
            "northing_m": true["northing_m"].round(1),
            "drilled_on": true["on"].astype(str),
            "use": true["use"],
            "county": true["county"],
            "replaces": true["replaces"],
            "rock_unit": true["rock_unit"],
            "elevation_ft": true["elevation_ft"].round(1),
            "depth_to_bedrock_ft": true["depth_to_bedrock_ft"].round(2),
            "depth_to_water_ft": true["depth_to_water_ft"].round(2),
            "total_depth_ft": true["total_depth_ft"].round(1),
            "reached_bedrock": true["reached_bedrock"],
            "gravel_well": true["gravel_well"],
            "yield_gpm": true["yield_gpm"].round(3),
            "target_gpm": true["target_gpm"].where(true["target_gpm"] < 1e6),
            "limit_ft": true["limit_ft"],
        },
        index=true.index,
    )
    for target in TARGETS_GPM:
        depth = depth_to_target_ft(true, target)
        table[f"depth_to_{target:g}gpm_ft"] = np.where(np.isinf(depth), np.nan, depth.round(1))
    return table


def make_sample_records(folder: Path) -> None:
    """Write every file of the sample region into `folder`.

    Parameters
    ----------
    folder : pathlib.Path
        Made if it is not there.
    """
    (folder / "truth").mkdir(parents=True, exist_ok=True)
    region, roads = sample_region(), country.make_roads()
    surface, *corner = country.terrain_grid(region)
    drainage = country.drain(surface)
    ponds = country.make_ponds(drainage, *corner)
    true = wells.drill_county(region, roads, [outline for _, outline in ponds])
    events = wells.tell_histories(true)

    records: list[list[str]] = []
    faults: list[list[str]] = []

    def note(file: str, sheet: str, placed: list) -> None:
        of_rows, planted = truth_rows(file, sheet, placed)
        records.extend(of_rows)
        faults.extend(planted)

    for sheet, placed in firm_log.write_log(folder, firm_log.make_log(events)).items():
        note(firm_log.FILE, sheet, placed)
    note(
        completion_reports.FILE, "", completion_reports.write_reports(folder, *completion_reports.make_reports(events))
    )
    note(well_inventory.FILE, "", well_inventory.write_inventory(folder, well_inventory.make_inventory(events)))

    _write_table(
        folder / "truth" / "records.csv",
        ["file", "sheet", "file_row", "source_record_id", "well_id", "work", "role"],
        records,
    )
    _write_table(
        folder / "truth" / "faults.csv", ["file", "sheet", "file_row", "column", "kind", "meant", "written"], faults
    )
    _true_wells(true).to_csv(folder / "truth" / "wells.csv", lineterminator="\n")
    streams = country.make_streams(drainage, *corner)
    country.write_terrain(folder / "terrain.tif", surface, *corner)
    county = box(country.WEST, country.SOUTH, country.WEST + country.SIDE, country.SOUTH + country.SIDE)
    for name, shapes in {
        "outline": [("Wendlemere County (invented)", county)],
        "roads": [(road, line.simplify(15.0)) for road, line in roads.items()],
        "streams": streams,
        "ponds": ponds,
    }.items():
        features = [country.feature(each, {"name": label}) for label, each in shapes]
        country.write_geojson(folder / f"{name}.geojson", features)
    country.write_geojson(folder / "sections.geojson", country.section_features())
    country.write_geojson(folder / "lots.geojson", lots.lot_features(region, true))


def _write_table(path: Path, columns: list[str], rows: list[list[str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as stream:
        out = csv.writer(stream, lineterminator="\n")
        out.writerow(columns)
        out.writerows(rows)


if __name__ == "__main__":
    make_sample_records(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
