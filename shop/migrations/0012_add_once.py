from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("shop", "0011_say_what_was_read_of_letters"),
    ]

    operations = [
        migrations.AddField(
            model_name="customer",
            name="form_uuid",
            field=models.UUIDField(editable=False, null=True, unique=True),
        ),
        migrations.AddField(
            model_name="historicalcustomer",
            name="form_uuid",
            field=models.UUIDField(db_index=True, editable=False, null=True),
        ),
    ]
