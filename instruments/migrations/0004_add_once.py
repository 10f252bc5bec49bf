from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("instruments", "0003_measuring_order"),
    ]

    operations = [
        migrations.AddField(
            model_name="historicalinstrument",
            name="form_uuid",
            field=models.UUIDField(db_index=True, editable=False, null=True),
        ),
        migrations.AddField(
            model_name="instrument",
            name="form_uuid",
            field=models.UUIDField(editable=False, null=True, unique=True),
        ),
    ]
