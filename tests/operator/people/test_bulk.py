"""Rows written at once are the same whether they are few or many."""

from datetime import UTC, datetime

import pytest

from people import bulk
from people.models import AuditEntry

NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)


@pytest.mark.django_db
@pytest.mark.parametrize("count", [0, 1, bulk.WORTH_COPYING - 1, bulk.WORTH_COPYING])
def test_rows_are_written_with_their_keys(count: int) -> None:
    rows = [
        AuditEntry(
            at=NOW,
            actor=None,
            verb="try",
            object_type="people.Business",
            object_id=number,
            object_said=f'tab\t, line\n, "quotes" and \\ {number}',
            before=None,
            after={"said": "a\tb\\c", "number": number},
        )
        for number in range(count)
    ]
    bulk.write(rows)
    stored = {row.pk: row for row in AuditEntry.objects.filter(verb="try")}
    assert stored.keys() == {row.pk for row in rows}
    for row in rows:
        kept = stored[row.pk]
        assert (kept.at, kept.object_id, kept.object_said, kept.after) == (
            row.at,
            row.object_id,
            row.object_said,
            row.after,
        )
    assert AuditEntry.objects.filter(verb="try", before__isnull=True).count() == count
