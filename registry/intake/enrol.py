"""Make clinics, operators and their tokens."""

import re

from django.db import transaction
from knox.models import get_token_model

from registry.errors import Fault, Invalid
from registry.models import Clinic, Operator


def enrol(clinic: str, pseudonym: str, *, curator: bool = False) -> tuple[Operator, str]:
    """Make clinic and operator if needed and return the operator with a new token.

    The token is stored as a hash only, so this is the one time it can be read. Earlier tokens stay valid.
    With `curator` an operator known already becomes a curator; without it nobody loses the role.
    """
    faults = [
        Fault("must be 1 to 40 letters, digits, dots and dashes", field=name)
        for name, text in (("clinic", clinic), ("operator", pseudonym))
        if not re.fullmatch(r"[\w.-]{1,40}", text)
    ]
    if faults:
        raise Invalid("; ".join(f"{f.field}: {f.message}" for f in faults), faults=tuple(faults))
    with transaction.atomic():
        place, _ = Clinic.objects.get_or_create(code=clinic)
        operator, _ = Operator.objects.get_or_create(
            clinic=place, pseudonym=pseudonym, defaults={"handle": f"{clinic}/{pseudonym}"}
        )
        if curator and not operator.is_curator:
            operator.is_curator = True
            operator.save(update_fields=["is_curator"])
        _, token = get_token_model().objects.create(user=operator)
    return operator, token


def revoke(clinic: str, pseudonym: str) -> int:
    """End all tokens of an operator; returns how many there were. Raises Invalid for an unknown operator."""
    operator = Operator.objects.filter(handle=f"{clinic}/{pseudonym}").first()
    if operator is None:
        raise Invalid(
            f"No operator {pseudonym} at clinic {clinic}", faults=(Fault("not known", field="operator"),)
        )
    count, _ = get_token_model().objects.filter(user=operator).delete()
    return int(count)
