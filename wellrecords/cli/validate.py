"""The verb that proves the maps: their scores on ground left out, beside those of simpler methods."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wellrecords.cli.common import SettingsFile, load
from wellrecords.output import check_file, write_whole
from wellrecords.terminal import progress, short, show_table

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

QUANTITIES = {
    "depth_to_bedrock_ft": "log",
    "depth_to_water_ft": "identity",
    "yield_gpm": "log",
    "total_depth_ft": "log",
}
DISTRICT_M = 10_000.0
LEAST_READINGS = 100
"""Exact readings below which a quantity, or a district, has no row: its scores would be luck."""


def validate(
    settings_file: SettingsFile,
    save: Annotated[Path | None, typer.Option("--save", metavar="FILE", help="Write all columns as CSV.")] = None,
) -> None:
    """Score the maps on ground left out, beside simpler ways.

    Five times a fifth of the ground, in cells of 300 m, is left out and
    predicted from the rest: by the maps, by the 15 nearest wells, by inverse
    distance, and by a quantile forest where the package quantile-forest is
    there. Districts are squares of 10 km, named by their south-west corner in
    the region's plane. CRPS and width stand on the log scale for all but the
    depth to water, which is in feet; lower is better.
    """
    from wellrecords.store import read_wells

    settings = load(settings_file)
    if save is not None:
        check_file(save)
    wells = read_wells(settings.region.store)
    table = validation_table(wells, settings.region.crs)
    if table.empty:
        typer.echo(f"No quantity has {LEAST_READINGS} exact readings in the dataset: too few to prove anything.")
        return
    rows = [
        {
            "quantity": one["quantity"],
            "district": one["district"],
            "method": one["method"],
            "wells": f"{one['wells']:,}",
            "CRPS": f"{one['crps']:.3f}",
            "skill": f"{one['skill']:.2f}",
            "80 % covers": f"{one['covers_80']:.0%}",
            "width": f"{one['width_80']:.2f}",
            "bias": f"{one['bias_of_median']:+.2f}",
        }
        for one in table.to_dict("records")
    ]
    show_table(rows, right=("wells", "CRPS", "skill", "80 % covers", "width", "bias"))
    if save is not None:
        write_whole(save, table.to_csv(index=False, lineterminator="\n").encode("utf-8-sig"))
        typer.echo(f"Written: {short(save)}")


def validation_table(wells: gpd.GeoDataFrame, crs: str) -> pd.DataFrame:
    """Score each quantity on ground left out, over the region and by district.

    Parameters
    ----------
    wells : GeoDataFrame
        The canonical table.
    crs : str
        Projected metres.

    Returns
    -------
    DataFrame
        The columns of `wellrecords.interpolation.validate` behind `quantity`;
        empty where no quantity has enough exact readings.
    """
    import numpy as np
    import pandas as pd

    from wellrecords.interpolation import IntervalKriging
    from wellrecords.interpolation import validate as score

    rivals = ["nearest 15 wells", "inverse distance"]
    if find_spec("quantile_forest") is not None:
        rivals.append("quantile forest")
    plane = wells.geometry.to_crs(crs)
    places = np.column_stack([plane.x, plane.y])
    corner = np.floor(places / DISTRICT_M) * DISTRICT_M
    district = np.array([f"{east:.0f} E {north:.0f} N" for east, north in corner])
    tables = []
    with progress() as tell:
        for number, (quantity, transform) in enumerate(QUANTITIES.items()):
            tell(f"Validating {quantity}", number, len(QUANTITIES))
            if quantity == "total_depth_ft":
                low = high = wells[quantity].to_numpy(dtype=float)
            else:
                low, high = (wells[f"{quantity}_{end}"].to_numpy(dtype=float) for end in ("low", "high"))
            read = ~np.isnan(low) & ~np.isnan(high)
            if np.sum(read & (low == high)) < LEAST_READINGS:
                continue
            table = score(
                IntervalKriging(transform=transform),  # type: ignore[arg-type]
                places[read],
                low[read],
                high[read],
                wells["position_error_m"].to_numpy(dtype=float)[read],
                district=district[read],
                rivals=rivals,
                least_wells=LEAST_READINGS,
            )
            table.insert(0, "quantity", quantity)
            tables.append(table)
    return pd.concat(tables, ignore_index=True) if tables else pd.DataFrame()
