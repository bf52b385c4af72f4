"""Cold water, and the full-bore flow of a supply pipe where nobody has done the bucket test."""

from __future__ import annotations

from typing import Any

from shutoffsim.scenario.schema.water import SupplyPipe


def density(temperature: float) -> float:
    """Return the density [kg/m3] of water at a temperature [degC] and the air's pressure.

    G. S. Kell, "Density, thermal expansivity, and compressibility of liquid water from 0 to
    150 degC", Journal of Chemical and Engineering Data 20, 1975.

    Examples
    --------
    >>> round(density(10.0), 2)
    999.7
    """
    t = temperature
    top = 999.83952 + t * (16.945176 + t * (-7.9870401e-3 + t * (-46.170461e-6)))
    top += t**4 * (105.56302e-9 - 280.54253e-12 * t)
    return top / (1.0 + 16.879850e-3 * t)


def viscosity(temperature: float) -> float:
    """Return the viscosity [Pa s] of water at a temperature [degC].

    J. Kestin, M. Sokolov, W. A. Wakeham, "Viscosity of liquid water in the range -8 degC to
    150 degC", Journal of Physical and Chemical Reference Data 7, 1978.

    Examples
    --------
    >>> round(1e3 * viscosity(20.0), 3)
    1.002
    """
    d = 20.0 - temperature
    exponent = d / (temperature + 96.0) * (1.2364 - 1.37e-3 * d + 5.7e-6 * d * d)
    return float(1.002e-3 * 10.0**exponent)


def pipe_fields(pipe: SupplyPipe | None, temperature: float) -> dict[str, Any]:
    """Return the fields of water and supply pipe in a design's record; lengths 0 without one."""
    water = {"water_density": density(temperature), "water_viscosity": viscosity(temperature)}
    names = ("length", "bore", "roughness", "fittings_k", "friction_factor")
    values = {f"dwelling_supply_pipe_{name}": getattr(pipe, name, None) or 0.0 for name in names}
    return values | water


def full_bore_flow(pipe: SupplyPipe, pressure: float, temperature: float = 10.0) -> float:
    """Flow through a pipe whose far end is fully open, as the model computes it.

    Parameters
    ----------
    pipe : SupplyPipe
    pressure : float
        Static pressure before the pipe, Pa.
    temperature : float
        Of the water, degC.

    Returns
    -------
    float
        Flow in m3/s.

    Examples
    --------
    >>> pipe = SupplyPipe(length="15 m", bore="20 mm", roughness="0.01 mm", fittings_k=12)
    >>> round(full_bore_flow(pipe, 3e5) * 60000)
    86
    """
    from shutoffsim.model.pipe import pipe_flow  # the compiler is slow to import

    fields = pipe_fields(pipe, temperature)
    return float(pipe_flow(pressure, 0.0, *fields.values()))
