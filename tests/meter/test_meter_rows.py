"""Kinds of records, and what is odd in them."""

import numpy as np
import pytest
from meter_records import counts

from shutoffsim.records.header import read_header, split_header
from shutoffsim.records.kinds import METER

GALLON = 231 * 0.0254**3 * 1000  # litres: the US gallon is 231 cubic inches by definition
START = np.datetime64("2023-06-01T00:00:00")


def sampled(flows, start=START, step=60):
    """Rows of time and value, a step of seconds apart."""
    return [
        f"{str(start + np.timedelta64(step * i, 's')).replace('T', ' ')},{flow}"
        for i, flow in enumerate(flows)
    ]


def flaws(report):
    return {flaw.what: (flaw.rows, flaw.first_line) for flaw in report.flaws}


@pytest.mark.parametrize(
    ("name", "role", "factor"),
    [
        ("litres", "volume", 1),
        ("Volume (L)", "volume", 1),
        ("Volume(gal)", "volume", GALLON),
        ("volume_m3", "volume", 1000),
        ("Water [m³]", "volume", 1000),
        ("flow_l_per_min", "flow", 1),
        ("Flow [L/min]", "flow", 1),
        ("flow_lpm", "flow", 1),
        ("Flowrate(gpm)", "flow", GALLON),
        ("flow_m3_per_h", "flow", 1000 / 60),
        ("l_per_h", "flow", 1 / 60),
    ],
)
def test_names_with_units_are_understood(name, role, factor):
    header = read_header(["Time", name, "remark"], METER, "file")
    assert header.form == "flow samples"
    assert header.unused == ("remark",)
    column = header.columns[role]
    assert (column.name, column.index) == (name, 1)
    assert column.factor == pytest.approx(factor)


@pytest.mark.parametrize(
    ("header", "kind"),
    [
        ("time", "pulses"),
        ("Time,Pulses", "pulses"),
        ("timestamp;count;litres_per_pulse", "pulses"),
        ("date_time\tflow_l_per_min", "flow samples"),
        ("start,dur_s,L", "runs"),
        ("StartTime,EndTime,Volume(gal),Label", "runs"),
        ("start,seconds,litres,flow_l_per_min", "runs"),
    ],
)
def test_kinds_are_told_by_their_columns(header, kind):
    names, _ = split_header(header, METER)
    assert read_header(names, METER, "file").form == kind


SAME = {
    "ISO 8601": "2023-11-14 22:13:{:02}",
    "with a T": "2023-11-14T22:13:{:02}",
    "Zulu": "2023-11-14T22:13:{:02}Z",
    "offset": "2023-11-15T00:13:{:02}+02:00",
    "two-digit year": "23-11-14 22:13:{:02}",
    "slashes": "2023/11/14 22:13:{:02}",
}


@pytest.mark.parametrize("form", SAME)
def test_times_are_read_alike(analyse, form):
    report = analyse(
        ["time,pulses", *(f"{SAME[form].format(s)},1" for s in (20, 21, 22, 50))],
        litres_per_pulse=1,
    )
    unix = analyse(
        ["time,pulses", *(f"{1_700_000_000 + s},1" for s in (0, 1, 2, 30))], litres_per_pulse=1
    )
    assert (report.first, report.last) == (unix.first, unix.last)
    assert report.first == "2023-11-14 22:13:20"
    assert report.runs.equals(unix.runs)


def test_a_pattern_settles_how_times_are_read(analyse):
    rows = ["time,pulses", "04.10.2019 13:00:00,1", "04.10.2019 13:00:04,2"]
    report = analyse(rows, litres_per_pulse=1, time_format="%d.%m.%Y %H:%M:%S")
    assert report.first == "2019-10-04 13:00:00"


@pytest.mark.parametrize("mark", [",", ";", "\t"])
@pytest.mark.parametrize("packed", [False, True])
@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_files_come_as_people_export_them(analyse, mark, packed, ending):
    rows = ["# exported", "", 'Start,"Seconds",Litres', '2023-01-01 00:00:00,"60",12']
    rows.append("2023-01-01 01:00:00,30,1.5")
    text = "\ufeff" + ending.join(rows).replace(",", mark)
    report = analyse(text, packed=packed)
    assert report.litres == pytest.approx(13.5)
    assert report.runs["seconds"].tolist() == [60, 30] * 3


def test_a_decimal_comma_is_read_where_it_cannot_separate(analyse):
    report = analyse("start;seconds;litres\n1700000000;60;1,5\n1700000600;60;0,25\n")
    assert report.litres == pytest.approx(1.75)
    assert any("decimal points" in note for note in report.notes)


def test_litres_per_pulse_may_stand_in_the_file(analyse):
    rows = ["time,pulses,ml_per_pulse", "1700000000,1,250", "1700000010,3,250"]
    report = analyse(rows)
    assert report.litres == pytest.approx(1.0)
    assert report.pulse_volume_l == pytest.approx(0.25)


def test_one_row_may_be_one_pulse_even_within_a_second(analyse):
    times = [0, 0, 0, 1, 1, 30]
    report = analyse(["time", *(str(1_700_000_000 + t) for t in times)], litres_per_pulse=0.5)
    assert report.litres == pytest.approx(3.0)
    assert flaws(report) == {"pulse in the same instant as the one before": (3, 3)}
    assert report.distribution["runs"].tolist() == [2, 1, 1]


def test_ends_do_instead_of_lengths(analyse):
    rows = [
        "start,end,litres",
        "2023-01-01 00:00:00,2023-01-01 00:06:40,3",
        "2023-01-02,2023-01-02,1",
    ]
    assert counts(analyse(rows), "0 s")["5 min"] == 1


def test_pulses_with_empty_slots_show_when_nothing_was_recorded(analyse):
    rows = sampled([0, 1, 1, 0, 0, 0], step=4)
    later = sampled([0, 2, 0], start=START + np.timedelta64(1, "h"), step=4)
    report = analyse(["time,pulses", *rows, *later], litres_per_pulse=1)
    assert flaws(report) == {"hole in the recording": (1, 8)}
    assert report.covered_days * 86400 == pytest.approx(9 * 4)
    assert report.litres == pytest.approx(4)


def test_each_oddity_is_counted_with_its_first_line(analyse):
    good = sampled([0, 6, 6, 0] * 20)
    rows = [
        *good[:3],  # lines 2 to 4
        "2023-06-01 00:02:00,abc",
        "yesterday,1",
        "1,2,3",
        "2023-06-01 00:02:10,-4",
        *good[3:5],
        "2023-06-01 00:04:01,nan",
        "2023-06-01 00:04:02,inf",
        "",
        good[4],
        good[4].replace(",0", ",99"),
        "2023-06-01 00:05:30,20000",
        "junk",
        *good[5:],
    ]
    report = analyse(["time,flow_l_per_min", *rows])
    assert flaws(report) == {
        "number that cannot be read": (1, 5),
        "time that cannot be read": (1, 6),
        "row with another number of fields": (2, 7),
        "negative value": (1, 8),
        "value that is not a finite number": (2, 11),
        "empty row": (1, 13),
        "duplicate row": (1, 14),
        "another value for the same time": (1, 15),
        "more than 10000 L/min": (1, 16),
    }
    clean = analyse(["time,flow_l_per_min", *sampled([0, 6, 6, 0] * 20)])
    assert report.litres == clean.litres
    assert report.covered_days == clean.covered_days
    assert report.runs.equals(clean.runs)


def test_uses_that_differ_in_any_column_are_no_duplicates(analyse):
    use = "2023-01-01 00:00:00,8,0.5"
    rows = ["start,seconds,litres,peak", f"{use},3", f"{use},4", f"{use},4"]
    report = analyse([*rows, "2023-01-01 09:00:00,8,0.5,3"])
    assert report.litres == pytest.approx(1.5)
    assert flaws(report) == {"duplicate row": (1, 4)}


def test_a_hole_is_not_recorded_time_and_cuts_a_run(analyse):
    rows = [*sampled([0, 6, 6, 6]), *sampled([6, 6, 0, 0], start=START + np.timedelta64(2, "h"))]
    report = analyse(["time,flow_l_per_min", *rows])
    assert flaws(report) == {"hole in the recording": (1, 6), "run cut by a hole": (1, 6)}
    assert report.covered_days * 1440 == pytest.approx(8)
    assert report.hole_days * 1440 == pytest.approx(2 * 60 - 4)
    assert report.runs["seconds"].tolist() == [180, 120] * 3


def test_a_single_missing_sample_is_no_hole(analyse):
    rows = sampled([0, 6, 6, 6, 6, 0])
    del rows[3]
    report = analyse(["time,flow_l_per_min", *rows])
    assert report.flaws == ()
    assert report.runs["seconds"].tolist() == [240] * 3
    assert report.litres == pytest.approx(24)


@pytest.mark.parametrize(
    ("end", "begin", "what"),
    [
        ("2023-03-26T02:00:00", "2023-03-26T03:00:00", "clock put forward an hour"),
        ("2023-10-29T03:00:00", "2023-10-29T02:00:00", "clock put back an hour"),
    ],
)
def test_summer_time_neither_makes_nor_hides_time(analyse, end, begin, what):
    before = sampled([0, 0, 6, 6, 6], start=np.datetime64(end) - np.timedelta64(300, "s"))
    after = sampled([6, 6, 0, 0], start=np.datetime64(begin))
    report = analyse(["time,flow_l_per_min", *before, *after])
    assert flaws(report) == {what: (1, 7)}
    assert report.runs["seconds"].tolist() == [300] * 3
    assert report.covered_days * 1440 == pytest.approx(9)


def test_a_missing_hour_that_no_clock_change_explains_is_a_hole(analyse):
    before = sampled([0, 0, 6, 6], start=np.datetime64("2023-03-26T01:40:00"))
    after = sampled([6, 0], start=np.datetime64("2023-03-26T02:44:00"))
    report = analyse(["time,flow_l_per_min", *before, *after])
    assert "hole in the recording" in flaws(report)


def test_time_that_goes_back_is_reported_and_adds_nothing(analyse):
    rows = [*sampled([0, 6, 6, 0]), *sampled([6, 6, 0], start=START + np.timedelta64(90, "s"))]
    report = analyse(["time,flow_l_per_min", *rows])
    assert flaws(report) == {"time goes back": (1, 6)}
    assert report.covered_days * 1440 == pytest.approx(7)
    assert report.runs[report.runs["gap"] == "0 s"]["seconds"].tolist() == [120, 120]


def test_long_pauses_of_a_record_without_zeros_are_not_taken_as_recorded(analyse):
    day = 86_400
    rows = [f"{1_700_000_000 + t},10,1" for t in (0, 5 * day, 30 * day, 35 * day)]
    report = analyse(["start,seconds,litres", *rows])
    assert report.covered_days == pytest.approx(10, abs=0.01)
    assert report.hole_days == pytest.approx(25, abs=0.01)
    assert flaws(report) == {"hole in the recording": (1, 4)}
    longer = analyse(["start,seconds,litres", *rows], hole="26 days")
    assert longer.covered_days == pytest.approx(35, abs=0.01)
    stated = analyse(["start,seconds,litres", *rows], covered="12 days")
    assert stated.covered_days == 12
    assert stated.litres_per_day == pytest.approx(4 / 12)


def test_labels_are_counted_row_by_row(analyse):
    rows = ["start,minutes,litres,label", "2023-01-01 00:00:00,40,400,garden"]
    rows += ["2023-01-01 00:10:00,2,8,tap", "2023-01-01 05:00:00,61,500,garden"]
    rows += ["2023-01-02 05:00:00,1,1,\x1b[31mred"]
    table = analyse(rows).labels.set_index("label")
    assert table["events"].to_dict() == {"garden": 2, "tap": 1, "?[31mred": 1}
    assert table.loc["garden", ["longer than 30 min", "longer than 60 min"]].tolist() == [2, 1]
    assert table.loc["garden", "longest_s"] == 3660


def test_a_record_without_any_flow_bounds_the_rate(analyse):
    report = analyse(["time,litres", *sampled([0] * 100)])
    assert report.litres == 0
    assert (report.trips["count"] == 0).all()
    assert (report.trips["per_year"] > 0).all()
    assert report.trips["smallest_leak_l_per_min"].isna().all()


def test_notes_say_what_the_file_cannot_tell(analyse):
    joined = ["start,seconds,litres", *(f"{1_700_000_000 + t},20,1" for t in (0, 31, 63, 99))]
    assert any("No pause between runs is shorter than 11 s" in n for n in analyse(joined).notes)
    minutes = ["start,seconds,litres", *(f"{1_700_000_040 + 60 * i},20,1" for i in (0, 1, 3, 9))]
    assert any("Starts are rounded to 1 min" in note for note in analyse(minutes).notes)
    hourly = analyse(["time,litres", *sampled([0, 4, 0, 9], step=3600)])
    assert any("too high" in note for note in hourly.notes)
    endless = analyse(["time,litres", *sampled([0] + [1] * 900)])
    assert any("may be a leak" in note for note in endless.notes)


def test_rows_at_changes_hold_until_the_next_one(analyse):
    changes = [(0, 0), (100, 6), (400, 3), (460, 0), (90_000, 9), (90_010, 0), (90_500, 0)]
    rows = [f"{1_700_000_000 + t},{flow}" for t, flow in changes]
    report = analyse(["time,flow_l_per_min", *rows])
    assert report.flaws == ()
    assert report.litres == pytest.approx(30 + 3 + 1.5)
    assert report.runs["seconds"].tolist() == [360, 10] * 3
    assert report.covered_days * 86_400 == pytest.approx(90_500, rel=0.01)
    assert any("hold until the next row" in note for note in report.notes)


def test_samples_without_zeros_are_not_a_record_full_of_holes(analyse):
    times = [t + 1000 * n for n in range(20) for t in (0, 10, 20)]
    report = analyse(["time,lpm", *(f"{1_700_000_000 + t},6" for t in times)])
    assert report.flaws == ()
    assert report.distribution["runs"].tolist() == [20, 20, 20]
    assert report.runs["seconds"].tolist() == [30] * 60
    assert report.litres == pytest.approx(60)
    assert report.covered_days * 86_400 == pytest.approx(19_030)


def test_pulses_with_a_sign_of_life_are_not_a_record_full_of_holes(analyse):
    rows = [(0, 0), (3600, 0), (3605, 1), (3611, 1), (3618, 2), (7200, 0), (7203, 1), (10_800, 0)]
    report = analyse(
        ["time,pulses", *(f"{1_700_000_000 + t},{n}" for t, n in rows)], litres_per_pulse=1
    )
    assert report.flaws == ()
    assert report.litres == pytest.approx(5)
    assert report.covered_days * 86_400 == pytest.approx(10_801)
