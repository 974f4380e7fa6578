"""Fitting every column: what is written, run twice, raced for, lost and taken again."""

from datetime import timedelta
from decimal import Decimal

import pytest

from fleet.demand.actions import runs
from fleet.demand.actions.errors import ChunkLost, UnableToRefit
from fleet.demand.actions.refit import fit_chunk
from fleet.demand.models import ColumnDemand, ColumnNeed, FitChunk, FitRun
from fleet.demand.queries import fits
from people.models import AuditEntry, Person
from tests.fleet.demand.sellers import clock, column, fit_all, sell_and_read, shop
from tests.races import at_once
from tests.world import World


@pytest.mark.django_db
def test_a_fit_tells_the_rates_at_which_columns_sell(world: World, owner: Person) -> None:
    machines = shop(world)
    for machine in machines:
        sell_and_read(machine, until=world.now)
    run = fit_all(owner, world.now)
    assert run.state == FitRun.State.DONE
    assert (run.machines, run.columns, run.intervals) == (3, 6, 420)
    for machine in machines:
        for label, rate in (("1", 6.0), ("2", 2.5)):
            demand = ColumnDemand.objects.get(column=column(machine, label))
            assert (demand.basis, demand.intervals) == ("reads", 70)
            assert demand.a_day == pytest.approx(rate, rel=0.25)
    assert ColumnNeed.objects.count() == 6
    verbs = AuditEntry.objects.filter(object_type="demand.FitRun").values_list("verb", flat=True)
    assert set(verbs) == {"start refit", "finish refit"}


@pytest.mark.django_db
def test_bands_hold_about_as_much_of_the_truth_as_they_are_meant_to(
    world: World, owner: Person
) -> None:
    """A first fit is tried back; a second is held against what sold since the first."""
    machines = shop(world)
    for machine in machines:
        sell_and_read(machine, until=world.now)
    first = fits.fared(fit_all(owner, world.now).chunks.all())
    assert first is not None
    assert first.tried_back
    assert first.calibration.intervals == 3 * 2 * 28
    later = world.now + timedelta(days=21)
    for machine in machines:
        sell_and_read(machine, until=later, days=91)
    second = fits.fared(fit_all(owner, later).chunks.all())
    assert second is not None
    assert not second.tried_back
    assert second.calibration.intervals == 3 * 2 * 21
    for fared in (first, second):
        for percent, inside, meant in fared.bands:
            # Three standard deviations of a share of so many intervals.
            spread = (meant * (1 - meant) / fared.calibration.intervals) ** 0.5
            assert inside == pytest.approx(meant, abs=3 * spread), percent
        # What was sold and what the fit was learnt from are both counts, with chances of their own.
        told = fared.calibration
        assert abs(told.bias or 0) < 3 * (1 / told.units + 1 / told.foretold) ** 0.5


@pytest.mark.django_db
def test_a_fit_twice_gives_the_same(world: World, owner: Person) -> None:
    (machine,) = shop(world, 1)
    sell_and_read(machine, until=world.now)
    fit_all(owner, world.now)
    once = list(ColumnDemand.objects.order_by("pk").values_list("column", "model"))
    fit_all(owner, world.now)
    assert list(ColumnDemand.objects.order_by("pk").values_list("column", "model")) == once
    assert ColumnNeed.objects.count() == len(once)


@pytest.mark.django_db
def test_a_part_is_fitted_once(world: World, owner: Person) -> None:
    shop(world, 1)
    run = runs.start(actor=owner, now=world.now)
    (chunk,) = runs.due(now=world.now)
    assert fit_chunk(chunk_id=chunk, clock=clock(world.now))
    assert not fit_chunk(chunk_id=chunk, clock=clock(world.now))
    assert run.chunks.get().attempt == 1


@pytest.mark.django_db
def test_a_night_begun_twice_is_one_run(world: World) -> None:
    shop(world, 1)
    first = runs.start(actor=None, now=world.now, nightly=True)
    assert runs.start(actor=None, now=world.now, nightly=True) == first
    for chunk in runs.due(now=world.now):
        fit_chunk(chunk_id=chunk, clock=clock(world.now))
    assert runs.start(actor=None, now=world.now, nightly=True) == first


@pytest.mark.django_db
def test_the_night_is_due_between_two_and_seven_where_the_business_is(world: World) -> None:
    night = world.now.replace(hour=8)  # three in the morning in New York
    assert not runs.night_is_due(world.now)
    assert runs.night_is_due(night)
    runs.start(actor=None, now=night, nightly=True)
    assert not runs.night_is_due(night)


@pytest.mark.django_db
def test_nobody_starts_a_second_fit_beside_one(world: World, owner: Person) -> None:
    shop(world, 1)
    runs.start(actor=owner, now=world.now)
    with pytest.raises(UnableToRefit) as refused:
        runs.start(actor=owner, now=world.now)
    assert refused.value.code == "refit_running"
    assert FitRun.objects.count() == 1


@pytest.mark.django_db
def test_a_business_without_columns_is_done_at_once(world: World, owner: Person) -> None:
    run = runs.start(actor=owner, now=world.now)
    assert (run.state, run.outcome) == (FitRun.State.DONE, "No column is set up yet.")


@pytest.mark.django_db
def test_a_silent_workers_part_is_taken_again_and_it_writes_nothing_more(
    world: World, owner: Person
) -> None:
    shop(world, 1)
    run = runs.start(actor=owner, now=world.now)
    (key,) = runs.due(now=world.now)
    dead = runs.take(chunk_id=key, now=world.now)
    assert dead is not None
    assert runs.due(now=world.now + runs.SILENT_FOR) == []
    later = world.now + runs.SILENT_FOR + timedelta(seconds=1)
    assert runs.due(now=later) == [key]
    assert fit_chunk(chunk_id=key, clock=clock(later))
    with pytest.raises(ChunkLost):
        runs.report(chunk=dead, doing="fitting", now=later)
    chunk = run.chunks.get()
    assert (chunk.state, chunk.attempt) == (FitChunk.State.DONE, 2)


@pytest.mark.django_db
def test_a_part_that_fails_is_tried_again_then_given_up(
    world: World, owner: Person, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop(world, 1)
    fit_all(owner, world.now)
    # A model of a form that no fit writes: what is held against the truth cannot be read.
    ColumnDemand.objects.update(model={"form": 0})
    run = runs.start(actor=owner, now=world.now)
    (key,) = runs.due(now=world.now)
    for attempt in range(1, runs.MOST_ATTEMPTS + 1):
        with pytest.raises(ValueError, match="fit again"):
            fit_chunk(chunk_id=key, clock=clock(world.now))
        assert run.chunks.get().attempt == attempt
    assert runs.due(now=world.now) == []
    run.refresh_from_db()
    assert run.state == FitRun.State.FAILED
    assert "keep what was fitted before" in run.outcome


@pytest.mark.django_db
def test_a_part_that_kills_its_workers_is_given_up(world: World, owner: Person) -> None:
    shop(world, 1)
    run = runs.start(actor=owner, now=world.now)
    (key,) = runs.due(now=world.now)
    at = world.now
    for _ in range(runs.MOST_ATTEMPTS):
        assert runs.take(chunk_id=key, now=at) is not None
        at += runs.SILENT_FOR + timedelta(seconds=1)
    runs.give_up(now=at)
    run.refresh_from_db()
    assert run.state == FitRun.State.FAILED
    assert "fell silent" in run.outcome


@pytest.mark.django_db(transaction=True)
def test_of_two_workers_one_gets_the_part(world: World, owner: Person) -> None:
    shop(world, 1)
    runs.start(actor=owner, now=world.now)
    (key,) = runs.due(now=world.now)
    found = at_once(*[lambda: fit_chunk(chunk_id=key, clock=clock(world.now))] * 4)
    assert sorted(map(bool, found)) == [False, False, False, True]
    chunk = FitChunk.objects.get()
    assert (chunk.state, chunk.attempt) == (FitChunk.State.DONE, 1)
    assert ColumnDemand.objects.count() == 2


@pytest.mark.django_db(transaction=True)
def test_of_two_people_one_starts_the_fit(world: World, owner: Person) -> None:
    shop(world, 1)
    found = at_once(*[lambda: runs.start(actor=owner, now=world.now)] * 3)
    assert sum(isinstance(one, FitRun) for one in found) == 1
    assert FitRun.objects.count() == 1


@pytest.mark.django_db
def test_machines_are_dealt_out_to_their_nearest_warehouse(world: World, owner: Person) -> None:
    machines = shop(world, 3)
    east = world.site(
        "East store", purpose="warehouse", latitude=Decimal("40.7"), longitude=Decimal("-73.9")
    )
    west = world.site(
        "West store", purpose="warehouse", latitude=Decimal("34.0"), longitude=Decimal("-118.2")
    )
    for machine, where in zip(machines, (("40.8", "-74.1"), ("34.1", "-118.0")), strict=False):
        site = machine.placements.get().site
        site.latitude, site.longitude = map(Decimal, where)
        site.save()
    run = runs.start(actor=owner, now=world.now)
    dealt = {chunk.warehouse: chunk.machines for chunk in run.chunks.all()}
    assert dealt == {
        east: [machines[0].pk],
        west: [machines[1].pk],
        None: [machines[2].pk],
    }
