"""Enrolling: tokens are shown once, stored as hashes, expire and can be revoked."""

import io
import json

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone
from knox.models import get_token_model

from registry.models import Clinic, Operator

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


def test_a_clinic_that_differs_by_capitals_alone_is_refused():
    enrol()
    with pytest.raises(CommandError, match=r"known clinic 'elmsworth'.*Enrol at 'elmsworth'"):
        call_command("enrol", "--clinic", "Elmsworth", "--operator", "dill")
    assert Clinic.objects.get().code == "elmsworth"
    assert Operator.objects.count() == 1


def test_no_token_is_made_that_could_not_be_used():
    enrol()
    Operator.objects.update(is_active=False)
    with pytest.raises(CommandError, match="has ended"):
        enrol("--curator")
    assert get_token_model().objects.count() == 1
    assert not Operator.objects.get().is_curator


def test_what_is_printed_says_how_to_end_the_token():
    out = io.StringIO()
    call_command("enrol", "--clinic", "elmsworth", "--operator", "thyme", stdout=out)
    command = out.getvalue().rpartition("manage.py ")[2].split()
    call_command(*command, stdout=io.StringIO())
    assert not get_token_model().objects.exists()


def test_revoking_ends_all_tokens():
    enrol()
    out = io.StringIO()
    call_command("revoke", "--clinic", "elmsworth", "--operator", "thyme", stdout=out)
    assert "1 token revoked" in out.getvalue()
    assert not get_token_model().objects.exists()
