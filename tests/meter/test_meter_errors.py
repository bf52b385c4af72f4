"""Bad records: a clear error, never anything else."""

import gzip
import string

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shutoffsim.errors import ModelError, RecordError, ShutoffError, UnitError
from shutoffsim.study.meter import analyse_meter

GOOD = "time,pulses\n1700000000,1\n1700000004,2\n"


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("", "the file is empty"),
        ("\n\n# nothing\n", "the file is empty"),
        (b"PK\x03\x04\x00\x00rest", "this is a binary file"),
        ("time,flow_l_per_min\n1700000000,1\n".encode("utf-16"), "this is a binary file"),
        (gzip.compress(GOOD.encode(), mtime=0)[:-9], "the gzip file is damaged"),
        (b"\x1f\x8brubbish", "the gzip file is damaged"),
        ("x" * 200_000, "a line is longer than"),
        ("alpha,beta\n1,2\n", "the columns are not known"),
        ("1700000000,1\n1700000004,2\n", "the columns are not known"),
        ("time,value\n1700000000,1\n", "the columns are not known"),
        ("time,flow\n1700000000,1\n", 'the column "flow" has no unit'),
        ("start,seconds,volume\n1700000000,1,1\n", 'the column "volume" has no unit'),
        ("start,litres\n1700000000,1\n", r"lacks a column: seconds \(or end\)"),
        ("start,seconds\n1700000000,1\n", "lacks a column: litres"),
        ("start,seconds,litres,gallons\n", r"two columns say the same thing \(volume\)"),
        ("date,time,litres\n", "a date and a time of day belong in one column"),
        ("time,flow_lpm,litres\n", "both a flow and a volume"),
        ("time,pulses\n", "no rows can be read"),
        ("time,pulses\n1,2,3\n4,5,6\n", "2 rows with another number of fields"),
        ("time,pulses\n1700000000,1\n", "too few rows can be used"),
        ("time,pulses\n" + "1700000000,1\n" * 9, "mostly: duplicate row, first in line 3"),
        ("time\n" + "1700000000\n" * 9, "the record covers no time"),
        ("start,seconds,litres\n" + "1700000000,0,1\n1700000000,0,2\n", "covers no time"),
        ("time,pulses\n01.02.2023 10:00,1\n02.02.2023 10:00,1\n", "give the pattern"),
        ("time,pulses\n1700000000000,1\n1700000001000,1\n", "milliseconds: divide by 1000"),
        (
            "time,pulses\n1700000000,a\n1700000004,b\n",
            'no number can be read in the column "pulses"',
        ),
        (
            "time,pulses\n" + "x,1\n" * 5 + "1700000000,1\n1700000004,1\n",
            "the times cannot be read",
        ),
        ("time,litres\n1700000000,1e300\n1700000060,1e300\n", "more than 10000 L/min"),
        ("time,pulses\n1700000000,1\n1800000000,1\n1900000000,1\n", "more than a day apart"),
        (
            "time,volume_m3\n" + "".join(f"{1700000000 + 60 * i},{100 + i}\n" for i in range(30)),
            "readings of the meter's counter",
        ),
        (
            "start,seconds,litres\n" + "".join(f"{1700000000 - 60 * i},10,1\n" for i in range(30)),
            "not in the order of time",
        ),
        (
            "start,seconds,litres\n"
            + "".join(f"{1700000000 + i},31000000,5000000000\n" for i in range(3)),
            "adds up to more than",
        ),
    ],
)
def test_a_bad_record_is_refused_with_a_reason(analyse, content, message):
    with pytest.raises(RecordError, match=message) as caught:
        analyse(content, litres_per_pulse=1)
    assert "record0.csv" in str(caught.value)
    assert caught.value.exit_code == 2


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(RecordError, match="there is no such file"):
        analyse_meter(tmp_path / "none.csv")
    with pytest.raises(RecordError, match="this is a folder"):
        analyse_meter(tmp_path)
    with pytest.raises(RecordError, match="cannot be read"):
        analyse_meter("a\0b")


@pytest.mark.parametrize(
    ("options", "error", "message"),
    [
        ({"litres_per_pulse": None}, RecordError, "the volume of water per pulse is not known"),
        ({"litres_per_pulse": -1}, RecordError, "litres per pulse are out of range"),
        ({"litres_per_pulse": float("nan")}, RecordError, "litres per pulse are out of range"),
        ({"gaps": ["60"]}, UnitError, "gaps: this is not readable"),
        ({"gaps": []}, RecordError, "gaps are missing"),
        ({"gaps": ["-1 s"]}, RecordError, "gaps must be at least zero"),
        ({"times": ["0 min"]}, RecordError, "times must be above zero"),
        ({"times": [f"{i} s" for i in range(1, 80)]}, RecordError, "times are too many"),
        ({"volumes": ["5 min"]}, UnitError, "volumes: this is not readable"),
        ({"slot": "0 s"}, RecordError, "slot must be above zero"),
        ({"hole": "soon"}, UnitError, "hole: this is not readable"),
        ({"hole": "1 s"}, RecordError, "hole must be longer than the interval"),
        ({"covered": "6 s"}, RecordError, "the stated covered time is too short"),
        ({"starting_flow": "6 L"}, UnitError, "starting_flow: this is not readable"),
        ({"time_format": "%d.%m.%Y"}, RecordError, "the times cannot be read"),
    ],
)
def test_bad_arguments_are_refused(analyse, options, error, message):
    with pytest.raises(error, match=message):
        analyse(GOOD, **({"litres_per_pulse": 1} | options))


def test_limits_that_were_not_tried_are_refused(analyse):
    report = analyse(GOOD, litres_per_pulse=1)
    with pytest.raises(ModelError, match=r'(?s)time limit was not tried.*"7 min".*5 min, 10 min'):
        report.fragment(time="7 min")
    with pytest.raises(ModelError, match="gap tolerance was not tried"):
        report.rate(gap="1 s", time="5 min")
    with pytest.raises(ModelError, match="a rule needs a limit"):
        report.rate(gap="0 s")


CSV = string.digits + ',;\t\n\r"-:. eEnaif'
HEADERS = st.sampled_from(
    ["", "time,pulses\n", "time;litres\n", "start,seconds,litres,label\n", "time\n", "time,gpm\n"]
)
BODY = st.one_of(
    st.text(CSV, max_size=200),
    st.text(max_size=60),
    st.lists(
        st.tuples(
            st.sampled_from(["1700000000", "1700000060", "2023-01-01", "9e9", "-1", "1e308", ""]),
            st.sampled_from(["0", "1", "3.5", "1e18", "-0.0", "nan", "9" * 30]),
            st.sampled_from(["1", "1e-9", "1e9", "inf"]),
        ).map(",".join),
        max_size=12,
    ).map("\n".join),
)


@settings(max_examples=250, deadline=None, suppress_health_check=list(HealthCheck))
@given(HEADERS, BODY)
def test_no_text_raises_anything_else(tmp_path, header, body):
    never_anything_else(tmp_path, (header + body).encode("utf-8", "surrogatepass"))


@settings(max_examples=100, deadline=None, suppress_health_check=list(HealthCheck))
@given(HEADERS, st.binary(max_size=100), st.booleans())
def test_no_bytes_raise_anything_else(tmp_path, header, body, packed):
    data = header.encode() + body
    never_anything_else(tmp_path, gzip.compress(data) if packed else data)


def never_anything_else(folder, data):
    path = folder / "record.csv"
    path.write_bytes(data)
    try:
        report = analyse_meter(path, litres_per_pulse=0.5)
    except ShutoffError:
        return
    assert report.covered_days > 0
    assert (report.trips["per_year"] > 0).all()
    assert report.fragment()
