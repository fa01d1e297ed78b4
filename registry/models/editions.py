"""Which run was measured under which edition, and how that went."""

from django.db import models

from registry.models.runs import Edition, Run


class RunEdition(models.Model):
    """One run measured under one edition. A run is done under an edition when its row is there.

    Uploads write none: every run is measured under the current edition. The row of the current edition is
    written beside that of the other one when a run is remeasured, so that nothing is lost at a switch.
    `holds` tells whether measuring held the run; what intake found besides is no matter of editions.
    `refused` is the code of why the trace cannot be measured under the edition, empty where it was measured.
    """

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="editions", db_index=False)
    edition = models.ForeignKey(Edition, on_delete=models.PROTECT, related_name="+", db_index=False)
    holds = models.BooleanField()
    read = models.JSONField(help_text="what was understood of the file")
    refused = models.CharField(max_length=40, blank=True)
    measured_at = models.DateTimeField()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["run", "edition"], name="one_row_a_run_and_edition"),
            models.CheckConstraint(
                condition=models.Q(refused="") | models.Q(holds=True), name="a_refused_run_is_held"
            ),
        )

    def __str__(self) -> str:
        return f"run {self.run_id} under edition {self.edition_id}"
