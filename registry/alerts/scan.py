"""Look at the community's summaries through every rule and keep the book.

A check of new runs reads the pump models concerned, a full scan one model after the other, so that neither
needs more memory when the registry grows. Both judge chance over everything that is stored as judged.
"""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

import pandas as pd
from django.utils import timezone

from registry.alerts import rules
from registry.alerts.judgements import ALARM, family, keep
from registry.alerts.leaning import Leaning, leaning_of
from registry.alerts.news import off_before, with_news
from registry.alerts.raising import decide, settle_retired, settle_unjudged
from registry.alerts.readings import VACUUM, Readings, dated_pairs, models_to_check, readings
from registry.alerts.rules import Ruling
from registry.alerts.scanned import Changed, Scan
from registry.alerts.stages import Stages, stages_of
from registry.alerts.verdicts import Rule, Standing, Verdict
from registry.answers.stamp import current_edition
from registry.models import Gauge, RuleStage, UnitSummary
from registry.statistics.discoveries import always_valid, looked_at_again

# The rules that look at the whole of a build, which a check asks only about builds that have something new.
BUILDS = ("unlisted_revision", "revision_drifting")


@dataclass
class _Round:
    """One scan under way: which versions tell, and what earlier rules found off beyond chance."""

    stages: Stages
    edition: int
    only: Changed | None = None
    builds: frozenset[int] | None = None
    found: dict[str, list[Verdict]] = field(default_factory=dict)

    def run(
        self, rulings: Iterable[Ruling], seen: Readings, leaning: Leaning
    ) -> Iterator[tuple[Rule, list[Verdict]]]:
        """Judge by rule after rule; each sees what live ones before it found."""
        for ruling in rulings:
            if self.stage(ruling.rule) == RuleStage.RETIRED:
                continue
            scan = Scan(seen, self.edition, self.found, self.only, leaning, self.builds)
            verdicts = [_charged(verdict) for verdict in ruling.judge(scan)]
            yield ruling.rule, verdicts
            if self.stage(ruling.rule) == RuleStage.LIVE:
                before = []
                if self.only and self.builds is not None and ruling.rule.subject_kind == "revision":
                    before = off_before(ruling.rule, self.only.pump_model, verdicts)
                self.note(ruling.rule, [*verdicts, *before])

    def note(self, rule: Rule, verdicts: Sequence[Verdict]) -> None:
        """Remember what is off beyond chance among all that is judged, for the rules that follow."""
        off = [verdict for verdict in verdicts if verdict.standing is Standing.OFF]
        among = family(self.live()) if off else None
        self.found[rule.name] = [v for v in off if among and among.share(rule, v.p) <= ALARM]

    def stage(self, rule: Rule) -> str:
        return self.stages[rule.name, rule.version]

    def live(self) -> list[Rule]:
        """The rules that tell."""
        return [r.rule for r in rules.all_rulings() if self.stage(r.rule) == RuleStage.LIVE]

    def off_clinics(self) -> set[int]:
        """The clinics found off."""
        return {v.keys["clinic"] for v in self.found.get("clinic_off", ()) if "clinic" in v.keys}

    def running(self) -> list[Rule]:
        """The rules that tell and those on trial."""
        return [r.rule for r in rules.all_rulings() if self.stage(r.rule) != RuleStage.RETIRED]


def check(changed: Changed) -> None:
    """Judge what new runs bear on: their gauge and its clinic, the units it read, their builds."""
    look, began = _begun(changed), timezone.now()
    seen = readings(models_to_check(changed.pump_model, changed.gauge), edition=look.edition)
    leaning = leaning_of(dated_pairs(seen, VACUUM), seen.gauges_watched)
    _judge(look, rules.COMMUNITY, seen, leaning, began)
    own = replace(seen, table=seen.table[seen.table["pump_model"] == changed.pump_model])
    off = {v.keys["gauge"] for v in look.found.get("gauge_off", ()) if "gauge" in v.keys}
    off |= {g for g, (clinic, _, _) in leaning.gauges.items() if clinic in look.off_clinics()}
    of_builds = [r.rule for r in rules.OF_MODEL if r.rule.name in BUILDS and r.rule in look.running()]
    look.builds = with_news(own, changed.pump_model, of_builds, off)
    _judge(look, rules.OF_MODEL, own, leaning, began)


def _judge(
    look: _Round, rulings: Iterable[Ruling], seen: Readings, leaning: Leaning, began: datetime
) -> None:
    """Judge, keep and decide at once. What is kept counts as of when the look began, before it was read."""
    for rule, verdicts in look.run(rulings, seen, leaning):
        keep(rule, verdicts, began)
        if verdicts:
            _decide(look, rule, [verdict.subject for verdict in verdicts])


def scan_community() -> None:
    """Judge everything, and settle alerts whose subject nothing speaks of any more."""
    look, began = _begun(None), timezone.now()
    models = list(UnitSummary.objects.order_by("pump_model").values_list("pump_model", flat=True).distinct())
    leaning = leaning_of(_pairs(models, look.edition), Gauge.objects.count())
    for rule, verdicts in look.run(rules.COMMUNITY, readings([], edition=look.edition), leaning):
        keep(rule, verdicts, began)
    of_gauges = dict(look.found)
    for model in models:
        look.found = dict(of_gauges)
        for rule, verdicts in look.run(rules.OF_MODEL, readings([model], edition=look.edition), leaning):
            keep(rule, verdicts, began)
    for rule in look.running():
        settle_unjudged(rule, began, shadow=look.stage(rule) == RuleStage.SHADOW)
        _decide(look, rule, None)
    settle_retired({ruling.rule.name for ruling in rules.all_rulings()})


def _begun(changed: Changed | None) -> _Round:
    return _Round(stages_of(ruling.rule for ruling in rules.all_rulings()), current_edition(), changed)


def _decide(look: _Round, rule: Rule, subjects: Collection[str] | None) -> None:
    """A version on trial is judged beside the live rules, in its own version's place."""
    shadow = look.stage(rule) == RuleStage.SHADOW
    live = [one for one in look.live() if not shadow or one.name != rule.name]
    decide(rule, subjects, family([*live, rule] if shadow else live), shadow=shadow)


def _pairs(models: Iterable[int], edition: int) -> pd.DataFrame:
    """What gauges read of all units, boiled down model by model to one row a unit and gauge."""
    parts = [dated_pairs(readings([model], edition=edition), VACUUM) for model in models]
    parts = [part for part in parts if len(part)]
    return (
        pd.concat(parts, ignore_index=True) if parts else dated_pairs(readings([], edition=edition), VACUUM)
    )


def _charged(verdict: Verdict) -> Verdict:
    """With a chance that stays one however often the subject is looked at again."""
    if verdict.p is None:
        return verdict
    charged = looked_at_again(verdict.p, verdict.growth)
    return replace(verdict, p=always_valid(charged, verdict.pieces))
