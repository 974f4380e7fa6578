"""What the one who asks was told."""

from django_filters import FilterSet
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.filters import Flag
from api.shapes import RowShape
from people import queries
from people.actions import notices
from people.models import Notice


class ToldOut(RowShape):
    class Meta:
        model = Notice
        fields = ("id", "subject", "text", "address", "at", "seen_at")


class NoticeFilter(FilterSet):
    seen = Flag("seen_at", lookup_expr="isnull", exclude=True)


class Notices(Doors):
    """One's own notices: warnings, what is late, what comes due."""

    described_by = Notice
    filterset_class = NoticeFilter

    @gives(ToldOut, paged=True, summary="List one's own notices, latest first")
    def list(self, request: Request) -> Response:
        return self.page(queries.notices_of(self.person).order_by("-pk"), ToldOut)

    @writes(None, ToldOut, tagged=True, summary="Take a notice as seen")
    @action(detail=True, methods=["post"])
    def see(self, request: Request, pk: int) -> Response:
        notices.see(person=self.person, notice=pk, now=self.now)
        return self.answer(ToldOut, queries.notices_of(self.person).get(pk=pk))
