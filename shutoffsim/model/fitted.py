"""What is fitted: the traits of the closing element, as compiled rules ask for them."""

from __future__ import annotations

from shutoffsim.model.compiled import kernel
from shutoffsim.model.elements import elements_that

_CLOSES = elements_that(lambda element: element.closes)
_MOTOR = elements_that(lambda element: element.drive == "motor")
_COIL = elements_that(lambda element: element.drive == "coil")
_CLAMPED = elements_that(lambda element: element.clamped)
_FALLS_SHUT = elements_that(lambda element: element.unpowered == "falls shut")
_FALLS_OPEN = elements_that(lambda element: element.unpowered == "falls open")


@kernel
def closes_itself(p):
    """Return whether something besides a person can close the water."""
    return (_CLOSES >> p.element_kind) & 1 == 1


@kernel
def has_motor(p):
    """Return whether a motor turns a valve, so that torque counts."""
    return (_MOTOR >> p.element_kind) & 1 == 1


@kernel
def has_coil(p):
    """Return whether a coil moves it, whatever the torque of the valve."""
    return (_COIL >> p.element_kind) & 1 == 1


@kernel
def is_clamped(p):
    """Return whether it sits on the existing valve by a mount."""
    return (_CLAMPED >> p.element_kind) & 1 == 1


@kernel
def falls_shut(p):
    """Return whether it shuts when there is no power at all."""
    return (_FALLS_SHUT >> p.element_kind) & 1 == 1


@kernel
def falls_open(p):
    """Return whether it opens when there is no power at all."""
    return (_FALLS_OPEN >> p.element_kind) & 1 == 1
