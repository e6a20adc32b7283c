from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('readiness', '0006_listings_withdrawn'),
    ]

    operations = [
        migrations.RemoveIndex(
            model_name='assessment',
            name='assessment_now_by_unit',
        ),
        migrations.AddIndex(
            model_name='assessment',
            index=models.Index(condition=models.Q(('superseded_at__isnull', True)), fields=['unit', 'status', 'holds_until', 'check_good_until', 'at', 'department', 'superseded_at'], name='assessment_now_by_unit'),
        ),
    ]
