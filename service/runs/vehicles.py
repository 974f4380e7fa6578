"""Vehicles and their drivers as the computation sees them."""

from people.models import Business
from service.compute.routing.problem import Capacity
from service.compute.routing.problem import Vehicle as PlannedVehicle

from .days import Day, minor
from .models import Depot, RunAssumptions, Vehicle
from .queries.calendar import OnDuty


def vehicle_of(duty: OnDuty, day: Day, assumed: RunAssumptions) -> PlannedVehicle:
    """A driver's day on a vehicle. Unloading is taken off the end of the shift."""
    return planned_vehicle(
        vehicle=duty.vehicle,
        depot=duty.profile.depot,
        starts_s=day.seconds(duty.starts_at),
        ends_s=day.seconds(duty.ends_at),
        skills=tuple(sorted(duty.profile.skills)),
        assumed=assumed,
    )


def planned_vehicle(
    *,
    vehicle: Vehicle,
    depot: Depot,
    starts_s: int,
    ends_s: int,
    skills: tuple[str, ...],
    assumed: RunAssumptions,
    has_left: bool = False,
) -> PlannedVehicle:
    """A vehicle for its day; one that has left its depot does not load there again."""
    exponent = Business.the().currency_exponent
    hour = minor(assumed.cost_per_hour, exponent)
    back_by_s = max(starts_s, ends_s - depot.unloading_minutes * 60)
    return PlannedVehicle(
        name=vehicle.name,
        start_depot=left_name(depot) if has_left else depot.site.name,
        end_depot=depot.site.name,
        starts_s=max(0, starts_s),
        ends_s=max(0, back_by_s + assumed.overtime_minutes * 60),
        shift_s=max(0, back_by_s - starts_s),
        overtime_s=assumed.overtime_minutes * 60,
        capacity=Capacity(
            volume_ml=None if vehicle.volume_l is None else vehicle.volume_l * 1000,
            weight_g=None if vehicle.weight_kg is None else vehicle.weight_kg * 1000,
            cases=vehicle.cases,
        ),
        skills=skills,
        cost=minor(assumed.cost_per_run, exponent),
        cost_per_km=minor(assumed.cost_per_km, exponent),
        cost_per_hour=hour,
        overtime_cost_per_hour=hour // 2,
    )


def left_name(depot: Depot) -> str:
    """What the depot is called for vehicles that have left it."""
    return f"{depot.site.name}, left"
