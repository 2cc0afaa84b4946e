"""Quantities of the well itself, one row a draw.

A hole that ends in rock is cased through the overburden into the rock and
left open below. A hole that ends in overburden is cased to the top of a
screen, with a filter pack around it. The casing's annulus is grouted. Pumps
and tanks are the business of the water system.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from wellrecords.construction.formulas import annulus_ft3_per_ft, bleach_gal, cylinder_ft3_per_ft, screen_length_ft
from wellrecords.construction.settings import ConstructionSettings
from wellrecords.units import GAL_PER_FT3


def design_wells(
    drilled_ft: ArrayLike,
    depth_to_bedrock_ft: ArrayLike,
    depth_to_water_ft: ArrayLike,
    yield_gpm: ArrayLike,
    settings: ConstructionSettings,
    *,
    usable: ArrayLike = True,
) -> pd.DataFrame:
    """Take off what each draw of the well is built of.

    Parameters
    ----------
    drilled_ft, depth_to_bedrock_ft : array-like of shape (n,)
    depth_to_water_ft : array-like of shape (n,)
        Static level below ground; negative where the well flows.
    yield_gpm : array-like of shape (n,)
        Of the finished well; it sets the screen.
    settings : ConstructionSettings
    usable : array-like of bool, default=True
        False for a dry hole: it gets no test, screen, disinfection or cap,
        and is filled with grout from the bottom up.

    Returns
    -------
    DataFrame, n rows
        `drilled_ft` = `overburden_ft` + `rock_socket_ft` (oversize hole in
        rock for the casing) + `rock_ft`; `casing_ft` (with the stick-up),
        `casing_foot_ft` (depth of its lower end), `drive_shoe`, `grout_ft3`,
        `grout_batches` (whole), `screen_ft`, `filter_pack_ft3`,
        `development_h`, `yield_test_h`, `well_water_gal` (standing water),
        `bleach_gal`, `well_cap`, `flow_control` (1 where the well flows),
        `sealing_ft3`, `sealing_batches` (of a dry hole), `screened` (1 or 0).

    Notes
    -----
    The casing of a dry hole is set before the hole is known to be dry, so it
    is counted; the hole is sealed below and inside it.
    """
    depth, rock, water, flow, keep = np.broadcast_arrays(
        np.asarray(drilled_ft, dtype=float),
        np.asarray(depth_to_bedrock_ft, dtype=float),
        np.asarray(depth_to_water_ft, dtype=float),
        np.asarray(yield_gpm, dtype=float),
        np.asarray(usable, dtype=bool),
    )
    in_overburden = depth < rock
    screened = in_overburden & keep
    screen = np.clip(
        screen_length_ft(flow, settings.screen_open_area_ft2_per_ft, settings.entrance_velocity_ft_s),
        settings.minimum_screen_ft,
        settings.maximum_screen_ft,
    )
    screen = np.where(screened, np.minimum(screen, depth), 0.0)
    casing_foot = np.where(
        in_overburden,
        depth - screen,
        np.minimum(np.maximum(rock + settings.casing_into_rock_ft, settings.minimum_casing_ft), depth),
    )
    overburden = np.minimum(depth, rock)
    socket = np.maximum(casing_foot - rock, 0.0)

    pack = np.where(screened, np.minimum(settings.pack_above_screen_ft, casing_foot), 0.0)
    per_ft = annulus_ft3_per_ft(settings.casing_hole_diameter_in, settings.casing_od_in)
    grouted_ft = casing_foot - pack
    if settings.grouted_ft is not None:
        grouted_ft = np.minimum(grouted_ft, settings.grouted_ft)
    grout = grouted_ft * per_ft * (1.0 + settings.grout_loss)

    bore = cylinder_ft3_per_ft(settings.hole_diameter_in)
    cased = cylinder_ft3_per_ft(settings.casing_id_in)
    level = np.clip(water, 0.0, depth)
    open_water_ft = depth - np.maximum(level, casing_foot)
    cased_water_ft = np.maximum(casing_foot - level, 0.0)
    standing = (open_water_ft * np.where(screened, cased, bore) + cased_water_ft * cased) * GAL_PER_FT3
    sealing = np.where(keep, 0.0, (depth - casing_foot) * bore + casing_foot * cased) * (1.0 + settings.grout_loss)

    batch = settings.grout.batch_ft3
    kept = keep.astype(float)
    return pd.DataFrame(
        {
            "drilled_ft": depth,
            "overburden_ft": overburden,
            "rock_socket_ft": socket,
            "rock_ft": depth - overburden - socket,
            "casing_ft": casing_foot + settings.stick_up_ft,
            "casing_foot_ft": casing_foot,
            "drive_shoe": np.where(in_overburden, 0.0, float(settings.drive_shoe)),
            "grout_ft3": grout,
            "grout_batches": _whole(grout / batch),
            "screen_ft": screen,
            "filter_pack_ft3": (screen + pack) * per_ft,
            "development_h": kept * np.where(screened, settings.screened_development_h, settings.development_h),
            "yield_test_h": kept * settings.yield_test_h,
            "well_water_gal": standing,
            "bleach_gal": kept * bleach_gal(standing, settings.disinfection_mg_l, settings.bleach_percent),
            "well_cap": kept,
            "flow_control": kept * (water < 0),
            "sealing_ft3": sealing,
            "sealing_batches": _whole(sealing / batch),
            "screened": screened.astype(float),
        }
    )


def _whole(batches: np.ndarray) -> np.ndarray:
    """Round up to whole batches; a rounding error above a whole number is not a batch more."""
    return np.ceil(np.round(batches, 9))
