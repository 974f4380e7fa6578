"""What to mind before work on machines of a kind, by what its plate says."""

from fleet.compute.cautions import cautions_of_machine
from fleet.compute.results import Reason

from ..models import Kind


def cautions_of(kind: Kind) -> tuple[Reason, ...]:
    """Lifting, tipping and the refrigerant, the deferral to the maker's manual last. No query."""
    cools = bool(kind.energy_class or kind.refrigerated_volume_l or kind.refrigerant)
    return cautions_of_machine(
        cools=cools, refrigerant=kind.refrigerant, charge_g=kind.refrigerant_charge_g
    )
