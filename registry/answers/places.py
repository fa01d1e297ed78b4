"""Settings of any pump model and revision, as documents name them."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from registry.answers.narrowing import rig_labels
from registry.answers.wording import counted
from registry.models import PumpModel, Revision
from registry.statistics.precision import ENOUGH_CLINICS, ENOUGH_UNITS

PLACE = ["pump_model", "revision", "mode", "programme", "level", "side", "rig", "power"]


@dataclass(frozen=True)
class Names:
    """What the keys in the table stand for."""

    models: Mapping[int, str]
    revisions: Mapping[int, str]
    rigs: Mapping[int, str]


def names_in(frame: pd.DataFrame) -> Names:
    """The names of what the table holds: three queries at most."""
    models = {
        model.pk: model.name
        for model in PumpModel.objects.filter(pk__in=frame["pump_model"].unique().tolist())
    }
    revisions = {
        one.pk: one.label for one in Revision.objects.filter(pk__in=frame["revision"].unique().tolist())
    }
    return Names(models, revisions, rig_labels(frame))


def place_shown(key: Mapping[str, Any], names: Names) -> dict[str, Any]:
    """Where a row belongs, in words."""
    return {
        "model": names.models[key["pump_model"]],
        "revision": names.revisions.get(key["revision"]),
        **{name: key[name] for name in ("mode", "programme", "level", "side", "power")},
        "rig": names.rigs[key["rig"]],
    }


# Enough units and clinics, and still nothing that tells units from gauges.
UNTOLD = "more units measured with one gauge"


def lacking(units: int, clinics: int) -> str:
    """What is missing in words below what a distribution needs; nothing where there is enough."""
    wanted = ((ENOUGH_UNITS - units, "more unit"), (ENOUGH_CLINICS - clinics, "more clinic"))
    return ", ".join(counted(lack, what) for lack, what in wanted if lack > 0)


def build_of(row: Mapping[str, Any], *, with_model: bool) -> str:
    """A build in words, with its model where several are asked about."""
    build = f"revision {row['revision']}" if row["revision"] else "unknown revision"
    return f"{row['model']} {build}" if with_model else build
