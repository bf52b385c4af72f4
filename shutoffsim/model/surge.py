"""Water hammer: how far the pressure rises when a valve shuts on flowing water."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Numbers = float | NDArray[np.float64]

BULK_MODULUS = 2.1e9  # Pa, cold water


def wave_speed(bore: Numbers, wall: Numbers, modulus: Numbers, density: float = 1000.0) -> Numbers:
    """Return the speed [m/s] of a pressure wave in a thin-walled pipe.

    c = sqrt(K / rho / (1 + K D / (E e))), D. J. Korteweg 1878; in any textbook on water hammer.

    Parameters
    ----------
    bore, wall : float or array
        Inner diameter and thickness of the wall, m.
    modulus : float or array
        Young's modulus of the wall, Pa.
    density : float
        Of the water, kg/m3.

    Examples
    --------
    >>> round(wave_speed(13.6e-3, 0.7e-3, 120e9))
    1252
    """
    slack = BULK_MODULUS * bore / (modulus * wall)
    return np.sqrt(BULK_MODULUS / density / (1.0 + slack))


def pressure_rise(
    length: Numbers, velocity: Numbers, time: Numbers, speed: Numbers, density: float = 1000.0
) -> Numbers:
    """Return how far [Pa] the pressure rises before a valve that stops a flow evenly.

    Within the time 2 L / c in which the wave comes back, the whole of it (N. E. Joukowsky 1898):
    rho c v. In a longer time T, as L. Michaud (1878) has it: 2 rho L v / T; at T = 2 L / c both
    agree.

    Parameters
    ----------
    length : float or array
        Of the pipe, to where the wave is thrown back, m.
    velocity : float or array
        Of the water before, m/s.
    time : float or array
        In which the flow is throttled to nothing, s.
    speed : float or array
        Of the wave, m/s.
    density : float
        kg/m3.

    Examples
    --------
    >>> round(pressure_rise(15.0, 2.0, 0.01, 1250.0) / 1e5)  # bar
    25
    >>> round(pressure_rise(15.0, 2.0, 1.5, 1250.0) / 1e5, 1)
    0.4
    """
    return_time = 2.0 * length / speed
    return density * velocity * 2.0 * length / np.maximum(time, return_time)
