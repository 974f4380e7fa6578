"""What a browser would send of a page's form, as the page filled it."""

from typing import Any

from django.test import Client


def typed(client: Client, address: str, *, of: Any = None) -> dict[str, Any]:
    """The inputs of the page's own form, by name. `of` is an answer already at hand."""
    context = (of or client.get(address)).context
    if "parts" in context:  # a kind, of several forms
        parts = context["parts"]
        forms = parts.all()
        counts = {"program-count": len(parts.programs), "positions-count": len(parts.positions)}
    else:
        forms, counts = [context["form"]], {}
    found: dict[str, Any] = dict(counts)
    for bound in (bound for form in forms for bound in form):
        value = bound.value()
        if value is True:
            value = "on" if bound.widget_type == "checkbox" else "true"
        if value is not None and value is not False:
            found[bound.html_name] = value
    return found
