"""Which columns each selection of a machine draws on."""

from typing import Any

from django import forms

from fleet.machines.models import Column, Machine

from .shown import ShownForm


class WiringForm(ShownForm):
    """One input a column: the code of the selection that draws on it; empty where none does.

    Columns with the same code are drawn on by one selection. `stands_for` an action's list.
    """

    def __init__(self, *args: Any, machine: Machine, columns: list[Column], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.columns = columns
        for column in columns:
            self.fields[f"column-{column.pk}"] = forms.CharField(
                label=f"Column {column.position.label}",
                max_length=8,
                required=False,
                initial=column.selection.code if column.selection else "",
            )
        self.show(machine, {name: field.initial for name, field in self.fields.items()})

    def selections(self, machine: Machine) -> list[dict[str, Any]]:
        """What the action takes: each code with its positions, the codes there are first."""
        wired: dict[str, list[str]] = {one.code: [] for one in machine.selections.all()}
        for column in self.columns:
            code = self.cleaned_data[f"column-{column.pk}"].strip()
            if code:
                wired.setdefault(code, []).append(column.position.label)
        return [{"code": code, "positions": labels} for code, labels in wired.items() if labels]
