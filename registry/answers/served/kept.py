"""Answers are kept, and served as long as nothing they rest on has changed: never stale, by construction.

How often each scope changed is counted by the database in the transaction of each change
(`registry.models.kept`). An answer is stored with the count read *before* it was worked out, and served in
one statement that finds the count still the same. Counts only grow and a later moment sees all that an
earlier one saw, so nothing was committed in between: the answer worked out now would be the same.
"""

import gzip
import hashlib
import json
import logging
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.db import connection

from registry.answers.keeping.bounds import MOST_BYTES, bound
from registry.answers.keeping.program import code_mark
from registry.answers.keeping.watching import tables_read, unwatched
from registry.answers.keeping.written import compressed
from registry.answers.served.questions import Question, State
from registry.models import Clinic

# What a question rests on now, and the answer that is kept and rests on the same: of one moment.
_LOOK = """
WITH named AS (
    SELECT ARRAY(
        SELECT id FROM registry_pumpmodel
        WHERE upper(name) IN (SELECT upper(one) FROM unnest(%(about)s::text[]) one) ORDER BY id
    ) AS models
), scoped AS (
    SELECT cardinality(models) AS models,
           CASE WHEN %(about)s::text[] IS NOT NULL THEN models || %(always)s::bigint[] END AS scopes
    FROM named
), counted AS (
    SELECT models, scopes, CASE
        WHEN scopes IS NULL THEN (SELECT coalesce(sum(n), 0)::bigint FROM registry_changecount)
        ELSE (SELECT coalesce(sum(n), 0)::bigint FROM registry_changecount WHERE scope = ANY (scopes))
    END AS changes
    FROM scoped
)
SELECT models, counted.scopes, counted.changes, body, etag, asked_at < now() - interval '1 hour'
FROM counted
LEFT JOIN registry_keptanswer kept ON digest = %(digest)s AND kept.changes = counted.changes
    AND kept.scopes IS NOT DISTINCT FROM counted.scopes
"""
_ASKED = "UPDATE registry_keptanswer SET asked_at = now() WHERE digest = %s"
_KEEP = """
INSERT INTO registry_keptanswer (digest, code, question, scopes, changes, etag, body, made_at, asked_at)
SELECT %(digest)s, %(code)s, %(question)s, %(scopes)s::bigint[], %(changes)s, %(etag)s, %(body)s, now(), now()
WHERE %(changes)s = (
    SELECT coalesce(sum(n), 0) FROM registry_changecount
    WHERE %(scopes)s::bigint[] IS NULL OR scope = ANY (%(scopes)s::bigint[])
)
ON CONFLICT (digest) DO UPDATE SET
    changes = excluded.changes, scopes = excluded.scopes, etag = excluded.etag, body = excluded.body,
    made_at = excluded.made_at
"""

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Kept:
    """An answer as it is sent: gzipped JSON, and a tag that is another one for any other body."""

    body: bytes
    etag: str

    def text(self) -> bytes:
        """The JSON itself."""
        return gzip.decompress(self.body)


def kept_answer(kind: str, asked: Mapping[str, Any], clinic: Clinic | None = None) -> Kept:
    """Return the answer to a question of a kind in `questions.KINDS`, kept or worked out now.

    It is the one that would be worked out now, but for `as_of`, which tells when it was. One query where it
    is kept. Raises what the question's function raises; refusals are not kept.
    """
    question = Question.of(kind, asked, clinic)
    looked = _look(question)
    if looked.kept is None:
        return answer_and_keep(question, looked.state)
    if looked.long_ago:
        with connection.cursor() as cursor:
            cursor.execute(_ASKED, [question.digest])
    return looked.kept


@dataclass(frozen=True)
class _Looked:
    """What a question rests on, None where a pump model is not known, and its answer if one is kept."""

    state: State | None
    kept: Kept | None
    long_ago: bool


def _look(question: Question) -> _Looked:
    about = question.about
    values = {"about": about, "always": question.always, "digest": question.digest}
    with connection.cursor() as cursor:
        cursor.execute(_LOOK, values)
        models, scopes, changes, body, etag, long_ago = cursor.fetchone()
    # Two spellings of one name may be two of these, but never two models.
    known = about is None or models == len({name.upper() for name in about})
    kept = None if body is None else Kept(bytes(body), etag)
    return _Looked(State(scopes, changes) if known else None, kept, bool(long_ago))


def state_of(question: Question) -> State | None:
    """What a question rests on now; None where a pump model is not known. One query."""
    return _look(question).state


def answer_and_keep(question: Question, state: State | None) -> Kept:
    """Work the answer out and keep it, unless something changed meanwhile, it is large, or cannot be kept.

    `state` is what it rested on before.
    """
    with tables_read() as read:
        document = question.answer()
    body = compressed(document)
    kept = Kept(body, hashlib.sha256(body).hexdigest()[:32])
    if nobody := unwatched(read):
        log.warning("%s are not kept: nobody counts changes of %s", question.kind, ", ".join(nobody))
    if nobody or state is None or len(kept.body) > MOST_BYTES:
        forget(question.digest)
    else:
        _keep(question, state, kept)
    return kept


def forget(digest: bytes) -> None:
    """Keep no answer under that digest."""
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM registry_keptanswer WHERE digest = %s", [digest])


def _keep(question: Question, state: State, kept: Kept) -> None:
    row = {
        "digest": question.digest,
        "code": code_mark(),
        "question": json.dumps(question.written),
        "scopes": state.scopes,
        "changes": state.changes,
        "etag": kept.etag,
        "body": kept.body,
    }
    with connection.cursor() as cursor:
        cursor.execute(_KEEP, row)
    bound()
