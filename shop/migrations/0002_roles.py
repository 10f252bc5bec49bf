"""The three roles of a shop, as groups."""

from django.db import migrations

ROLES = ("owner", "technician", "counter")


def make_roles(apps, schema_editor):
    groups = apps.get_model("auth", "Group").objects.using(schema_editor.connection.alias)
    for name in ROLES:
        groups.get_or_create(name=name)


def drop_roles(apps, schema_editor):
    groups = apps.get_model("auth", "Group").objects.using(schema_editor.connection.alias)
    groups.filter(name__in=ROLES).delete()


class Migration(migrations.Migration):
    dependencies = [("shop", "0001_start"), ("auth", "0012_alter_user_first_name_max_length")]

    operations = [migrations.RunPython(make_roles, drop_roles)]
