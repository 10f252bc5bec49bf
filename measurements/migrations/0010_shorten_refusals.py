import re

from django.db import migrations

#: As refusals were kept: the kind of error, then all that the mail server or the system said.
_KEPT = re.compile(r"(\w+): ")


def shorten(apps, schema_editor):
    """Leave the kind of error of a letter that did not go; what was said may hold addresses."""
    alias = schema_editor.connection.alias
    contacts = apps.get_model("measurements", "Contact").objects.using(alias)
    for contact in contacts.exclude(failed=""):
        kept = _KEPT.match(contact.failed)
        if kept:
            contact.failed = f"it could not be handed to the mail server ({kept[1]})"
            contact.save(update_fields=["failed"])


class Migration(migrations.Migration):
    dependencies = [("measurements", "0009_calls_may_be_many")]
    operations = [migrations.RunPython(shorten, migrations.RunPython.noop)]
