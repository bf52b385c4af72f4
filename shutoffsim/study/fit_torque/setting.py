"""What a scenario says before any reading: the valve's torque, its age, the actuator as gauge."""

from __future__ import annotations

from dataclasses import dataclass

from shutoffsim.errors import ModelError
from shutoffsim.model import layout
from shutoffsim.scenario import Scenario, loads
from shutoffsim.study.fit_torque.belief import Prior, read_prior
from shutoffsim.study.fit_torque.rows import DataSheet

_DEFAULTS = """
[leaks.hose]
kind = "appliance hose"
[designs."library defaults"]
"""
LIBRARY = "the library's defaults"


@dataclass(frozen=True)
class Setting:
    """What is known before the readings.

    Attributes
    ----------
    prior : Prior
    age : float
        Of the valve, s.
    valve_type : str
    data_sheet : DataSheet or None
        Of the clamped actuator, where there is one.
    scenario, scenario_hash, design : str or None
        None: the library's defaults.
    """

    prior: Prior
    age: float
    valve_type: str
    data_sheet: DataSheet | None
    scenario: str | None
    scenario_hash: str | None
    design: str | None

    @property
    def source(self) -> str:
        """Words for where the prior is from."""
        if self.scenario is None:
            return f"{LIBRARY} for a {self.valve_type}"
        return f"{self.scenario}, {self.design}"


def read_setting(scenario: Scenario | None, design: str | None) -> Setting:
    """Return what a design says of its valve.

    Parameters
    ----------
    scenario : Scenario or None
        None: the library's defaults.
    design : str or None
        By default the last design of the scenario whose element is a clamped actuator, else the
        last one.

    Raises
    ------
    ScenarioError
        When there is no such design.
    ModelError
        When a design is named without a scenario, or its valve is another, new one.
    """
    if scenario is None:
        if design is not None:
            raise ModelError(
                "a design needs a scenario",
                found=f'"{design}"',
                expected="the scenario file that contains it",
                hint="name the scenario too, or leave out the design",
            )
        given = loads(_DEFAULTS)
        chosen = given.resolved[0]
    else:
        given = scenario
        clamped = [d for d in given.resolved if d.system.element.traits.clamped]
        chosen = given.design(design) if design is not None else (clamped or given.resolved)[-1]
    p = given.parameters([chosen.name])[0]
    if chosen.system.element.traits.own_valve:
        raise ModelError(
            "this design closes a new valve, not the existing one",
            found=f'design "{chosen.name}", {chosen.system.element.kind}',
            expected="a design that keeps the existing valve",
            hint="name another design (--design)",
        )
    sheet = None
    if scenario is not None and chosen.system.element.traits.clamped:
        sheet = DataSheet(
            float(p.actuator_rated_voltage),
            float(p.actuator_stall_torque),
            float(p.actuator_stall_current),
            float(p.actuator_no_load_current),
            float(p.actuator_current_limit),
        )
    assert p.dtype == layout.PARAMETERS
    return Setting(
        prior=read_prior(p),
        age=float(p.valve_age),
        valve_type=chosen.system.valve.type,
        data_sheet=sheet,
        scenario=None if scenario is None else scenario.name,
        scenario_hash=None if scenario is None else scenario.hash,
        design=None if scenario is None else chosen.name,
    )
