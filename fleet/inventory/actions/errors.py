"""What the ledger refuses."""

from fleet.machines.models import Product
from people.errors import Unable

from ..models import StockPlace


class NotEnough(Unable):
    """A place does not hold what is asked of it."""

    code = "not_enough"

    def __init__(
        self, *, place: StockPlace, product: Product, asked: int, held: int, lot: str = ""
    ) -> None:
        of_lot = f" of lot {lot}" if lot else ""
        super().__init__(
            f"{place} holds {held} {product}{of_lot} by the records, not the {asked} asked for; "
            f"take at most {held}, record first what was put in, or count {place}"
        )
        self.place, self.product, self.asked, self.held = place, product, asked, held


class KeyReused(Unable):
    """The same key came with something else."""

    code = "key_reused"

    def __init__(self, key: str) -> None:
        super().__init__(
            f"the key {key!r} was used for something else; a new happening takes a new key"
        )
