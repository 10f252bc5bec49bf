from django.db import migrations, models


class Migration(migrations.Migration):
    """Other words for a choice; nothing in the database."""

    dependencies = [("shop", "0010_forget_sign_in_attempts")]
    operations = [
        migrations.AlterField(
            model_name="accessrecord",
            name="kind",
            field=models.CharField(
                choices=[
                    ("customer", "their page"),
                    ("letter", "what they are told, in a letter or otherwise"),
                    ("report", "a report with their name"),
                    ("export", "everything on record about them"),
                    ("shop", "the export of the whole shop"),
                ],
                max_length=8,
            ),
        ),
    ]
