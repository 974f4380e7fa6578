"""Sites and the hours in which they can be entered."""

from typing import Any

from django_filters import FilterSet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.filters import Text, Word
from api.shapes import RowShape
from fleet.machines.actions import sites
from fleet.machines.models import OpeningWindow, Site
from fleet.machines.queries import gates

OF_THE_SITE = (
    "name",
    "purpose",
    "street",
    "city",
    "county",
    "state",
    "postal_code",
    "country",
    "latitude",
    "longitude",
    "time_zone",
    "contact",
    "host_name",
    "host_email",
    "premises",
    "access_notes",
)


class WindowShape(RowShape):
    weekday = serializers.IntegerField(
        min_value=0, max_value=6, help_text="0 is Monday, 6 is Sunday."
    )

    class Meta:
        model = OpeningWindow
        fields = ("weekday", "opens", "closes")


class SiteIn(RowShape):
    """A list of opening windows that is given is whole."""

    opening_windows = WindowShape(many=True, required=False, max_length=50)

    class Meta:
        model = Site
        fields = (*OF_THE_SITE, "opening_windows")


class SiteLine(RowShape):
    class Meta:
        model = Site
        fields = ("id", *OF_THE_SITE, "updated_at")


class SiteOut(RowShape):
    opening_windows = WindowShape(many=True)

    class Meta:
        model = Site
        fields = ("id", *OF_THE_SITE, "opening_windows", "updated_at")


class SiteFilter(FilterSet):
    search = Text("name", lookup_expr="icontains")
    purpose = Word(of=Site.Purpose)
    city = Text("city", lookup_expr="iexact")


class Sites(Doors):
    """Where machines stand."""

    described_by = Site
    filterset_class = SiteFilter

    @gives(SiteLine, paged=True, summary="List sites")
    def list(self, request: Request) -> Response:
        return self.page(Site.objects.order_by("name", "pk"), SiteLine)

    @gives(SiteOut, tagged=True, summary="Look at a site with its opening windows")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(SiteOut, gates.site_for(self.person, pk))

    @writes(SiteIn, SiteOut, status=201, tagged=True, summary="Add a site")
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        windows = given.pop("opening_windows", None)
        saved = sites.save_site(
            changes=given, opening_windows=windows, actor=self.person, now=self.now
        )
        return self.created(SiteOut, gates.site_for(self.person, saved.pk))

    @writes(SiteIn, SiteOut, partial=True, tagged=True, matched=True, summary="Change a site")
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        site = self.matched(gates.site_for, pk, SiteOut)
        windows = given.pop("opening_windows", None)
        sites.save_site(
            site=site, changes=given, opening_windows=windows, actor=self.person, now=self.now
        )
        return self.answer(SiteOut, gates.site_for(self.person, pk))
