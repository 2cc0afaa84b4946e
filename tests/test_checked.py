"""Faults of hand-written files in sentences: where, what stands there, what may stand there, what to do."""

import re
from pathlib import Path
from typing import Literal

import pytest
from pydantic import BaseModel, ConfigDict, Field

from wellrecords.bid import load_price_book
from wellrecords.checked import checked, read_toml
from wellrecords.errors import ProblemsError, WellRecordsError
from wellrecords.jobs import job_settings
from wellrecords.settings import load_settings
from wellrecords.siting import load_siting_settings
from wellrecords.sources.layout import load_layout, parse_layout

ROOT = Path(__file__).parents[1]
SAMPLE = ROOT / "sample_records"
RAW = re.compile(r"Input should|valid (number|integer|dictionary|boolean|tuple)|Field required|Extra inputs|pydantic")

NUMBER = "it is a number, such as 5 or 0.5"


class Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")

    price: float | dict[float, float] = 1.0
    count: int = Field(default=1, ge=1)
    kind: Literal["house", "barn"] = "house"
    name: str = Field(default="a", min_length=1)
    from_: str = Field(default="b", alias="from")


class Whole(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")

    parts: tuple[Part, ...] = ()
    by_name: dict[str, Part] = {}
    share: float = Field(default=0.5, gt=0, lt=1)
    on: bool = True
    rows: tuple[float, ...] = (1.0,)
    file: Path | None = None


def told(raw):
    with pytest.raises(ProblemsError) as caught:
        checked(Whole, raw, "region.toml", ("table",))
    assert not RAW.search(str(caught.value)), str(caught.value)
    return caught.value.problems


@pytest.mark.parametrize(
    ("raw", "key", "value", "rule"),
    [
        ({"share": 2}, "table.share", "2", "it must be below 1"),
        ({"share": "half"}, "table.share", "half", NUMBER),
        ({"on": "perhaps"}, "table.on", "perhaps", "it is true or false"),
        ({"rows": "5"}, "table.rows", "5", "it is a list in square brackets"),
        ({"file": 5}, "table.file", "5", "it is a path in quotes"),
        ({"parts": [{"count": 1.5}]}, "table.parts.1.count", "1.5", "it is a whole number"),
        ({"parts": [{}, {"count": 0}]}, "table.parts.2.count", "0", "it must be at least 1"),
        ({"parts": [{"kind": "shed"}]}, "table.parts.1.kind", "shed", "it is 'house' or 'barn'"),
        ({"parts": [{"name": ""}]}, "table.parts.1.name", "", "it must not be blank"),
        (
            {"parts": [{"price": "x"}]},
            "table.parts.1.price",
            "x",
            "it is a number, such as 5 or 0.5 or a table of its own",
        ),
        ({"by_name": {"a": 3}}, "table.by_name.a", "3", "it is a table of its own"),
    ],
)
def test_each_kind_of_fault_is_a_sentence(raw, key, value, rule):
    (problem,) = told(raw)
    assert (problem.file, problem.column, problem.value, problem.rule) == ("region.toml", key, value, rule)
    assert problem.next_step


def test_a_misspelt_key_is_told_with_those_that_there_are():
    (problem,) = told({"by_name": {"a": {"cuont": 3}}})
    assert problem.column == "table.by_name.a.cuont"
    assert problem.rule == "the settings here are count, from, kind, name, price"
    assert problem.next_step.startswith("did you mean count?")
    (problem,) = told({"parts": [{"zzz": 3}]})
    assert problem.next_step == "remove it"


@pytest.mark.parametrize(
    ("load", "file", "before", "after"),
    [
        (load_price_book, "price_book.toml", "unit_cost_usd = 950", 'unit_cost_usd = "dear"'),
        (load_price_book, "price_book.toml", 'key = "permit"', 'key = "Permit 1"'),
        (load_price_book, "price_book.toml", "spread = 0.15", "spread = -1"),
        (load_siting_settings, "setbacks.toml", "tolerance_ft = 3.0", 'tolerance_ft = "three"'),
        (load_siting_settings, "setbacks.toml", "candidates = 5", "candidates = 0.5"),
        (load_siting_settings, "setbacks.toml", "house = true", 'house = "perhaps"'),
        (load_siting_settings, "setbacks.toml", "up_to_kv = 50.0", "kv = 50.0"),
    ],
)
def test_the_samples_with_a_slip_are_told_without_a_validator_s_words(tmp_path, load, file, before, after):
    text = (SAMPLE / file).read_text("utf-8")
    assert before in text
    path = tmp_path / file
    path.write_text(text.replace(before, after, 1), "utf-8")
    with pytest.raises(ProblemsError) as caught:
        load(path)
    assert not RAW.search(str(caught.value)), str(caught.value)
    for problem in caught.value.problems:
        assert problem.file == str(path)
        assert problem.column
        assert problem.rule
        assert problem.next_step


@pytest.mark.parametrize(
    "slip",
    [
        "[estimate]\nmax_depth_ft = 'deep'",
        "[demand]\npersons = 0",
        "[demand]\nlivestock = 3",
        "[construction]\nat_limit = 'pray'",
        "[water_system]\npipes_in = 2",
        "[bid]\nquantiles = [0.1]",
        "[outcomes]\nlevel = 7",
        "[report]\nsurface_cells = 'many'",
    ],
)
def test_every_table_of_a_region_is_told_so(tmp_path, slip):
    from wellrecords.outcomes import OutcomesSettings
    from wellrecords.report.settings import ReportSettings

    path = tmp_path / "region.toml"
    head = '[region]\nname = "R"\ncrs = "EPSG:26919"\nbounds = [-71, 45, -69, 46]\nstore = "s"\n'
    path.write_text(f'{head}[[sources]]\nfile = "a.csv"\nlayout = "california_wcr"\n{slip}\n')
    settings = load_settings(path)

    def check():
        job_settings(settings)
        settings.part("outcomes", OutcomesSettings)
        settings.part("report", ReportSettings)

    with pytest.raises(ProblemsError) as caught:
        check()
    assert not RAW.search(str(caught.value)), str(caught.value)
    assert caught.value.problems[0].file == str(path)


def test_a_layout_too():
    with pytest.raises(ProblemsError) as caught:
        parse_layout("[columns]\nfoo = 3\n", "mine.toml")
    assert not RAW.search(str(caught.value)), str(caught.value)


def test_a_file_that_cannot_be_read_is_told(tmp_path):
    path = tmp_path / "a.toml"
    with pytest.raises(WellRecordsError, match=r"There is no price book .*a\.toml\. Next: name one\."):
        read_toml(path, "price book", "name one")
    with pytest.raises(WellRecordsError, match="There is no price book"):
        read_toml(tmp_path, "price book", "name one")
    path.write_bytes(b"a = '\xff'")
    with pytest.raises(WellRecordsError, match="not UTF-8"):
        read_toml(path, "price book", "name one")
    path.write_text("a = = 1")
    with pytest.raises(WellRecordsError, match=r"not valid TOML.*line 1"):
        read_toml(path, "price book", "name one")


@pytest.mark.parametrize(
    ("read", "told"),
    [
        (
            lambda: load_settings(SAMPLE / "price_book.toml"),
            "seems to be a price book; what is wanted here is a region's",
        ),
        (lambda: load_settings(SAMPLE / "setbacks.toml"), "seems to be a file of setbacks; what is wanted"),
        (
            lambda: load_layout(ROOT / "pipelines" / "sample_region.toml"),
            "wanted here is a layout of a source. Next: name",
        ),
        (lambda: load_price_book(SAMPLE / "setbacks.toml"), "wanted here is a price book"),
        (lambda: load_siting_settings(SAMPLE / "price_book.toml"), "wanted here is a file of setbacks"),
    ],
    ids=["settings 1", "settings 2", "layout", "price book", "setbacks"],
)
def test_a_file_of_another_kind_is_known_for_what_it_is(read, told):
    with pytest.raises(WellRecordsError, match=told):
        read()


@pytest.mark.parametrize("given", [{}, {"wells": []}])
def test_a_missing_setting_that_has_a_form_is_told_it(given):
    class Asked(BaseModel):
        wells: list[str] = Field(min_length=1, description='their names, as wells = ["A", "B"]')

    with pytest.raises(ProblemsError, match=r'Next: write in the file their names, as wells = \["A", "B"\]\.'):
        checked(Asked, given, "a.toml")
