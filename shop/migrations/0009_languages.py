from django.db import migrations, models

import shop.models


class Migration(migrations.Migration):
    dependencies = [
        ("shop", "0008_unit"),
    ]

    operations = [
        migrations.AddField(
            model_name="customer",
            name="language",
            field=models.CharField(
                blank=True,
                choices=shop.models.languages,
                help_text="Empty: the shop's.",
                max_length=10,
                verbose_name="language on reports",
            ),
        ),
        migrations.AddField(
            model_name="historicalcustomer",
            name="language",
            field=models.CharField(
                blank=True,
                choices=shop.models.languages,
                help_text="Empty: the shop's.",
                max_length=10,
                verbose_name="language on reports",
            ),
        ),
        migrations.AddField(
            model_name="historicalshopprofile",
            name="language",
            field=models.CharField(
                choices=shop.models.languages,
                default="en-gb",
                help_text="Each customer may have another.",
                max_length=10,
                verbose_name="language of reports and letters",
            ),
        ),
        migrations.AddField(
            model_name="shopprofile",
            name="language",
            field=models.CharField(
                choices=shop.models.languages,
                default="en-gb",
                help_text="Each customer may have another.",
                max_length=10,
                verbose_name="language of reports and letters",
            ),
        ),
        migrations.AddField(
            model_name="user",
            name="language",
            field=models.CharField(
                blank=True,
                choices=shop.models.languages,
                help_text="Empty: as the browser asks.",
                max_length=10,
            ),
        ),
    ]
