"""The tables are what the models say."""

from io import StringIO

import pytest
from django.core.management import call_command


@pytest.mark.django_db
def test_no_model_has_changed_without_a_migration() -> None:
    said = StringIO()
    try:
        call_command("makemigrations", "--check", "--dry-run", stdout=said)
    except SystemExit:
        pytest.fail(said.getvalue())
