"""What holds of every refresh, over generated files: rows add up, their order and a second cleaning change nothing."""

import numpy as np
import pandas as pd
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from test_refresh import COLUMNS, GOOD, TODAY, region

from wellrecords.refresh import refresh
from wellrecords.schema import INTERVAL_QUANTITIES
from wellrecords.settings import load_settings
from wellrecords.store import read_table, read_wells

cell = {
    "NO": st.one_of(st.sampled_from(["", "1", "2", "A-7"]), st.text(st.characters(codec="utf-8"), max_size=4)),
    "PERMIT": st.sampled_from(["", "W94-0113", "94-0113", "W01-77"]),
    "DATE": st.sampled_from(["", "1994-06-17", "9999-01-01", "17.6.94", "0908-01-01", "2001-02-03"]),
    "DEPTH": st.sampled_from(["", "200", "3O0", "12'6\"", "-5", "99999", "<0.5", "100+", "85 m"]),
    "ROCK": st.sampled_from(["", "20", "0", "no rock to 90", ">28", "250"]),
    "GPM": st.sampled_from(["", "5", "dry", "1 to 5", "0", "13 L/min", "flowing"]),
    "LON": st.sampled_from(["-70.05", "70.05", "0", "", "-70", "45.3", "-12.0", "x"]),
    "LAT": st.sampled_from(["45.3", "45.31", "0", "", "45", "-70.05"]),
}
dirty_row = st.tuples(*(cell[name] for name in COLUMNS)).map(list)


@settings(deadline=None, max_examples=8, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(dirty_row, min_size=1, max_size=9),
    st.lists(dirty_row, min_size=1, max_size=6),
    st.randoms(use_true_random=False),
    st.sampled_from([(",", "utf-8"), (";", "utf-16"), ("\t", "utf-8-sig")]),
)
def test_rows_add_up_over_any_files_and_their_order_does_not_matter(tmp_path, one, two, random, form):
    # A source of which nothing is kept stops the run, so that each has a good row beside whatever was drawn.
    one, two = [*one, GOOD], [*two, GOOD]
    path = region(tmp_path, {"one": one, "two": two}, "", *form)
    first = refresh(load_settings(path), today=TODAY, force=True)
    counts = first.counts
    # A row of blanks only is no row.
    assert counts["rows_read"] == sum(any(map(str.strip, row)) for row in one + two)
    assert counts["rows_read"] == counts["kept"] + counts["merged"] + counts["held_back"]
    wells = read_wells(tmp_path / "store")
    random.shuffle(one)
    random.shuffle(two)
    region(tmp_path, {"one": one, "two": two})
    second = refresh(load_settings(path), today=TODAY, force=True)
    assert second.counts == counts
    pd.testing.assert_frame_equal(pd.DataFrame(read_wells(tmp_path / "store")), pd.DataFrame(wells))


CANONICAL_LAYOUT = """
name = "one"
[text]
source_record_id = { from = "source_record_id" }
main_rock = { from = "main_rock" }
[dates.drilled_on]
from = ["drilled_on"]
[readings]
total_depth_ft = { from = "total_depth_ft", zero = "unknown" }
depth_to_bedrock_ft = { from = "depth_to_bedrock_ft", zero = "value" }
depth_to_water_ft = { from = "depth_to_water_ft", zero = "value" }
yield_gpm = { from = "yield_gpm", zero = "dry" }
[[positions]]
kind = "degrees"
x = ["longitude"]
y = ["latitude"]
error_m = 5
"""


@settings(deadline=None, max_examples=8, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(dirty_row, min_size=1, max_size=9), st.sampled_from(["one.csv", "one.xlsx"]))
def test_a_clean_dataset_written_out_and_cleaned_again_is_the_same(tmp_path, rows, name):
    """The kept wells as a source of their own, in text or in a workbook: nothing is held back, merged or changed."""
    path = region(tmp_path, {"one": [*rows, GOOD]})
    refresh(load_settings(path), today=TODAY, force=True)
    once = pd.DataFrame(read_wells(tmp_path / "store"))
    out = once[["source_record_id", "main_rock", "longitude", "latitude"]].astype(object)
    out["source_record_id"] = [f"R{number}" for number in range(len(once))]
    out["drilled_on"] = once["drilled_on"].dt.strftime("%Y-%m-%d")
    out["total_depth_ft"] = once["total_depth_ft"].map("{!r}".format)
    for quantity in INTERVAL_QUANTITIES:
        out[quantity] = [
            "" if np.isnan(low) else str(low) if low == high else f">{low}" if high == np.inf
            else f"<{high}" if low == -np.inf else f"{low} to {high}"
            for low, high in zip(once[f"{quantity}_low"], once[f"{quantity}_high"], strict=True)
        ]  # fmt: skip
    out = out.fillna("").replace("nan", "").astype(str)
    if name.endswith("csv"):
        out.to_csv(tmp_path / name, index=False, sep=";", encoding="utf-16")
    else:
        out.to_excel(tmp_path / name, index=False, startrow=2)
    (tmp_path / "one.toml").write_text(CANONICAL_LAYOUT)
    path.write_text(path.read_text().replace("one.csv", name).replace('store = "store"', 'store = "again"'))
    second = refresh(load_settings(path), today=TODAY, force=True)
    assert (second.counts["kept"], second.counts["held_back"], second.counts["merged"]) == (len(once), 0, 0)
    twice = pd.DataFrame(read_wells(tmp_path / "again"))
    key = ["longitude", "latitude", "total_depth_ft", "drilled_on"]
    key += [f"{quantity}_{end}" for quantity in INTERVAL_QUANTITIES for end in ("low", "high")]
    pd.testing.assert_frame_equal(
        twice[key].sort_values(key, ignore_index=True), once[key].sort_values(key, ignore_index=True)
    )
    changes = read_table(tmp_path / "again", "changes")
    assert set(" ".join(changes["rule"]).replace("+", " ").split()) <= {"below", "at_least", "range"}, "ways of writing"
