"""The verb that proves the maps: their scores on ground left out, beside those of simpler methods."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from wellrecords.cli.common import SettingsFile, load
from wellrecords.output import check_file, write_whole
from wellrecords.terminal import progress, short, show_table


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
    from wellrecords.region_maps import LEAST_IN_DISTRICT, LEAST_SCORED, validation_table
    from wellrecords.store import read_wells

    settings = load(settings_file)
    if save is not None:
        check_file(save)
    wells = read_wells(settings.region.store)
    with progress() as tell:
        table = validation_table(wells, settings.region.crs, tell, settings.region.terrain)
    if table.empty:
        typer.echo(f"No quantity has {LEAST_SCORED} exact readings in the dataset: too few to prove anything.")
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
    few = int(table["wells"].min())
    if few < LEAST_IN_DISTRICT:
        spread = 100.0 * (0.8 * 0.2 / few) ** 0.5
        typer.echo(
            f"Scores of fewer than {LEAST_IN_DISTRICT} wells are rough: of {few}, luck alone moves "
            f"an 80 % interval's cover by some {spread:.0f} points either way."
        )
    if save is not None:
        write_whole(save, table.to_csv(index=False, lineterminator="\n").encode("utf-8-sig"))
        typer.echo(f"Written: {short(save)}")
