"""A small invented lot: wells on a hillside, its estimate and its bid."""

from __future__ import annotations

import os
import shutil

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from report_fakes import LATITUDE, LONGITUDE, FakeEstimate
from shapely.geometry import LineString, Polygon

from wellrecords.bid import Bid, BidSettings
from wellrecords.schema import as_wells


@pytest.fixture(scope="session")
def wells() -> gpd.GeoDataFrame:
    rng = np.random.default_rng(5)
    count = 240
    east, north = rng.normal(0, 2600, count), rng.normal(0, 2200, count)
    rock = np.clip(30 + 8 * rng.normal(size=count) + east / 200, 0, None).round()
    depth = (rock + rng.gamma(3.0, 70.0, count) + 40).round()
    flow = np.round(rng.lognormal(1.3, 1.0, count), 1)
    level = (20 + 10 * rng.normal(size=count)).round()
    table = pd.DataFrame(
        {
            "record_id": [f"w{number:04d}" for number in range(count)],
            "source": np.where(np.arange(count) % 3 == 0, "firm_log", "state_extract"),
            "source_record_id": [f"{number}" for number in range(count)],
            "record_kind": "new",
            "well_use": "domestic",
            "drilled_on": pd.Timestamp("1995-06-01") + pd.to_timedelta(rng.integers(0, 9000, count), unit="D"),
            "longitude": LONGITUDE + east / 79_700,
            "latitude": LATITUDE + north / 111_195,
            "position_method": "gps",
            "position_error_m": 5.0,
            "total_depth_ft": depth,
            "drilling_method": "air_rotary",
            "depth_to_bedrock_ft_low": rock,
            "depth_to_bedrock_ft_high": np.where(np.arange(count) % 9 == 0, np.inf, rock),
            "depth_to_water_ft_low": np.where(level < 0, -np.inf, level),
            "depth_to_water_ft_high": np.where(level < 0, 0.0, level),
            "yield_gpm_low": np.where(flow < 0.5, 0.0, flow),
            "yield_gpm_high": np.where(flow < 0.5, 0.5, flow),
            "yield_method": "air_lift",
            "private": np.arange(count) % 3 == 0,
        }
    )
    return as_wells(table)


@pytest.fixture(scope="session")
def lot() -> Polygon:
    corners = ((-0.002, -0.001), (0.0015, -0.0013), (0.002, 0.001), (-0.001, 0.0012))
    return Polygon([(LONGITUDE + east, LATITUDE + north) for east, north in corners])


@pytest.fixture(scope="session")
def context_layers() -> dict[str, gpd.GeoDataFrame]:
    def line(*steps: tuple[float, float]) -> LineString:
        return LineString([(LONGITUDE + east, LATITUDE + north) for east, north in steps])

    road = line((-0.06, -0.02), (0.0, -0.003), (0.06, 0.01))
    stream = line((-0.05, 0.04), (-0.01, 0.01), (0.02, -0.05))
    return {
        "roads": gpd.GeoDataFrame({"name": ["Mill Road"]}, geometry=[road], crs="EPSG:4326"),
        "streams": gpd.GeoDataFrame({"name": ["Cold Brook"]}, geometry=[stream], crs="EPSG:4326"),
    }


@pytest.fixture(scope="session")
def estimate(wells: gpd.GeoDataFrame) -> FakeEstimate:
    rng = np.random.default_rng(8)
    draws_count = 1000
    east = (wells["longitude"] - LONGITUDE) * 79_700
    north = (wells["latitude"] - LATITUDE) * 111_195
    away = np.hypot(east, north).to_numpy()
    order = np.argsort(away)[:24]
    neighbours = wells.drop(columns="geometry").iloc[order].assign(distance_m=away[order])
    weight = np.exp(-neighbours["distance_m"] / 900.0)
    neighbours = pd.DataFrame(neighbours.assign(weight=weight / weight.sum()))
    rock = np.clip(rng.normal(30, 10, draws_count), 0, None)
    target = rock + rng.gamma(2.2, 105.0, draws_count)
    target[rng.random(draws_count) < 0.05] = np.inf
    draws = pd.DataFrame(
        {
            "depth_to_bedrock_ft": rock,
            "depth_to_water_ft": rng.normal(25, 12, draws_count),
            "depth_to_target_ft": target,
            "yield_gpm": rng.lognormal(1.7, 0.6, draws_count),
        }
    )
    depth = np.arange(0.0, 601.0, 10.0)
    curve = pd.DataFrame({"depth_ft": depth, "chance_of_target": [(target <= value).mean() for value in depth]})
    chance = float((target <= 600).mean())
    by_yield = pd.DataFrame(
        {
            "yield_gpm": [0.1, 0.5, 3.0, 5.0],
            "chance_of_target": [0.99, 0.97, 0.95, chance],
            "depth_p50_ft": [90.0, 120.0, 180.0, np.quantile(target, 0.5, method="higher")],
        }
    )
    changes = pd.DataFrame(
        {
            "change": ["as asked", "deeper limit", "good well next door", "poor well next door"],
            "yield_gpm": 5.0,
            "max_depth_ft": [600.0, 750.0, 600.0, 600.0],
            "well_depth_ft": [np.nan, np.nan, 160.0, 600.0],
            "chance_of_target": [chance, chance + 0.02, chance + 0.03, chance - 0.11],
            "depth_p50_ft": [240.0, 240.0, 230.0, 700.0],
        }
    )
    return FakeEstimate(
        draws=draws,
        target_curve=curve,
        neighbours=neighbours,
        chance_of_target=chance,
        by_yield=by_yield,
        changes=changes,
    )


@pytest.fixture(scope="session")
def no_support(estimate: FakeEstimate) -> FakeEstimate:
    return estimate.but(
        lot_id="99",
        support="none",
        notes=("The nearest well on record is 14 km away.",),
        wells_within_1km=0,
        wells_within_5km=0,
        nearest_well_m=14_000.0,
        draws=None,
        chance_of_target=float("nan"),
        chance_of_dry_hole=float("nan"),
        target_curve=estimate.target_curve.iloc[:0],
        by_yield=estimate.by_yield.iloc[:0],
        changes=estimate.changes.iloc[:0],
        # As an estimate without figures has them: the nearest wells, without a weight.
        neighbours=estimate.neighbours.assign(weight=np.nan),
    )


@pytest.fixture(scope="session")
def bid(estimate: FakeEstimate) -> Bid:
    settings = BidSettings()
    assert estimate.draws is not None
    drilled = np.minimum(estimate.draws["depth_to_target_ft"], estimate.max_depth_ft)
    count = len(drilled)
    quantities = pd.DataFrame(
        {
            "drilled_ft": drilled,
            "casing_foot_ft": estimate.draws["depth_to_bedrock_ft"] + 20.0,
            "grout_ft3": (estimate.draws["depth_to_bedrock_ft"] + 20.0) * 0.3,
            "casing_diameter_in": 6.0,
            "pump_setting_ft": drilled - 20.0,
            "motor_hp": np.where(drilled > 300, 1.0, 0.75),
            "pressure_tanks": 1.0,
            "pressure_tank_gal": 44.0,
            "storage_tanks": np.where(estimate.draws["yield_gpm"] < 3, 1.0, 0.0),
            "storage_tank_gal": np.where(estimate.draws["yield_gpm"] < 3, 500.0, 0.0),
            "yield_gpm": np.where(drilled < 600.0, np.maximum(estimate.draws["yield_gpm"], 5.0), 1.5),
            "trench_ft": 120.0,
            "served": 1.0,
            "well_storage_gal": 150.0,
        }
    )
    book = [
        ("drilling_rock", "Drilling in rock, 6 in", "well", "ft", 24.0, drilled),
        ("casing", "Steel casing, 6 in", "well", "ft", 32.0, quantities["casing_foot_ft"]),
        ("grout", "Grout", "well", "bags", 28.0, np.ceil(quantities["grout_ft3"] / 1.2)),
        ("pump", "Submersible pump", "water_system", "each", 2100.0, np.ones(count)),
        ("trench", "Trench", "water_system", "ft", 16.0, quantities["trench_ft"]),
        ("drop_pipe", "Drop pipe", "water_system", "ft", 4.5, quantities["pump_setting_ft"]),
        ("storage", "Storage tank", "water_system", "each", 1650.0, quantities["storage_tanks"]),
    ]
    costs = pd.DataFrame({key: np.asarray(amount) * price for key, _, _, _, price, amount in book})
    total = costs.sum(axis=1).to_numpy()
    quantiles = dict(zip(("p10", "p50", "p90"), np.quantile(total, [0.1, 0.5, 0.9]).tolist(), strict=True))
    quantiles["mean"] = float(total.mean())
    lines = pd.DataFrame(
        [
            {
                "line": key,
                "label": label,
                "group": group,
                "unit": unit,
                "quantity": "trench_ft" if key == "trench" else key,
                "by_size": key == "pump",
                "unit_cost_usd": price,
                "unit_price_usd": price * 1.15,
                **{f"quantity_p{level}": np.quantile(amount, level / 100) for level in (10, 50, 90)},
                **{f"cost_usd_p{level}": np.quantile(costs[key], level / 100) for level in (10, 50, 90)},
                "cost_usd_mean": costs[key].mean(),
                "chance": float((np.asarray(amount) > 0).mean()),
            }
            for key, label, group, unit, price, amount in book
        ]
    )
    fixed = float(np.quantile(total, 0.8) * 1.02)
    return Bid(
        lot_id=estimate.lot_id,
        settings=settings,
        quantities=quantities,
        outcome=np.where(np.isfinite(estimate.draws["depth_to_target_ft"]), "target_met", "short_of_target"),
        line_costs=costs,
        lines=lines,
        total_usd=total,
        total_quantiles=quantiles,
        fixed_price_usd=fixed,
        fixed_price_set_by="risk",
        fixed_price_risk=0.2,
        chance_of_loss=float((total > fixed).mean()),
        expected_loss_usd=float(np.clip(total - fixed, 0, None).mean()),
        loss_when_losing_usd=float((total - fixed)[total > fixed].mean()),
        expected_profit_usd=float(fixed - total.mean()),
        per_foot_price_usd=41.37,
        per_foot_minimum_usd=5200.0,
        per_foot_bill_quantiles={"p10": 5200.0, "p50": 9300.0, "p90": 18100.0, "mean": 10_400.0},
        per_foot_chance_of_loss=0.31,
        drivers=pd.DataFrame(
            {
                "driver": ["Depth to the wanted yield", "Depth to rock", "Yield", "Prices"],
                "share": [0.83, 0.07, 0.06, 0.04],
                "alone": [0.8, 0.05, 0.03, 0.04],
            }
        ),
        outcomes={"target_met": 0.83, "target_met_by_fracturing": 0.04, "short_of_target": 0.1, "dry": 0.03},
        least_usable_gpm=0.21,
        chance_of_screen=0.0,
        notes=("Hydrofracturing is priced where the hole ends short at the limit.",),
    )


@pytest.fixture(scope="session")
def chromium() -> str:
    path = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if path is None:
        if os.environ.get("CI"):
            pytest.fail("no Chromium on this machine, and CI must open the reports in one")
        pytest.skip("no Chromium on this machine")
    return path
