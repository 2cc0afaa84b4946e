"""The tables about a refresh."""

import numpy as np
import pandas as pd

from wellrecords.run_tables import BINS, before_and_after


def _wells(**columns):
    count = len(next(iter(columns.values())))
    blank = dict.fromkeys(("total_depth_ft", "casing_depth_ft", "depth_to_bedrock_ft_low", "depth_to_water_ft_low"))
    ids = [f"w{number}" for number in range(count)]
    return pd.DataFrame({"record_id": ids, "yield_gpm_low": None, **blank, **columns})


def _changes(column, *rows):
    table = pd.DataFrame(rows, columns=["record_id", "before", "after"]).astype("string")
    return table.assign(column=column)


def test_as_read_puts_back_what_was_taken_out_and_leaves_out_what_was_filled_in():
    wells = _wells(total_depth_ft=[100.0, 200.0, np.nan, 300.0, 50.0])
    changes = _changes(
        "total_depth_ft",
        ("w2", "900", None),  # not credible: taken out
        ("w3", None, "300"),  # filled in
        ("w0", "30.48", "100"),  # metres in the source: one figure, said in two units
        ("w9", "9999", None),  # of a record that is no well of its own
        ("w4", "5O", "50"),
    )
    bins = before_and_after(wells, changes)
    assert len(bins) == BINS
    assert (bins["before"].sum(), bins["after"].sum()) == (4, 4)
    assert np.isclose(bins["from"].iloc[0], 50.0)
    middles = (bins["from"] + bins["to"]) / 2
    as_read = np.repeat(middles, bins["before"])
    as_kept = np.repeat(middles, bins["after"])
    width = bins["to"].iloc[0] - bins["from"].iloc[0]
    top = bins["to"].iloc[-1]
    np.testing.assert_allclose(as_read, [50, 100, 200, top], atol=width)
    np.testing.assert_allclose(as_kept, [50, 100, 200, 300], atol=width)


def test_a_bound_that_was_taken_out_counts_with_its_lower_end():
    wells = _wells(depth_to_bedrock_ft_low=[10.0, 20.0, np.nan])
    bins = before_and_after(wells, _changes("depth_to_bedrock_ft", ("w2", "43.9 or more", None)))
    assert (bins["before"].sum(), bins["after"].sum()) == (3, 2)


def test_yields_are_counted_in_equal_ratios_and_none_is_lost():
    wells = _wells(yield_gpm_low=[0.0, 0.05, 0.1, 1.0, 10.0, 5000.0])
    bins = before_and_after(wells, _changes("yield_gpm"))
    ratios = bins["to"] / bins["from"]
    np.testing.assert_allclose(ratios, ratios.iloc[0])
    assert np.isclose(bins["from"].iloc[0], 0.1)
    assert bins["before"].tolist() == bins["after"].tolist()
    assert bins["after"].sum() == 6
    assert bins["after"].iloc[0] == 3


def test_dummies_that_were_taken_out_do_not_stretch_the_bins():
    depth = np.append(np.linspace(50.0, 400.0, 300), np.full(30, np.nan))
    changes = _changes("total_depth_ft", *((f"w{number}", "9999", None) for number in range(300, 330)))
    bins = before_and_after(_wells(total_depth_ft=depth), changes)
    assert bins["to"].iloc[-1] < 401.0
    assert bins["before"].iloc[-1] == bins["after"].iloc[-1] + 30, "they stand in the last bin"
    assert (bins["before"].iloc[:-1] == bins["after"].iloc[:-1]).all()
