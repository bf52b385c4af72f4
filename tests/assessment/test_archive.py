"""The result folder: written in full or not at all, and read again."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pandas as pd
import pytest

from shutoffsim.engine.unfinished import MARK
from shutoffsim.errors import ModelError, OutputError
from shutoffsim.report import archive
from shutoffsim.report.archive import (
    FILES,
    LISTED,
    RESULT,
    check_place,
    load_assessment,
    save_assessment,
)
from shutoffsim.report.files import to_json
from shutoffsim.study.assessment.result import Assessment


@pytest.fixture
def folder(assessed: Assessment, tmp_path: Path) -> Path:
    save_assessment(assessed, tmp_path / "result")
    return tmp_path / "result"


def test_folder_holds_everything_and_nothing_else(folder: Path) -> None:
    assert sorted(p.name for p in folder.iterdir()) == sorted(FILES)
    assert [p.name for p in folder.parent.iterdir()] == ["result"]


def test_read_again_it_is_the_same(assessed: Assessment, folder: Path) -> None:
    again = load_assessment(folder, incidents=True)
    assert to_json(again) == to_json(assessed)
    assert again.incidents.equals(assessed.incidents)
    assert load_assessment(folder).incidents is None


def test_estimates_are_those_of_the_result(assessed: Assessment, folder: Path) -> None:
    rows = pd.read_csv(folder / "estimates.csv")
    assert list(rows.columns) == ["design", "quantity", "unit", "value", "std_error", "low", "high"]
    pd.testing.assert_frame_equal(rows, pd.read_parquet(folder / "estimates.parquet"))
    assert not rows.duplicated(["design", "quantity"]).any()
    found = rows.set_index(["design", "quantity"])
    for design in assessed.comparison.designs:
        row = found.loc[design.name, "expected annual damage"]
        assert row["value"] == design.expected_annual_damage.value
        assert row["low"] == design.expected_annual_damage.low
        assert row["unit"] == f"{assessed.currency}/year"
    period = assessed.designs[1].yearly_loss.periods[-1]
    row = found.loc[assessed.designs[1].name, "loss of a year, once in 250 years"]
    assert row["value"] == period.aggregate.value


def test_listed_incidents_are_the_largest(assessed: Assessment, folder: Path) -> None:
    listed = pd.read_csv(folder / "incidents.csv")
    every = pd.read_parquet(folder / "incidents.parquet")
    assert len(every) == assessed.incidents.num_rows
    for name in every["design"].unique():
        losses = every.loc[every["design"] == name, "loss"].sort_values(ascending=False)
        told = listed.loc[listed["design"] == name, "loss"]
        assert told.tolist() == losses.head(LISTED).tolist()


def test_saved_twice_the_bytes_are_the_same(assessed: Assessment, folder: Path) -> None:
    before = {name: (folder / name).read_bytes() for name in FILES}
    save_assessment(assessed, folder)
    assert {name: (folder / name).read_bytes() for name in FILES} == before
    assert [p.name for p in folder.parent.iterdir()] == ["result"]


def test_empty_folder_is_filled(assessed: Assessment, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    save_assessment(assessed, tmp_path / "empty")
    assert (tmp_path / "empty" / RESULT).exists()


def test_foreign_folder_is_left_alone(assessed: Assessment, tmp_path: Path) -> None:
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "cat.jpg").write_text("cat")
    with pytest.raises(OutputError, match=r"holds something other(.|\n)*cat.jpg"):
        save_assessment(assessed, tmp_path / "photos")
    assert [p.name for p in (tmp_path / "photos").iterdir()] == ["cat.jpg"]


def test_result_with_a_foreign_file_is_left_alone(assessed: Assessment, folder: Path) -> None:
    (folder / "notes.txt").write_text("mine")
    with pytest.raises(OutputError, match=r"holds something other(.|\n)*notes.txt"):
        save_assessment(assessed, folder)
    assert (folder / "notes.txt").read_text() == "mine"


def test_tables_without_a_result_are_left_alone(tmp_path: Path) -> None:
    (tmp_path / "incidents.csv").write_text("own table")
    with pytest.raises(OutputError, match="holds something other"):
        check_place(tmp_path)


def test_file_in_the_place_is_left_alone(assessed: Assessment, tmp_path: Path) -> None:
    (tmp_path / "result").write_text("text")
    with pytest.raises(OutputError, match="this is a file"):
        save_assessment(assessed, tmp_path / "result")
    assert (tmp_path / "result").read_text() == "text"


def test_missing_parent_is_told(assessed: Assessment, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="no such folder"):
        save_assessment(assessed, tmp_path / "no" / "result")


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_read_only_parent_is_told(assessed: Assessment, tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(OutputError, match="cannot write here"):
            save_assessment(assessed, tmp_path / "result")
    finally:
        tmp_path.chmod(0o700)


def test_unwritable_place_is_told(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"cannot write here|no such folder"):
        check_place(Path("/proc/result"))


def test_failure_half_way_leaves_the_old_result(
    assessed: Assessment, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = {p.name: p.read_bytes() for p in folder.iterdir()}

    def fail(_table: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(archive, "_largest", fail)
    with pytest.raises(OutputError, match=r"cannot write here(.|\n)*no space left"):
        save_assessment(assessed, folder)
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before
    assert [p.name for p in folder.parent.iterdir()] == ["result"]


def test_failure_at_the_last_step_leaves_the_old_result(
    assessed: Assessment, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    rename = Path.rename

    def fail(self: Path, target: Path) -> Path:
        if self.name.endswith(MARK):
            raise OSError(5, "Input/output error")
        return rename(self, target)

    monkeypatch.setattr(archive, "exchange", lambda *_: False)
    monkeypatch.setattr(Path, "rename", fail)
    with pytest.raises(OutputError, match="input/output error"):
        save_assessment(assessed, folder)
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before
    assert [p.name for p in folder.parent.iterdir()] == ["result"]


def test_replacing_is_one_step(
    assessed: Assessment, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A run that is killed at any moment leaves the old result or the new one in its place."""
    if not archive.exchange(folder, folder):
        pytest.skip("this system exchanges no names")

    def fail(self: Path, target: Path) -> Path:
        raise AssertionError("a folder was moved away before the new one was there")

    monkeypatch.setattr(Path, "rename", fail)
    save_assessment(assessed, folder)
    assert [p.name for p in folder.parent.iterdir()] == ["result"]


def test_an_old_result_that_a_killed_run_moved_aside_comes_back(
    assessed: Assessment, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where names cannot be exchanged in one step."""
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    monkeypatch.setattr(archive, "exchange", lambda *_: False)
    rename = Path.rename

    class KilledError(BaseException):
        pass

    def killed(self: Path, target: Path) -> Path:
        if self.name.endswith(MARK):
            raise KilledError
        return rename(self, target)

    with monkeypatch.context() as until:
        until.setattr(Path, "rename", killed)
        with pytest.raises(KilledError):
            save_assessment(assessed, folder)
    assert not folder.exists()
    check_place(folder)
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before
    assert [p.name for p in folder.parent.iterdir()] == ["result"]
    save_assessment(assessed, folder)
    assert [p.name for p in folder.parent.iterdir()] == ["result"]


def test_no_folder_no_result(tmp_path: Path) -> None:
    with pytest.raises(ModelError, match=r"not a result folder(.|\n)*no such folder"):
        load_assessment(tmp_path / "nowhere")
    with pytest.raises(ModelError, match=rf"not a result folder(.|\n)*no {RESULT}"):
        load_assessment(tmp_path)


def test_damaged_result_is_told(folder: Path) -> None:
    text = (folder / RESULT).read_text()
    (folder / RESULT).write_text(text[: len(text) // 2])
    with pytest.raises(ModelError, match=rf"{RESULT}: a stored assessment is damaged"):
        load_assessment(folder)
    (folder / RESULT).write_bytes(b"\xff\xfe\x00")
    with pytest.raises(ModelError, match="damaged"):
        load_assessment(folder)


@pytest.mark.parametrize(
    "text",
    ["[" * 100_000, '{"format": 1e999}', '{"format": NaN}', '{"format": 1' + 5000 * "0" + "}"],
    ids=["deep", "overflow", "no number", "endless number"],
)
def test_json_that_cannot_be_told_is_refused(folder: Path, text: str) -> None:
    (folder / RESULT).write_text(text)
    with pytest.raises(ModelError, match=rf"{RESULT}: a stored assessment is damaged"):
        load_assessment(folder)


@pytest.mark.parametrize("number", ["1e400", "1" + 400 * "0", "-Infinity", "true", '"1"', "[]"])
def test_numbers_that_overflow_are_refused(folder: Path, number: str) -> None:
    data = json.loads((folder / RESULT).read_text())
    data["sensitivity"]["base"]["value"] = "HERE"
    (folder / RESULT).write_text(json.dumps(data).replace('"HERE"', number))
    with pytest.raises(ModelError, match="a stored assessment is damaged"):
        load_assessment(folder)


def test_incomplete_result_is_told_with_its_place(folder: Path) -> None:
    data = json.loads((folder / RESULT).read_text())
    del data["designs"][1]["maintenance"]
    (folder / RESULT).write_text(json.dumps(data))
    with pytest.raises(ModelError, match=rf"{RESULT}, designs.1.maintenance: a stored"):
        load_assessment(folder)


@pytest.mark.parametrize(
    "path",
    [
        ("designs", 1, "name"),
        ("comparison", "designs", 0, "name"),
        ("comparison", "differences", 0, "design"),
        ("comparison", "differences", 0, "reference"),
        ("reference",),
        ("chosen",),
        ("stories", 0, "design"),
        ("sensitivity", "design"),
        ("values", 0, "designs", 0),
    ],
    ids=lambda path: ".".join(map(str, path)),
)
def test_parts_that_speak_of_other_designs_are_refused(folder: Path, path: tuple) -> None:
    data = json.loads((folder / RESULT).read_text())
    table = data
    for key in path[:-1]:
        table = table[key]
    table[path[-1]] = "somebody else's"
    (folder / RESULT).write_text(json.dumps(data))
    with pytest.raises(ModelError, match=r"a stored assessment is damaged(.|\n)*somebody else's"):
        load_assessment(folder)


@pytest.mark.parametrize(
    ("key", "wrong"),
    [("horizon_years", "long"), ("precision_reached", "perhaps"), ("designs", 3)],
)
def test_a_wrong_kind_of_value_in_the_comparison_is_told_with_its_place(
    folder: Path, key: str, wrong: object
) -> None:
    data = json.loads((folder / RESULT).read_text())
    data["comparison"][key] = wrong
    (folder / RESULT).write_text(json.dumps(data))
    with pytest.raises(ModelError) as caught:
        load_assessment(folder)
    assert f"comparison.{key}" in str(caught.value.where)


def test_result_of_another_version_is_told(folder: Path) -> None:
    data = json.loads((folder / RESULT).read_text())
    data["format"] = 999
    (folder / RESULT).write_text(json.dumps(data))
    with pytest.raises(ModelError, match=r"not an assessment of this version(.|\n)*format 999"):
        load_assessment(folder)


def test_damaged_incidents_are_told(folder: Path) -> None:
    (folder / "incidents.parquet").write_bytes(b"PAR1 is not all of it")
    with pytest.raises(ModelError, match="incidents of a stored assessment are damaged"):
        load_assessment(folder, incidents=True)
    assert load_assessment(folder).incidents is None
