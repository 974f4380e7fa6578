"""btree_gist for the exclusion constraints over periods, pg_trgm for searching as one types."""

from django.contrib.postgres.operations import BtreeGistExtension, TrigramExtension
from django.db import migrations


class Migration(migrations.Migration):
    initial = True
    dependencies = []
    operations = [BtreeGistExtension(), TrigramExtension()]
