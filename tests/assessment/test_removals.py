"""A failure mode that is taken out is gone, and its damage with it."""

from __future__ import annotations

import numpy as np
import pytest
from checks import perfect

import shutoffsim
from shutoffsim.engine.placement import place
from shutoffsim.model import layout as L
from shutoffsim.study.assessment.loss_parts import Removal
from shutoffsim.study.assessment.removals import CHANGES, NOT_REMOVABLE, run_removals

_STIFF = """
actuator.stall_torque = "1 N*m"
valve.breakaway = {median = "1 N*m", spread = 2}
"""
# Some demands of a stall-prone valve succeed, so that what broke earlier is what shows.
_STALLING = f"""{_STIFF}
valve.closing_share = {{low = 0.3, high = 0.9, shape = "even"}}
exercise = {{interval = "30 days", coverage = 0}}
"""
#: One thing wrong in a system that is otherwise perfect, by the mode that it causes.
SPOILED = {
    "not sensed": 'sensors.a.reach_chance = 0.5\ndamage.late_volume = "4 L"',
    "sensor dead": 'sensors.a.failure_rate = "1 per year"',
    "message lost": "sensors.a.attempt_success = 0.5",
    "gateway down": "gateway = {fitted = true, availability = 0.5}\ndetection.via_gateway = true",
    "controller down": """
controller = {hang_rate = "1 per year", watchdog = false, hang_notice = "1 year"}
""",
    "automation switched off": """
nuisance = {rate_per_sensor = "1 per year", switch_off_chance = 1, switch_off_time = "100 days"}
""",
    "no power": 'mains = {outage_rate = "2 per year", outage_duration = "60 days"}',
    "actuator failed": 'actuator.failure_rate = "1 per year"',
    "brown-out": """
supply.resistance = "20 ohm"
controller = {shares_rail = true, brown_out = "11.99 V"}
valve.breakaway = "2 N*m"
""",
    "motor burnt": f"""{_STALLING}
actuator.winding_limit = "40 degC"
actuator.thermal_resistance = "100 K/W"
actuator.thermal_time = "1 s"
actuator.stall_cutoff = "never"
""",
    "gears stripped": f"""{_STALLING}
actuator.strip_chance = 1
actuator.stall_cutoff = "1 s"
""",
    "mount slipped": """
mount.reaction = "friction"
mount.slip_torque = "1 N*m"
valve.breakaway = {median = "1 N*m", spread = 2}
""",
    "undersized torque": _STIFF,
    "valve seized": 'valve.seize_time = {life = "5 years", shape = 2}',
    "closed short": "actuator = {short_chance = 0.5, short_flow = 0.5}",
    "late": 'damage.late_volume = "4 L"\nsensors.a.reach_area = "5 m2"',
}


def removed(changes: str, mode: str, histories: int = 96) -> Removal:
    """Return what one removal does in a spoiled system."""
    damage = 'damage.harmless = "1 L"\ndamage.area_loss = "100 EUR/m2"\n'
    damage += 'damage.loss_cap = "2000 EUR"\n'
    params = perfect(damage + changes).parameters()
    params["source_rate"] *= 1e4  # one leak in a hundred years
    ((found,),) = run_removals(params, [[mode]], place(params), 3, histories)
    return found


@pytest.mark.parametrize("mode", SPOILED)
def test_the_only_fault_removed_leaves_nothing(mode: str) -> None:
    removal = removed(SPOILED[mode], mode)
    assert removal.leaks_before.value > 0.02, "the fault never shows: no test"
    assert removal.leaks_after.value == 0.0
    assert removal.remains == ""
    assert removal.reduction.value > 0.0
    assert removal.reduction.low > 0.0


@pytest.mark.parametrize("mode", SPOILED)
def test_removing_another_mode_does_not_help(mode: str) -> None:
    """What has nothing to do with the fault gains nothing: removals do not simply mend all."""
    other = {
        "message lost": "closed short",
        "closed short": "message lost",
    }.get(mode, "message lost")
    removal = removed(SPOILED[mode], other, histories=64)
    assert removal.reduction.value == 0.0


def test_every_mode_has_a_removal_or_a_reason() -> None:
    assert {*CHANGES, *NOT_REMOVABLE} == set(L.MODES[1:])
    assert set(SPOILED) == set(CHANGES)
    assert all(change.how for change in CHANGES.values())


def test_removals_in_a_real_scenario_leave_no_share(cottage: shutoffsim.Scenario) -> None:
    names = [cottage.reference, cottage.designs[-1]]
    params = cottage.parameters(names)
    modes = [list(L.MODES[1:])] * 2
    none, found = run_removals(params, modes, place(params), 1, 128)
    assert len(found) == len(CHANGES)
    for removal in found:
        if removal.leaks_after.value > 0.0:
            # what is late in the cottage is nearly all the rule's own time: fewer, or less of each
            assert removal.remains
            assert removal.leaks_after.value <= removal.leaks_before.value
            assert removal.reduction.low > 0.0
    assert [r.reduction.value for r in found] == sorted(
        (r.reduction.value for r in found), reverse=True
    )
    # nothing closes in the reference; there a freed valve only helps the hand
    gained = {r.mode for r in none if r.reduction.value != 0.0}
    assert gained == {"valve seized"}


def test_reduction_is_that_of_a_comparison(cottage: shutoffsim.Scenario) -> None:
    params = cottage.parameters([cottage.designs[-1]])
    (found,) = run_removals(params, [["actuator failed"]], place(cottage.parameters()), 4, 256)
    before = shutoffsim.compare(cottage, histories=256, seed=4).designs[-1]
    assert found[0].leaks_before == before.failure_modes["actuator failed"]


def test_original_parameters_stay_as_they_are(cottage: shutoffsim.Scenario) -> None:
    params = cottage.parameters()
    copy = params.copy()
    run_removals(params, [list(CHANGES)] * len(params), place(params), 1, 2)
    assert params.tobytes() == copy.tobytes()


def test_progress_ends_at_what_was_planned(cottage: shutoffsim.Scenario) -> None:
    params = cottage.parameters()
    seen: list[tuple[int, int]] = []
    modes = [["late"], *[["no power", "late"]] * (len(params) - 1)]
    run_removals(params, modes, place(params), 1, 130, progress=lambda a, b: seen.append((a, b)))
    assert seen[-1][0] == seen[-1][1] > 0
    assert np.all(np.diff([done for done, _planned in seen]) > 0)
