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

from registry.answers.kept_bounds import MOST_BYTES, bound
from registry.answers.kept_code import code_mark
from registry.answers.kept_questions import Question, State
from registry.answers.kept_watch import tables_read, unwatched
from registry.answers.written import text_of
from registry.models import Clinic

_FIND = """
SELECT body, etag, asked_at < now() - interval '1 hour' FROM registry_keptanswer kept
WHERE digest = %s AND changes = CASE
    WHEN scopes IS NULL THEN (SELECT coalesce(sum(n), 0) FROM registry_changecount)
    ELSE (SELECT coalesce(sum(n), 0) FROM registry_changecount WHERE scope = ANY (kept.scopes)) END
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
_LEVEL = 4  # of compression: two thirds of the time of the usual one, a few per cent larger

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
    """Return the answer to a question of a kind in `kept_questions.KINDS`, kept or worked out now.

    It is the one that would be worked out now, but for `as_of`, which tells when it was. One query where it
    is kept. Raises what the question's function raises; refusals are not kept.
    """
    question = Question.of(kind, asked, clinic)
    with connection.cursor() as cursor:
        cursor.execute(_FIND, [question.digest])
        found = cursor.fetchone()
        if found is None:
            return answer_and_keep(question)
        body, etag, long_ago = found
        if long_ago:
            cursor.execute(_ASKED, [question.digest])
    return Kept(bytes(body), etag)


def answer_and_keep(question: Question) -> Kept:
    """Work the answer out and keep it, unless something changed meanwhile, it is large, or cannot be kept."""
    state = question.state()
    with tables_read() as read:
        document = question.answer()
    text = text_of(document)
    kept = Kept(gzip.compress(text, _LEVEL, mtime=0), hashlib.sha256(text).hexdigest()[:32])
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
