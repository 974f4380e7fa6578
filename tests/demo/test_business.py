"""The invented business: it is whole, its numbers are valid, its settings are those of the fit."""

import itertools
from datetime import date, timedelta

import pytest
from stdnum import ean

from demo.business import marrowby
from demo.business.charts import chart_line
from demo.business.machines import asset_tag
from demo.business.products import in_store_gtin
from demo.business.set_ups import CHANGES, visit_day
from demo.simulator.cases import CASES
from fleet.compute.fit import fit
from fleet.compute.positions import SpiralPosition
from fleet.compute.results import Risk, Verdict
from fleet.compute.timing import outlook


def test_it_has_the_size_it_claims(business):
    counts = {
        "warehouses": len(business.warehouses),
        "people": len(business.people),
        "kinds": len(business.kinds),
        "packages": len(business.packages),
        "products": len(business.products),
        "sites": len(business.sites),
        "machines": len(business.machines),
    }
    assert counts == {
        "warehouses": 2,
        "people": 7,
        "kinds": 4,
        "packages": 14,
        "products": 45,
        "sites": 40,
        "machines": 60,
    }


def test_every_gtin_is_an_in_store_number_with_its_check_digit(business):
    # Checked against python-stdnum; numbers that start with 2 are in-store ones (from memory).
    gtins = [product.gtin for product in business.products]
    assert all(ean.is_valid(gtin) and gtin.startswith("2") and len(gtin) == 13 for gtin in gtins)
    assert len(set(gtins)) == len(gtins)
    with pytest.raises(ValueError, match="ten digits"):
        in_store_gtin(10**10)


def test_codes_tags_and_names_are_unique(business):
    for names in (
        [product.code for product in business.products],
        [product.name for product in business.products],
        [package.code for package in business.packages],
        [machine.asset_tag for machine in business.machines],
        [machine.serial for machine in business.machines],
        [site.code for site in business.sites],
    ):
        assert len(set(names)) == len(names)


def test_every_reference_leads_somewhere(business):
    packages = {package.code for package in business.packages}
    warehouses = {warehouse.code for warehouse in business.warehouses}
    drivers = {person.email for person in business.people if "driver" in person.roles}
    assert {product.package_code for product in business.products} <= packages
    assert {site.warehouse_code for site in business.sites} == warehouses
    assert {machine.driver_email for machine in business.machines} == drivers
    assert all(person.email.endswith("example.org") for person in business.people)
    assert {site.time_zone for site in business.sites} == {"America/New_York", "America/Chicago"}


def test_all_packages_and_products_are_used_in_columns(business):
    used = {set_up.product_code for set_up in business.set_ups}
    assert {business.product(code).package_code for code in used} == {
        package.code for package in business.packages
    }
    assert len(used) >= 40


def test_every_column_is_set_up_without_gap_or_overlap(business):
    for machine in business.machines:
        kind = business.kind(machine.kind_name)
        by_column: dict[str, list] = {}
        for set_up in business.set_ups_of(machine.asset_tag):
            by_column.setdefault(set_up.column, []).append(set_up)
        assert set(by_column) == {position.label for position in kind.positions}
        assert {label for button in kind.buttons for label in button.columns} == set(by_column)
        for history in by_column.values():
            assert history[0].starts == machine.placed_on
            assert history[-1].ends is None
            for old, new in itertools.pairwise(history):
                assert old.ends == new.starts > old.starts


def test_columns_behind_one_button_hold_the_same_at_one_price(business):
    for machine in business.machines:
        by_column: dict[str, list] = {}
        for set_up in business.set_ups_of(machine.asset_tag):
            told = (set_up.starts, set_up.product_code, set_up.price_minor)
            by_column.setdefault(set_up.column, []).append(told)
        for button in business.kind(machine.kind_name).buttons:
            assert len({tuple(by_column[column]) for column in button.columns}) == 1


def test_the_charts_are_what_the_fit_computes(business):
    packages = {size.code: size.package for size in business.packages}
    for line in business.charts:
        kind = business.kind(line.kind_name)
        for column in line.columns:
            position = kind.position(column)
            found = fit(position, packages[line.package_code], kind.board)
            assert found.verdict in (Verdict.FITS, Verdict.FITS_WITH_CAUTION), (line, column)
            assert found.capacity is not None
            assert found.capacity.units == line.capacity, (line, column)
            if isinstance(position, SpiralPosition):
                continue
            settings = (
                found.deep,
                found.front.notch if found.front else None,
                found.rear.notch if found.rear else None,
                found.program,
            )
            assert settings == (line.deep, line.front_notch, line.rear_notch, line.program), line


def test_cans_two_deep_lie_with_the_spacers_all_the_way_out(business):
    # Common practice, no published source: cans two deep, about a quarter inch of play.
    packages = {size.code: size.package for size in business.packages}
    for line in business.charts:
        if line.package_code != "can-12oz":
            continue
        kind = business.kind(line.kind_name)
        position = kind.position(line.columns[0])
        for end, half in position.halves():
            notch = line.front_notch if end.value == "front" else line.rear_notch
            assert notch == half.rail.outermost
            play_mm = half.rail.distance_mm(notch) - 2 * packages["can-12oz"].length_mm
            assert 6.35 <= play_mm <= 10.0


def test_the_wrongly_left_programs_do_what_they_are_there_to_show(business):
    risks = {}
    for tag, case in CASES.items():
        if case.wrong_program is None:
            continue
        kind = business.kind(business.machine(tag).kind_name)
        now = business.set_ups_of(tag)
        deep = next(
            set_up.deep
            for set_up in now
            if set_up.column == case.wrong_program.column and set_up.ends is None
        )
        program = next(one for one in kind.board.programs if one.name == case.wrong_program.program)
        risks[tag] = outlook(program, deep, kind.board).risk
    assert risks == {
        asset_tag("S12", "C"): Risk.TWO_FOR_ONE,
        asset_tag("S19", "A"): Risk.FALSE_SOLD_OUT,
    }


def test_the_lobby_changes_from_a_can_two_deep_to_a_tall_can_one_deep(business):
    old, new = (
        set_up for set_up in business.set_ups_of(asset_tag("S01", "A")) if set_up.column == "5"
    )
    assert business.product(old.product_code).package_code == "can-12oz"
    assert business.product(new.product_code).package_code == "can-16oz"
    assert (old.deep, new.deep) == (2, 1)
    assert old.program != new.program


def test_changeovers_fall_on_visiting_days(business):
    recent = 0
    for change in CHANGES:
        machine = business.machine(change.asset_tag)
        starts = {
            set_up.starts
            for set_up in business.set_ups_of(change.asset_tag)
            if set_up.product_code == change.product_code and set_up.starts > machine.placed_on
        }
        assert starts
        for day in starts:
            assert day.weekday() in machine.visit_weekdays
            recent += day >= date(2026, 11, 25) - timedelta(weeks=12)
    assert recent >= 10


def test_sites_are_open_when_a_driver_comes(business):
    for machine in business.machines:
        open_days = {
            day for window in business.site(machine.site_code).windows for day in window.weekdays
        }
        assert set(machine.visit_weekdays) <= open_days


def test_special_machines_exist_and_report_as_their_case_needs(business):
    machines = {machine.asset_tag: machine for machine in business.machines}
    assert set(CASES) <= set(machines)
    for tag, case in CASES.items():
        if {case.damaged, case.truncated, case.sent_twice, case.sent_late} != {None}:
            assert machines[tag].reads == "nightly"
        if case.coin_unit_swapped or case.cash_count_nearly_full or case.value_nearly_full_cents:
            assert "cash" in machines[tag].payments
        if case.cashless_discount_minor:
            assert "cashless" in machines[tag].payments


def test_a_visit_day_is_the_last_on_or_before_a_date(business):
    machine = business.machine(asset_tag("S01", "A"))
    day = visit_day(machine, date(2026, 10, 26))
    assert day <= date(2026, 10, 26)
    assert day.weekday() in machine.visit_weekdays
    assert visit_day(machine, day) == day


def test_an_unmeasured_package_is_named_when_asked_of_the_chart():
    with pytest.raises(KeyError, match="measure it"):
        chart_line("Marlstone 9", "1", "bag-large")


def test_the_business_moves_with_its_date():
    early, late = marrowby(date(2026, 3, 2)), marrowby(date(2026, 3, 9))
    assert len(early.set_ups) == len(late.set_ups)
    assert early.products == late.products
    assert early.machines[0].placed_on < late.machines[0].placed_on
