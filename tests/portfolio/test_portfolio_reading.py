"""Reading the table of dwellings: what is accepted, and how a mistake is told."""

from __future__ import annotations

import pandas as pd
import pytest

from shutoffsim.engine.unfinished import MARK
from shutoffsim.errors import ModelError, OutputError, RecordError, ScenarioError
from shutoffsim.report.table_file import TableFile
from shutoffsim.study.portfolio import EXIT_SOME_FAILED, portfolio
from shutoffsim.study.portfolio.dwellings import open_dwellings

FEW = {"histories": 2}


@pytest.mark.parametrize(
    ("header", "message"),
    [
        ("dwelling,valve.agee", r"did you mean valve\.age\?"),
        ("dwelling,dweling.pressure", r"did you mean dwelling\.pressure\?"),
        ('dwelling,leaks."washing machine hos".age', r'did you mean leaks."washing machine hose"'),
        ("dwelling,service_life", "service_life cannot differ between dwellings"),
        ("dwelling,designs.x.valve.age", "write “design” for the design"),
        ("dwelling,valve", "a column that names no key"),
        ("dwelling,", "a column without a name"),
        ("dwelling,valve.age = 3", "a column that names no key"),
        ("valve.age,valve.age", "two columns say the same thing"),
        ('valve.age,valve."age"', "two columns say the same thing"),
        ("dwelling,dwelling", "two columns say the same thing"),
    ],
)
def test_a_wrong_column_is_told_before_anything_runs(house, table, header, message):
    seen = []
    with pytest.raises(ScenarioError, match=message):
        portfolio(house, table(f"{header}\na,b\n"), out=seen.append, progress=seen.append, **FEW)
    assert seen == []


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "the file is empty"),
        ("dwelling,valve.age\n", "there is a header but no dwelling"),
        ('dwelling,valve.age\na,"3 years\n', "quotes closed"),
    ],
)
def test_a_table_that_is_none(house, table, text, message):
    with pytest.raises(RecordError, match=message):
        portfolio(house, table(text), **FEW)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("dwelling\na\nb\na\n", "(?s)row 3: two dwellings have the same name.*also in row 1"),
        ("dwelling\na\n a \n", "two dwellings have the same name"),
        ("dwelling,valve.age\na,\n,3 years\n", "row 2: a dwelling without a name"),
        ("dwelling\n" + "x" * 201 + "\n", "too long"),
    ],
)
def test_names_of_dwellings(house, table, text, message):
    with pytest.raises(ScenarioError, match=message):
        portfolio(house, table(text), **FEW)


def test_files_that_cannot_be_read(house, table, tmp_path):
    with pytest.raises(RecordError, match="there is no such file"):
        portfolio(house, tmp_path / "none.csv")
    with pytest.raises(RecordError, match=r"ends in \.csv or \.parquet"):
        portfolio(house, table("a", "table.xls"))
    with pytest.raises(RecordError, match="not a Parquet file"):
        portfolio(house, table("a", "table.parquet"))
    latin = tmp_path / "latin.csv"
    latin.write_bytes("dwelling\nMünze\n".encode("latin-1"))
    with pytest.raises(RecordError, match="not a text in UTF-8"):
        portfolio(house, latin)


@pytest.mark.parametrize(
    ("key", "value"), [("histories", 0), ("histories", 2**20 + 1), ("seed", -1), ("workers", 0)]
)
def test_numbers_out_of_range(house, table, key, value):
    with pytest.raises(ModelError, match=f"{key} is out of range"):
        portfolio(house, table("dwelling\na\n"), **{key: value})


def test_an_unknown_design(house, table):
    with pytest.raises(ScenarioError, match="there is no such design"):
        portfolio(house, table("dwelling\na\n"), design="magic")


BAD = """dwelling,design,valve.age,dwelling.pressure,damage.wet_start,dwelling.units_below
good,,3 years,,,
no unit,,3,,,
nonsense,,three years,,,
no such design,magic,,,,
contradiction,,,,90 days,
short,,,
fraction,,,,,1.5
half a table,,,{low = "2 bar",,
also good,small actuator,,"{low = ""2 bar"", high = ""4 bar"", shape = ""even""}",,2
"""


def test_a_bad_row_is_told_and_the_rest_runs(house, table):
    result = portfolio(house, table(BAD), **FEW)
    assert result.dwellings == 2
    assert result.failed == 7
    assert result.exit_code == EXIT_SOME_FAILED == 3
    told = {failure.dwelling: failure for failure in result.failures}
    assert [failure.row for failure in result.failures] == [2, 3, 4, 5, 6, 7, 8]
    assert told["no unit"].key == "valve.age"
    assert "unit" in told["no unit"].problem
    assert told["nonsense"].key == "valve.age"
    assert "one of “no automation”" in told["no such design"].problem
    assert told["contradiction"].key.startswith("damage.wet_")
    assert "4 cells" in told["short"].problem
    assert told["fraction"].key == "dwelling.units_below"
    assert told["half a table"].key == "dwelling.pressure"
    rows = result.table()
    assert rows["problem"].notna().tolist() == [False] + [True] * 7 + [False]
    assert rows["expected_annual_damage"].isna().tolist() == [False] + [True] * 7 + [False]
    assert rows["design"].iloc[-1] == "small actuator"


def test_a_failed_row_shifts_no_other(house, table):
    with_bad = portfolio(
        house, table("dwelling,valve.age\na,1 day\nb,nonsense\nc,9 years\n"), **FEW
    )
    good = portfolio(house, table("dwelling,valve.age\na,1 day\nb,1 day\nc,9 years\n"), **FEW)
    for row in (1, 3):
        assert with_bad.table().loc[row].equals(good.table().loc[row])


def test_no_dwelling_that_can_be_run_is_an_error(house, table):
    with pytest.raises(ModelError, match=r"(?s)none of the 2 dwellings.*valve\.age"):
        portfolio(house, table("dwelling,valve.age\na,x\nb,y\n"), **FEW)


def test_forms_of_the_same_table_give_the_same_result(house, table, tmp_path):
    frame = pd.DataFrame(
        {
            "dwelling": ["a", "b", "c"],
            "design": ["small actuator", None, "hoses too"],
            'leaks."washing machine hose".age': ["2 years", "9 years", None],
            "dwelling.units_below": [1, None, 2],
            "battery.fitted": [True, None, False],
            "override.access": [1.5, None, 2.0],
        }
    )
    frame.to_parquet(tmp_path / "t.parquet")
    text = (
        'dwelling,design,leaks."washing machine hose".age,dwelling.units_below,battery.fitted,'
        "override.access\na,small actuator,2 years,1,true,1.5\n\nb,,9 years,,,\n"
        "c,hoses too,,2,false,2.0\n"
    )
    tables = [
        tmp_path / "t.parquet",
        table(text),
        table("\ufeff" + text.replace(",", ";").replace("\n", "\r\n"), "semicolons.csv"),
        table(text.replace(",", "\t"), "tabs.csv"),
    ]
    results = [portfolio(house, path, **FEW) for path in tables]
    for other in results[1:]:
        assert other.table().equals(results[0].table())
        assert other.as_dict() == results[0].as_dict()


def test_regions_are_numbered_in_the_order_of_the_file(house, table):
    path = table("dwelling,region\na,north\nb,south\nc,north\n")
    found = open_dwellings(path, house)
    assert found.regions == {"north": 0, "south": 1}
    assert [row.region for row in found.rows()] == [0, 1, 0]


@pytest.mark.parametrize("end", ["csv", "parquet"])
def test_rows_are_written_in_full_or_not_at_all(house, table, tmp_path, end):
    path = table("dwelling,valve.age\na,1 day\nb,nonsense\nc,9 years\n")
    target = tmp_path / f"rows.{end}"
    with TableFile(target) as file:
        result = portfolio(house, path, out=file.add, **FEW)
    assert result.rows is None
    with pytest.raises(ValueError, match="read the file"):
        result.table()
    read = (pd.read_csv if end == "csv" else pd.read_parquet)(target).set_index("row")
    kept = portfolio(house, path, **FEW).table()
    assert read["low"].tolist() == pytest.approx(kept["low"].tolist(), nan_ok=True)
    assert read["problem"].notna().tolist() == [False, True, False]
    told = read["problem"].dropna().tolist()
    assert len(told) == 1
    assert "\n" not in told[0]
    assert "found nonsense; expected" in told[0].replace('"', "")
    before = target.read_bytes()
    with pytest.raises(ModelError), TableFile(target) as file:
        portfolio(house, table("dwelling,valve.age\na,x\n"), out=file.add, **FEW)
    assert target.read_bytes() == before
    assert sorted(p.name for p in tmp_path.glob(f".*{MARK}")) == []


def test_rows_of_an_unknown_form(tmp_path):
    with pytest.raises(OutputError, match=r"ends in \.csv or \.parquet"):
        TableFile(tmp_path / "rows.json")
