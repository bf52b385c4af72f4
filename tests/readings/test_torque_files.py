"""Files of readings: what is read, in which units, and what is refused, with its place."""

from __future__ import annotations

import math

import pandas as pd
import pytest

import shutoffsim
from shutoffsim import units
from shutoffsim.errors import ModelError, RecordError, ScenarioError
from shutoffsim.scenario import starter as template
from shutoffsim.study.fit_torque import fit_torque

HEAD = "date,direction,torque,outcome,idle,age\n"
GOOD = "2026-01-10,closing,4 N*m,moved,2 years,15 years\n"


def limits(fit):
    return [(row.reading.low, row.reading.high) for row in fit.rows]


def test_units_stand_in_cells_or_in_the_header(fit):
    cells = fit(
        "date,direction,torque,idle,age\n"
        "2026-01-10,closing,4 N*m,30 days,15 years\n"
        "2026-01-10,opening,50 kgf*cm,0 days,\n"
    )
    header = fit(
        "Date;Direction;Torque [N*cm];days since last moved;valve age (years)\n"
        "2026-01-10;closing;400;30;15\n"
        "2026-01-10;opening;490.3325 N*cm;0;\n"
    )
    assert limits(cells) == [(pytest.approx(4.0), pytest.approx(4.0)), (4.903325, 4.903325)]
    assert limits(header) == [(pytest.approx(a), pytest.approx(b)) for a, b in limits(cells)]
    assert [row.idle for row in header.rows] == [row.idle for row in cells.rows]


@pytest.mark.parametrize(
    ("force", "newtons"),
    [("25 N", 25.0), ("1 kgf", 9.80665), ("100 gf", 0.980665), ("2 lbf", 8.896443230521),
     ("16 ozf", 4.4482216152605)],
)  # fmt: skip
def test_forces(force, newtons, fit):
    assert units.parse(force, "force") == pytest.approx(newtons, rel=1e-9)
    found = fit(
        f"date,direction,force,lever,idle,age\n2026-01-10,closing,{force},20 cm,1 month,9 years\n"
    )
    assert limits(found)[0][0] == pytest.approx(0.2 * newtons, rel=1e-9)


def test_outcomes_are_values_and_limits(fit):
    found = fit(
        "date,direction,torque,torque to,outcome,idle,age\n"
        "2026-01-10,closing,1.2 N*m,,did not move,1 year,15 years\n"
        "2026-01-11,closing,5 N*m,,moved below,,\n"
        "2026-01-12,closing,2 N*m,3 N*m,moved between,,\n"
        "2026-01-13,closing,2.5 N*m,,,,\n"
    )
    assert limits(found) == [(1.2, math.inf), (0.0, 5.0), (2.0, 3.0), (2.5, 2.5)]


def test_rest_follows_from_the_reading_before(fit):
    found = fit(
        HEAD
        + "2026-01-10,closing,3 N*m,did not move,2 years,15 years\n"
        + "2026-01-20,closing,4 N*m,moved,,\n"
        + "2026-01-20,opening,4 N*m,moved,,\n"
        + "2026-02-19,closing,4 N*m,moved,,\n"
    )
    days = [row.idle / 86400 for row in found.rows]
    assert days == pytest.approx([730.5, 740.5, 0.0, 30.0])
    ages = [row.age / 86400 for row in found.rows]
    assert ages[3] - ages[0] == pytest.approx(40.0)


def test_current_becomes_torque_by_the_data_sheet(fit, starter):
    # Geared motor, 10 N*m: 2 A at stall, 0.13 A turning freely, at 12 V.
    found = fit(
        "date,direction,current,voltage,outcome,idle,age\n"
        "2026-01-10,closing,0.8 A,11.9 V,moved,1 month,15 years\n"
        "2026-01-10,closing,,6 V,did not move,0 days,\n",
        starter,
    )
    assert limits(found)[0][0] == pytest.approx(10.0 / 1.87 * (0.8 - 0.13))
    # At half the voltage the motor stands still at half the current.
    assert limits(found)[1] == (pytest.approx(10.0 / 1.87 * (1.0 - 0.13)), math.inf)


def test_a_table_reads_like_a_file(fit):
    table = pd.DataFrame(
        {
            "date": pd.to_datetime(["2026-01-10", "2026-03-01"]),
            "direction": ["closing", "opening"],
            "torque (N*m)": [4.0, 5.5],
            "idle": ["2 years", None],
            "age": ["15 years", float("nan")],
        }
    )
    file = fit(
        "date,direction,torque (N*m),idle,age\n2026-01-10,closing,4.0,2 years,15 years\n"
        "2026-03-01,opening,5.5,,\n"
    )
    assert fit_torque(table).predictions == file.predictions


def test_comments_blanks_and_other_columns(fit):
    found = fit(
        "# taken by the tenant\n\n" + HEAD.replace("idle", "who,idle")
        + "2026-01-10,closing,4 N*m,moved,A,2 years,15 years\n\n"
    )  # fmt: skip
    assert [row.reading.line for row in found.rows] == [4]
    assert "Columns not used: who." in found.notes


ROWS = {
    "2026-13-01,closing,4 N*m,moved,2 years,15 years": 'line 2, column "date": this is not a date',
    "10.01.2026,closing,4 N*m,moved,2 years,15 years": "write the year first",
    "2026-01-10,sideways,4 N*m,moved,2 years,15 years": 'column "direction": not a direction',
    "2026-01-10,,4 N*m,moved,2 years,15 years": 'column "direction": not a direction',
    "2026-01-10,closing,-4 N*m,moved,2 years,15 years": 'column "torque": this must be above zero',
    "2026-01-10,closing,0 N*m,moved,2 years,15 years": 'column "torque": this must be above zero',
    "2026-01-10,closing,4,moved,2 years,15 years": "add the unit",
    '2026-01-10,closing,"4,5 N*m",moved,2 years,15 years': "use a point, not a comma",
    "2026-01-10,closing,4 kg*cm,moved,2 years,15 years": "kg is a mass",
    "2026-01-10,closing,4 V,moved,2 years,15 years": "is for a voltage",
    "2026-01-10,closing,nan,moved,2 years,15 years": 'column "torque"',
    "2026-01-10,closing,4e6 N*m,moved,2 years,15 years": "not the torque of a stop valve",
    "2026-01-10,closing,,moved,2 years,15 years": "a reading needs one measured value",
    "2026-01-10,closing,4 N*m,stuck,2 years,15 years": "not an outcome",
    "2026-01-10,closing,4 N*m,moved between,2 years,15 years": 'column "torque to"',
    "2026-01-10,closing,4 N*m,moved,,15 years": "before this reading is not known",
    "2026-01-10,closing,4 N*m,moved,-2 years,15 years": "this cannot be negative",
    "2026-01-10,closing,4 N*m,moved,20 years,15 years": "rested for longer than its age",
    "2026-01-10,closing,4 N*m,moved,2 years": "another number of cells",
    GOOD + "2025-01-10,closing,4 N*m,moved,,": "line 3.*dates of a valve go backwards",
    GOOD + "2026-02-10,closing,4 N*m,moved,1 year,": "line 3.*the rest contradicts the dates",
    GOOD + "2026-02-10,closing,4 N*m,moved,,14 years": "line 3.*the age of the valve goes down",
}


@pytest.mark.parametrize("rows", ROWS)
def test_bad_rows_are_refused_with_their_place(rows, fit):
    with pytest.raises(RecordError, match="(?s)" + ROWS[rows]):
        fit(HEAD + rows + "\n")


FILES = {
    "": "the file is empty",
    "# only a comment\n": "the file is empty",
    HEAD: "there is a header but no reading",
    "date,torque\n2026-01-10,4 N*m\n": 'a column is missing: "direction"',
    "date,direction\n2026-01-10,closing\n": 'a column is missing: "torque"',
    "date,direction,force\n2026-01-10,closing,4 N\n": 'a column is missing: "lever"',
    HEAD.replace("torque", "torqe") + GOOD: "an unknown column, close to a known one",
    HEAD.replace("torque", "torque (N*m),torque [kgf*cm]"): "two columns say the same thing",
    HEAD.replace("torque", "torque (kg*cm)") + GOOD: "the unit in the header is not known",
    HEAD.replace("torque", "torque (kgf*cm)") + GOOD: "unit is not that of the header",
    HEAD.replace("date", "date (UTC)") + GOOD: "this column has no unit",
    b"\xff\xfe\x00bad": "not a text in UTF-8",
    b"PK\x03\x04\x00\x00": "not a text in UTF-8",
    HEAD + GOOD + '"' + "9" * 200000 + "\n": "this row cannot be read",
    '"' + "9" * 200000 + "\n": "the header cannot be read",
    HEAD + GOOD * 1001: "too many readings",
}


@pytest.mark.parametrize("content", FILES)
def test_bad_files_are_refused(content, fit):
    with pytest.raises(RecordError, match=FILES[content]):
        fit(content)


@pytest.mark.parametrize(
    ("lever", "message"),
    [("0 mm", "a force needs the length"), ("", "a force needs the length"), ("4", "add the unit")],
)
def test_a_force_needs_a_lever(lever, message, fit):
    with pytest.raises(RecordError, match=f'(?s)line 2, column "lever".*{message}|{message}'):
        fit(
            "date,direction,force,lever,idle,age\n"
            f"2026-01-10,closing,25 N,{lever},1 month,9 years\n"
        )


def test_a_mass_is_no_force(fit):
    with pytest.raises(RecordError, match='a hanging scale shows a force: "kgf"'):
        fit("date,direction,force,lever,idle\n2026-01-10,closing,2.5 kg,20 cm,1 month\n")


@pytest.mark.parametrize(
    ("cells", "message"),
    [
        ("0.1 A,12 V,moved", "no more than the motor draws when it turns freely"),
        ("2.5 A,12 V,moved", "more than the motor can draw"),
        ("1.99 A,12 V,moved", "the valve cannot have moved"),
        ("0.8 A,0 V,moved", "this must be above zero"),
        (",12 V,moved", "a reading needs one measured value"),
    ],
)
def test_currents_that_cannot_be(cells, message, fit, starter):
    text = f"date,direction,current,voltage,outcome,idle\n2026-01-10,closing,{cells},1 month\n"
    with pytest.raises(RecordError, match=message):
        fit(text, starter)


def test_a_current_needs_a_scenario(fit):
    with pytest.raises(RecordError, match="only with the actuator's data sheet"):
        fit("date,direction,current,idle\n2026-01-10,closing,0.8 A,1 month\n")


def test_all_problems_are_told_at_once_and_counted(fit):
    bad = "2026-01-10,closing,-4 N*m,moved,2 years,15 years\n"
    with pytest.raises(RecordError) as error:
        fit(HEAD + bad + GOOD + bad)
    assert [problem.line for problem in error.value.problems] == [2, 4]
    with pytest.raises(RecordError, match=r"(?s)30 problems.*and 10 more"):
        fit(HEAD + bad * 30)


def test_a_missing_file_and_a_folder(tmp_path):
    with pytest.raises(RecordError, match="there is no such file"):
        fit_torque(tmp_path / "none.csv")
    with pytest.raises(RecordError, match="this is a folder"):
        fit_torque(tmp_path)


def test_bad_arguments(fit, starter):
    with pytest.raises(ModelError, match="a design needs a scenario"):
        fit(HEAD + GOOD, design="mains only")
    with pytest.raises(ScenarioError, match="there is no such design"):
        fit(HEAD + GOOD, starter, "no such")
    with pytest.raises(ModelError, match="there are no readings of this valve"):
        fit(HEAD + GOOD, valve="attic")
    with pytest.raises(ModelError, match="seed is "):
        fit(HEAD + GOOD, seed=-1)
    changed = template() + '\n[designs.new]\nelement.kind = "motorised valve"\n'
    with pytest.raises(ModelError, match="closes a new valve"):
        fit(HEAD + GOOD, shutoffsim.loads(changed), "new")
