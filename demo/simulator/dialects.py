"""How each kind of board writes its files. The standard leaves makers these freedoms."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from demo.business.kinds import BOTH_SIDES, DOOR_SIDE, SPIRAL, TWIN


@dataclass(frozen=True)
class Dialect:
    """One maker's habits.

    `bills` says how bills are told: "units" in the old elements as whole currency units, as is
    usual in North America; "both" in the old elements in cents and in the newer ones; "new" in
    the newer ones only.
    """

    model: str
    software: str
    version: str = "V1/1"
    long_dates: bool = True
    seconds_in_time: bool = True
    drop_trailing_blanks: bool = True
    bills: str = "both"
    coin_lines: bool = True
    payment_lines: bool = True
    levels: bool = False
    loop: bool = False
    tubes_first: bool = False
    temperature: bool = True
    password: str | None = None

    def date(self, at: datetime) -> str:
        return at.strftime("%Y%m%d" if self.long_dates else "%y%m%d")

    def time(self, at: datetime) -> str:
        return at.strftime("%H%M%S" if self.seconds_in_time else "%H%M")


DIALECTS = {
    DOOR_SIDE: Dialect(
        model="MARL-9",
        software="2.11",
        version="V0/6",
        long_dates=False,
        seconds_in_time=False,
        bills="units",
    ),
    TWIN: Dialect(model="MARL-T8", software="3.02", drop_trailing_blanks=False, bills="both"),
    BOTH_SIDES: Dialect(
        model="FALLOW-10",
        software="1.7",
        bills="new",
        coin_lines=False,
        payment_lines=False,
        loop=True,
        tubes_first=True,
    ),
    SPIRAL: Dialect(
        model="COBBET-32",
        software="4.4",
        long_dates=True,
        seconds_in_time=False,
        levels=True,
        temperature=False,
        password="271828",  # noqa: S106 - an invented one, to be withheld by the reader
    ),
}
