"""Forms that change what is stored, and notice when it is no longer what they showed."""

import hashlib
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django import forms
from django.db import models

from people import audit
from people.models import AuditEntry

MOST_TOLD = 20
LAST_ENTRY = 2**63 - 1  # of a bigint


class ShownForm(forms.Form):
    """A form that sends back, in `shown`, which state of a row it was filled from.

    What somebody else kept in between would else be overwritten by what this form was filled with
    before. The state is a digest of the values that the form shows and of nothing else, so that a
    change of what it does not touch stands in nobody's way.
    """

    def show(self, row: models.Model, values: Mapping[str, Any]) -> None:
        """Bind the form to `values` of `row` as they are stored now."""
        self._row = row
        said = repr(sorted((name, _plain(value)) for name, value in values.items()))
        self._stored = hashlib.sha256(said.encode()).hexdigest()[:32]
        self.fields["shown"] = forms.CharField(
            widget=forms.HiddenInput,
            required=False,
            # Asked for only where the form is drawn, and not where it is sent back.
            initial=self._state_now,
        )

    def trail(self) -> "models.QuerySet[AuditEntry]":
        """Entries about what this form shows, latest first."""
        return audit.entries_of(self._row)

    def full_clean(self) -> None:
        super().full_clean()
        if self.is_stale:
            said = "What is kept is no longer what this page showed, so nothing was changed. "
            said += "What you typed still stands here; load the page anew to start from what is."
            self.add_error(None, forms.ValidationError(said, code="changed_meanwhile"))

    @property
    def is_stale(self) -> bool:
        """Whether it was sent and stands for another state than the stored one, or for none."""
        if not self.is_bound or "shown" not in self.fields:
            return False
        return self._sent().partition("-")[2] != self._stored

    @property
    def meanwhile(self) -> list[AuditEntry]:
        """What was done since the page was shown, latest first."""
        entry = self._sent().partition("-")[0]
        if not self.is_stale or not (entry.isascii() and entry.isdecimal()):
            return []
        after = min(int(entry[:20]), LAST_ENTRY)
        return list(self.trail().filter(pk__gt=after)[:MOST_TOLD])

    def _sent(self) -> str:
        return str(self.data.get(self.add_prefix("shown"), ""))

    def _state_now(self) -> str:
        last = self.trail().order_by("-pk").values_list("pk", flat=True).first()
        return f"{last or 0}-{self._stored}"


def _plain(value: Any) -> str:
    """A value as it is compared: 28 and 28.0000 are the same."""
    return f"{value.normalize():f}" if isinstance(value, Decimal) else str(value)
