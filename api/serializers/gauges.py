"""Shapes of gauges: their declaration, and their records."""

from typing import Any

from rest_framework import serializers

from registry.models import Gauge, GaugeCalibration


class CalibrationDocument(serializers.ModelSerializer[GaugeCalibration]):
    """One calibration, in mmHg. `source` is people's words: for the gauge's own clinic and curators."""

    source = serializers.CharField(required=False)  # type: ignore[assignment]

    class Meta:
        model = GaugeCalibration
        fields = ("on", "offset_mmhg", "gain", "uncertainty_mmhg", "source")

    def to_representation(self, instance: GaugeCalibration) -> dict[str, Any]:
        """Leave the source out for others."""
        document = super().to_representation(instance)
        viewer = self.context.get("viewer")
        if viewer is None or not (viewer.is_curator or viewer.clinic_id == instance.gauge.clinic_id):
            del document["source"]
        return document


class GaugeDocument(serializers.ModelSerializer[Gauge]):
    """A gauge as declared, in mmHg."""

    clinic = serializers.CharField(source="clinic.code")
    calibrations = CalibrationDocument(many=True)

    class Meta:
        model = Gauge
        fields = (
            "id",
            "clinic",
            "code",
            "gauge_model",
            "range_low_mmhg",
            "range_high_mmhg",
            "resolution_mmhg",
            "accuracy_mmhg",
            "accuracy_fraction",
            "calibrations",
        )


class DeclaredCalibration(serializers.Serializer[Any]):
    """A comparison with a reference: vacuum = gain * zeroed reading + offset; pressures in mmHg."""

    on = serializers.DateField()
    offset = serializers.FloatField(required=False)
    gain = serializers.FloatField(required=False)
    uncertainty = serializers.FloatField()
    source = serializers.CharField(max_length=120)  # type: ignore[assignment]


class GaugeForm(serializers.Serializer[Any]):
    """A gauge in the words of its data sheet."""

    gauge_model = serializers.CharField(max_length=120)
    range = serializers.CharField(max_length=120, help_text='"0..400 mmHg" or "-60..0 kPa"')
    resolution = serializers.CharField(max_length=120, help_text='"0.1 mmHg"')
    accuracy = serializers.CharField(max_length=120, help_text='"0.5 % FS", "1 % reading", "2 mmHg" or a sum')
    calibrations = DeclaredCalibration(many=True, required=False)
