"""The mount that clamps an actuator onto the existing valve: what torque it holds."""

from __future__ import annotations

import math

from shutoffsim.model.compiled import kernel, law

AN_HOUR = 3600.0  # s


@law
def preload_left(creep, since):
    """Return the share of the preload an hour after tightening that is left after ``since`` [s].

    Creep relaxes it by a power of time: it never ends, and never comes to nothing.
    """
    return max(since / AN_HOUR, 1.0) ** -creep


@kernel
def slip_capacity(p, s, now):
    """Return the torque [N*m] that the mount holds.

    By friction that is coefficient times preload times radius, so it falls with the preload; a
    mount that holds by its form cannot slip.
    """
    if p.mount_slip_torque == math.inf:
        return math.inf
    return p.mount_slip_torque * preload_left(s.creep, now - s.mounted_at)
