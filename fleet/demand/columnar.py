"""Rows by the million from the database straight into arrays.

A row of Django or a tuple of the driver costs more than a whole column's fit. COPY in its binary
form, of columns that are never NULL and all of fixed width, is an array of records as it stands.
Layout: PostgreSQL documentation, "COPY", binary format.
"""

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from django.db import connection
from numpy.typing import NDArray

_HEAD: Final = 19  # signature, flags, length of what else the head holds (nothing)
_TRAILER: Final = 2
_TYPES: Final = {"int8": ">i8", "int4": ">i4", "float8": ">f8", "bool": "u1"}
_WIDTHS: Final = {"int8": 8, "int4": 4, "float8": 8, "bool": 1}


def fetch(sql: str, given: Sequence[Any], columns: Sequence[tuple[str, str]]) -> NDArray[Any]:
    """What a SELECT gives, as a record array in the machine's own byte order.

    `columns` names what it selects, in order, each with its type: int8, int4, float8 or bool. The
    SELECT casts to these types and gives no NULL; else ValueError.
    """
    layout: list[tuple[str, str]] = [("_fields", ">i2")]
    for name, kind in columns:
        layout += [(f"_{name}", ">i4"), (name, _TYPES[kind])]
    record = np.dtype(layout)
    with connection.cursor() as cursor, connection.wrap_database_errors:
        driver = cursor.cursor
        with driver.copy(f"COPY ({sql}) TO STDOUT (FORMAT BINARY)", given) as stream:
            data = b"".join(bytes(block) for block in stream)
    body = len(data) - _HEAD - _TRAILER
    if body % record.itemsize:
        raise ValueError(f"a row is not {record.itemsize} bytes long: a NULL, or another type")
    rows = np.frombuffer(data, record, count=body // record.itemsize, offset=_HEAD)
    for name, kind in columns:
        if (rows[f"_{name}"] != _WIDTHS[kind]).any():
            raise ValueError(f"{name} holds a NULL, or is not {kind}")
    plain = np.dtype([(name, np.dtype(_TYPES[kind]).newbyteorder("=")) for name, kind in columns])
    found = np.empty(rows.shape, plain)
    for name, _ in columns:
        found[name] = rows[name]
    return found
