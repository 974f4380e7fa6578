"""Settings of the business that are one row of a table."""

from typing import Any, Self

from django.db import models


class OneRow(models.Model):
    """A model with one row, `pk` 1, which its defaults make when the service is new."""

    class Meta:
        abstract = True

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.pk = 1
        super().save(*args, **kwargs)

    @classmethod
    def the(cls) -> Self:
        """The one row, as the columns keep it.

        A row just made still holds its defaults as they are written in the code: 28 where the
        column keeps 28.0000. Whoever compares a page with it later would take that for a change.
        """
        row, is_new = cls._default_manager.get_or_create(pk=1)
        if is_new:
            row.refresh_from_db()
        return row
