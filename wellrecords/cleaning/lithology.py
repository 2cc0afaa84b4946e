"""Layers in a driller's words: to material classes, and to the surface of solid rock.

The words stand in ``lithology.toml`` beside this module; a region may name
its own file. Every different text is read once, so that five million layers
cost what their few thousand texts cost.
"""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path

import numpy as np
import pandas as pd
from rapidfuzz import process
from rapidfuzz.distance import OSA

from wellrecords.errors import Problem, ProblemsError, WellRecordsError
from wellrecords.ledger import CHANGE_COLUMNS, change_rows, interval_text, stack
from wellrecords.schema import MATERIAL_CLASSES, TEXT, empty_table

LOOSE = ("soil", "clay", "silt", "sand", "gravel", "till")
SAME_AS_ABOVE = "same_as_above"
GAP_FT = 0.5
"""Layers that lie so close follow on one another."""

_WORD = re.compile(r"[a-z]+(?:/[a-z]\b)?/?|\"+")
_PHRASE_ENDS = re.compile(r"[,;:()&+]|\b(?:and|with|or|over|in)\b|\bw/")
_DESCRIBES = re.compile(r"(?:y|ey|ly|ish)$")


@dataclass(frozen=True)
class Vocabulary:
    """Words of the trade and what they mean.

    Attributes
    ----------
    classes : dict of str to str
        Word -> material class.
    short : dict of str to str
        Short form (one word or more) -> the words that it stands for.
    weathered, solid, ignore, same : frozenset of str
        Words that qualify a rock, that turn a loose word into rock, that name
        no material, that repeat the layer above.
    """

    classes: dict[str, str]
    short: dict[str, str]
    weathered: frozenset[str]
    solid: frozenset[str]
    ignore: frozenset[str]
    same: frozenset[str]
    known: tuple[str, ...] = field(init=False)

    def __post_init__(self) -> None:
        long_words = {word for word in (*self.classes, *self.weathered, *self.ignore, *self.short) if len(word) >= 5}
        object.__setattr__(self, "known", tuple(sorted(word for word in long_words if " " not in word)))


def load_vocabulary(path: str | Path | None = None) -> Vocabulary:
    """Read a vocabulary file and check it.

    Parameters
    ----------
    path : path, optional
        A TOML file built as the shipped ``lithology.toml``, which is the default.

    Returns
    -------
    Vocabulary

    Raises
    ------
    WellRecordsError
        If the file cannot be read.
    ProblemsError
        One problem an unknown class, or a word with two classes.
    """
    name = str(path) if path else "lithology.toml"
    try:
        text = (
            resources.files("wellrecords.cleaning").joinpath("lithology.toml").read_text(encoding="utf-8")
            if path is None
            else Path(path).read_text(encoding="utf-8-sig")
        )
        raw = tomllib.loads(text)
        classes_of, short = raw["classes"], raw["short"]
        qualify, ignore = raw["qualify"], raw["ignore"]
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, KeyError) as error:
        msg = f"The lithology vocabulary {name} cannot be read: {error}. Next: build it as the shipped lithology.toml."
        raise WellRecordsError(msg) from error
    problems = []
    classes: dict[str, str] = {}
    for material_class, words in classes_of.items():
        if material_class not in MATERIAL_CLASSES:
            rule = f"one of {', '.join(MATERIAL_CLASSES)}"
            problems.append(
                Problem("unknown material class", rule, "rename it", file=name, value=material_class, code="vocabulary")
            )
        for word in words:
            if classes.setdefault(word, material_class) != material_class:
                rule = "a word has one class"
                problems.append(Problem("two classes", rule, "remove one", file=name, value=word, code="vocabulary"))
    if problems:
        raise ProblemsError(problems, "The lithology vocabulary cannot be used")
    return Vocabulary(
        classes=classes,
        short=dict(short),
        weathered=frozenset(qualify["weathered"]),
        solid=frozenset(qualify["solid"]),
        ignore=frozenset(ignore["words"]),
        same=frozenset(ignore["same"]),
    )


@dataclass(frozen=True)
class Reading:
    """What one layer text says: a class, the rock's name where there is one, and words nobody knows."""

    material_class: str
    rock: str | None
    unknown: tuple[str, ...]


def read_material(text: str, vocabulary: Vocabulary) -> Reading:
    """Read one layer text.

    Parameters
    ----------
    text : str
        As written ("Brn sandy cly w/ grvl").
    vocabulary : Vocabulary

    Returns
    -------
    Reading
        `material_class` is one of `schema.MATERIAL_CLASSES`, or
        `SAME_AS_ABOVE` for "same", "ditto" and the like.

    Examples
    --------
    >>> vocabulary = load_vocabulary()
    >>> read_material("Brn sandy cly w/ grvl", vocabulary).material_class
    'clay'
    >>> read_material("weatherd granit", vocabulary)
    Reading(material_class='weathered_rock', rock='granite', unknown=())
    """
    phrases = [words for phrase in _PHRASE_ENDS.split(text.lower()) if (words := _words(phrase, vocabulary))]
    spoken = [word for words in phrases for word in words]
    if spoken and all(word in vocabulary.same or word == '"' for word in spoken):
        return Reading(SAME_AS_ABOVE, None, ())
    named: list[str] = []
    describing: list[str] = []
    rocks: list[str] = []
    unknown: list[str] = []
    weathered = False
    for words in phrases:
        heads: list[str] = []
        rocks_here: list[str] = []
        for word in words:
            known = _known_word(word, vocabulary)
            if known is None:
                root = _described(word, vocabulary)
                if root is None:
                    unknown.append(word)
                else:
                    describing.append(root)
            elif known in vocabulary.weathered:
                # "Granite with decomposed seams": what is said of a later phrase is not said of the first.
                weathered |= not named
            elif known in vocabulary.classes:
                heads.append(known)
                if vocabulary.classes[known] == "rock" and known not in vocabulary.solid:
                    rocks_here.append(known)
        if heads:
            # The last noun of a phrase is what is there: "sand rock", "mica schist"; but a coal seam is coal.
            seam = len(heads) > 1 and vocabulary.classes[heads[-1]] == "void"
            named.append(heads[-2] if seam else heads[-1])
        rocks += rocks_here[-1:]
    if not named:
        # "Sandy" alone: the describing word is all there is.
        material_class = vocabulary.classes[describing[0]] if describing else "unknown"
        return Reading(material_class, None, tuple(unknown))
    material_class = vocabulary.classes[named[0]]
    if material_class == "rock" and weathered:
        material_class = "weathered_rock"
    rock = rocks[0] if rocks and material_class in ("rock", "weathered_rock") else None
    return Reading(material_class, rock, tuple(unknown))


@dataclass(frozen=True)
class Lithology:
    """Layers with their classes, and what they say about the wells.

    Attributes
    ----------
    wells : pandas.DataFrame
        `depth_to_bedrock_ft` and `main_rock` filled from the layers where null.
    layers : pandas.DataFrame
        With `material_class`.
    changes : pandas.DataFrame
        One ledger row a filled value.
    disagree : pandas.DataFrame
        `record_id`, `value`, `layers_say`: wells whose figure for rock differs from the layers' by more than 10 ft.
    unknown_words : pandas.DataFrame
        `word`, `layers` (count), `example`, the most frequent first.
    """

    wells: pd.DataFrame
    layers: pd.DataFrame
    changes: pd.DataFrame
    disagree: pd.DataFrame
    unknown_words: pd.DataFrame


DISAGREE_FT = 10.0
UNKNOWN_WORD_COLUMNS = {"word": TEXT, "layers": "int64", "example": TEXT}


def read_lithology(
    wells: pd.DataFrame, layers: pd.DataFrame, vocabulary: Vocabulary, min_rock_ft: float = 5.0
) -> Lithology:
    """Class the layers and take the rock surface from them where a well has no figure.

    Parameters
    ----------
    wells : pandas.DataFrame
        Canonical columns and `file_row`.
    layers : pandas.DataFrame
        `schema.LAYER_COLUMNS`; a class that is already there is read anew from the words.
    vocabulary : Vocabulary
    min_rock_ft : float
        A thinner rock layer with loose ground below is a boulder.

    Returns
    -------
    Lithology
    """
    if layers.empty:
        nothing = pd.DataFrame({"record_id": [], "value": [], "layers_say": []}, dtype=TEXT)
        return Lithology(wells, layers, empty_table(CHANGE_COLUMNS), nothing, empty_table(UNKNOWN_WORD_COLUMNS))
    layers = layers.sort_values(["record_id", "from_ft", "to_ft", "material"], kind="stable").reset_index(drop=True)
    codes, texts = pd.factorize(layers["material"])
    readings = [read_material(str(text), vocabulary) for text in texts] + [Reading("unknown", None, ())]
    material_class = np.array([reading.material_class for reading in readings], dtype=object)[codes]
    rock_name = np.array([reading.rock for reading in readings], dtype=object)[codes]
    material_class, rock_name = _repeat_above(layers["record_id"].to_numpy(), material_class, rock_name)
    layers["material_class"] = pd.Series(material_class, dtype=TEXT)
    surface = rock_surface(layers, min_rock_ft)
    main = _main_rock(layers, rock_name)
    wells = wells.copy()
    from_layers = surface.reindex(wells["record_id"])
    low, high = from_layers["low"].to_numpy(), from_layers["high"].to_numpy()
    empty = wells["depth_to_bedrock_ft_low"].isna().to_numpy() & ~np.isnan(low)
    changes = [
        change_rows(
            wells.loc[empty],
            "depth_to_bedrock_ft",
            before=np.full(int(empty.sum()), None),
            after=interval_text(low[empty], high[empty]),
            rule="rock_from_layers",
            why="no figure was given; read from the layers",
        )
    ]
    given_low, given_high = wells["depth_to_bedrock_ft_low"].to_numpy(), wells["depth_to_bedrock_ft_high"].to_numpy()
    apart = np.nan_to_num(np.fmax(given_low - high, low - given_high), nan=0.0) > DISAGREE_FT
    disagree = pd.DataFrame(
        {
            "record_id": wells["record_id"].to_numpy()[apart],
            "value": interval_text(given_low[apart], given_high[apart]),
            "layers_say": interval_text(low[apart], high[apart]),
        }
    )
    wells.loc[empty, "depth_to_bedrock_ft_low"] = low[empty]
    wells.loc[empty, "depth_to_bedrock_ft_high"] = high[empty]
    named = main.reindex(wells["record_id"]).astype(object).to_numpy()
    fill = wells["main_rock"].isna().to_numpy() & pd.notna(named)
    changes.append(
        change_rows(
            wells.loc[fill],
            "main_rock",
            before=np.full(int(fill.sum()), None),
            after=named[fill],
            rule="rock_name_from_layers",
            why="no rock was named; the thickest rock layer's name",
        )
    )
    wells.loc[fill, "main_rock"] = named[fill]
    return Lithology(wells, layers, stack(changes, CHANGE_COLUMNS), disagree, _unknown_words(codes, texts, readings))


def rock_surface(layers: pd.DataFrame, min_rock_ft: float = 5.0) -> pd.DataFrame:
    """Return the interval in which the surface of solid rock lies, well by well.

    The surface is the top of the first solid rock that is no boulder. Where
    the ground just above it is not named, or a stretch is missing from the
    log, it lies between the last ground known to be loose or weathered and
    that top. A hole that ends in loose or weathered ground says only that rock
    is deeper than the last such layer.

    Parameters
    ----------
    layers : pandas.DataFrame
        `record_id`, `from_ft`, `to_ft`, `material_class`, sorted by record and depth.
    min_rock_ft : float
        A rock layer (or an unbroken run of them) thinner than this, with loose ground below, is a boulder.

    Returns
    -------
    pandas.DataFrame
        Columns `low`, `high`, feet, indexed by `record_id`; wells whose layers say nothing are absent.
    """
    usable = layers["from_ft"].notna() & layers["to_ft"].notna() & (layers["from_ft"] <= layers["to_ft"])
    table = layers.loc[usable]
    if table.empty:
        return pd.DataFrame({"low": pd.Series(dtype=float), "high": pd.Series(dtype=float)})
    ids, names = pd.factorize(table["record_id"])
    top, bottom = table["from_ft"].to_numpy(dtype=float), table["to_ft"].to_numpy(dtype=float)
    material = table["material_class"].to_numpy(dtype=object)
    rock = material == "rock"
    above_rock = np.isin(material, [*LOOSE, "weathered_rock"])
    loose = np.isin(material, LOOSE)
    # Runs of rock that follow on one another count as one layer.
    joins = np.r_[False, (ids[1:] == ids[:-1]) & rock[1:] & rock[:-1] & (top[1:] <= bottom[:-1] + GAP_FT)]
    run = np.cumsum(~joins)
    thickness = pd.Series(bottom).groupby(run).max().to_numpy() - pd.Series(top).groupby(run).min().to_numpy()
    deepest_loose = _per_well(np.where(loose, bottom, -np.inf), ids, np.maximum)
    boulder = rock & (thickness[run - 1] < min_rock_ft) & (deepest_loose[ids] > bottom)
    solid = rock & ~boulder
    surface = _per_well(np.where(solid, top, np.inf), ids, np.minimum)
    # The deepest ground above that surface that is known not to be solid rock, boulders among it.
    not_rock = (above_rock | boulder) & (bottom <= surface[ids] + GAP_FT)
    known_to = _per_well(np.where(not_rock, bottom, -np.inf), ids, np.maximum)
    found = np.isfinite(surface)
    # Nothing is known of the ground above: the surface lies between the ground and the rock's top.
    low = np.where(found & (known_to == -np.inf), 0.0, known_to)
    low = np.where(found & (surface - low <= GAP_FT), surface, low)
    said = np.isfinite(low)
    high = np.where(found, surface, np.inf)
    return pd.DataFrame({"low": low[said], "high": high[said]}, index=pd.Index(names[said], name="record_id"))


def _per_well(values: np.ndarray, ids: np.ndarray, reduce: np.ufunc) -> np.ndarray:
    """Reduce values over runs of equal, sorted ids."""
    starts = np.flatnonzero(np.r_[True, ids[1:] != ids[:-1]])
    return reduce.reduceat(values, starts)


def _repeat_above(
    record: np.ndarray, material_class: np.ndarray, rock_name: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Give layers called "same" the class of the one above them in the same hole."""
    same = material_class == SAME_AS_ABOVE
    if not same.any():
        return material_class, rock_name
    first = np.r_[True, record[1:] != record[:-1]]
    stands = ~same | first
    place = np.maximum.accumulate(np.where(stands, np.arange(len(stands)), 0))
    filled, names = material_class[place], rock_name[place]
    return np.where(filled == SAME_AS_ABOVE, "unknown", filled).astype(object), names


def _main_rock(layers: pd.DataFrame, rock_name: np.ndarray) -> pd.Series:
    named = pd.DataFrame(
        {
            "record_id": layers["record_id"],
            "rock": rock_name,
            "thick": (layers["to_ft"] - layers["from_ft"]).clip(lower=0),
        }
    )
    named = named[named["rock"].notna() & (layers["material_class"].isin(["rock", "weathered_rock"]))]
    total = named.groupby(["record_id", "rock"])["thick"].sum().reset_index()
    total = total.sort_values(["record_id", "thick", "rock"], ascending=[True, False, True], kind="stable")
    return total.drop_duplicates("record_id").set_index("record_id")["rock"]


def _unknown_words(codes: np.ndarray, texts: pd.Index, readings: list[Reading]) -> pd.DataFrame:
    counts = np.bincount(codes[codes >= 0], minlength=len(texts))
    layers: Counter[str] = Counter()
    example: dict[str, str] = {}
    for text, reading, count in zip(texts, readings[:-1], counts, strict=True):
        for word in reading.unknown:
            layers[word] += int(count)
            example.setdefault(word, str(text))
    ordered = sorted(layers.items(), key=lambda item: (-item[1], item[0]))
    return pd.DataFrame(
        {
            "word": pd.Series([word for word, _ in ordered], dtype=TEXT),
            "layers": pd.Series([count for _, count in ordered], dtype="int64"),
            "example": pd.Series([example[word] for word, _ in ordered], dtype=TEXT),
        }
    )


def _words(text: str, vocabulary: Vocabulary) -> list[str]:
    """Cut a phrase into words, short forms written out."""
    words = _WORD.findall(text)
    out: list[str] = []
    place = 0
    while place < len(words):
        for length in (3, 2, 1):
            phrase = " ".join(words[place : place + length])
            if len(words) - place >= length and phrase in vocabulary.short:
                out.extend(vocabulary.short[phrase].split())
                place += length
                break
        else:
            out.extend(part for part in words[place].split("/") if part)
            place += 1
    return out


def _known_word(word: str, vocabulary: Vocabulary) -> str | None:
    """Return the word of the vocabulary that this one is, be it misspelt or in the plural."""
    for form in (word, word.removesuffix("s"), word.removesuffix("es")):
        if form in vocabulary.classes or form in vocabulary.weathered or form in vocabulary.ignore:
            return form
    if _described(word, vocabulary) is not None or len(word) < 5:
        return None
    close = process.extractOne(word, vocabulary.known, scorer=OSA.distance, score_cutoff=1 if len(word) < 9 else 2)
    if close is None:
        return None
    found = close[0]
    return vocabulary.short[found].split()[-1] if found in vocabulary.short else found


def _described(word: str, vocabulary: Vocabulary) -> str | None:
    """Return the material that "sandy", "silty", "gravelly" or "bouldery" speaks of."""
    if not _DESCRIBES.search(word):
        return None
    for ending in ("ey", "ly", "y", "ish"):
        for root in (word.removesuffix(ending), word.removesuffix(ending) + "e"):
            if len(root) < len(word) and root in vocabulary.classes:
                return root
    return None
