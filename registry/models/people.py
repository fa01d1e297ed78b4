"""Who measures: clinics and their operators, known by pseudonym only."""

from typing import ClassVar

from django.db import models
from django.db.models.functions import Upper


class Clinic(models.Model):
    """A place with a bench. Known by its code; the code is what answers show."""

    code = models.CharField(max_length=40)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = (models.UniqueConstraint(Upper("code"), name="one_clinic_a_code"),)

    def __str__(self) -> str:
        return self.code


class Operator(models.Model):
    """A person at a clinic under a pseudonym. Signs in by token, has no password, mail or real name."""

    clinic = models.ForeignKey(Clinic, on_delete=models.PROTECT, related_name="operators")
    pseudonym = models.CharField(max_length=60)
    handle = models.CharField(max_length=101, unique=True, editable=False)
    is_curator = models.BooleanField(default=False)
    is_active = models.BooleanField(default=True)
    created_at = models.DateTimeField(auto_now_add=True)

    USERNAME_FIELD = "handle"
    REQUIRED_FIELDS: ClassVar[list[str]] = []
    is_authenticated = True
    is_anonymous = False

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["clinic", "pseudonym"], name="one_operator_a_pseudonym"),
        )

    def __str__(self) -> str:
        return self.handle

    def get_username(self) -> str:
        """The name Django and the token library know an account by."""
        return self.handle
