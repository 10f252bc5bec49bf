from django.db import migrations, models


class Migration(migrations.Migration):
    """Sign-ins can be ended all at once; a first password runs out."""

    dependencies = [
        ("shop", "0005_hygrometer"),
    ]

    operations = [
        migrations.AddField(
            model_name="user",
            name="session_epoch",
            field=models.PositiveIntegerField(default=0, editable=False),
        ),
        migrations.AddField(
            model_name="user",
            name="first_password_until",
            field=models.DateTimeField(blank=True, editable=False, null=True),
        ),
    ]
