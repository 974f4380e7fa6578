"""What to mind before work on a machine, by what its kind's plate says."""

from django import template

from fleet.compute.cautions import cautions_of_machine
from fleet.compute.results import Reason
from fleet.machines.models import Kind

register = template.Library()


@register.filter
def cautions(kind: Kind) -> tuple[Reason, ...]:
    """Lifting, tipping and the refrigerant, the deferral to the maker's manual last."""
    cools = bool(kind.energy_class or kind.refrigerated_volume_l or kind.refrigerant)
    return cautions_of_machine(
        cools=cools, refrigerant=kind.refrigerant, charge_g=kind.refrigerant_charge_g
    )
