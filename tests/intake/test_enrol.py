"""Enrolling: tokens are shown once, stored as hashes, expire and can be revoked."""

import io
import json

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone
from knox.models import get_token_model

from registry.models import Operator

pytestmark = pytest.mark.django_db


def enrol(*extra):
    out = io.StringIO()
    call_command("enrol", "--clinic", "elmsworth", "--operator", "thyme", "--json", *extra, stdout=out)
    return json.loads(out.getvalue())


def test_enrolling_prints_a_token_that_is_stored_as_a_hash_only():
    answer = enrol()
    assert set(answer) == {"clinic", "operator", "token"}
    stored = get_token_model().objects.get()
    assert answer["token"] not in (stored.digest, stored.token_key)
    assert stored.expiry > timezone.now()


def test_enrolling_again_gives_another_token_and_keeps_the_role():
    enrol("--curator")
    enrol()
    assert Operator.objects.get().is_curator
    assert get_token_model().objects.count() == 2


def test_a_name_that_is_no_code_is_refused():
    with pytest.raises(CommandError, match="operator"):
        call_command("enrol", "--clinic", "elmsworth", "--operator", "Jane Roe of 5 High St")


def test_revoking_ends_all_tokens():
    enrol()
    out = io.StringIO()
    call_command("revoke", "--clinic", "elmsworth", "--operator", "thyme", stdout=out)
    assert "1 token revoked" in out.getvalue()
    assert not get_token_model().objects.exists()
