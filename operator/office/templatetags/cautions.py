"""What to mind before work on a machine."""

from django import template

from fleet.compute.results import Reason
from fleet.machines.models import Kind
from fleet.machines.queries.cautions import cautions_of

register = template.Library()


@register.filter
def cautions(kind: Kind) -> tuple[Reason, ...]:
    """Lifting, tipping and the refrigerant, the deferral to the maker's manual last."""
    return cautions_of(kind)
