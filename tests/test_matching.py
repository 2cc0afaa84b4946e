import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wellrecords.matching import MatchingSettings, Merged, merge_duplicates
from wellrecords.matching.clusters import grow_clusters
from wellrecords.matching.rivals import weigh_rivals
from wellrecords.schema import LAYER_COLUMNS, WATER_ZONE_COLUMNS, WELL_COLUMNS, check_wells, conform, empty_table

sys.path.insert(0, str(Path(__file__).parent / "benchmarks"))
from bench_matching import quality, run
from planted import CRS, plant
from planted_forms import fill_in

NO_LAYERS, NO_ZONES = empty_table(LAYER_COLUMNS), empty_table(WATER_ZONE_COLUMNS)


def record(record_id: str, **values: object) -> dict[str, object]:
    source = record_id.split(":")[0]
    row: dict[str, object] = {
        "record_id": record_id,
        "source": source,
        "source_record_id": record_id.split(":")[1],
        "record_kind": "new",
        "well_use": "domestic",
        "drilled_on": pd.Timestamp("1994-06-17"),
        "longitude": -70.0,
        "latitude": 45.3,
        "position_method": "gps",
        "position_error_m": 10.0,
        "total_depth_ft": 437.0,
        "casing_depth_ft": 41.0,
        "casing_diameter_in": 6.0,
        "drilling_method": "unknown",
        "yield_method": "unknown",
        "private": source == "firm",
    }
    for name in ("depth_to_bedrock_ft", "depth_to_water_ft", "yield_gpm"):
        if name in values:
            value = values.pop(name)
            row[f"{name}_low"], row[f"{name}_high"] = value if isinstance(value, tuple) else (value, value)
    return row | values


def reading(name: str, value: float) -> dict[str, float]:
    return {f"{name}_low": value, f"{name}_high": value}


def background(count: int = 400, **values: object) -> list[dict[str, object]]:
    """Wells of the region, so that what agrees by chance can be counted."""
    rng = np.random.default_rng(5)
    return [
        record(
            f"{'state' if number % 2 else 'survey'}:bg{number:04d}",
            **{
                "longitude": -70.0 + float(rng.uniform(-0.2, 0.2)),
                "latitude": 45.3 + float(rng.uniform(-0.1, 0.1)),
                "total_depth_ft": float(np.round(rng.lognormal(5.3, 0.5) / 5) * 5),
                "casing_depth_ft": float(rng.choice([20, 30, 40, 60])),
                "drilled_on": pd.Timestamp("1970-01-01") + pd.Timedelta(days=int(rng.integers(1, 18_000))),
                "yield_gpm": float(rng.choice([1, 2, 3, 5, 8, 10, 15])),
                "depth_to_bedrock_ft": float(rng.integers(5, 80)),
                **values,
            },
        )
        for number in range(count)
    ]


def table(records: list[dict[str, object]]) -> pd.DataFrame:
    frame = pd.DataFrame(records)
    wells = conform(frame, WELL_COLUMNS)
    for name in ("permit", "owner", "address"):
        wells[name] = frame[name].astype("string") if name in frame else pd.Series(pd.NA, wells.index, dtype="string")
    return wells


def merge(
    *records: dict[str, object],
    around: list[dict[str, object]] | None = None,
    layers: pd.DataFrame = NO_LAYERS,
    zones: pd.DataFrame = NO_ZONES,
    settings: MatchingSettings | None = None,
) -> Merged:
    wells = table([*records, *(background() if around is None else around)])
    result = merge_duplicates(wells, layers, zones, settings or MatchingSettings(), CRS)
    assert len(wells) == len(result.wells) + len(result.merged)
    check_wells(result.wells)
    return result


def fate(result: Merged, *record_ids: str) -> list[str]:
    """Return which record each of these went into (itself where it stands)."""
    into = dict(zip(result.merged["record_id"], result.merged["kept_record_id"], strict=True))
    return [into.get(record_id, record_id) for record_id in record_ids]


def one_well(result: Merged, *record_ids: str) -> bool:
    return len(set(fate(result, *record_ids))) == 1


FIRM = record("firm:88-014", owner="H. Pelter", permit="W94-0113", yield_gpm=6.0, depth_to_water_ft=22.0)
STATE = record(
    "state:R5531",
    longitude=-70.0008,
    position_method="map",
    position_error_m=75.0,
    drilled_on=pd.Timestamp("1994-07-02"),
    depth_to_bedrock_ft=31.0,
    yield_gpm=6.0,
    permit="94-0113",
)


def test_the_firms_record_and_the_states_become_one_row_that_says_who_gave_what():
    result = merge(FIRM, STATE)
    assert one_well(result, "firm:88-014", "state:R5531")
    well = result.wells.set_index("record_id").loc["firm:88-014"]
    assert well["depth_to_bedrock_ft_low"] == 31.0
    assert well["position_error_m"] == 10.0
    assert well["longitude"] == -70.0
    assert well["private"]
    told = result.provenance[result.provenance["record_id"] == "firm:88-014"]
    assert told[["column", "from_record_id", "source"]].to_numpy().tolist() == [
        ["depth_to_bedrock_ft", "state:R5531", "state"]
    ]
    assert result.merged.set_index("record_id").loc["state:R5531", "why"] == "the same well in another source"
    assert "permit" not in result.wells
    assert "owner" not in result.wells
    assert set(result.history["record_id"]) >= {"state:R5531"}


def test_the_better_place_is_taken_whosever_it_is():
    poor = FIRM | {"position_error_m": 600.0, "position_method": "section", "longitude": -70.004}
    result = merge(poor, STATE)
    well = result.wells.set_index("record_id").loc["firm:88-014"]
    assert (well["longitude"], well["position_method"], well["position_error_m"]) == (-70.0008, "map", 75.0)
    assert result.provenance["column"].tolist() == ["depth_to_bedrock_ft", "position"]


@pytest.mark.parametrize(
    "other",
    [
        {"total_depth_ft": 180.0, "drilled_on": pd.Timestamp("2004-01-20"), "permit": "W04-7788"},
        {"longitude": -69.9, "permit": None},
        {"total_depth_ft": 120.0, "casing_depth_ft": 80.0, "permit": None},
        {"total_depth_ft": 120.0, "casing_depth_ft": 80.0, "yield_gpm_low": 30.0, "yield_gpm_high": 30.0},
    ],
    ids=["another well on the lot", "far away", "another hole of that day", "another hole on that permit"],
)
def test_what_differs_is_not_merged(other):
    assert not one_well(merge(FIRM, STATE | other), "firm:88-014", "state:R5531")


def test_a_record_filed_twice_and_an_exact_duplicate_are_merged():
    again = STATE | {"record_id": "state:R5531~2"}
    renumbered = STATE | {"record_id": "state:R9000", "source_record_id": "R9000"}
    result = merge(STATE, again, renumbered)
    assert one_well(result, "state:R5531", "state:R5531~2", "state:R9000")
    assert set(result.merged["why"]) == {"the same record, filed twice"}


def section_centre(count: int) -> list[dict[str, object]]:
    """Wells crowded on the centre of one section, each another well."""
    rng = np.random.default_rng(8)
    return [
        record(
            f"state:S{number:03d}",
            source_record_id=f"S{number:03d}",
            position_method="section",
            position_error_m=600.0,
            total_depth_ft=float(np.round(rng.lognormal(5.3, 0.5) / 20) * 20),
            casing_depth_ft=float(rng.choice([20, 40])),
            drilled_on=pd.Timestamp("1970-01-01") + pd.Timedelta(days=int(rng.integers(1, 18_000))),
            yield_gpm=float(rng.choice([5, 10])),
        )
        for number in range(count)
    ]


def test_wells_crowded_on_a_section_centre_are_not_merged_for_standing_there():
    result = merge(*section_centre(60))
    assert result.merged.empty


@settings(deadline=None, max_examples=4)
@given(st.integers(0, 10_000))
def test_two_hundred_wells_on_one_section_centre_stay_two_hundred(seed):
    # Each has its own log, in one file or the other; casings and yields heap as drillers heap them.
    rng = np.random.default_rng(seed)
    depth = 40.0 + 5.0 * rng.permutation(200)
    crowd = [
        record(
            f"{rng.choice(['state', 'survey'])}:C{number:03d}",
            position_method="section",
            position_error_m=616.0,
            total_depth_ft=float(depth[number]),
            casing_depth_ft=float(rng.choice([20, 30, 40, 60])),
            drilled_on=pd.Timestamp("1965-01-01") + pd.Timedelta(days=int(rng.integers(1, 21_000))),
            depth_to_bedrock_ft=float(rng.integers(4, 90)),
            yield_gpm=float(rng.choice([0.5, 1, 2, 3, 5, 8, 10, 15, 20])),
        )
        for number in range(200)
    ]
    assert merge(*crowd).merged.empty


def test_wells_of_one_campaign_are_alike_and_not_one():
    # One driller, one day, one depth, one casing: forms with neighbouring numbers, no reading that was measured.
    alike = [
        record(f"state:E07709{letter}", source_record_id=f"E07709{letter}", position_method="section",
               position_error_m=600.0, total_depth_ft=90.0, well_use=use)
        for letter, use in zip("ABCDEF", ["domestic"] * 3 + ["monitoring"] * 3, strict=True)
    ]  # fmt: skip
    assert merge(*alike).merged.empty


def test_the_partner_is_found_among_the_crowd_on_a_section_centre():
    partner = STATE | {
        "position_method": "section",
        "position_error_m": 600.0,
        "longitude": -70.004,
        "latitude": 45.302,
        "permit": None,
    }
    crowd = [row | {"longitude": -70.004, "latitude": 45.302} for row in section_centre(25)]
    result = merge(FIRM, partner, *crowd)
    assert one_well(result, "firm:88-014", "state:R5531")
    assert len(result.merged) == 1


def test_a_deepening_becomes_the_state_of_the_well_and_the_first_hole_its_history():
    first = STATE | {"total_depth_ft": 180.0, **reading("yield_gpm", 0.5), **reading("depth_to_water_ft", 40.0)}
    deeper = record(
        "state:R7700",
        record_kind="deepened",
        drilled_on=pd.Timestamp("2003-08-01"),
        total_depth_ft=437.0,
        casing_depth_ft=np.nan,
        yield_gpm=6.0,
        permit="94-0113",
    )
    result = merge(first, deeper)
    assert fate(result, "state:R5531") == ["state:R7700"]
    well = result.wells.set_index("record_id").loc["state:R7700"]
    assert well["total_depth_ft"] == 437.0
    assert well["yield_gpm_low"] == 6.0
    assert well["record_kind"] == "deepened"
    assert well["depth_to_bedrock_ft_low"] == 31.0, "rock does not move when a hole is deepened"
    assert well["casing_depth_ft"] == 41.0
    assert np.isnan(well["depth_to_water_ft_low"]), "the level of the shallow hole is not that of the deep one"
    past = result.history.set_index("record_id").loc["state:R5531"]
    assert (past["total_depth_ft"], past["relation"]) == (180.0, "its state before it was deepened")


def test_a_sealing_marks_the_well_abandoned_and_keeps_what_it_told():
    sealed = record(
        "state:D100",
        record_kind="abandoned",
        well_use="unused",
        drilled_on=pd.Timestamp("2015-05-05"),
        casing_depth_ft=np.nan,
        permit="94-0113",
    )
    result = merge(STATE, sealed)
    well = result.wells.set_index("record_id").loc["state:R5531"]
    assert (well["record_kind"], well["well_use"]) == ("abandoned", "unused")
    assert well["drilled_on"] == pd.Timestamp("1994-07-02")
    assert well["yield_gpm_low"] == 6.0
    assert result.merged["why"].tolist() == ["its sealing"]


def test_a_later_state_does_not_go_before_the_first():
    earlier = record(
        "state:R1", record_kind="deepened", drilled_on=pd.Timestamp("1980-01-02"), total_depth_ft=300.0,
        longitude=-70.0008, casing_depth_ft=np.nan,
    )  # fmt: skip
    assert not one_well(merge(STATE | {"permit": None}, earlier), "state:R5531", "state:R1")


def test_two_wells_of_one_source_are_not_joined_by_a_third_record():
    # The firm's record fits both of the state's, which are two wells: it goes to neither.
    one = STATE | {"permit": None, "total_depth_ft": 435.0}
    other = STATE | {
        "record_id": "state:R5532",
        "source_record_id": "R5532",
        "permit": None,
        "total_depth_ft": 439.0,
        "longitude": -69.9992,
        "depth_to_bedrock_ft_low": 58.0,
        "depth_to_bedrock_ft_high": 58.0,
    }
    result = merge(FIRM | {"permit": None}, one, other)
    assert len(set(fate(result, "firm:88-014", "state:R5531", "state:R5532"))) == 3
    assert set(result.undecided["fits_record_id"]) == {"state:R5531", "state:R5532"}
    assert set(result.undecided["record_id"]) == {"firm:88-014"}


def test_clusters_join_records_of_one_source_only_where_these_are_a_pair_themselves():
    source = np.array([0, 1, 0, 2])
    pairs = np.array([[0, 1], [1, 2], [1, 3]])
    sure = np.ones(3, dtype=bool)
    labels = grow_clusters(pairs, np.array([9.0, 5.0, 7.0]), sure, source, 4)
    assert labels[0] == labels[1] == labels[3]
    assert labels[2] != labels[0]
    labels = grow_clusters(np.array([[0, 1], [0, 2], [1, 2]]), np.array([9.0, 5.0, 7.0]), sure, source, 4)
    assert labels[0] == labels[1] == labels[2]


def weighed(pairs: list[list[int]], scores: list[float], sources: list[int], later: list[int] | None = None):
    """Return the odds of pairs against their rivals."""
    states = np.zeros(len(pairs), dtype=int) if later is None else np.array(later)
    return np.exp(weigh_rivals(np.array(pairs), np.array(scores), states, np.array(sources), 0.5)[0])


def test_of_two_that_fit_as_well_neither_is_taken_and_a_clear_one_is():
    # Odds e^8 and e^7.5 share one whole with 1 for no partner: Bayes' rule for exclusive hypotheses.
    assert weighed([[0, 1], [0, 2]], [8.0, 7.5], [0, 1, 1]) == pytest.approx(
        [np.exp(8.0) / (1.0 + np.exp(7.5)), np.exp(7.5) / (1.0 + np.exp(8.0))], rel=1e-6
    )
    assert weighed([[0, 1], [0, 2]], [8.0, -3.0], [0, 1, 1])[0] == pytest.approx(np.exp(8.0), rel=0.06)
    assert weighed([[0, 1]], [2.0], [0, 1]) == pytest.approx([np.exp(2.0)])


def test_a_rival_that_has_a_better_partner_hardly_counts():
    pairs, sources = [[0, 2], [0, 3], [1, 3]], [0, 0, 1, 1]
    alone, settled = weighed(pairs, [3.0, 3.0, -20.0], sources), weighed(pairs, [3.0, 3.0, 12.0], sources)
    assert alone[0] < 1.0
    assert settled[0] == pytest.approx(np.exp(3.0), rel=0.01)


def test_two_forms_of_one_well_and_two_later_states_are_no_rivals():
    assert (weighed([[0, 1], [0, 2], [1, 2]], [5.0, 5.0, 9.0], [0, 1, 1]) > np.exp(4.9)).all()
    assert (weighed([[0, 1], [0, 2]], [5.0, 5.0], [0, 0, 0], [1, 1]) > np.exp(4.9)).all()


def test_layers_and_zones_go_with_the_kept_record_and_are_not_doubled():
    layers = conform(
        pd.DataFrame(
            {
                "record_id": ["state:R5531"] * 2 + ["firm:88-014"] * 2 + ["state:bg0001"],
                "from_ft": [0, 31, 0, 30, 0],
                "to_ft": [31, 437, 30, 437, 9],
                "material": ["till", "granite", "clay", "ledge", "clay"],
            }
        ),
        LAYER_COLUMNS,
    )
    zones = conform(pd.DataFrame({"record_id": ["state:R5531"], "depth_ft": [400.0]}), WATER_ZONE_COLUMNS)
    result = merge(FIRM, STATE, layers=layers, zones=zones)
    of_well = result.layers[result.layers["record_id"] == "firm:88-014"]
    assert of_well["material"].tolist() == ["clay", "ledge"]
    assert len(result.layers) == 3
    assert result.water_zones["record_id"].tolist() == ["firm:88-014"]


def test_no_records_and_one_record_are_no_fault():
    for records in ([], [FIRM]):
        wells = table(records) if records else conform(pd.DataFrame(), WELL_COLUMNS)
        assert len(merge_duplicates(wells, NO_LAYERS, NO_ZONES, MatchingSettings(), CRS).wells) == len(records)


@pytest.mark.parametrize("place", ["open", "sections", "mixed"])
@pytest.mark.parametrize(("make", "per_km2"), [(plant, 12.0), (fill_in, 5.0)])
def test_planted_duplicates_are_found_and_others_left_alone(make, per_km2, place):
    planted = make(4_000, place=place, per_km2=per_km2, seed=11)
    precision, recall, pairs = quality(planted, run(planted, MatchingSettings()))
    assert pairs > 1_000
    assert precision >= 0.98
    assert recall >= (0.95 if make is plant or place == "open" else 0.94)


@settings(deadline=None, max_examples=5)
@given(st.integers(0, 10_000), st.sampled_from(["open", "sections", "mixed"]))
def test_the_order_of_rows_does_not_matter(seed, place):
    planted = plant(250, place=place, seed=seed)
    first = run(planted, MatchingSettings())
    shuffled = planted.wells.sample(frac=1.0, random_state=seed)
    second = merge_duplicates(shuffled, NO_LAYERS, NO_ZONES, MatchingSettings(), CRS)
    for name in ("wells", "merged", "provenance", "history", "undecided"):
        pd.testing.assert_frame_equal(getattr(first, name), getattr(second, name))
    assert len(planted.wells) == len(first.wells) + len(first.merged)


@settings(deadline=None, max_examples=5)
@given(st.integers(0, 10_000), st.sampled_from([plant, fill_in]), st.sampled_from(["open", "sections", "mixed"]))
def test_matching_a_result_again_changes_nothing(seed, make, place):
    first = run(make(250, place=place, seed=seed), MatchingSettings())
    kept = conform(first.wells.assign(source="dataset"), WELL_COLUMNS)
    again = merge_duplicates(
        kept, first.layers, first.water_zones, MatchingSettings(), CRS, distinct_sources=["dataset"]
    )
    pd.testing.assert_frame_equal(kept, again.wells)
    assert again.merged.empty
    assert again.undecided.empty


def test_a_new_record_finds_its_well_in_a_result_whose_rows_stay_apart():
    result = merge(
        STATE | {"permit": None}, STATE | {"record_id": "survey:1", "source": "survey", "permit": "W11-1111"}
    )
    both = pd.concat([result.wells.assign(source="dataset"), table([FIRM])], ignore_index=True)
    new = merge_duplicates(both, NO_LAYERS, NO_ZONES, MatchingSettings(), CRS, distinct_sources=["dataset"])
    assert fate(new, "state:R5531") == ["firm:88-014"]
    assert len(new.wells) == len(result.wells)


def test_what_two_records_tell_together_finds_the_later_state_that_neither_finds():
    # The deepening shares the permit with one record of the first hole, and casing and rock with the other.
    state = STATE | {"total_depth_ft": 180.0, "permit": None, "casing_depth_ft": np.nan}
    survey = FIRM | {"total_depth_ft": 180.0, "record_id": "survey:S1", "source": "survey", "permit": "94-0113"}
    deeper = record(
        "state:R7700", record_kind="deepened", drilled_on=pd.Timestamp("2003-08-01"), total_depth_ft=520.0,
        longitude=-70.002, position_method="section", position_error_m=616.0, casing_depth_ft=41.0,
        depth_to_bedrock_ft=31.0, permit="W94-0113",
    )  # fmt: skip
    assert one_well(merge(state, survey, deeper), "state:R5531", "survey:S1", "state:R7700")
