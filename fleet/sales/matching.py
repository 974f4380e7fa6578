"""Which machine a file came from: by asset number, then by its serials; else a person says."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from django.db.models import Q

from fleet.machines.models import Machine

from .models import AuditRead
from .reading import ReadFile

_BY = AuditRead.MatchedBy


@dataclass(frozen=True, slots=True)
class Remark:
    """A reason or a warning by its stable code, in words."""

    code: str
    text: str

    def plain(self) -> dict[str, str]:
        """As it is kept."""
        return {"code": self.code, "text": self.text}


@dataclass(frozen=True, slots=True)
class Match:
    """The machine, how it was found, why the read must wait if it must, and what to know."""

    machine: Machine | None
    by: str = ""
    waits: tuple[Remark, ...] = ()
    warnings: tuple[Remark, ...] = ()


@dataclass(slots=True)
class Register:
    """The machines that the identifiers of a batch of files name."""

    by_asset: dict[str, Machine] = field(default_factory=dict)
    by_serial: dict[str, list[Machine]] = field(default_factory=lambda: defaultdict(list))
    by_board: dict[str, list[Machine]] = field(default_factory=lambda: defaultdict(list))

    @classmethod
    def load(cls, files: Iterable[ReadFile]) -> "Register":
        """One query, however many files."""
        assets, serials, boards = set(), set(), set()
        for file in files:
            assets.add(file.report.identity.asset)
            serials.add(file.report.identity.serial)
            boards.add(file.board_serial())
        register = cls()
        machines = Machine.objects.filter(
            Q(asset_tag__in=assets - {None})
            | Q(serial__in=serials - {None, ""})
            | Q(board_serial__in=boards - {None, ""})
        )
        for machine in machines:
            register.by_asset[machine.asset_tag] = machine
            if machine.serial:
                register.by_serial[machine.serial].append(machine)
            if machine.board_serial:
                register.by_board[machine.board_serial].append(machine)
        return register


def match(file: ReadFile, register: Register, chosen: Machine | None = None) -> Match:
    """The machine of a file. Identifiers that name two machines wait for a person.

    A serial that merely differs from the one in the machine's record is a warning: boards are
    replaced, and serials are mistyped. With `chosen`, the file must not say otherwise.
    """
    identity = file.report.identity
    found: list[tuple[str, str, Sequence[Machine]]] = []
    if identity.asset and identity.asset in register.by_asset:
        by_asset = register.by_asset[identity.asset]
        found.append((_BY.ASSET, f"asset number {identity.asset}", [by_asset]))
    if identity.serial and identity.serial in register.by_serial:
        owners = register.by_serial[identity.serial]
        found.append((_BY.SERIAL, f"serial {identity.serial}", owners))
    board = file.board_serial()
    if board and board in register.by_board:
        found.append((_BY.BOARD_SERIAL, f"board serial {board}", register.by_board[board]))
    named = _named(found)
    if isinstance(named, Remark):
        return Match(chosen, "", (named,))
    machine, by, warnings = named
    if chosen is not None:
        return _chosen(chosen, machine, file)
    if machine is None:
        return Match(None, "", (_unmatched(file),))
    return Match(machine, by, (), (*warnings, *_differences(machine, file)))


def _named(
    found: Sequence[tuple[str, str, Sequence[Machine]]],
) -> Remark | tuple[Machine | None, str, tuple[Remark, ...]]:
    """The one machine that the identifiers name, or why it is not one."""
    machine, by, said = None, "", ""
    warnings: list[Remark] = []
    agreeing = 0
    for how, what, owners in found:
        if machine is not None and machine in owners:
            agreeing += 1
            continue
        if len(owners) > 1:
            tags = ", ".join(sorted(owner.asset_tag for owner in owners))
            if machine is None:
                return Remark("ambiguous", f"The {what} stands in the record of {tags}.")
        elif machine is None:
            machine, by, said = owners[0], how, what
            agreeing = 1
            continue
        other = f"The {what} is that of {owners[0].asset_tag}, the {said} that of {machine}."
        if how == _BY.BOARD_SERIAL and agreeing > 1:
            # Asset number and serial agree: a board moved here from another machine.
            warnings.append(Remark("board_of_another_machine", other))
        else:
            return Remark("disagreement", other)
    return machine, by, tuple(warnings)


def _chosen(chosen: Machine, machine: Machine | None, file: ReadFile) -> Match:
    asset = file.report.identity.asset
    if machine is not None and machine != chosen:
        text = f"It was handed in for {chosen} and says that it is of {machine}."
        return Match(chosen, "", (Remark("disagreement", text),))
    if machine is None and asset and asset != chosen.asset_tag:
        text = f"It was handed in for {chosen} and gives the asset number {asset}."
        return Match(chosen, "", (Remark("disagreement", text),))
    return Match(chosen, _BY.CHOSEN, (), _differences(chosen, file))


def _differences(machine: Machine, file: ReadFile) -> tuple[Remark, ...]:
    """What the file says otherwise than the machine's record."""
    identity, board = file.report.identity, file.board_serial()
    pairs = (
        ("asset_differs", "asset number", identity.asset, machine.asset_tag),
        ("serial_differs", "serial", identity.serial, machine.serial),
        ("board_serial_differs", "board serial", board, machine.board_serial),
    )
    return tuple(
        Remark(code, f"The file gives the {what} {said}, the record of {machine} has {kept}.")
        for code, what, said, kept in pairs
        if said and kept and said != kept
    )


def _unmatched(file: ReadFile) -> Remark:
    identity = file.report.identity
    told = [
        f"{what} {value}"
        for what, value in (
            ("asset number", identity.asset),
            ("serial", identity.serial),
            ("board serial", file.board_serial()),
        )
        if value
    ]
    if not told:
        return Remark("unmatched", "The file gives no asset number and no serial.")
    return Remark("unmatched", f"No machine has the {', nor the '.join(told)}.")
