import json
import threading

import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest

from wellrecords import store
from wellrecords.errors import WellRecordsError
from wellrecords.schema import LAYER_COLUMNS, WELL_COLUMNS, as_wells, check_wells, empty_table
from wellrecords.store import read_manifest, read_table, read_wells, write_dataset


def some_wells(count: int, seed: int = 0) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    depth = rng.uniform(50.0, 500.0, count)
    table = pd.DataFrame(
        {
            "record_id": [f"w{number:06d}" for number in range(count)],
            "source": "made_up",
            "record_kind": "new",
            "well_use": "domestic",
            "drilled_on": pd.Timestamp("2001-02-03"),
            "longitude": rng.uniform(-70.3, -69.9, count),
            "latitude": rng.uniform(45.1, 45.4, count),
            "position_method": "gps",
            "position_error_m": 5.0,
            "total_depth_ft": depth,
            "drilling_method": "unknown",
            "depth_to_bedrock_ft_low": depth,
            "depth_to_bedrock_ft_high": np.inf,
            "depth_to_water_ft_low": -np.inf,
            "depth_to_water_ft_high": 0.0,
            "yield_method": "unknown",
            "private": False,
        }
    )
    return as_wells(table)


def dataset(count: int, seed: int = 0) -> dict[str, pd.DataFrame]:
    return {"wells": some_wells(count, seed), "layers": empty_table(LAYER_COLUMNS)}


def test_what_was_written_is_read_back_in_the_canonical_types(tmp_path):
    written = some_wells(200)
    write_dataset(tmp_path, {"wells": written, "layers": empty_table(LAYER_COLUMNS)}, {"counts": {"kept": 200}})
    read = read_wells(tmp_path)
    check_wells(read)
    assert {name: str(dtype) for name, dtype in read.drop(columns="geometry").dtypes.items()} == WELL_COLUMNS
    assert read.crs == written.crs
    left = read.drop(columns="geometry").sort_values("record_id", ignore_index=True)
    pd.testing.assert_frame_equal(left, written.drop(columns="geometry"))
    assert read_manifest(tmp_path)["rows"] == {"wells": 200, "layers": 0}
    assert list(read_table(tmp_path, "layers").columns) == list(LAYER_COLUMNS)


def test_another_table_is_read_for_some_records_alone(tmp_path):
    zones = pd.DataFrame({"record_id": ["a", "b", "b", "c"], "depth_ft": [1.0, 2.0, 3.0, 4.0]})
    write_dataset(tmp_path, {"wells": some_wells(20), "water_zones": zones}, {})
    assert read_table(tmp_path, "water_zones", ["b", "d"])["depth_ft"].tolist() == [2.0, 3.0]
    assert len(read_table(tmp_path, "water_zones", [])) == 0
    assert len(read_table(tmp_path, "water_zones")) == 4


def test_the_file_is_geoparquet_1_1_with_covering_boxes_zstd_and_hilbert_order(tmp_path):
    version = write_dataset(tmp_path, dataset(3_000), {})
    meta = pq.read_metadata(version / "wells.parquet")
    geo = json.loads(meta.metadata[b"geo"])
    assert geo["version"] == "1.1.0"
    assert "covering" in geo["columns"]["geometry"]
    assert meta.row_group(0).column(0).compression == "ZSTD"
    wells = read_wells(tmp_path)
    step = np.hypot(np.diff(wells.geometry.x), np.diff(wells.geometry.y))
    shuffled = wells.sample(frac=1.0, random_state=0)
    as_it_comes = np.hypot(np.diff(shuffled.geometry.x), np.diff(shuffled.geometry.y))
    assert step.mean() < as_it_comes.mean() / 10


def test_a_box_and_chosen_columns_are_read(tmp_path):
    write_dataset(tmp_path, dataset(500), {})
    box = (-70.2, 45.2, -70.1, 45.3)
    everything = read_wells(tmp_path)
    inside = everything.cx[box[0] : box[2], box[1] : box[3]]
    read = read_wells(tmp_path, bbox=box, columns=["record_id", "yield_gpm_low"])
    assert set(read["record_id"]) == set(inside["record_id"])
    assert 0 < len(read) < 500
    assert list(read.columns) == ["record_id", "yield_gpm_low", "geometry"]
    with pytest.raises(WellRecordsError, match="no column depth_of_hole"):
        read_wells(tmp_path, columns=["depth_of_hole"])


def test_the_order_of_the_rows_does_not_matter(tmp_path):
    wells = some_wells(300)
    wells.loc[100:200, ["longitude", "latitude"]] = [-70.0, 45.2]  # many on one point
    first = write_dataset(tmp_path / "a", {"wells": wells}, {})
    second = write_dataset(tmp_path / "b", {"wells": wells.sample(frac=1.0, random_state=1)}, {})
    assert (first / "wells.parquet").read_bytes() == (second / "wells.parquet").read_bytes()


def test_a_new_version_stands_beside_the_old_and_the_one_before_is_kept(tmp_path):
    versions = [write_dataset(tmp_path, dataset(10 + number), {}) for number in range(4)]
    assert [version.exists() for version in versions] == [False, False, True, True]
    assert len(read_wells(tmp_path)) == 13
    assert (tmp_path / "CURRENT").read_text().strip() == versions[-1].name


def test_a_run_that_dies_leaves_the_old_dataset_whole(tmp_path, monkeypatch):
    write_dataset(tmp_path, dataset(10), {})

    def dies(*_):
        msg = "the disk is full"
        raise OSError(msg)

    monkeypatch.setattr(store, "_write_wells", dies)
    with pytest.raises(WellRecordsError, match=r"disk is full.*Next:"):
        write_dataset(tmp_path, dataset(20), {})
    assert len(read_wells(tmp_path)) == 10
    assert len(list((tmp_path / "versions").iterdir())) == 1


def test_readers_see_the_old_or_the_new_dataset_whole(tmp_path):
    write_dataset(tmp_path, dataset(50), {"counts": 50})
    seen, stop = [], threading.Event()

    def read() -> None:
        while not stop.is_set():
            version = store.current_version(tmp_path)
            manifest = json.loads((version / "manifest.json").read_text())
            seen.append((manifest["counts"], manifest["rows"]["wells"], (version / "wells.parquet").stat().st_size > 0))

    reader = threading.Thread(target=read)
    reader.start()
    for number in range(51, 56):
        write_dataset(tmp_path, dataset(number), {"counts": number})
    stop.set()
    reader.join()
    assert seen
    assert all(counts == rows and whole for counts, rows, whole in seen)


def test_an_empty_store_another_schema_and_an_unknown_table_are_said_clearly(tmp_path):
    with pytest.raises(WellRecordsError, match="no dataset"):
        read_wells(tmp_path)
    version = write_dataset(tmp_path, dataset(3), {})
    with pytest.raises(WellRecordsError, match="It has: layers, wells"):
        read_table(tmp_path, "wels")
    manifest = json.loads((version / "manifest.json").read_text())
    (version / "manifest.json").write_text(json.dumps({**manifest, "schema_version": 99}))
    with pytest.raises(WellRecordsError, match="schema version 99"):
        read_wells(tmp_path)


def test_a_store_that_cannot_be_made_is_said_clearly(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(WellRecordsError, match="cannot be written"):
        write_dataset(tmp_path / "file" / "store", dataset(3), {})


def test_an_empty_dataset_can_be_written_and_read(tmp_path):
    write_dataset(tmp_path, {"wells": as_wells(empty_table(WELL_COLUMNS))}, {})
    assert len(read_wells(tmp_path)) == 0


def test_further_files_travel_with_the_version(tmp_path):
    version = write_dataset(tmp_path, dataset(3), {}, {"held_back/firm.csv": b"a,b\n"})
    assert (version / "held_back" / "firm.csv").read_bytes() == b"a,b\n"
