import pgtrigger.compiler
import pgtrigger.migrations
from django.db import migrations

# Nobody knows when claims were removed that are gone already: they stay out of answers for past times.
_GONE_BEFORE = """
INSERT INTO registry_claimevent (id, level, metric, mode, pgh_context_id, pgh_created_at, pgh_label, pgh_obj_id,
    programme, pump_model_id, relation, said_by_id, source, unit, value)
SELECT DISTINCT ON (pgh_obj_id) id, level, metric, mode, pgh_context_id, first_value(pgh_created_at) OVER told, 'delete',
    pgh_obj_id, programme, pump_model_id, relation, said_by_id, source, unit, value
FROM registry_claimevent gone
WHERE NOT EXISTS (SELECT FROM registry_claim claim WHERE claim.id = gone.pgh_obj_id)
WINDOW told AS (PARTITION BY pgh_obj_id ORDER BY pgh_id)
ORDER BY pgh_obj_id, pgh_id DESC
"""


class Migration(migrations.Migration):

    dependencies = [
        ('registry', '0014_runs_of_losses'),
    ]

    operations = [
        migrations.RunSQL(_GONE_BEFORE, migrations.RunSQL.noop),
        pgtrigger.migrations.AddTrigger(
            model_name='claim',
            trigger=pgtrigger.compiler.Trigger(name='delete_delete', sql=pgtrigger.compiler.UpsertTriggerSql(func='INSERT INTO "registry_claimevent" ("id", "level", "metric", "mode", "pgh_context_id", "pgh_created_at", "pgh_label", "pgh_obj_id", "programme", "pump_model_id", "relation", "said_by_id", "source", "unit", "value") VALUES (OLD."id", OLD."level", OLD."metric", OLD."mode", _pgh_attach_context(), NOW(), \'delete\', OLD."id", OLD."programme", OLD."pump_model_id", OLD."relation", OLD."said_by_id", OLD."source", OLD."unit", OLD."value"); RETURN NULL;', hash='9c462106f143a4c2928589af250b4c4242d89134', operation='DELETE', pgid='pgtrigger_delete_delete_62ab1', table='registry_claim', when='AFTER')),
        ),
    ]
