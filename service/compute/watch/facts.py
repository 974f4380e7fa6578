"""What is known about a column and its machine that speaks for one cause or against another."""

from __future__ import annotations

from dataclasses import dataclass

from fleet.compute.results import Risk

from .missing import Nature


@dataclass(frozen=True, slots=True)
class ColumnFacts:
    """Everything is optional: what is None is not known and says nothing. Lengths in mm.

    deep_loaded, deep_programmed    how the column is loaded, and for what the board is programmed
    program_risk                    of the depth program at that load (`fleet.compute.timing`)
    play_front_mm, play_rear_mm     computed or measured play; least_play_mm, most_play_mm its band
    package_length_mm               of the product in it
    chart_length_mm                 of the package that the setting in it was made for
    days_since_changeover           None where there never was one
    test_vends_made, _passed        at the last changeover
    as_left_differs                 as-left settings differ from what was planned
    picture_matches                 as noted at the changeover
    fitted_dispute                  the record's settings differ from the chart's
    chance_empty                    chance that nothing is left in it, by the stock estimate
    days_since_visit, days_between_visits
    sold_before_part                sales of the four weeks before over what was expected of them
    machine_silent_part             part of the machine's columns that are silent too
    part_of_fleet_silent            of this product's columns elsewhere, the part that is silent
    site_closed                     a closed day lies in the silence
    nature                          how units went missing (`missing.nature_of`)
    neighbour_mirrors               another column of the machine has about as many units too many
    one_price                       every vend was charged the same, wrong price
    one_person                      the same person sealed or counted every bag that is off
    coins_mostly                    what is short is in coins (None: not known which)
    days_since_condenser, days_since_gasket  since that work was last done
    still_warm                      the cabinet is warm at its last reading
    power_losses                    in the last four weeks
    shared_with_site                other machines at the site lost power too
    whole_hours, clock_lost         in which way the clock is wrong
    has_drop_sensor                 of the machine's kind
    events                          bases of the machine's active events, such as EJL
    """

    deep_loaded: int | None = None
    deep_programmed: int | None = None
    program_risk: Risk | None = None
    play_front_mm: float | None = None
    play_rear_mm: float | None = None
    least_play_mm: float | None = None
    most_play_mm: float | None = None
    package_length_mm: float | None = None
    chart_length_mm: float | None = None
    days_since_changeover: float | None = None
    test_vends_made: int | None = None
    test_vends_passed: int | None = None
    as_left_differs: bool | None = None
    picture_matches: bool | None = None
    fitted_dispute: bool | None = None
    chance_empty: float | None = None
    days_since_visit: float | None = None
    days_between_visits: float | None = None
    sold_before_part: float | None = None
    machine_silent_part: float | None = None
    part_of_fleet_silent: float | None = None
    site_closed: bool | None = None
    nature: Nature | None = None
    neighbour_mirrors: bool | None = None
    one_price: bool | None = None
    one_person: bool | None = None
    coins_mostly: bool | None = None
    days_since_condenser: float | None = None
    days_since_gasket: float | None = None
    still_warm: bool | None = None
    power_losses: int | None = None
    shared_with_site: bool | None = None
    whole_hours: bool | None = None
    clock_lost: bool | None = None
    has_drop_sensor: bool | None = None
    events: tuple[str, ...] | None = None
