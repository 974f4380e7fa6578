"""What closed such tickets before: the cases from which the order of causes learns."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from fleet.machines.models import Machine
from service.compute.watch.cause_codes import CauseCode
from service.compute.watch.causes import Case, CauseCounts

from .models import Verdict
from .seen import Seen

#: The latest cases of each kind of finding that are counted: machines and people change.
MOST_CASES: Final = 3000
KNOWN: Final = frozenset(CauseCode)


@dataclass
class Experience:
    """Closed tickets by kind of finding, then by kind of machine, and by column."""

    by_kind: dict[str, CauseCounts] = field(default_factory=dict)
    by_machine_kind: dict[tuple[str, int], CauseCounts] = field(default_factory=dict)
    by_column: dict[tuple[str, int], CauseCounts] = field(default_factory=dict)

    @classmethod
    def of(cls, kinds: Collection[str]) -> "Experience":
        """One query. Causes in words of the business's own are not among those reckoned with."""
        rows = (
            Verdict.objects.filter(
                by=Verdict.By.TICKET, cause__isnull=False, finding__kind__in=list(kinds)
            )
            .order_by("-at", "-pk")
            .values_list(
                "finding__kind",
                "cause__code",
                "finding__machine__kind",
                "finding__column",
                "finding__signs",
            )[: MOST_CASES * max(len(kinds), 1)]
            if kinds
            else []
        )
        wide: dict[str, list[Case]] = defaultdict(list)
        narrow: dict[tuple[str, int], list[Case]] = defaultdict(list)
        own: dict[tuple[str, int], list[Case]] = defaultdict(list)
        for kind, code, machine_kind, column, signs in rows:
            if code not in KNOWN:
                continue
            case = Case(CauseCode(code), signs)
            wide[kind].append(case)
            narrow[kind, machine_kind].append(case)
            if column is not None:
                own[kind, column].append(case)
        return cls(
            {key: CauseCounts.of(cases) for key, cases in wide.items()},
            {key: CauseCounts.of(cases) for key, cases in narrow.items()},
            {key: CauseCounts.of(cases) for key, cases in own.items()},
        )

    def about(self, seen: Seen, machine_kind: int) -> dict[str, Any]:
        """The counts that bear on one finding, by the names of `causes.rank`."""
        none = CauseCounts()
        return {
            "history": self.by_kind.get(seen.kind, none),
            "same_kind": self.by_machine_kind.get((seen.kind, machine_kind), none),
            "same_column": self.by_column.get((seen.kind, seen.column or 0), none),
        }

    @staticmethod
    def machine_kinds(machines: Sequence[int]) -> dict[int, int]:
        """The kind of each machine. One query."""
        return dict(
            Machine.objects.filter(pk__in=set(machines)).order_by().values_list("pk", "kind")
        )
