"""Answers and parts that are kept, and the counts that tell whether what they rest on has changed since.

Triggers of the database keep the counts (migration 0009, `registry.models.watched`): no writer can forget to.
"""

from django.contrib.postgres.fields import ArrayField
from django.db import models

EVERYTHING = 0  # the scope of what shows in any answer: the current edition, names, labels
SITTINGS = -1  # the scope of where clinics held their sittings


class ChangeCount(models.Model):
    """How often one connection changed what belongs to a scope: a pump model's key, EVERYTHING, SITTINGS.

    What counts is the sum over a scope's rows. A connection writes its own row alone, so that writers never
    wait for each other here; `backend` 0 has what `keeping.bounds` folded together. Sums only ever grow.
    """

    pk = models.CompositePrimaryKey("scope", "backend")
    scope = models.BigIntegerField()
    backend = models.IntegerField()
    n = models.BigIntegerField()
    changed_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.n} changes of {self.scope} by {self.backend}"


class KeptAnswer(models.Model):
    """An answer as it was sent, good for as long as the changes of its scopes are still `changes`.

    `digest` is of the question, of who asks where that matters, and of `code`, the program that answered.
    `scopes` null stands for all there are. `body` is gzipped JSON. `asked_at` is right to an hour.
    The table is not written ahead: after a crash of the database it is empty, and answers are made again.
    """

    digest = models.BinaryField(primary_key=True, max_length=32)
    code = models.CharField(max_length=32)
    question = models.JSONField()
    scopes = ArrayField(models.BigIntegerField(), null=True)
    changes = models.BigIntegerField()
    etag = models.CharField(max_length=64)
    body = models.BinaryField()
    made_at = models.DateTimeField()
    asked_at = models.DateTimeField(db_index=True)

    def __str__(self) -> str:
        return str(self.question)


class KeptPart(models.Model):
    """What answers about a pump model are made of, good for as long as its scopes' changes are `changes`.

    `kind` and `key` say which part; `code` is the program that made it in `spent_s` seconds. What is not
    there, or no longer good, is worked out where it is asked for. Not written ahead either.
    """

    pk = models.CompositePrimaryKey("kind", "key", "edition", "code", "pump_model")
    kind = models.CharField(max_length=20)
    key = models.CharField(max_length=80)
    edition = models.PositiveSmallIntegerField()
    code = models.CharField(max_length=32)
    pump_model = models.BigIntegerField()
    changes = models.BigIntegerField()
    spent_s = models.FloatField()
    body = models.BinaryField()
    made_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.kind} {self.key} of pump model {self.pump_model}"
