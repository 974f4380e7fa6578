"""Many rows at once: keys from the sequence, rows by COPY."""

from collections.abc import Sequence
from typing import Any, Final

from django.core.serializers.json import DjangoJSONEncoder
from django.db import connection, models
from django.db.backends.utils import CursorWrapper

_ENCODER = DjangoJSONEncoder(separators=(",", ":"))
WORTH_COPYING: Final = 25
"""Rows from which on a COPY, with the keys asked for before, takes less time than an INSERT."""


def write(rows: Sequence[models.Model]) -> None:
    """Write new rows of one model, few by INSERT and many by COPY; each has its key afterwards."""
    if len(rows) < WORTH_COPYING:
        if rows:
            type(rows[0])._base_manager.bulk_create(rows)
        return
    reserve(rows)
    copy(rows)


def reserve(rows: Sequence[models.Model]) -> None:
    """Give every row of one model its key, from the model's own sequence."""
    if not rows:
        return
    for row, key in zip(rows, reserve_keys(type(rows[0]), len(rows)), strict=True):
        row.pk = key


def reserve_keys(model: type[models.Model], count: int) -> list[int]:
    """So many keys from the model's own sequence."""
    if not count:
        return []
    table, column = model._meta.db_table, model._meta.pk.column
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT nextval(pg_get_serial_sequence(%s, %s)) FROM generate_series(1, %s)",
            [table, column, count],
        )
        return [key for (key,) in cursor.fetchall()]


def copy(rows: Sequence[models.Model]) -> None:
    """Write rows of one model, whose keys are reserved, by COPY. The database checks its rules.

    Nothing is filled in on the way but the fields' own defaults, which the instances carry.
    """
    if not rows:
        return
    model = type(rows[0])
    names = [field.attname for field in model._meta.local_concrete_fields]
    copy_values(model, names, [[row.__dict__[name] for name in names] for row in rows])
    for row in rows:
        row._state.adding = False
        row._state.db = connection.alias


def copy_values(model: type[models.Model], names: Sequence[str], rows: Sequence[list[Any]]) -> None:
    """Write rows given as values in the order of `names` (as a model's attributes), by COPY.

    For rows by the ten thousand, for which instances of the model cost more than the database.
    """
    meta, quote = model._meta, connection.ops.quote_name
    by_name = {field.attname: field for field in meta.local_concrete_fields}
    fields = [by_name[name] for name in names]
    columns = ", ".join(quote(str(field.column)) for field in fields)
    json_at = [i for i, field in enumerate(fields) if isinstance(field, models.JSONField)]
    encode = _ENCODER.encode
    with (
        connection.cursor() as cursor,
        connection.wrap_database_errors,
        _driver(cursor).copy(f"COPY {quote(meta.db_table)} ({columns}) FROM STDIN") as stream,
    ):
        for values in rows:
            for index in json_at:
                # The commonest by far, and encoding is what costs most here. No value is NULL, as
                # everywhere else, and not the null of JSON.
                value = values[index]
                if value is not None:
                    values[index] = "[]" if value == [] else "{}" if value == {} else encode(value)
            stream.write_row(values)


def _driver(cursor: CursorWrapper) -> Any:
    """The driver's own cursor beneath Django's wrapper."""
    return cursor.cursor
