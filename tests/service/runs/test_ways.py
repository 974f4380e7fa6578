"""A way is as slow as the roads of the depot that is nearest to it."""

from decimal import Decimal

import pytest

from service.runs.actions import keeping
from service.runs.models import Depot, RunAssumptions
from service.runs.ways import matrix_between, unlearned_matrix
from tests.service.runs.roadwork import RoadWork, site

pytestmark = pytest.mark.django_db


def test_each_depot_counts_for_the_ways_around_it(work: RoadWork) -> None:
    far = keeping.save_depot(
        changes={"site": site(work.world, "Far store", 200, purpose="warehouse")},
        actor=work.owner,
        now=work.world.now,
    )
    Depot.objects.filter(pk=far.pk).update(travel_multiplier=Decimal(2))
    far.refresh_from_db()
    near_one, near_two = site(work.world, "Near one", 1), site(work.world, "Near two", 6)
    far_one, far_two = site(work.world, "Far one", 190), site(work.world, "Far two", 196)
    places = [near_one, near_two, far_one, far_two]
    assumed = RunAssumptions.the()
    plain = unlearned_matrix(places, assumed=assumed).seconds
    learned = matrix_between(places, depots=[work.depot, far], assumed=assumed).seconds
    assert learned[0][1] == plain[0][1]
    assert learned[2][3] == 2 * plain[2][3]
    assert learned[0][2] == round(plain[0][2] * 2**0.5)
    assert matrix_between(places, depots=[], assumed=assumed).seconds == plain
