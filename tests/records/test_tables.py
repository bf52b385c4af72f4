"""One reader for every kind of table: the same header, cells and lines, whatever is measured."""

from __future__ import annotations

import gzip
import itertools
import string

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import shutoffsim
from shutoffsim.errors import RecordError, UnitError
from shutoffsim.records import open_records
from shutoffsim.records.cells import MISSING, is_missing, read_quantity, with_point, with_unit
from shutoffsim.records.header import read_header
from shutoffsim.records.kinds import METER, METER_ROLES, READING_ROLES, READINGS
from shutoffsim.study.portfolio.columns import Key, dwellings_kind, find_keys, keys_of, read_cell

AGE = Key(("valve", "age"))
READING = "date,direction,torque,idle,age\n"


@pytest.fixture(scope="module")
def house():
    return shutoffsim.loads(
        '[leaks."kitchen hose"]\nkind = "flexible hose"\nzone = "hall"\n[zones.hall]\n'
        'area = "9 m2"\n[designs.plain]\nelement.kind = "none"\n'
    )


@pytest.fixture
def write(tmp_path):
    numbers = itertools.count()

    def run(content, end="csv"):
        path = tmp_path / f"table{next(numbers)}.{end}"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return run


@pytest.mark.parametrize(
    ("kind", "name", "role", "unit"),
    [
        (METER, "Flow [m³/h]", "flow", "m3/h"),
        (METER, "flow_m3_per_h", "flow", "m3/h"),
        (METER, "gallons", "volume", "gal"),
        (METER, "Litres per pulse", "per pulse", "L"),
        (METER, "lasted (hours)", "duration", "hours"),
        (READINGS, "Torque (N*cm)", "torque", "N*cm"),
        (READINGS, "torque_kgf_cm", "torque", "kgf cm"),
        (READINGS, "Torque to [N·m]", "torque to", "N*m"),
        (READINGS, "Lever arm (mm)", "lever", "mm"),
        (READINGS, "days since last moved", "idle", "days"),
        (READINGS, "Valve age / years", "age", None),
    ],
)
def test_a_name_is_a_word_and_a_unit(kind, name, role, unit):
    column = kind.match(name)
    if unit is None:
        assert column is None
    else:
        assert (column.role, column.unit) == (role, unit)


@pytest.mark.parametrize("name", ["day", "days", "litres_per_day", "year", "remark", "flow meter"])
def test_other_columns_of_a_recorder_are_left_alone(name):
    assert METER.match(name) is None


@pytest.mark.parametrize("roles", [METER_ROLES, READING_ROLES])
def test_no_name_means_two_things(roles):
    for one, other in itertools.combinations(roles, 2):
        assert one.suffix != other.suffix or not set(one.words) & set(other.words)


def test_a_header_may_state_the_unit_of_a_key(house):
    known = find_keys(house)
    names = [
        "valve.age (years)",
        'leaks."kitchen hose".age [days]',
        "dwelling.full_bore_flow (gpm)",
    ]
    header = read_header(names, dwellings_kind(known), "table")
    keys = keys_of(header, known, house)
    assert [key.unit for key in keys] == ["years", "days", "gpm"]
    assert read_cell(keys[0], "12") == "12 years"
    assert read_cell(keys[0], 12.5) == "12.5 years"
    assert (
        read_cell(keys[0], '{low = "1 year", high = "2 years", shape = "even"}')["low"] == "1 year"
    )
    with pytest.raises(UnitError, match="unit is not that of the header"):
        read_cell(keys[0], "12 days")


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("valve.age (bar)", "the unit in the header is not known"),
        ("people.pattern (days)", "this column has no unit"),
        ("valve.agee (days)", r"did you mean valve\.age"),
    ],
)
def test_a_wrong_unit_of_a_key_is_refused(house, name, message):
    with pytest.raises(RecordError, match=message):
        read_header([name], dwellings_kind(find_keys(house)), "table")


@pytest.mark.parametrize("word", [*sorted(MISSING), " NaN ", "N/A", None, float("nan"), pd.NaT])
def test_what_is_missing_is_missing_everywhere(house, word):
    assert is_missing(word)
    assert read_cell(AGE, word) is None


def test_what_is_a_value_is_not_missing(house):
    assert not any(map(is_missing, ["none", "never", "0", 0, 0.0, False, "nano"]))
    assert read_cell(Key(("element", "kind")), "none") == "none"


def test_missing_cells_of_readings_and_of_a_meter(write):
    from shutoffsim.study.fit_torque import fit_torque
    from shutoffsim.study.meter import analyse_meter

    rows = READING + "2026-01-10,closing,4 N*m,2 years,{}\n2026-01-11,closing,4 N*m,{},n/a\n"
    fits = [fit_torque(write(rows.format(word, word))) for word in ("", "-", "NA")]
    assert fits[0].predictions == fits[1].predictions == fits[2].predictions
    record = "time,litres\n1700000000,1\n1700000060,2\n{}\n1700000120,0\n"
    reports = [analyse_meter(write(record.format(row))) for row in ("", ",", "-,NA")]
    for report in reports:
        assert [(flaw.what, flaw.first_line) for flaw in report.flaws] == [("empty row", 4)]


@pytest.mark.parametrize(
    ("text", "value"), [("2,5 N*m", 2.5), ("0,125 N*m", 0.125), ("12,25", 12.25), ("-1,5e1", -15.0)]
)
def test_a_decimal_comma_is_read_where_it_cannot_separate(house, text, value):
    assert read_quantity(text, "torque", "N*m", comma=True) == value
    with pytest.raises(UnitError, match=r"point, not a comma|numbers in N"):
        read_quantity(text, "torque", "N*m", comma=False)
    assert read_cell(AGE, text, comma=True) == with_point(text)


@pytest.mark.parametrize("text", ["1,234 N*m", "12,500", "-100,000 L"])
def test_a_comma_that_may_mark_thousands_is_refused(text):
    with pytest.raises(UnitError, match="thousands or decimals"):
        with_point(text)


@pytest.mark.parametrize("text", ["hall, left", "1,2,3", "1.234,5", "a,5", "", "1,"])
def test_other_commas_stay(text):
    assert with_point(text) == text


def test_the_unit_of_a_cell_may_repeat_that_of_the_header():
    assert with_unit("3 N * m", "N*m") == "3 N * m"
    assert with_unit("3", "N*m") == "3 N*m"
    assert with_unit("3", None) == "3"


def rows_of(source, kind):
    return [(row.line, row.cells, row.trouble is None) for row in open_records(source, kind).rows()]


def test_forms_of_one_table_read_alike(write):
    text = 'date,direction,torque,idle,age\n2026-01-10,closing,4 N*m,"2 years",\n'
    plain = rows_of(write(text), READINGS)
    assert plain[0][1] == {
        "date": "2026-01-10",
        "direction": "closing",
        "torque": "4 N*m",
        "idle": "2 years",
        "age": "",
    }
    for other in (
        write(gzip.compress(text.encode()), "csv.gz"),
        write("\ufeff" + text.replace(",", ";").replace("\n", "\r\n")),
        write("# taken by hand\n\n" + text.replace(",", "\t").replace("\n", "\r")),
    ):
        assert [row[1:] for row in rows_of(other, READINGS)] == [row[1:] for row in plain]
    frame = pd.DataFrame([plain[0][1]])
    assert [row[1:] for row in rows_of(frame, READINGS)] == [row[1:] for row in plain]


def test_dwellings_may_be_packed_or_in_columns(write, house, tmp_path):
    kind = dwellings_kind(find_keys(house))
    text = "dwelling,valve.age (years)\nmill,12\nford,\n"
    plain = rows_of(write(text), kind)
    assert rows_of(write(gzip.compress(text.encode()), "csv.gz"), kind) == plain
    frame = pd.DataFrame({"dwelling": ["mill", "ford"], "valve.age (years)": ["12", ""]})
    frame.to_parquet(tmp_path / "table.parquet")
    assert [row[1:] for row in rows_of(tmp_path / "table.parquet", kind)] == [r[1:] for r in plain]


def test_lines_are_those_of_the_file(write):
    text = READING + "# a note\n2026-01-10,closing,1,,\n\n  \nshort,row\n2026-01-11,closing,2,,\n"
    found = rows_of(write(text), READINGS)
    assert [(line, whole) for line, _, whole in found] == [(3, True), (6, False), (7, True)]


def test_a_name_that_begins_with_a_number_sign_is_no_comment(write, house):
    kind = dwellings_kind(find_keys(house))
    found = rows_of(write("# made in May\ndwelling,valve.age\n#12,3 years\n"), kind)
    assert [cells["dwelling"] for _, cells, _ in found] == ["#12"]


@pytest.mark.parametrize("size", [7, 30, 1 << 21])
def test_cells_of_several_lines_and_stray_quotes(write, house, size):
    path = write(
        'dwelling,valve.age\n"Mill Street 5\nyard, left",3 years\n5" pipe,4 years\n'
        '"said ""no""\n\ntwice",5 years\nlast,\n'
    )
    records = open_records(path, dwellings_kind(find_keys(house)))
    cells = [rows.cells["dwelling"].to_pylist() for rows in records.blocks(size, None)]
    names = [name for block in cells for name in block]
    assert names == ["Mill Street 5 yard, left", '5" pipe', 'said "no"  twice', "last"]


@pytest.mark.parametrize("size", [1, 17, 100])
@pytest.mark.parametrize("end", ["", "\n"])
def test_rows_do_not_depend_on_blocks(write, size, end):
    lines = ['2023-01-01,1,"a, b"', "x", '2,"open', "", "3,4,é", ",,", '1,2,"c"'] * 9
    records = open_records(write("# c\ntime,litres,note\n" + "\n".join(lines) + end), METER)
    (whole,) = records.blocks(1 << 21, None)
    parts = list(records.blocks(size, None))
    assert [n for part in parts for n in part.lines.tolist()] == whole.lines.tolist()
    assert {k: v for part in parts for k, v in part.broken.items()} == whole.broken
    for role, column in whole.cells.items():
        assert [c for part in parts for c in part.cells[role].to_pylist()] == column.to_pylist()
    assert min(whole.broken) == 4
    assert len(whole.lines) + len(whole.broken) == len(lines)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (READING + "x" * 200_000, "a line is longer than"),
        (READING + "\xe9\n", "not a text in UTF-8"),
        (READING + "2026-01-10,closing,1,,\n" * 50_000, "the file is too large for readings"),
    ],
)
def test_a_file_beyond_the_limits_is_refused(write, content, message):
    with pytest.raises(RecordError, match=message):
        rows_of(write(content.encode("latin-1")), READINGS)


def test_a_quotation_mark_that_is_never_closed(write, house):
    path = write('dwelling,valve.age\na,3 years\nb,"4 years\n' + "c,5 years\n" * 3)
    with pytest.raises(RecordError, match=r"(?s)quotation mark is not closed.*b,"):
        rows_of(path, dwellings_kind(find_keys(house)))


BODY = st.text(string.digits + ',;\t\n\r"#-:. eEnaN=()é', max_size=200)
HEADERS = st.sampled_from(
    ["", READING, READING.replace(",", ";"), "dwelling;valve.age\n", '"dwelling","valve.age"\n']
)


@settings(max_examples=150, suppress_health_check=list(HealthCheck))
@given(HEADERS, BODY, st.integers(1, 60))
def test_any_text_gives_rows_or_an_error_in_words(tmp_path, house, header, body, size):
    path = tmp_path / "table.csv"
    path.write_text(header + body, encoding="utf-8", newline="")
    told = []
    for kind in (READINGS, METER, dwellings_kind(find_keys(house))):
        try:
            records = open_records(path, kind)
            lines = [line for rows in records.blocks(size, None) for line in rows.lines.tolist()]
            rows = [row for row in records.rows() if row.trouble is None]
        except RecordError as error:
            told.append(str(error))
            continue
        assert lines == sorted(set(lines))
        assert len(rows) <= len(lines)
        assert all(tuple(row.cells) == tuple(records.header.columns) for row in rows)
    assert all(str(path) in text for text in told)
