"""The job for a lot: the rooms called in their order, the lot's own wishes heard, nothing computed twice."""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.affinity import translate
from shapely.geometry import LineString, Point, box

from wellrecords import jobs, terminal, wording
from wellrecords.bid import Bid, NoBid
from wellrecords.demand import DemandSettings, household_need
from wellrecords.errors import ProblemsError, WellRecordsError
from wellrecords.ledger import as_text
from wellrecords.lot_files import lot_at, read_lots
from wellrecords.lot_wishes import misspelt_wishes
from wellrecords.placing import SitePlans, ask, site, site_plans, sitings_geojson
from wellrecords.report.folder import summary
from wellrecords.settings import load_settings
from wellrecords.simulation import RegionSettings, as_canonical, simulate_region
from wellrecords.siting import SitingFiles

SETTINGS = """
[region]
name = "Simulated"
crs = "EPSG:26919"
bounds = [-71, 44, -68, 46]
store = "store"
[[sources]]
file = "none.csv"
layout = "california_wcr"
[estimate]
n_draws = 200
target_yield_gpm = 4.0
[demand]
persons = 3
[siting]
setbacks = "{setbacks}"
site_plans = "plans.geojson"
[bid]
price_book = "{price_book}"
margin = 0.1
"""


@pytest.fixture(scope="module")
def settings(tmp_path_factory, request, lots):
    file = tmp_path_factory.mktemp("region") / "region.toml"
    sample = request.config.rootpath / "sample_records"
    file.write_text(
        SETTINGS.format(
            price_book=(sample / "price_book.toml").as_posix(), setbacks=(sample / "setbacks.toml").as_posix()
        )
    )
    plan(lots.geometry.iloc[0]).to_file(file.with_name("plans.geojson"), driver="GeoJSON")
    return jobs.job_settings(load_settings(file))


@pytest.fixture(scope="module")
def wells():
    region = simulate_region(RegionSettings(width_m=6_000.0, height_m=6_000.0), random_state=4)
    holes = region.drill(region.random_places(200, random_state=1), 5.0, 500.0, random_state=2)
    return as_canonical(holes, region.settings.crs)


@pytest.fixture(scope="module")
def lots(wells):
    middle = wells[0].geometry.union_all().centroid
    return gpd.GeoDataFrame(
        {
            "lot_id": ["near", "thirsty", "far"],
            "name": ["Near lot", None, "Far lot"],
            "persons": [2.0, np.nan, np.nan],
            "bedrooms": [np.nan, 4.0, np.nan],
            "target_yield_gpm": [np.nan, 9.0, np.nan],
            "max_depth_ft": [np.nan, 450.0, np.nan],
        },
        geometry=[middle.buffer(0.0004).envelope, middle, Point(middle.x + 2.0, middle.y)],
        crs="EPSG:4326",
    )


def plan(lot, lot_id="near", field="drain_field"):
    """A road along the south of a lot, a house in its middle, a drain field in its north."""
    west, south, east, north = lot.bounds
    middle = lot.centroid
    return gpd.GeoDataFrame(
        {"lot_id": [lot_id] * 3, "kind": ["road", "house", field]},
        geometry=[
            LineString([(west, south), (east, south)]),
            middle.buffer(0.00005).envelope,
            box(west, north - 0.0001, east, north),
        ],
        crs="EPSG:4326",
    )


@pytest.fixture(scope="module")
def done(wells, lots, settings):
    return jobs.run_jobs(wells[0], ask(lots, settings.site_plans), settings, wells[1])


def test_each_lot_is_answered_in_order(done, lots):
    assert [job.lot_id for job in done] == list(lots["lot_id"])
    assert [job.name for job in done] == ["Near lot", "thirsty", "Far lot"]


def test_a_lot_s_wishes_win_over_the_settings(done):
    near, thirsty, _ = done
    assert (near.estimate.target_yield_gpm, near.estimate.max_depth_ft) == (4.0, 600.0)
    assert (thirsty.estimate.target_yield_gpm, thirsty.estimate.max_depth_ft) == (9.0, 450.0)
    assert (near.demand.persons, near.demand.bedrooms) == (2.0, None)
    assert (thirsty.demand.persons, thirsty.demand.bedrooms) == (None, 4.0)


def test_without_a_target_the_need_is_asked_for(lots, settings, wells):
    """Two people draw 150 gallons within 2 hours, four bedrooms 440, three people of the settings 225."""
    asked = ask(lots, None)
    no_target = replace(settings, target_from_need=True)
    targets = [job.estimate.target_yield_gpm for job in jobs.run_jobs(wells[0], asked, no_target)]
    assert targets == [1.3, 9.0, 1.9]
    near, thirsty, far = (job.estimate.notes for job in jobs.run_jobs(wells[0], asked, no_target))
    assert any(note.startswith("No yield is asked for: the target of 1.3 gpm is what the household") for note in near)
    assert not any("asked for" in note for note in (*thirsty, *far)), "the one has a target, the other no figures"
    assert not settings.target_from_need


def test_other_yields_are_priced_where_they_are_asked_for(done, wells, lots, settings):
    assert all(job.other_yields is None for job in done)
    priced = jobs.run_jobs(wells[0], ask(lots, settings.site_plans), settings, wells[1], other_yields=True)
    for job, plain in zip(priced[:2], done[:2], strict=True):
        table = job.other_yields.set_index("yield_gpm")
        assert list(table.index) == list(job.estimate.by_yield["yield_gpm"])
        # That of the yield that was asked for is the bid's own, of the same place on the lot.
        asked = table.loc[job.estimate.target_yield_gpm]
        assert asked["fixed_price_usd"] == job.bid.fixed_price_usd == plain.bid.fixed_price_usd
        assert asked["cost_usd_p50"] == pytest.approx(job.bid.total_quantiles["p50"])
    assert priced[2].other_yields is None


def test_more_water_is_deeper(done):
    near, thirsty, _ = done
    assert near.estimate.draws["depth_to_target_ft"].quantile(0.5, "lower") < thirsty.estimate.draws[
        "depth_to_target_ft"
    ].quantile(0.5, "lower")


def test_where_the_records_cannot_say_no_figure_is_given(done):
    far = done[2]
    assert far.estimate.support == "none"
    assert isinstance(far.bid, NoBid)
    row = jobs.answers(done).set_index("lot_id").loc["far"]
    figures = [name for name in row.index if "_p" in name and name[-3:] in ("p10", "p50", "p90")] + ["fixed_price_usd"]
    assert len(figures) == 16
    assert row[figures].isna().all()


def test_the_table_says_what_the_bid_says(done):
    row = jobs.answers(done).set_index("lot_id").loc["near"]
    assert isinstance(done[0].bid, Bid)
    assert row["fixed_price_usd"] == done[0].bid.fixed_price_usd
    assert row["cost_usd_p10"] <= row["cost_usd_p50"] <= row["cost_usd_p90"]
    assert row["cost_usd_p50"] == pytest.approx(np.median(done[0].bid.total_usd))


def test_a_saved_table_is_rounded_and_keeps_its_gaps(done):
    table = jobs.rounded(jobs.answers(done)).set_index("lot_id")
    near, far = table.loc["near"], table.loc["far"]
    assert near["longitude"] == round(done[0].estimate.longitude, 6)
    assert near["chance_of_target"] == round(done[0].estimate.chance_of_target, 3)
    assert near["fixed_price_usd"] == round(done[0].bid.fixed_price_usd)
    assert near["yield_gpm_p50"] == float(f"{jobs.answers(done).set_index('lot_id').loc['near', 'yield_gpm_p50']:.3g}")
    assert round(near["nearest_well_m"] * 10) == pytest.approx(near["nearest_well_m"] * 10)
    assert ".0," not in table[["cost_usd_p10", "fixed_price_usd"]].to_csv()
    assert pd.isna(far["fixed_price_usd"])


def test_beyond_the_limit_terminal_and_index_say_what_the_lot_report_says(done, capsys, monkeypatch):
    thirsty, far = done[1], done[2]
    depths = np.array([100.0] * 100 + [900.0] * 99 + [np.inf])
    draws = thirsty.estimate.draws.head(200).assign(depth_to_target_ft=depths)
    doubtful = replace(thirsty, estimate=replace(thirsty.estimate, draws=draws, chance_of_target=0.3))
    assert summary(doubtful).startswith("30% chance of 9 gpm by 450 ft (100 ft to over 450 ft); fixed price $")
    hopeless = replace(doubtful, estimate=replace(doubtful.estimate, draws=draws.assign(depth_to_target_ft=900.0)))
    assert summary(hopeless).startswith("30% chance of 9 gpm by 450 ft; fixed price $")

    terminal.show_estimates([doubtful, far])
    wide = capsys.readouterr().out
    assert "100 / 100 / over 450" in wide
    headings = wide.splitlines()[:2]
    assert headings[0].split("  ")[-1].strip() == "yield around,"
    assert headings[1][headings[0].index("yield around,") :].startswith("gpm")
    assert wide.count(far.bid.reason) == 1
    assert wide.count("Yield around: of finished wells. Each was stopped where its owner was content") == 1
    assert "no price book" not in wide
    monkeypatch.setattr(terminal, "_width", lambda: 80)
    terminal.show_estimates([doubtful, far])
    narrow = capsys.readouterr().out.splitlines()
    assert "depth to target, ft: 100 / 100 / over 450" in narrow
    assert "lot:                 thirsty" in narrow
    assert any(line.startswith("yield around, gpm:") for line in narrow)
    assert narrow == [line.rstrip() for line in narrow]
    assert sum(line.startswith("Yield around: ") for line in narrow) == 1
    terminal.show_estimates([far])
    assert "Yield around: " not in capsys.readouterr().out, "there is none"


def test_a_polygon_with_a_site_plan_is_sited(done, settings):
    near, thirsty, far = done
    assert near.siting.lot_id == "near"
    assert 0 < near.siting.ground_area_ft2 < near.siting.lot_area_ft2
    assert (near.siting.candidates["slack_ft"] >= 0).all()
    assert near.siting.candidates["elevation_ft"].isna().all()
    assert (thirsty.siting, far.siting) == (None, None)


def test_the_lot_is_estimated_and_priced_at_its_best_place(done, settings, wells):
    """Trench, rig's way and pad are one money on the plan, in the bid and in the price book."""
    near, thirsty, _ = done
    best = near.siting.candidates.iloc[0]
    assert (near.estimate.longitude, near.estimate.latitude) == (best["longitude"], best["latitude"])
    assert near.estimate.lot_id == "near"
    taken = near.bid.quantities
    assert taken.loc[taken["served"] > 0, "trench_ft"].unique() == pytest.approx([best["trench_ft"]])
    assert taken["access_ft"].unique() == pytest.approx([best["access_ft"]])
    unit = {line.key: line.unit_cost_usd for line in settings.price_book.lines}
    assert best["cost_usd"] == pytest.approx(unit["trench"] * best["trench_ft"] + unit["rig_way"] * best["access_ft"])
    assert best["expected_cost_usd"] == near.bid.total_quantiles["mean"]
    assert near.siting.candidates["net_usd"].is_monotonic_increasing
    assert any("Priced for the best place on the site plan" in note for note in near.bid.notes)
    # A lot without places is priced by the settings, and says so.
    taken = thirsty.bid.quantities
    assert taken.loc[taken["served"] > 0, "trench_ft"].unique() == [settings.water_system.run_to_house_ft]
    assert any("No place on the lot is chosen: 100 ft of trench" in note for note in thirsty.bid.notes)


@pytest.fixture(scope="module")
def without_ground(wells, lots, settings):
    """The lot near a drain field that takes all of it."""
    plans = plan(lots.geometry.iloc[0])
    plans = plans.set_geometry([*plans.geometry.iloc[:2], lots.geometry.iloc[0]])
    asked = ask(lots.iloc[[0]], replace(settings.site_plans, features=plans))
    (job,) = jobs.run_jobs(wells[0], asked, settings, wells[1])
    return job


def test_a_lot_without_ground_says_so_first_on_terminal_table_and_index(without_ground, capsys):
    first = "No place on this lot keeps the setbacks that are set (in the way: "
    assert without_ground.estimate.notes[0].startswith(first)
    assert jobs.answers([without_ground])["notes"].iloc[0].startswith(first)
    assert summary(without_ground).startswith("No place on the lot keeps the setbacks. For the ground there: ")
    terminal.show_estimates([without_ground])
    told = [line for line in capsys.readouterr().out.splitlines() if line.startswith("near: ")]
    assert told[0].startswith(f"near: {first}")
    terminal.show_sitings([without_ground.siting])
    row = next(line.split() for line in capsys.readouterr().out.splitlines() if line.startswith("near "))
    assert row[:2] == ["near", "none"]
    assert "no ground: " in " ".join(row)


def test_a_price_that_holds_a_trench_which_none_was_found_for_says_so(wells, lots, settings, done):
    plans = plan(lots.geometry.iloc[0])
    road, house, field = plans.geometry
    plans = plans.set_geometry([road, translate(house, xoff=0.001), field])
    asked = ask(lots.iloc[[0]], replace(settings.site_plans, features=plans))
    (job,) = jobs.run_jobs(wells[0], asked, settings, wells[1])
    told = [note for note in job.estimate.notes if note.startswith("No trench to the house was found: the house lies ")]
    assert len(told) == 1
    assert told[0].endswith("The price holds 100 ft of trench in its place (run_to_house_ft under [water_system]).")
    assert not any("No trench" in note for note in done[0].estimate.notes)


def test_the_records_are_asked_about_each_place_of_a_lot(lots, settings, done):
    asked = ask(lots, settings.site_plans)
    places = len(done[0].siting.candidates)
    assert places > 1
    assert asked.lot.tolist() == [0] * places + [1, 2]
    assert list(asked.points["lot_id"]) == ["near"] * places + ["thirsty", "far"]
    assert all(lots.geometry.iloc[0].covers(point) for point in asked.points.geometry[:places])


def test_a_price_stands_in_one_file(tmp_path, request, settings):
    sample = request.config.rootpath / "sample_records"
    file = tmp_path / "setbacks.toml"
    file.write_text((sample / "setbacks.toml").read_text() + "trench_usd_per_ft = 28\n")
    with pytest.raises(ProblemsError, match=r"in the setbacks file and in the price book.*take it out of the setbacks"):
        site_plans(SitingFiles(setbacks=file, site_plans=settings.site_plans.file), None, settings.price_book)
    # Without a price book the setbacks file may hold it.
    plans = site_plans(SitingFiles(setbacks=file, site_plans=settings.site_plans.file))
    assert plans.setbacks.costs.trench_usd_per_ft == 28


def test_a_lot_without_a_drawn_feature_is_passed_over(lots, settings):
    other = lots.iloc[[0]].assign(lot_id="bare")
    assert site(other, settings.site_plans) == {}
    assert site(lots, None) == {}


def test_terrain_gives_the_places_their_slope(request, settings):
    sample = request.config.rootpath / "sample_records"
    lots = read_lots(sample / "lots.geojson", ["L-104"])
    plans = SitePlans(
        sample / "plan.geojson",
        plan(lots.geometry.iloc[0], "L-104"),
        settings.site_plans.setbacks,
        sample / "terrain.tif",
    )
    places = site(lots, plans)["L-104"].candidates
    assert places["elevation_ft"].notna().all()
    assert places["slope_percent"].between(0.5, 30).all()


def test_a_fault_of_a_plan_is_told_with_its_file(lots, settings):
    file = settings.site_plans.file
    plans = SitePlans(file, plan(lots.geometry.iloc[0], field="duck pond"), settings.site_plans.setbacks)
    with pytest.raises(ProblemsError) as caught:
        site(lots, plans)
    assert [(problem.value, problem.file) for problem in caught.value.problems] == [("duck pond", str(file))]


def test_ground_and_places_go_to_one_file(done, tmp_path):
    file = tmp_path / "places.geojson"
    file.write_text(sitings_geojson([done[0].siting]))
    back = gpd.read_file(file)
    ground, places = back[back["what"] == "ground"], back[back["what"] == "place"]
    assert list(places["rank"]) == list(done[0].siting.candidates["rank"])
    # Places stand on the ground, its edge included.
    assert max(ground.geometry.iloc[0].distance(place) for place in places.geometry) < 1e-9
    assert sitings_geojson([]).startswith("{")


def write_lots(path, lots):
    lots.to_file(path, driver="GeoJSON")
    return path


def test_lots_are_read_back_and_chosen_by_name(tmp_path, lots):
    file = write_lots(tmp_path / "lots.geojson", lots)
    assert list(read_lots(file)["lot_id"]) == list(lots["lot_id"])
    assert list(read_lots(file, ["far"])["lot_id"]) == ["far"]
    assert list(read_lots(file, ["FAR"])["lot_id"]) == ["far"]
    with pytest.raises(WellRecordsError, match=r"no lot gone.*near, thirsty, far"):
        read_lots(file, ["gone"])
    twins = write_lots(tmp_path / "twins.geojson", lots.assign(lot_id=["a-1", "A-1", "b"]))
    assert list(read_lots(twins, ["A-1", "B"])["lot_id"]) == ["A-1", "b"]


def test_a_garden_that_is_not_in_the_price_is_told_with_what_it_costs(wells, lots, settings, capsys):
    asked = ask(lots[lots["lot_id"] == "near"].reset_index(drop=True).assign(lawn_area_ft2=8000.0), settings.site_plans)
    (job,) = jobs.run_jobs(wells[0], asked, settings, wells[1])
    (note,) = (note for note in job.estimate.notes if "storage_for" in note)
    watered = replace(settings, water_system=settings.water_system.model_copy(update={"storage_for": "irrigation"}))
    (other,) = jobs.run_jobs(wells[0], asked, watered, wells[1])
    assert not any("storage_for" in told for told in other.estimate.notes)
    assert other.bid.total_quantiles["p50"] > job.bid.total_quantiles["p50"]
    assert note == (
        'Pump and storage are priced for the house alone; set storage_for = "irrigation" under [water_system] to price '
        f"the water of lawn and garden too: the middle cost is {wording.money(other.bid.total_quantiles['p50'])} then, "
        f"the fixed price {wording.money(other.bid.fixed_price_usd)}."
    )
    terminal.show_estimates([job])
    assert f"near: {note}" in capsys.readouterr().out
    # A flower bed of 10 square feet costs nothing that a price shows.
    (bed,) = jobs.run_jobs(wells[0], replace(asked, lots=asked.lots.assign(lawn_area_ft2=10.0)), settings, wells[1])
    assert any("that moves neither the middle cost nor the fixed price." in told for told in bed.estimate.notes)


def test_a_garden_whose_water_makes_the_well_cheaper_is_told_why(wells, lots, settings):
    """A hole with a tank needs no house pressure from its deep pump."""
    asked = ask(lots[lots["lot_id"] == "near"].reset_index(drop=True).assign(lawn_area_ft2=8000.0), settings.site_plans)
    (job,) = jobs.run_jobs(wells[0], asked, settings, wells[1])
    cheaper = replace(job.bid, total_quantiles={name: 0.9 * usd for name, usd in job.bid.total_quantiles.items()})
    demand = settings.demand.model_copy(update={"lawn_area_ft2": 8000.0})
    (note,) = jobs._garden_notes(job.bid, demand, settings.water_system, lambda _: cheaper)
    assert "then (less, since with a tank a smaller pump does), the fixed" in note


def test_a_lot_without_a_place_is_told_which_trench_is_reckoned_with(done, capsys):
    terminal.show_estimates(done)
    lines = [line for line in capsys.readouterr().out.splitlines() if "No place on the lot is chosen" in line]
    assert lines == [
        "thirsty: No place on the lot is chosen: 100 ft of trench from the well to the house are reckoned with, and no "
        "way or pad for the rig. Another length: run_to_house_ft under [water_system]."
    ]


def test_a_well_on_the_lot_itself_is_told_also_where_the_records_cannot_say(wells, lots, settings, capsys):
    far = lots[lots["lot_id"] == "far"].reset_index(drop=True)
    drilled = wells[0].iloc[[0]].assign(record_id="firm:1", position_error_m=5.0, total_depth_ft=340.0)
    drilled = drilled.assign(longitude=far.geometry.x.iloc[0], latitude=far.geometry.y.iloc[0])
    (job,) = jobs.run_jobs(pd.concat([wells[0], drilled]), ask(far, None), settings, wells[1])
    assert isinstance(job.bid, NoBid)
    assert job.estimate.notes[0].startswith("A well on this very lot is on record: 340 ft, ")
    terminal.show_estimates([job])
    shown = capsys.readouterr().out
    assert shown.count("far: A well on this very lot is on record: 340 ft, ") == 1
    assert shown.count("The records cannot say how deep a hole must go") == 1


def test_faulty_lots_are_told_together(tmp_path, lots):
    faulty = lots.assign(lot_id=["a", "a", None], persons=[-1.0, 2.0, 2.0], bedrooms=None)
    with pytest.raises(ProblemsError) as caught:
        read_lots(write_lots(tmp_path / "lots.geojson", faulty))
    assert {problem.what for problem in caught.value.problems} == {
        "two lots have one name",
        "the lot has no name",
        "persons is below 0",
    }
    (cell,) = (problem for problem in caught.value.problems if problem.what == "persons is below 0")
    assert (cell.row, cell.column, cell.value) == (1, "persons", "-1.0")


def test_a_lot_s_own_peak_goes_before_the_fixtures_of_the_settings():
    base = DemandSettings(persons=4, fixtures=8)
    assert household_need(jobs._demand_settings({"peak_gpm": 12.0}, base)).peak_gpm == 12.0
    assert household_need(jobs._demand_settings({"persons": 2.0}, base)).peak_gpm == 8.0
    assert household_need(jobs._demand_settings({"fixtures": 6.0}, base)).peak_gpm == 6.0


def test_a_misspelt_wish_is_named_with_the_one_that_may_be_meant(lots):
    asked = lots[["lot_id", "geometry"]].assign(targt_gpm=3.0, Bedroms=2, owner="x", address="y", persons=4, person=4)
    assert misspelt_wishes(asked) == {"targt_gpm": "target_yield_gpm", "Bedroms": "bedrooms"}


def test_a_file_that_is_no_map_is_an_expected_error(tmp_path):
    file = tmp_path / "lots.geojson"
    file.write_text("lots")
    with pytest.raises(WellRecordsError, match=r"cannot be read as a map of lots\. Next:") as caught:
        read_lots(file)
    assert "river" not in str(caught.value), "the reader's drivers are told"
    with pytest.raises(WellRecordsError, match=r"There is no lots file .*Next:"):
        read_lots(tmp_path / "absent.geojson")


@pytest.mark.parametrize("place", [(200.0, 45.0), (45.0, 95.0), (float("nan"), 45.0)])
def test_a_place_off_the_earth_is_refused(place):
    with pytest.raises(WellRecordsError, match="longitude first"):
        lot_at(*place)


def test_a_wrong_key_in_any_table_is_named(tmp_path):
    file = tmp_path / "region.toml"
    text = SETTINGS.replace("n_draws = 200", "draws = 200").replace("persons = 3", 'persons = "three"')
    file.write_text(text.format(price_book="p.toml", setbacks="s.toml").replace("site_plans", "plans"))
    with pytest.raises(ProblemsError) as caught:
        jobs.job_settings(load_settings(file))
    assert {problem.column for problem in caught.value.problems} == {
        "estimate.draws",
        "demand.persons",
        "siting.plans",
    }


def test_quantiles_that_no_page_could_name_are_refused(tmp_path):
    file = tmp_path / "region.toml"
    text = SETTINGS.format(price_book="p.toml", setbacks="s.toml")
    file.write_text(text.replace("[bid]", "[bid]\nquantiles = [0.05, 0.5, 0.95]"))
    with pytest.raises(ProblemsError, match=r"what 1, 5 and 9 of 10 cases come to.*leave it out") as caught:
        jobs.job_settings(load_settings(file))
    assert [problem.column for problem in caught.value.problems] == ["bid.quantiles"]


def test_answers_is_one_row_a_lot(done):
    table = jobs.answers(done, (0.05, 0.5))
    assert isinstance(table, pd.DataFrame)
    assert len(table) == len(done)
    assert {"depth_to_target_ft_p05", "yield_gpm_p50"} <= set(table.columns)


def test_a_flagged_reading_that_a_lot_leans_on_stands_in_its_notes_and_changes_no_figure(wells, lots, settings, done):
    well = done[0].estimate.neighbours.iloc[0]
    flag = {
        "record_id": well["record_id"],
        "column": "total_depth_ft",
        "value": as_text([well["total_depth_ft"]], 1)[0],
    }
    flags = pd.DataFrame([{**flag, "source": "s", "rule": "stands_out_from_neighbours", "why": "far off"}])
    again = jobs.run_jobs(wells[0], ask(lots, settings.site_plans), settings, wells[1], flags=flags)
    *notes, told = again[0].estimate.notes
    assert tuple(notes) == done[0].estimate.notes
    assert told.startswith(f"A flagged reading is in use: total depth {well['total_depth_ft']:,.0f} ft of well ")
    assert again[0].bid.fixed_price_usd == done[0].bid.fixed_price_usd
    assert again[2].estimate.notes == done[2].estimate.notes, "nothing is leaned on where the records cannot say"


def test_progress_is_told_in_stages_that_name_no_lot(wells, lots, settings):
    told = []
    jobs.run_jobs(wells[0], ask(lots, None), settings, tell=lambda *stage: told.append(stage))
    assert told == [
        ("estimating 3 lots at 3 places", 0, 1),
        ("pricing", 0, 3),
        ("pricing", 1, 3),
        ("pricing", 2, 3),
    ]
