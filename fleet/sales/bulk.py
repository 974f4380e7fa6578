"""Many rows at once: keys from the sequence, rows by COPY."""

from collections.abc import Sequence
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db import connection, models
from django.db.backends.utils import CursorWrapper

_ENCODER = DjangoJSONEncoder(separators=(",", ":"))


def reserve(rows: Sequence[models.Model]) -> None:
    """Give every row of one model its key, from the model's own sequence."""
    if not rows:
        return
    model = type(rows[0])
    table, column = model._meta.db_table, model._meta.pk.column  # type: ignore[union-attr]
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT nextval(pg_get_serial_sequence(%s, %s)) FROM generate_series(1, %s)",
            [table, column, len(rows)],
        )
        for row, (key,) in zip(rows, cursor.fetchall(), strict=True):
            row.pk = key


def copy(rows: Sequence[models.Model]) -> None:
    """Write rows of one model, whose keys are reserved, by COPY. The database checks its rules.

    Nothing is filled in on the way but the fields' own defaults, which the instances carry.
    """
    if not rows:
        return
    model = type(rows[0])
    fields = model._meta.local_concrete_fields
    quote = connection.ops.quote_name
    names = ", ".join(quote(field.column) for field in fields)
    attributes = [field.attname for field in fields]
    json_at = [i for i, field in enumerate(fields) if isinstance(field, models.JSONField)]
    encode = _ENCODER.encode
    with connection.cursor() as cursor:
        statement = f"COPY {quote(model._meta.db_table)} ({names}) FROM STDIN"
        with _driver(cursor).copy(statement) as stream:
            for row in rows:
                held = row.__dict__
                values = [held[name] for name in attributes]
                for index in json_at:
                    # The two commonest by far, and encoding is what costs most here.
                    value = values[index]
                    values[index] = "[]" if value == [] else "{}" if value == {} else encode(value)
                stream.write_row(values)
    for row in rows:
        row._state.adding = False
        row._state.db = connection.alias


def _driver(cursor: CursorWrapper) -> Any:
    """The driver's own cursor beneath Django's wrapper."""
    return cursor.cursor
