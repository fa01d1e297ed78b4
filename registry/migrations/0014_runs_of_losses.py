import django.contrib.postgres.fields
from django.db import migrations, models

# Stored runs as `registry.intake.summaries` keeps those that come.
_FILL = """
UPDATE registry_unitsummary u SET each_at = kept.each_at, each_value = kept.each_value
FROM (
    SELECT r.unit_id, r.clinic_id, s.gauge_id, r.rig_id, s.power, s.elevation, r.mode, r.programme, r.level,
           r.side, m.edition_id,
           array_agg(least(r.recorded_at, r.created_at) ORDER BY least(r.recorded_at, r.created_at), r.id)
               AS each_at,
           array_agg(m.value ORDER BY least(r.recorded_at, r.created_at), r.id) AS each_value
    FROM registry_run r
    JOIN registry_benchsession s ON s.id = r.session_id
    JOIN registry_measurement m ON m.run_id = r.id AND m.metric = 'loss_rate'
    WHERE r.state = 'accepted'
    GROUP BY r.unit_id, r.clinic_id, s.gauge_id, r.rig_id, s.power, s.elevation, r.mode, r.programme, r.level,
             r.side, m.edition_id
) kept
WHERE u.metric = 'loss_rate' AND u.gauge_id IS NOT DISTINCT FROM kept.gauge_id
  AND (u.unit_id, u.clinic_id, u.rig_id, u.power, u.elevation, u.mode, u.programme, u.level, u.side, u.edition_id)
    = (kept.unit_id, kept.clinic_id, kept.rig_id, kept.power, kept.elevation, kept.mode, kept.programme,
       kept.level, kept.side, kept.edition_id)
"""


class Migration(migrations.Migration):

    dependencies = [
        ('registry', '0013_sittings_changed'),
    ]

    operations = [
        migrations.AddField(
            model_name='unitsummary',
            name='each_at',
            field=django.contrib.postgres.fields.ArrayField(base_field=models.DateTimeField(), null=True, size=None),
        ),
        migrations.AddField(
            model_name='unitsummary',
            name='each_value',
            field=django.contrib.postgres.fields.ArrayField(base_field=models.FloatField(), null=True, size=None),
        ),
        migrations.RunSQL(_FILL, migrations.RunSQL.noop),
    ]
