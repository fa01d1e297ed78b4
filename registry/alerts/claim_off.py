"""Rule: a claim that was upheld is upheld no longer.

The verdict of before is in the book of judgements. A claim that was never upheld raises nothing: the answer
about claims says so already.
"""

from collections.abc import Mapping
from typing import Any

from registry.alerts.scanned import Scan
from registry.alerts.verdicts import Rule, Standing, Verdict
from registry.answers.claiming.claims import answer_claims, claim_in_words
from registry.models import Claim, Judgement, PumpModel, Revision

RULE = Rule(
    "claim_off",
    1,
    "claim",
    severity="note",
    advice="Look at what changed since it was upheld: clinics, builds, rigs. Then ask who claims it.",
)
UPHELD, NOT_UPHELD = "upheld", "not upheld"
_LONGEST = 120
_FIGURES = ("verdict", "centre", "low", "high", "units", "clinics", "risk", "source")


def judge(scan: Scan) -> list[Verdict]:
    """Judge the claims on the models that are looked at; models without claims cost one query."""
    models = set(scan.readings.table["pump_model"].tolist())
    if scan.only is not None:
        models = {scan.only.pump_model}
    claimed = Claim.objects.filter(pump_model__in=models).values("pump_model")
    return [
        verdict for model in PumpModel.objects.filter(pk__in=claimed) for verdict in _of_model(scan, model)
    ]


def _of_model(scan: Scan, model: PumpModel) -> list[Verdict]:
    rows = answer_claims(model.name, edition=scan.edition)["claims"]
    subjects = [f"{model.name}/{row['revision']}: {claim_in_words(row)}"[:_LONGEST] for row in rows]
    former = dict(
        Judgement.objects.filter(rule=RULE.name, subject__in=subjects)
        .order_by("rule_version")
        .values_list("subject", "evidence")
    )
    revisions = dict(Revision.objects.filter(pump_model=model).values_list("label", "pk"))
    explained = scan.off("unlisted_revision", "revision") | scan.off("revision_drifting", "revision")
    # The same claim from two sources is one subject.
    told = dict(zip(subjects, rows, strict=True))
    return [
        _verdict(
            subject,
            row,
            former.get(subject, {}),
            {"pump_model": model.pk, "revision": revisions[row["revision"]]},
            explained=revisions[row["revision"]] in explained,
        )
        for subject, row in told.items()
    ]


def _verdict(
    subject: str, row: Mapping[str, Any], former: Mapping[str, Any], keys: dict[str, int], *, explained: bool
) -> Verdict:
    verdict, risk = row["verdict"], row["risk"]
    was_upheld = verdict == UPHELD or bool(former.get("was_upheld"))
    evidence = {name: row[name] for name in _FIGURES} | {"was_upheld": was_upheld}
    common: dict[str, Any] = {
        "evidence": evidence,
        "keys": keys,
        "runs": int(row["units"]),
        "says": row["says"][:400],
    }
    if verdict not in (UPHELD, NOT_UPHELD) or risk is None:
        lacks = "needs more units or clinics: the claim cannot be decided yet"
        return Verdict(subject, Standing.UNJUDGED, 0.0, None, lacks=lacks, **common)
    if verdict == UPHELD:
        return Verdict(subject, Standing.CLEAR, 0.0, 1.0, **common)
    is_off = was_upheld and not explained
    return Verdict(
        subject,
        Standing.OFF if is_off else Standing.BETWEEN,
        1.0,
        float(risk),
        pieces=int(row["units"]),
        why=(
            "was upheld, and is not any longer" if was_upheld else "was never upheld, so nothing has changed",
        ),
        **common,
    )
