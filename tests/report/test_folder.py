"""The pages of one run: names that no two share."""

from hypothesis import given
from hypothesis import strategies as st

from wellrecords.report.folder import file_name, page_names


@given(st.sets(st.text(st.sampled_from("aA/_-.Ä "), max_size=4) | st.text(min_size=98, max_size=103), max_size=12))
def test_no_two_lots_share_a_page_where_case_is_passed_over(lot_ids):
    names = page_names(sorted(lot_ids))
    files = [file_name("lot", name, "owner").casefold() for name in names.values()]
    assert len(set(files)) == len(lot_ids)
    assert all(len(name) < 120 for name in files)


def test_a_name_that_is_alone_is_kept_and_the_others_do_not_move_a_mark():
    names = page_names(["L-101", "A/B", "A_B", "x1", "X1"])
    assert names["L-101"] == "L-101"
    assert page_names(["X1", "A_B", "new", "x1", "A/B"])["A/B"] == names["A/B"]
    assert page_names(["A/B"]) == {"A/B": "A-B"}
