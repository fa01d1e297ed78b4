"""Questions of every kind that is kept, and their answers over HTTP beside those worked out anew."""

import json
from datetime import datetime
from typing import Any

from django.db import transaction
from rest_framework.test import APIClient

from registry.answers.keeping.written import text_of
from registry.answers.served.questions import Question
from registry.errors import DomainError
from registry.models import Clinic, KeptPart
from tests.declared import MODEL

SWAP = {"old": "A", "new": "B", "part": "protector"}
NEEDS = {"rate": "30..", "vacuum": "100..300"}


def questions(model: str = MODEL) -> list[tuple[str, dict[str, Any]]]:
    """One of each kind and more, as query parameters."""
    return [
        ("distributions", {"model": model}),
        ("distributions", {"model": model, "revision": "A", "metric": "cycle_rate"}),
        ("comparisons", {"model": model, "old": "A", "new": "B"}),
        ("part-swaps", {"model": model, **SWAP}),
        ("settings-matches", {"model": model, **NEEDS}),
        ("settings-matches", NEEDS),
        ("settings-matches", {"model": model, "like": "A:expression:3"}),
        ("claims", {"model": model}),
    ]


def over_http(client: APIClient, kind: str, asked: dict[str, Any]) -> Any:
    """What the server answers, or the code of its refusal."""
    response = client.get(f"/api/v1/{kind}", asked)
    document = json.loads(response.content)
    return document if response.status_code == 200 else document["code"]


def anew(kind: str, asked: dict[str, Any], clinic: Clinic | None = None) -> Any:
    """The same worked out now, past everything that is kept."""
    given = {name: value for name, value in asked.items() if name not in NEEDS}
    if kind == "settings-matches":
        given["needs"] = {name: value for name, value in asked.items() if name in NEEDS}
    if "as_of" in given:
        given["as_of"] = datetime.fromisoformat(given["as_of"])
    with transaction.atomic():
        KeptPart.objects.all().delete()
        try:
            return json.loads(text_of(Question.of(kind, given, clinic).answer()))
        except DomainError as refused:
            return refused.code
        finally:
            transaction.set_rollback(True)


def but_for_when(answer: Any) -> Any:
    """The answer without the time it was made at."""
    return {**answer, "as_of": None} if isinstance(answer, dict) else answer
