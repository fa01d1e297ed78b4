"""Settings that meet a need, by how likely the next unit meets it; and settings most like another one."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

import numpy as np

from registry.answers import cautions
from registry.answers.comparing.telling import told_setting
from registry.answers.filters import chosen_elevation, chosen_mode, chosen_power, chosen_programme
from registry.answers.ground import NO_GROUND, Ground
from registry.answers.keeping.written import plain
from registry.answers.matching.ahead_kept import Asked, table_of
from registry.answers.matching.instead import there_is
from registry.answers.matching.length import MOST, chosen_most, worked_out
from registry.answers.matching.likes import answer_like
from registry.answers.matching.matches import Matches, match, measured
from registry.answers.matching.needs import chosen_needs, in_full, told
from registry.answers.narrowing import chosen_margins
from registry.answers.places import build_of
from registry.answers.stamp import chosen_moment, stamp
from registry.answers.wording import counted, dated, in_a_hundred, in_words
from registry.errors import Fault, Invalid
from registry.models import PumpModel, Revision
from registry.models.lookup import find_revision
from registry.statistics.domains import domain_of
from registry.statistics.matching import Need

_LIKELY = 0.5


def write_settings(  # noqa: PLR0913 - one parameter a filter of the question
    model: str | None = None,
    *,
    needs: Mapping[str, str] | None = None,
    like: str | None = None,
    like_model: str | None = None,
    revision: str | None = None,
    mode: str | None = None,
    programme: str | None = None,
    power: str | None = None,
    elevation: str | None = None,
    rig: str | None = None,
    rate_margin: float | None = None,
    vacuum_margin: float | None = None,
    most: int | None = None,
    edition: int | None = None,
    as_of: datetime | None = None,
    ground: Ground = NO_GROUND,
) -> dict[str, Any]:
    """Return the `settings-matches` document; settings that meet needs are JSON texts in it.

    `edition` is the current one unless said; with `as_of`, a past time, the answer of then is made again.

    With `needs` (a range a metric, `rate` and `vacuum` for cycle_rate and peak_vacuum): settings of the
    model, or of every pump, by the probability that one run of the next unit at the next clinic meets all
    needs at once. With `like` (`OLD:MODE:LEVEL` or `OLD:MODE:PROGRAMME:LEVEL`): see `likes.answer_like`.
    Below three units from two clinics a setting is `thin` and has no probability. `most` is how many settings
    are listed, see `length.chosen_most`; the rest is counted in `left_off`.

    Raises UnknownPumpModel, and Invalid on the field at fault.
    """
    pump_model = ground.pump_model(model) if model and model.strip() else None
    margins = chosen_margins(rate_margin, vacuum_margin)
    if bool(needs) == bool(like):
        raise Invalid(
            "Say what a setting has to do, or which one it should be like",
            hint="Give rate, vacuum or another metric a range such as 70.. or 200..240, or give like "
            "a setting such as A:expression:5; not both.",
            faults=(Fault("give needs or like", field="rate"),),
        )
    listed = chosen_most(most, searching=bool(like) or pump_model is None)
    number, moment = ground.chosen_edition(edition), chosen_moment(as_of)
    stamped = stamp(number, moment)
    found = _revision(pump_model, revision)
    given = {
        "mode": chosen_mode(mode),
        "programme__iexact": chosen_programme(programme),
        "power": chosen_power(power),
        "elevation": chosen_elevation(elevation),
        "unit__revision": found.pk if found else None,
    }
    where = {name: value for name, value in given.items() if value is not None}
    if like:
        return answer_like(
            pump_model, like, like_model, where, number, moment,
            rig=rig, margins=margins, most=listed, stamped=stamped, ground=ground,
        )  # fmt: skip
    wanted = chosen_needs(needs or {})
    asked = Asked(number, tuple(wanted), where, moment)
    return {**_meeting(pump_model, wanted, asked, rig, listed), **stamped}


def answer_settings(model: str | None = None, **asked: Any) -> dict[str, Any]:
    """Return the `settings-matches` document; see `write_settings` for what is asked and refused."""
    return plain(write_settings(model, **asked))


def _revision(pump_model: PumpModel | None, label: str | None) -> Revision | None:
    if label is None or not label.strip():
        return None
    if pump_model is None:
        raise Invalid(
            "A revision is one of a pump model",
            hint="Name the model as well.",
            faults=(Fault("needs a model", field="revision"),),
        )
    return find_revision(pump_model, label)


def _meeting(
    pump_model: PumpModel | None, needs: Mapping[str, Need], asked: Asked, rig: str | None, most: int
) -> dict[str, Any]:
    table = table_of(asked, None if pump_model is None else [pump_model])
    rows = np.flatnonzero(table.marked(asked.where, rig) & measured(table, asked.metrics))
    needed = MOST if pump_model else worked_out(most)
    found = match(table, rows, needs, most=needed, telling=_LIKELY)
    instead = "" if rows.size else _instead(pump_model, asked, rig)
    return {
        "model": pump_model.name if pump_model else None,
        "needs": {metric: told(need) for metric, need in needs.items()},
        "like": None,
        "settings": found.texts(most),
        "left_off": max(rows.size - most, 0),
        "says": dated(_says(pump_model, needs, found, instead), asked.moment),
        "cautions": [*_of_counts(needs), *cautions.SETTINGS, *cautions.again(asked.moment)],
    }


def _instead(pump_model: PumpModel | None, asked: Asked, rig: str | None) -> str:
    """What there is where nothing fits; empty where each metric was measured, but nowhere all of them."""
    among = None if pump_model is None else [pump_model]
    where = dict(asked.where)
    revision = where.pop("unit__revision", None)
    labels = {} if pump_model is None else {of.pk: of.label for of in pump_model.revisions.all()}
    where = {name.removesuffix("__iexact"): value for name, value in where.items()}
    return there_is(asked, among, {"revision": labels.get(revision), **where}, asked.metrics, rig)


def _of_counts(needs: Mapping[str, Need]) -> list[str]:
    """What chances rest on where a need asks for the least that can be, such as no loss at all."""
    least = {metric: need.high for metric, need in needs.items() if need.high == domain_of(metric).low}
    return [
        f"A chance of {in_words(metric)} {end:g} goes by how many units never showed more: that number and "
        "1, out of all units and 2 (rule of succession)."
        for metric, end in least.items()
    ]


def _says(pump_model: PumpModel | None, needs: Mapping[str, Need], found: Matches, instead: str) -> str:
    about = pump_model.name if pump_model else "All pumps"
    wanted = " and ".join(f"{in_words(metric)} {in_full(need)}" for metric, need in needs.items())
    if not found.size:
        return f"{about}: no setting was measured for {wanted}{'; ' if instead else ''}{instead}."
    if not found.told.size:
        thin = counted(found.size, "setting")
        return f"{about}, {wanted}: {thin} measured, all too thin to say how likely."
    best = found.first
    if best is None:
        likely = counted(found.best.likely, "setting")
        return f"{about}, {wanted}: told of units of no known build alone; {likely} more likely than not."
    none = "no setting of a known build" if found.best.likely else "no setting"
    if not best["probability"]:
        return f"{about}, {wanted}: {none} comes near to meeting it."
    build = build_of(best, with_model=pump_model is None)
    at = f"{build} at {told_setting(best)}, met by {in_a_hundred(best['probability'], 'about ')} next units"
    if best["probability"] < _LIKELY:
        return f"{about}, {wanted}: {none} is likely to meet it; nearest is {at}."
    return f"{about}, {wanted}: best is {at}; {counted(found.best.likely, 'setting')} more likely than not."
