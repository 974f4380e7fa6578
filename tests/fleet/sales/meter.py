"""A machine's counters, and the audit files it sends, for tests that need to know every vend."""

from dataclasses import dataclass, field
from datetime import datetime

from fleet.compute.audit.integrity import crc16_arc


@dataclass
class Button:
    """One selection's never-reset counters: vends by payment, test and free vends."""

    price: int
    cash: int = 0
    cashless: int = 0
    test: int = 0
    free: int = 0

    @property
    def paid(self) -> int:
        return self.cash + self.cashless


@dataclass
class Meter:
    """Counts vends as a control board does, and writes them down as the audit standard says.

    Money in cents. The bases are what was sold before, by no button in the list.
    """

    asset: str = "LOB-1"
    serial: str = "ZZZ0001"
    board: str = "ZZZ9001"
    coin: str = "ZZZ5001"
    reader: str = "ZZZ3001"
    buttons: dict[str, Button] = field(default_factory=dict)
    reads: int = 0
    base_count: int = 0
    base_minor: int = 0
    base_cash: int = 0
    base_cash_minor: int = 0
    base_cashless: int = 0
    base_cashless_minor: int = 0
    events: list[str] = field(default_factory=list)
    tells_payment: bool = True  # whether selections tell cash from cards, or the totals alone

    @classmethod
    def with_buttons(cls, *codes: str, price: int = 175, **more: str) -> "Meter":
        return cls(buttons={code: Button(price) for code in codes}, **more)  # type: ignore[arg-type]

    def sell(
        self, code: str, *, cash: int = 0, cashless: int = 0, test: int = 0, free: int = 0
    ) -> "Meter":
        button = self.buttons[code]
        button.cash += cash
        button.cashless += cashless
        button.test += test
        button.free += free
        return self

    def new_board(self, serial: str) -> "Meter":
        """Another control board: all that it counts begins at zero; the other devices stay."""
        for button in self.buttons.values():
            self.base_cash += button.cash
            self.base_cash_minor += button.cash * button.price
            self.base_cashless += button.cashless
            self.base_cashless_minor += button.cashless * button.price
            button.cash = button.cashless = button.test = button.free = 0
        self.board, self.base_count, self.base_minor, self.reads = serial, 0, 0, 0
        return self

    def read(self, at: datetime, *, wrong_check: bool = False, newline: str = "\r\n") -> bytes:
        """An audit file at a moment of the machine's own clock."""
        self.reads += 1
        lines = ["ST*001*0001", *self._lines(at)]
        body = "".join(line + "\r\n" for line in lines)
        check = crc16_arc(body.encode())
        if wrong_check:
            check ^= 0x0101
        whole = (
            "DXS*ZZZ0000001*VA*V1/1*1\r\n"
            f"{body}G85*{check:04X}\r\nSE*{len(lines) + 2}*0001\r\nDXE*1*1\r\n"
        )
        return whole.replace("\r\n", newline).encode()

    def _lines(self, at: datetime) -> list[str]:
        date, time = f"{at:%Y%m%d}", f"{at:%H%M%S}"
        own = self.buttons.values()
        count = (self.base_count + sum(b.paid for b in own)) % 10**8
        minor = (self.base_minor + sum(b.paid * b.price for b in own)) % 10**8
        cash = (self.base_cash + sum(b.cash for b in own)) % 10**6
        cash_minor = (self.base_cash_minor + sum(b.cash * b.price for b in own)) % 10**8
        card = self.base_cashless + sum(b.cashless for b in own)
        card_minor = self.base_cashless_minor + sum(b.cashless * b.price for b in own)
        test, free = sum(b.test for b in own), sum(b.free for b in own)
        lines = [
            f"ID1*{self.serial}*MODEL*0101*LOBBY**{self.asset}*6*1",
            "ID4*2*1840*USD",
            f"ID5*{date}*{time}**OFF",
            f"CB1*{self.board}*BOARD*1.0",
            f"VA1*{minor}*{count}*0*0",
            f"VA2*{sum(b.test * b.price for b in own)}*{test}*0*0",
            f"VA3*{sum(b.free * b.price for b in own)}*{free}*0*0",
            f"CA1*{self.coin}*COINS*1",
            f"CA2*{cash_minor}*{cash}*0*0",
            f"DA1*{self.reader}*READER*1",
            f"DA2*{card_minor}*{card}*0*0",
        ]
        for code, b in self.buttons.items():
            lines += [
                f"PA1*{code}*{b.price}",
                f"PA2*{b.paid}*{b.paid * b.price}*0*0",
                f"PA3*{b.test}*{b.test * b.price}*0*0",
                f"PA4*{b.free}*{b.free * b.price}*0*0",
            ]
            if not self.tells_payment:
                continue
            lines += [
                f"PA7*{code}*CA*0*{b.price}*{b.cash}*{b.cash * b.price}*0*0",
                f"PA7*{code}*DA*1*{b.price}*{b.cashless}*{b.cashless * b.price}*0*0",
            ]
        return [*lines, *self.events, f"EA3*0*{date}*{time}*HH1*****{self.reads}*0"]
