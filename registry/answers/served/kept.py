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
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

from django.db import connection

from registry.answers.ground import COLUMN, NO_GROUND, Ground, ground_of
from registry.answers.keeping.bounds import MOST_BYTES, bound
from registry.answers.keeping.program import code_mark
from registry.answers.keeping.watching import tables_read, unwatched
from registry.answers.keeping.written import compressed
from registry.answers.served.questions import Question, State
from registry.models import Clinic

# What a question rests on now, the answer that is kept and rests on the same, and the ground for working one
# out where none is: of one moment. Each step is worked out once.
_LOOK = f"""
WITH named AS MATERIALIZED (
    SELECT asked, model.id, model.name FROM unnest(%(named)s::text[]) asked
    JOIN registry_pumpmodel model ON upper(model.name) = upper(asked)
), scoped AS MATERIALIZED (
    SELECT CASE WHEN %(about)s::text[] IS NOT NULL
                THEN ARRAY(SELECT DISTINCT id FROM named ORDER BY id) || %(always)s::bigint[] END AS scopes
), counted AS MATERIALIZED (
    SELECT scopes, CASE
        WHEN scopes IS NULL THEN (SELECT coalesce(sum(n), 0)::bigint FROM registry_changecount)
        ELSE (SELECT coalesce(sum(n), 0)::bigint FROM registry_changecount WHERE scope = ANY (scopes))
    END AS changes
    FROM scoped
)
SELECT counted.scopes, counted.changes, body, etag, asked_at < now() - interval '1 hour',
       CASE WHEN body IS NULL THEN {COLUMN} END
FROM counted
LEFT JOIN registry_keptanswer kept ON digest = %(digest)s AND kept.changes = counted.changes
    AND kept.scopes IS NOT DISTINCT FROM counted.scopes
"""  # noqa: S608 - a constant
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


Later = Callable[[Callable[[], None]], None]


def at_once(work: Callable[[], None]) -> None:
    """Do it now."""
    work()


def kept_answer(
    kind: str, asked: Mapping[str, Any], clinic: Clinic | None = None, later: Later = at_once
) -> Kept:
    """Return the answer to a question of a kind in `questions.KINDS`, kept or worked out now.

    It is the one that would be worked out now, but for `as_of`, which tells when it was. One query where it
    is kept. `later` is handed what nobody who asks needs to wait for: that the answer is kept, or was asked
    for. Raises what the question's function raises; refusals are not kept.
    """
    question = Question.of(kind, asked, clinic)
    looked = look(question)
    if looked.kept is None:
        return answer_and_keep(question, looked, later)
    if looked.long_ago:
        later(partial(_note_asked, question.digest))
    return looked.kept


@dataclass(frozen=True)
class Looked:
    """What a question rests on, None where a pump model is not known, and its answer if one is kept, with
    whether it was asked for `long_ago`; else the ground to work it out from."""

    state: State | None
    kept: Kept | None
    ground: Ground
    long_ago: bool = False


def look(question: Question) -> Looked:
    """Look for what is kept of a question. One query."""
    about = question.about
    values = {"named": question.named, "about": about, "always": question.always, "digest": question.digest}
    with connection.cursor() as cursor:
        cursor.execute(_LOOK, values)
        scopes, changes, body, etag, long_ago, told = cursor.fetchone()
    state = State(scopes, changes)
    if body is not None:
        return Looked(state, Kept(bytes(body), etag), NO_GROUND, long_ago=long_ago)
    ground = ground_of(told)
    known = about is None or ground.models.keys() >= set(about)
    return Looked(state if known else None, None, ground)


def answer_and_keep(question: Question, looked: Looked, later: Later = at_once) -> Kept:
    """Work the answer out and keep it, unless something changed since it was looked for, it is large, or
    cannot be kept. What is kept, or dropped, is so when `later` does it."""
    with tables_read() as read:
        document = question.answer(looked.ground)
    body = compressed(document)
    kept = Kept(body, hashlib.sha256(body).hexdigest()[:32])
    if nobody := unwatched(read):
        log.warning("%s are not kept: nobody counts changes of %s", question.kind, ", ".join(nobody))
    if nobody or looked.state is None or len(kept.body) > MOST_BYTES:
        later(partial(forget, question.digest))
    else:
        later(partial(_keep, question, looked.state, kept))
    return kept


def _note_asked(digest: bytes) -> None:
    with connection.cursor() as cursor:
        cursor.execute(_ASKED, [digest])


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
