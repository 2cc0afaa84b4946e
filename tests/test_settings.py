from pathlib import Path

import pytest
from pydantic import BaseModel, ConfigDict

from wellrecords.errors import ProblemsError, WellRecordsError
from wellrecords.settings import load_settings

GOOD = """
[region]
name = "Somewhere"
crs = "EPSG:26919"
bounds = [-70.3, 45.1, -69.8, 45.5]
terrain = "ground.tif"
store = "../out"

[[sources]]
file = "records/state.csv"
layout = "state_csv"

[[sources]]
file = "/data/firm.xlsx"
layout = "layouts/firm.toml"
name = "firm"
private = true

[matching]
threshold = 4.5

[bid]
price_book = "prices.toml"
markup = 0.2

[siting]
setbacks = "setbacks.toml"
site_plans = "plans.geojson"

[outcomes]
file = "drilled.csv"
estimates = "estimates"
"""


@pytest.fixture
def write(tmp_path):
    def to_file(text: str) -> Path:
        path = tmp_path / "region.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return to_file


def test_paths_count_from_the_settings_file(write, tmp_path):
    settings = load_settings(write(GOOD))
    assert settings.region.terrain == (tmp_path / "ground.tif").resolve()
    assert settings.region.store == (tmp_path.parent / "out").resolve()
    assert settings.sources[0].file == (tmp_path / "records" / "state.csv").resolve()
    assert settings.sources[0].layout == "state_csv"
    assert settings.sources[1].file == Path("/data/firm.xlsx")
    assert settings.sources[1].layout == str((tmp_path / "layouts" / "firm.toml").resolve())
    assert settings.bid["price_book"] == str((tmp_path / "prices.toml").resolve())
    assert settings.siting == {
        "setbacks": str((tmp_path / "setbacks.toml").resolve()),
        "site_plans": str((tmp_path / "plans.geojson").resolve()),
    }
    assert settings.outcomes == {
        "file": str((tmp_path / "drilled.csv").resolve()),
        "estimates": str((tmp_path / "estimates").resolve()),
    }
    assert settings.matching.threshold == 4.5
    assert settings.sources[1].private
    assert settings.sources[0].private is None, "the layout says it"


@pytest.mark.parametrize(
    ("before", "after", "key", "says"),
    [
        ('name = "Somewhere"', 'nom = "Somewhere"', "region.nom", "unknown setting"),
        ('name = "Somewhere"', "", "region.name", "missing setting"),
        ('"EPSG:26919"', '"EPSG:4326"', "region.crs", "projected system in metres"),
        ('"EPSG:26919"', '"EPSG:2249"', "region.crs", "projected system in metres"),  # US survey feet
        ('"EPSG:26919"', '"nowhere"', "region.crs", "not a coordinate system that PROJ knows"),
        ('"EPSG:26919"', '"EPSG:2283"', "region.crs", "the UTM zone of the bounds is 'EPSG:26919'"),
        ("[-70.3, 45.1, -69.8, 45.5]", "[-69.8, 45.1, -70.3, 45.5]", "region.bounds", "west < east"),
        ("threshold = 4.5", 'threshold = "high"', "matching.threshold", "it is a number"),
        ("private = true", 'private = "perhaps"', "sources.2.private", "true or false"),
        ("[matching]", "[matchings]", "matchings", "unknown setting"),
    ],
)
def test_a_wrong_key_is_named_with_file_and_rule(write, before, after, key, says):
    path = write(GOOD.replace(before, after))
    with pytest.raises(ProblemsError) as caught:
        load_settings(path)
    problem = next(each for each in caught.value.problems if each.column == key)
    assert problem.file == str(path)
    assert says in str(problem)


def test_a_list_of_wrong_items_is_not_also_told_as_too_short(write):
    one_source = GOOD.partition("[[sources]]")[0] + '[[sources]]\nfiel = "a.csv"\n'
    with pytest.raises(ProblemsError) as caught:
        load_settings(write(one_source))
    assert {problem.column for problem in caught.value.problems} == {
        "sources.1.fiel",
        "sources.1.file",
        "sources.1.layout",
    }


def test_all_wrong_keys_are_told_at_once(write):
    path = write(GOOD.replace('name = "Somewhere"', "").replace("threshold = 4.5", "treshold = 4.5"))
    with pytest.raises(ProblemsError) as caught:
        load_settings(path)
    assert {problem.column for problem in caught.value.problems} == {"region.name", "matching.treshold"}


def test_what_is_no_toml_is_said_with_its_line(write, tmp_path):
    with pytest.raises(WellRecordsError, match="line 2"):
        load_settings(write("\n[region\n"))
    with pytest.raises(WellRecordsError, match="no settings file"):
        load_settings(tmp_path / "absent.toml")


def test_one_file_listed_twice_is_refused(write):
    with pytest.raises(ProblemsError, match="listed twice"):
        load_settings(write(GOOD.replace("/data/firm.xlsx", "records/state.csv")))


class BidTable(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")

    price_book: Path
    markup: float


def test_another_rooms_table_is_checked_by_its_own_model(write):
    assert load_settings(write(GOOD)).part("bid", BidTable).markup == 0.2
    path = write(GOOD.replace("markup = 0.2", "markups = 0.2"))
    with pytest.raises(ProblemsError) as caught:
        load_settings(path).part("bid", BidTable)
    assert {problem.column for problem in caught.value.problems} == {"bid.markup", "bid.markups"}
    assert all(problem.file == str(path) for problem in caught.value.problems)


def test_another_file_can_be_read_for_a_source(write, tmp_path):
    settings = load_settings(write(GOOD))
    other = settings.with_source_files({"firm": tmp_path / "other.xlsx", "state_csv": tmp_path / "new.csv"})
    assert [source.file.name for source in other.sources] == ["new.csv", "other.xlsx"]
    assert settings.sources[1].file == Path("/data/firm.xlsx")
    with pytest.raises(WellRecordsError, match="no source"):
        settings.with_source_files({"fern": "x.csv"})


def test_a_source_goes_by_the_name_that_is_printed(tmp_path):
    """The name stands in the layout file, which is called otherwise."""
    (tmp_path / "my layout.toml").write_text('name = "county_wells"\n[[positions]]\nkind = "geometry"\n')
    file = tmp_path / "region.toml"
    file.write_text(
        '[region]\nname = "R"\ncrs = "EPSG:26919"\nbounds = [-71, 45, -69, 46]\nstore = "store"\n'
        '[[sources]]\nfile = "a.csv"\nlayout = "my layout.toml"\n'
    )
    other = load_settings(file).with_source_files({"county_wells": tmp_path / "b.csv"})
    assert other.sources[0].file.name == "b.csv"
    with pytest.raises(WellRecordsError, match="Sources: county_wells"):
        other.with_source_files({"fern": "x.csv"})
