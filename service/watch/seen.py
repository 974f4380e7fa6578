"""What one look sees of one machine or column, before it is a finding."""

from dataclasses import asdict, dataclass, field
from datetime import datetime
from typing import Any, Final, Self

from service.compute.watch.suspicion import Suspicion

#: What a list shows of the evidence, at the most.
LONGEST_SAID: Final = 300


@dataclass(slots=True)
class Seen:
    """A suspicion with the row it is about; `chart` names series of days for a small drawing.

    `p_value` is None where nothing is left to chance. `since` is when it went wrong, as far as the
    numbers tell.
    """

    machine: int
    kind: str
    strength: float
    strength_said: str
    said: str
    column: int | None = None
    product: int | None = None
    key: str = ""
    p_value: float | None = None
    since: datetime | None = None
    numbers: dict[str, Any] = field(default_factory=dict)
    chart: dict[str, Any] = field(default_factory=dict)

    @classmethod
    def of(cls, suspicion: Suspicion, machine: int, **more: Any) -> Self:
        """A suspicion of the computation about one machine."""
        return cls(
            machine=machine,
            kind=suspicion.kind.value,
            strength=suspicion.strength,
            strength_said=suspicion.strength_said,
            said=suspicion.said[:LONGEST_SAID],
            p_value=suspicion.p_value,
            numbers=dict(suspicion.numbers),
            **more,
        )

    @property
    def place(self) -> tuple[int, int | None, str, str]:
        """What only one open finding may be of."""
        return self.machine, self.column, self.kind, self.key

    def as_json(self) -> dict[str, Any]:
        """Plain values, read back by `from_json`."""
        found = asdict(self)
        found["since"] = None if self.since is None else self.since.isoformat()
        return found

    @classmethod
    def from_json(cls, kept: dict[str, Any]) -> Self:
        since = kept["since"]
        return cls(**{**kept, "since": None if since is None else datetime.fromisoformat(since)})
