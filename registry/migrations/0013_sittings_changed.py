from django.db import migrations

# Power and elevation of a sitting part runs, so that a change of either shows in any answer. A new sitting shows
# only where it is asked at which elevations a clinic held any.
_WATCH = """
DROP TRIGGER registry_watch_update ON registry_benchsession;
CREATE TRIGGER registry_watch_update AFTER UPDATE ON registry_benchsession
REFERENCING OLD TABLE AS stale NEW TABLE AS fresh
FOR EACH STATEMENT EXECUTE FUNCTION registry_changes_of_{scope}();
"""


class Migration(migrations.Migration):
    dependencies = [
        ("registry", "0012_lookups_of_a_check"),
    ]

    operations = [
        migrations.RunSQL(_WATCH.format(scope="everything"), _WATCH.format(scope="sittings")),
    ]
