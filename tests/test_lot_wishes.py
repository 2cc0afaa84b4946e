"""The wishes of lots: which numbers they may be, and headings that are none."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wellrecords.demand import MOST_OF, DemandSettings, household_need
from wellrecords.lot_files import lots_at
from wellrecords.lot_wishes import DEMAND_WISHES, WISHES, misspelt_wishes, unusual_wishes, wishes_of

SOMETHING = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-10, 10**7),
    st.floats(),
    st.text(max_size=8),
    st.sampled_from(["1,000", "5 gpm", "300 ft", "", " ", "n/a", "-", "2.5"]),
)


@given(st.dictionaries(st.sampled_from(list(DEMAND_WISHES)), SOMETHING))
def test_wishes_without_a_fault_are_a_household(cells):
    wishes, problems = wishes_of({"lot_id": "A", **cells}, {"file": "lots.csv", "row": 2})
    if not problems:
        household_need(DemandSettings(**wishes))
    assert all("lot A" in problem.next_step and problem.row == 2 for problem in problems)


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("fixtures", 2.5, "fixtures is no whole number"),
        ("fixtures", "8", None),
        ("peak_gpm", 0, "peak_gpm is 0"),
        ("peak_gpm", 200, "peak_gpm is far too much: a digit too many?"),
        ("persons", 5000, "persons is far too much: a digit too many?"),
        ("persons", True, "persons is no number"),
        ("persons", "4 ft", "persons is no number"),
        ("lawn_area_ft2", 0, None),
        ("lawn_area_ft2", -1, "lawn_area_ft2 is below 0"),
        ("target_yield_gpm", "5 gpm", None),
        ("target_yield_gpm", float("inf"), "target_yield_gpm is far too much: a digit too many?"),
        ("max_depth_ft", 3000, None),
        ("max_depth_ft", 50_000, "max_depth_ft is far too much: a digit too many?"),
    ],
)
def test_what_is_wrong_with_a_wish_is_said_of_it(name, value, said):
    _, problems = wishes_of({"lot_id": "A", name: value}, {"file": "lots.csv", "row": 2})
    assert [problem.what for problem in problems] == ([] if said is None else [said])


def test_no_more_is_taken_from_a_file_of_lots_than_from_the_settings():
    for name, most in MOST_OF.items():
        assert WISHES[name].most == most
        assert WISHES[name].usual < most
        DemandSettings(**{name: most})
        with pytest.raises(ValueError, match="less than or equal"):
            DemandSettings(**{name: 2 * most})


def test_wishes_that_are_seldom_are_asked_about_with_their_lot():
    lots = lots_at([(-70.0, 45.0), (-70.1, 45.0)]).assign(persons=[4, 44], max_depth_ft=[2500, None])
    few = lots_at([(-70.0, 45.0)]).assign(max_depth_ft=5.0, lawn_area_ft2=0.0, garden_area_ft2=1e6)
    assert unusual_wishes(few) == [
        "lot here: max_depth_ft is 5, and less than 50 is seldom wished: a digit too few?",
        "lot here: garden_area_ft2 is 1,000,000, and more than 90,000 is seldom wished: a digit too many?",
    ]
    both = lots_at([(-70.0, 45.0)]).assign(fixtures=8.0, peak_gpm=12.0)
    assert unusual_wishes(both) == [
        "lot here: fixtures and peak_gpm are both given: the peak is that of the fixtures, 1 gpm each."
    ]
    many = lots_at([(-70.0, 45.0)] * 30).assign(persons=44)
    assert len(unusual_wishes(many)) == 13
    assert unusual_wishes(many)[-1] == "and 18 more numbers as seldom."
    assert unusual_wishes(lots) == [
        "lot A: max_depth_ft is 2,500, and more than 2,000 is seldom wished: a digit too many?",
        "lot B: persons is 44, and more than 20 is seldom wished: a digit too many?",
    ]


@pytest.mark.parametrize(
    ("column", "wish"),
    [
        ("lawn_ft2", "lawn_area_ft2"),
        ("Garden sq ft", "garden_area_ft2"),
        ("people", "persons"),
        ("Persons", "persons"),
        ("beds", "bedrooms"),
        ("target_gpm", "target_yield_gpm"),
        ("depth_limit_ft", "max_depth_ft"),
        ("rock", "main_rock"),
    ],
)
def test_a_column_of_another_name_is_told_with_the_one_that_is_read(column, wish):
    lots = lots_at([(-70.0, 45.0), (-70.1, 45.0)])
    assert misspelt_wishes(lots.assign(**{column: 4})) == {column: wish}
    # One lot says it rightly, the other does not: what the second says would be lost.
    both = lots.assign(**{column: [None, 4], wish: [4, None]})
    assert misspelt_wishes(both) == {column: wish}
    assert misspelt_wishes(lots.assign(**{column: 4, wish: 4})) == {}
    assert misspelt_wishes(lots.assign(**{column: [None, ""]})) == {}


def test_columns_that_are_read_or_mean_nothing_here_are_not_told():
    lots = lots_at([(-70.0, 45.0)])
    assert misspelt_wishes(lots.assign(name="Hill", main_rock="granite", parcel="7", deed_book=3, address="x")) == {}
