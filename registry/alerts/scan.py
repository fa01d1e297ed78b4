"""Look at the community's summaries through every rule and keep the book.

A check of new runs reads the pump models concerned, a full scan one model after the other, so that neither
needs more memory when the registry grows. Both judge chance over everything that is stored as judged.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import pandas as pd
from django.db import transaction
from django.utils import timezone

from registry.alerts import rules
from registry.alerts.asked import Asked
from registry.alerts.families import Chances
from registry.alerts.judgements import ALARM, Said, keep
from registry.alerts.leaning import Leaning, leaning_of
from registry.alerts.news import News, news_of
from registry.alerts.raising import decide, settle_retired, settle_unjudged
from registry.alerts.readings import VACUUM, Readings, dated_pairs, models_beside, readings
from registry.alerts.rules import Ruling
from registry.alerts.scanned import Changed, Scan
from registry.alerts.stages import Stages, stages_of
from registry.alerts.verdicts import Rule, Standing, Verdict
from registry.answers.stamp import current_edition
from registry.models import Gauge, RuleStage, UnitSummary
from registry.statistics.discoveries import always_valid, looked_at_again


@dataclass
class _Round:
    """One scan under way: which versions tell, and what earlier rules found off beyond chance.

    `failures` are the errors of rules, `unsaid` the rules that have not judged all they were to for them.
    """

    stages: Stages
    edition: int
    only: Changed | None = None
    news: News | None = None
    found: dict[str, list[Verdict]] = field(default_factory=dict)
    chances: Chances = field(default_factory=Chances)
    failures: list[Exception] = field(default_factory=list)
    unsaid: set[tuple[str, int]] = field(default_factory=set)

    def run(self, rulings: Sequence[Ruling], seen: Readings, leaning: Leaning) -> list[Said]:
        """Judge by rule after rule; each sees what live ones before it found.

        Where a live rule fails, those after it do not judge, since it may explain what they would tell.
        """
        builds, said = self.news.builds if self.news else None, list[Said]()
        scan = Scan(seen, self.edition, self.found, self.only, leaning, builds)
        for place, ruling in enumerate(rulings):
            rule, is_live = ruling.rule, self.stage(ruling.rule) == RuleStage.LIVE
            if self.stage(rule) == RuleStage.RETIRED:
                continue
            try:
                verdicts = [_charged(verdict) for verdict in ruling.judge(scan)]
            except Exception as error:  # noqa: BLE001 - raised in the end, when what others said is kept
                self._failed(error, rulings[place:] if is_live else [ruling])
                if is_live:
                    break
                continue
            self.chances.put(rule, verdicts)
            said.append((rule, verdicts))
            if is_live:
                before = self.news.off_before(rule, verdicts) if self.news else []
                self.note(rule, [*verdicts, *before])
        return said

    def _failed(self, error: Exception, unsaid: Iterable[Ruling]) -> None:
        rules_left = [ruling.rule for ruling in unsaid]
        error.add_note(f"raised by the rule {rules_left[0].name}, version {rules_left[0].version}")
        self.failures.append(error)
        self.unsaid |= {(rule.name, rule.version) for rule in rules_left}

    def is_whole(self) -> bool:
        """Whether no rule that tells has failed."""
        return not any((rule.name, rule.version) in self.unsaid for rule in self.live())

    def end(self) -> None:
        """Raise what rules failed with, now that what the others said is kept: a queue tries again."""
        if self.failures:
            raise ExceptionGroup("rules failed; what the others said is kept", self.failures)

    def note(self, rule: Rule, verdicts: Sequence[Verdict]) -> None:
        """Remember what is off beyond chance among all that is judged, for the rules that follow."""
        off = [verdict for verdict in verdicts if verdict.standing is Standing.OFF]
        among = self.chances.family(self.live()) if off else None
        self.found[rule.name] = [v for v in off if among and among.share(rule, v.p) <= ALARM]

    def stage(self, rule: Rule) -> str:
        return self.stages[rule.name, rule.version]

    def live(self) -> list[Rule]:
        """The rules that tell."""
        return [r.rule for r in rules.all_rulings() if self.stage(r.rule) == RuleStage.LIVE]

    def off_gauges(self, leaning: Leaning) -> set[int]:
        """The gauges found off, each by itself or with its clinic."""
        clinics = {v.keys["clinic"] for v in self.found.get("clinic_off", ()) if "clinic" in v.keys}
        gauges = {v.keys["gauge"] for v in self.found.get("gauge_off", ()) if "gauge" in v.keys}
        return gauges | {gauge for gauge, (clinic, _, _) in leaning.gauges.items() if clinic in clinics}

    def running(self) -> list[Rule]:
        """The rules that tell and those on trial."""
        return [r.rule for r in rules.all_rulings() if self.stage(r.rule) != RuleStage.RETIRED]

    def decide(self, asked: Sequence[Asked]) -> None:
        """Decide about alerts. A version on trial is judged beside the other live rules.

        Chances are read anew, as what this look said is stored by now, and what others judged meanwhile.
        """
        chances = Chances()

        def among(one: Asked) -> list[Rule]:
            live = [rule for rule in self.live() if not one.shadow or rule.name != one.rule.name]
            return [*live, one.rule] if one.shadow else live

        decide(asked, lambda one: chances.family(among(one)))

    def asked(self, rule: Rule, verdicts: Sequence[Verdict] | None = None) -> Asked:
        """The alerts of what a rule said something of, or all of its alerts."""
        subjects = None if verdicts is None else [verdict.subject for verdict in verdicts]
        return Asked(rule, subjects, shadow=self.stage(rule) == RuleStage.SHADOW)


def check(changed: Changed) -> None:
    """Judge what new runs bear on: their gauge and its clinic, the units it read, their builds.

    The number of queries does not depend on what is stored. What is kept counts as of when the look began,
    before anything was read.
    """
    look, began = _begun(changed), timezone.now()
    others = models_beside(changed.pump_model, changed.gauge)
    seen = readings([changed.pump_model], vacuum_of=others, edition=look.edition)
    leaning = leaning_of(dated_pairs(seen, VACUUM), seen.gauges_watched)
    said = look.run(rules.COMMUNITY, seen, leaning)
    if look.is_whole():
        own = seen.of_model(changed.pump_model)
        of_model = [ruling.rule for ruling in rules.OF_MODEL if ruling.rule in look.running()]
        look.news = news_of(own, changed.pump_model, of_model, look.off_gauges(leaning))
        said += look.run(rules.OF_MODEL, own, leaning)
    with transaction.atomic():
        keep(said, began)
        look.decide([look.asked(rule, verdicts) for rule, verdicts in said if verdicts])
    look.end()


def scan_community() -> None:
    """Judge everything, and settle alerts whose subject nothing speaks of any more.

    A rule that fails for one model keeps no other model from being judged, and settles nothing.
    """
    look, began = _begun(None), timezone.now()
    models = list(UnitSummary.objects.order_by("pump_model").values_list("pump_model", flat=True).distinct())
    leaning = leaning_of(_pairs(models, look.edition), Gauge.objects.count())
    keep(look.run(rules.COMMUNITY, readings([], edition=look.edition), leaning), began)
    if not look.is_whole():
        look.end()
    of_gauges = dict(look.found)
    for model in models:
        look.found = dict(of_gauges)
        keep(look.run(rules.OF_MODEL, readings([model], edition=look.edition), leaning), began)
    for rule in look.running():
        if (rule.name, rule.version) not in look.unsaid:
            settle_unjudged(rule, began, shadow=look.stage(rule) == RuleStage.SHADOW)
    look.decide([look.asked(rule) for rule in look.running()])
    settle_retired({ruling.rule.name for ruling in rules.all_rulings()})
    look.end()


def _begun(changed: Changed | None) -> _Round:
    return _Round(stages_of(ruling.rule for ruling in rules.all_rulings()), current_edition(), changed)


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
