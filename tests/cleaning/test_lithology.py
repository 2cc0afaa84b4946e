import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wellrecords.cleaning.lithology import (
    SAME_AS_ABOVE,
    load_vocabulary,
    read_lithology,
    read_material,
    rock_surface,
)
from wellrecords.errors import ProblemsError, WellRecordsError
from wellrecords.schema import LAYER_COLUMNS, MATERIAL_CLASSES, WELL_COLUMNS, conform

VOCABULARY = load_vocabulary()


@pytest.mark.parametrize(
    ("text", "material_class"),
    [
        # As drillers write them; what each means is common practice.
        ("topsoil", "soil"),
        ("TOP SOIL & ROCKS", "soil"),
        ("O/B", "soil"),
        ("overburdan", "soil"),
        ("fill", "soil"),
        ("blue clay", "clay"),
        ("Brn sandy cly w/ grvl", "clay"),
        ("silty clay", "clay"),
        ("rocky clay", "clay"),
        ("clay w/ sand lenses", "clay"),
        ("silt, soft", "silt"),
        ("med sand", "sand"),
        ("gravelly sand", "sand"),
        ("sand and gravel", "sand"),
        ("sandy", "sand"),
        ("coarse gravel, water", "gravel"),
        ("gravle", "gravel"),
        ("boulders", "gravel"),
        ("hardpan", "till"),
        ("hard pan and stones", "till"),
        ("till, stony", "till"),
        ("gravel till", "till"),
        ("boulder clay", "till"),
        ("rotten ledge", "weathered_rock"),
        ("Decomposed Granite", "weathered_rock"),
        ("D.G.", "weathered_rock"),
        ("weatherd granit", "weathered_rock"),
        ("rotten rock, soft", "weathered_rock"),
        ("ledge", "rock"),
        ("bedrok", "rock"),
        ("gry granite", "rock"),
        ("hrd blk lava", "rock"),
        ("sand stone", "rock"),
        ("sandstone", "rock"),
        ("sand rock", "rock"),
        ("soft shale", "rock"),
        ("clay shale", "rock"),
        ("fractured gneiss, water", "rock"),
        ("limestne", "rock"),
        ("rock with clay seams", "rock"),
        ("granite w/ decomposed seams", "rock"),
        ("unweathered granite", "rock"),
        ("coal seam", "rock"),
        ("siltstone/shale", "rock"),
        ("sand & gravel w.b.", "sand"),
        ("quick sand", "sand"),
        ("no sample", "unknown"),
        ("void", "void"),
        ("not logged", "unknown"),
        ("frobnitz", "unknown"),
        ("", "unknown"),
        ("same", SAME_AS_ABOVE),
        ('"', SAME_AS_ABOVE),
        ("as above", SAME_AS_ABOVE),
    ],
)
def test_a_drillers_words_are_read(text, material_class):
    assert read_material(text, VOCABULARY).material_class == material_class


def test_the_name_of_the_rock_and_unknown_words_are_told():
    assert read_material("ledge, gry granit", VOCABULARY).rock == "granite"
    assert read_material("solid ledge", VOCABULARY).rock is None
    assert read_material("mica schist", VOCABULARY).rock == "schist"
    assert read_material("siltstone/shale, w.b.", VOCABULARY).unknown == ()
    assert read_material("clay with granite cobbles", VOCABULARY).rock is None
    assert read_material("zorbled granite", VOCABULARY).unknown == ("zorbled",)


@settings(deadline=None, max_examples=200)
@given(st.text(max_size=60))
def test_any_text_gets_a_known_class(text):
    assert read_material(text, VOCABULARY).material_class in (*MATERIAL_CLASSES, SAME_AS_ABOVE)


def layers_of(*layers: tuple[float, float, str], record: str = "a") -> pd.DataFrame:
    rows = [{"record_id": record, "from_ft": top, "to_ft": bottom, "material": text} for top, bottom, text in layers]
    return conform(pd.DataFrame(rows), LAYER_COLUMNS)


def wells_of(*records: str, **values: object) -> pd.DataFrame:
    rows = [{"record_id": record, "source": "made_up", **values} for record in records]
    return conform(pd.DataFrame(rows), WELL_COLUMNS).assign(file_row=range(2, len(rows) + 2))


def surface(*layers: tuple[float, float, str], min_rock_ft: float = 5.0) -> tuple[float, float] | None:
    classed = read_lithology(wells_of("a"), layers_of(*layers), VOCABULARY, min_rock_ft).layers
    found = rock_surface(classed, min_rock_ft)
    return None if found.empty else (found["low"].iloc[0], found["high"].iloc[0])


@pytest.mark.parametrize(
    ("layers", "expected"),
    [
        # The plain case: exact.
        ([(0, 3, "topsoil"), (3, 22, "clay"), (22, 300, "granite")], (22, 22)),
        # Rock from the ground.
        ([(0, 300, "ledge")], (0, 0)),
        # All of the hole in loose ground: rock lies deeper than the hole.
        ([(0, 40, "clay"), (40, 90, "sand and gravel")], (90, np.inf)),
        # Weathered rock is no seat for casing; the surface is that of the solid rock below.
        ([(0, 10, "clay"), (10, 25, "rotten ledge"), (25, 200, "gneiss")], (25, 25)),
        ([(0, 10, "clay"), (10, 25, "weathered granite")], (25, np.inf)),
        # A boulder is no bedrock; a run of rock of the same thickness in two layers is one layer.
        ([(0, 10, "clay"), (10, 13, "rock"), (13, 40, "clay"), (40, 200, "granite")], (40, 40)),
        ([(0, 10, "clay"), (10, 13, "rock"), (13, 20, "granite"), (20, 30, "clay"), (30, 200, "granite")], (10, 10)),
        # Thin rock at the bottom has nothing loose below it: the driller stopped in rock.
        ([(0, 60, "clay"), (60, 63, "ledge")], (60, 60)),
        # An interbed of clay between flows of lava: the rock surface is the first flow.
        ([(0, 20, "soil"), (20, 60, "lava"), (60, 70, "clay"), (70, 200, "lava")], (20, 20)),
        # A layer nobody can read above the rock, or a gap in the log: the surface lies in it.
        ([(0, 20, "clay"), (20, 35, "frobnitz"), (35, 200, "granite")], (20, 35)),
        ([(0, 20, "clay"), (35, 200, "granite")], (20, 35)),
        # The log starts at 30 ft in rock: the surface is somewhere above.
        ([(30, 200, "granite")], (0, 30)),
        # The bottom is not named: rock may be in it.
        ([(0, 60, "clay"), (60, 90, "frobnitz")], (60, np.inf)),
        # "Same" below rock stays rock, below clay stays clay.
        ([(0, 20, "clay"), (20, 30, "same"), (30, 90, "granite"), (90, 200, '"')], (30, 30)),
        # Nothing that says anything.
        ([(0, 90, "frobnitz")], None),
    ],
)
def test_the_rock_surface_is_taken_from_the_layers(layers, expected):
    assert surface(*layers) == expected


def test_layers_in_any_order_say_the_same():
    layers = [(0, 3, "topsoil"), (3, 22, "clay"), (22, 300, "granite")]
    assert surface(*reversed(layers)) == (22, 22)


def test_only_wells_without_a_figure_are_filled_and_each_filling_is_written_down():
    wells = wells_of("a", "b")
    wells.loc[1, ["depth_to_bedrock_ft_low", "depth_to_bedrock_ft_high"]] = 60.0
    layers = pd.concat(
        [
            layers_of((0, 22, "clay"), (22, 100, "schist"), (100, 300, "granite"), record="a"),
            layers_of((0, 22, "clay"), (22, 300, "granite"), record="b"),
        ]
    )
    result = read_lithology(wells, layers, VOCABULARY)
    assert result.wells["depth_to_bedrock_ft_low"].tolist() == [22.0, 60.0]
    assert result.wells["main_rock"].tolist() == ["granite", "granite"]
    filled = result.changes[result.changes["rule"] == "rock_from_layers"]
    assert filled["record_id"].tolist() == ["a"]
    assert filled["after"].tolist() == ["22"]
    # 60 ft given, 22 ft by the layers: somebody should look.
    assert result.disagree["record_id"].tolist() == ["b"]
    again = read_lithology(result.wells, result.layers, VOCABULARY)
    pd.testing.assert_frame_equal(again.wells, result.wells)
    assert again.changes.empty


def test_a_censored_figure_agrees_with_layers_that_end_above_rock():
    wells = wells_of("a")
    wells.loc[0, ["depth_to_bedrock_ft_low", "depth_to_bedrock_ft_high"]] = [90.0, np.inf]
    result = read_lithology(wells, layers_of((0, 90, "clay")), VOCABULARY)
    assert result.disagree.empty


def test_unknown_words_are_listed_with_counts_the_most_frequent_first():
    layers = layers_of((0, 5, "glorp clay"), (5, 9, "glorp sand"), (9, 12, "zib"), (12, 20, "granite"))
    words = read_lithology(wells_of("a"), layers, VOCABULARY).unknown_words
    assert words[["word", "layers"]].to_numpy().tolist() == [["glorp", 2], ["zib", 1]]


def test_wells_without_layers_and_layers_without_depths_are_no_fault():
    none = conform(pd.DataFrame({"record_id": pd.Series(dtype="string")}), LAYER_COLUMNS)
    assert read_lithology(wells_of("a"), none, VOCABULARY).wells["main_rock"].isna().all()
    layers = layers_of((np.nan, np.nan, "granite"), (50, 20, "clay"))
    assert read_lithology(wells_of("a"), layers, VOCABULARY).wells["depth_to_bedrock_ft_low"].isna().all()


def test_a_vocabulary_that_cannot_be_used_is_said_clearly(tmp_path):
    base = "[short]\n[qualify]\nweathered = []\nsolid = []\n[ignore]\nwords = []\nsame = []\n[classes]\n"
    path = tmp_path / "words.toml"
    path.write_text(base + 'rocky = ["ledge"]\n', encoding="utf-8")
    with pytest.raises(ProblemsError, match="unknown material class"):
        load_vocabulary(path)
    path.write_text(base + 'rock = ["ledge"]\nclay = ["ledge"]\n', encoding="utf-8")
    with pytest.raises(ProblemsError, match="two classes"):
        load_vocabulary(path)
    path.write_text("[classes]\n", encoding="utf-8")
    with pytest.raises(WellRecordsError, match="cannot be read"):
        load_vocabulary(path)


def test_every_word_of_the_shipped_vocabulary_is_read_as_its_class():
    for word, material_class in VOCABULARY.classes.items():
        assert read_material(word, VOCABULARY).material_class == material_class, word
