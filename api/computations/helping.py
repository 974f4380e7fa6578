"""What `manage.py compute NAME --help` says: the question's fields with their units, an example."""

import json
import textwrap
from collections.abc import Iterator, Mapping
from typing import Any, Final

from .asking import Computation
from .examples import EXAMPLES

UNITS: Final = (
    ("_mm", "millimetres"),
    ("_ml", "millilitres"),
    ("_ft3", "cubic feet"),
    ("_l", "litres"),
    ("_kmh", "kilometres an hour"),
    ("_per_km", "money's smallest unit a kilometre"),
    ("_per_hour", "money's smallest unit an hour"),
    ("_minor", "money's smallest unit"),
    ("minor", "money's smallest unit"),
    ("_g", "grams"),
    ("_s", "seconds"),
    ("_m", "metres"),
    ("_percent", "percent"),
    ("_units", "products"),
    ("_weeks", "weeks"),
    ("_days", "days"),
    ("kwh", "kilowatt-hours"),
    ("seconds", "seconds"),
    ("metres", "metres"),
    ("minutes", "minutes"),
    ("weeks", "weeks"),
    ("days", "days"),
)
"""What the end of a field's name says of its unit; the first that fits."""
IN_UNITS: Final = {
    "tax": {
        **dict.fromkeys(("receipts", "cost", "deposits", "price", "highest_price"), "money"),
        **dict.fromkeys(("general", "food"), 'a fraction: 7.25 % is "0.0725"'),
        "low_share": "a fraction",
    }
}
"""Units that a name leaves open, by computation."""


def help_of(computation: Computation) -> str:
    """What it answers, every field of its question, and an example that can be asked."""
    schema = computation.schema()["question"]
    example = json.dumps(EXAMPLES[computation.name], indent=2)
    lines = [
        f"usage: manage.py compute {computation.name} < question.json",
        f"       manage.py compute {computation.name} --schema",
        "",
        computation.about,
        "",
        "The question is JSON on standard input (* must be given):",
        *_fields(schema, computation.name),
    ]
    for name, part in schema.get("$defs", {}).items():
        if "properties" in part:
            lines += ["", f"{name}:", *_fields(part, computation.name)]
        elif "enum" in part:
            lines += ["", f"{name}: one of {', '.join(json.dumps(one) for one in part['enum'])}"]
    return "\n".join([*lines, "", "For example:", example, ""])


def _fields(schema: Mapping[str, Any], computation: str) -> Iterator[str]:
    said = " ".join(str(schema.get("description", "")).split())
    if said:
        yield from textwrap.wrap(said, 96, initial_indent="  ", subsequent_indent="  ")
    required = schema.get("required", ())
    for name, field in schema.get("properties", {}).items():
        words = [_type(field)]
        if unit := _unit(computation, name, field):
            words.append(unit)
        if name not in required and field.get("default") not in (None, "", [], {}):
            default = json.dumps(field["default"])
            words.append(f"else {default}" if len(default) <= 40 else "else the usual")
        yield f"  {'*' if name in required else ' '} {name}: {', '.join(words)}"


def _unit(computation: str, name: str, field: Mapping[str, Any]) -> str:
    if _type(field) in {"text", "true or false", "day", "moment"}:
        return ""
    of_its_own = IN_UNITS.get(computation, {}).get(name)
    return of_its_own or next((unit for end, unit in UNITS if name.endswith(end)), "")


def _type(field: Mapping[str, Any]) -> str:
    if "$ref" in field:
        return str(field["$ref"]).rpartition("/")[2]
    for key in ("anyOf", "oneOf"):
        if key in field:
            kinds = [_type(one) for one in field[key] if one.get("type") != "null"]
            return "number, or as text" if kinds == ["number", "text"] else " or ".join(kinds)
    if field.get("type") == "array":
        items: Mapping[str, Any] = field.get("items") or next(
            iter(field.get("prefixItems", ())), {}
        )
        return f"list of {_type(items)}"
    if "enum" in field:
        return "one of " + ", ".join(json.dumps(one) for one in field["enum"])
    if "const" in field:
        return json.dumps(field["const"])
    formats = {"date": "day", "date-time": "moment"}
    types = {
        "string": formats.get(str(field.get("format")), "text"),
        "integer": "whole number",
        "number": "number",
        "boolean": "true or false",
        "object": "object",
    }
    return types.get(str(field.get("type")), "anything")
