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
        raise Invalid(
            "; ".join(f"{f.field}: {f.message}" for f in faults),
            hint="Use a short code and a pseudonym; no names of people or places are needed.",
            faults=tuple(faults),
        )
    with transaction.atomic():
        place = _clinic(clinic)
        operator, _ = Operator.objects.get_or_create(
            clinic=place, pseudonym=pseudonym, defaults={"handle": f"{clinic}/{pseudonym}"}
        )
        if not operator.is_active:
            raise Invalid(
                f"The account of {pseudonym} at {clinic} has ended, so a new token could not be used",
                hint="Enrol under another pseudonym.",
                faults=(Fault("the account has ended", field="operator"),),
            )
        if curator and not operator.is_curator:
            operator.is_curator = True
            operator.save(update_fields=["is_curator"])
        _, token = get_token_model().objects.create(user=operator)
    return operator, token


def _clinic(code: str) -> Clinic:
    """Codes are compared without regard to capitals everywhere, so two that differ by those alone are one."""
    place, _ = Clinic.objects.get_or_create(code__iexact=code, defaults={"code": code})
    if place.code != code:
        raise Invalid(
            f"clinic: '{code}' differs from the known clinic '{place.code}' by its capitals alone",
            hint=f"Enrol at '{place.code}', or choose a code that is not so easily mistaken.",
            faults=(Fault(f"is known as '{place.code}'", field="clinic"),),
        )
    return place


def revoke(clinic: str, pseudonym: str) -> int:
    """End all tokens of an operator; returns how many there were. Raises Invalid for an unknown operator."""
    operator = Operator.objects.filter(handle=f"{clinic}/{pseudonym}").first()
    if operator is None:
        raise Invalid(
            f"No operator {pseudonym} at clinic {clinic}", faults=(Fault("not known", field="operator"),)
        )
    count, _ = get_token_model().objects.filter(user=operator).delete()
    return int(count)
