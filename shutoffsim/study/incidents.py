"""Incidents with words for numbers and units of the trade, for people and for files."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa

from shutoffsim.model import layout as L
from shutoffsim.model.damage import LOSS_PARTS, loss_parts

if TYPE_CHECKING:
    from shutoffsim.scenario import Scenario

HOUR = 3600.0
DAY = 86400.0
LITRE = 1e-3
_WORD = pa.dictionary(pa.int16(), pa.string())

COLUMNS = (
    ("history", pa.int64(), "number of the history"),
    ("design", _WORD, "design"),
    ("probe", pa.int32(), "number of the probe within its history"),
    ("weight", pa.float64(), "leaks per history that this row stands for"),
    ("source", _WORD, "leak source"),
    ("zone", _WORD, "zone of the source"),
    ("onset_days", pa.float64(), "start of the leak, days since commissioning"),
    ("presence", _WORD, "where people were at the start"),
    ("mains", pa.bool_(), "whether mains power was there at the start"),
    ("flow_l_per_min", pa.float64(), "flow at the start, valve open"),
    ("sensed_h", pa.float64(), "start to alarm at the controller; empty: never"),
    ("stopped_h", pa.float64(), "start to stopped flow; empty: not within the service life"),
    ("found_h", pa.float64(), "start to a person knowing; empty: not within the service life"),
    ("stopped_by", _WORD, "who stopped the water"),
    ("failure_mode", _WORD, "first broken link; none: automation stopped it in time"),
    ("volume_l", pa.float64(), "water escaped"),
    ("wet_area_m2", pa.float64(), "floor wetted"),
    ("units_affected", pa.float64(), "units below that the water reached, partly as fractions"),
    ("wet_time_h", pa.float64(), "start, or first opening if shut then, until stopped and found"),
    ("loss", pa.float64(), "loss, in the scenario's currency"),
    ("insured_loss", pa.float64(), "part of the loss that the policy pays"),
    ("mean_loss", pa.float64(), "mean of the loss over the factor for what is not modelled"),
    ("mean_insured_loss", pa.float64(), "mean of the part that the policy pays"),
    ("loss_fixed", pa.float64(), "of the loss: what any damaging leak costs"),
    ("loss_building", pa.float64(), "of the loss: the building, by wetted area"),
    ("loss_mould", pa.float64(), "of the loss: more of that, for what stayed wet long"),
    ("loss_contents", pa.float64(), "of the loss: contents, by wetted area"),
    ("loss_below", pa.float64(), "of the loss: units below"),
    ("loss_factor", pa.float64(), "factor in all of these for what is not modelled, cap included"),
)
SCHEMA = pa.schema([pa.field(name, kind) for name, kind, _meaning in COLUMNS])


def incident_table(
    rows: Any, scenario: Scenario, designs: tuple[str, ...], params: Any
) -> pa.Table:
    """Return incidents with words for numbers and units of the trade.

    Parameters
    ----------
    rows : record array (i,)
        Incidents, see :data:`shutoffsim.model.layout.INCIDENT`.
    scenario : Scenario
    designs : tuple of str
        Names by ``rows["design"]``.
    params : record array (designs,)
        Of dtype :data:`shutoffsim.model.layout.PARAMETERS`.

    Returns
    -------
    pyarrow.Table
        With the columns of :data:`COLUMNS`.
    """
    zone = params["source_zone"][rows["design"], rows["source"]]
    values = {
        "history": rows["history"],
        "design": _words(rows["design"], designs),
        "probe": rows["probe"],
        "weight": rows["weight"],
        "source": _words(rows["source"], scenario.source_names),
        "zone": _words(zone, scenario.zone_names),
        "onset_days": rows["onset"] / DAY,
        "presence": _words(rows["presence"], L.PRESENCE_NAMES),
        "mains": rows["mains"] == 1,
        "flow_l_per_min": rows["flow"] * (60.0 / LITRE),
        "sensed_h": _or_empty(rows["sensed"] / HOUR),
        "stopped_h": _or_empty(rows["stopped"] / HOUR),
        "found_h": _or_empty(rows["found"] / HOUR),
        "stopped_by": _words(rows["stopped_by"], L.STOPPERS),
        "failure_mode": _words(rows["mode"], L.MODES),
        "volume_l": rows["volume"] / LITRE,
        "wet_area_m2": rows["wet_area"],
        "units_affected": rows["units"],
        "wet_time_h": rows["wet_time"] / HOUR,
        "loss": rows["loss"],
        "insured_loss": rows["insured"],
        "mean_loss": rows["mean_loss"],
        "mean_insured_loss": rows["mean_insured"],
        **taken_apart(rows, params),
    }
    columns = [
        value if isinstance(value, pa.Array) else pa.array(np.ascontiguousarray(value), field.type)
        for value, field in zip(values.values(), SCHEMA, strict=True)
    ]
    return pa.Table.from_arrays(columns, schema=SCHEMA)


def taken_apart(rows: Any, params: Any) -> dict[str, Any]:
    """Return what losses are made of: parts in money that add up to each, and the factor in them.

    Parameters
    ----------
    rows : record array (i,)
        Incidents.
    params : record array (designs,)
        Parameters by ``rows["design"]``.
    """
    p = params[rows["design"]].view(np.recarray)
    grey = p["source_grey"][np.arange(len(rows)), rows["source"]]
    parts = np.array(loss_parts(p, rows["wet_area"], rows["units"], rows["wet_time"], grey))
    whole = parts.sum(axis=0)
    factor = np.divide(rows["loss"], whole, out=np.zeros(len(rows)), where=whole > 0.0)
    named = {f"loss_{name}": part * factor for name, part in zip(LOSS_PARTS, parts, strict=True)}
    return {**named, "loss_factor": factor}


def loss_parts_of(row: Mapping[str, Any]) -> dict[str, float]:
    """Return the parts of the loss of one row of the table."""
    return {name: float(row[f"loss_{name}"]) for name in LOSS_PARTS}


def in_order(rows: Any) -> Any:
    """Return the probes (designs, histories, probes) as a flat array by history, design, probe.

    Probes that stand for no leak (weight 0) are left out.
    """
    flat = np.swapaxes(rows, 0, 1).reshape(-1)
    return flat[flat["weight"] > 0.0]


def _words(numbers: Any, words: tuple[str, ...]) -> pa.Array:
    indices = pa.array(np.ascontiguousarray(numbers), pa.int16())
    return pa.DictionaryArray.from_arrays(indices, pa.array(words, pa.string()))


def _or_empty(values: Any) -> pa.Array:
    return pa.array(np.ascontiguousarray(values), pa.float64(), mask=np.isnan(values))
