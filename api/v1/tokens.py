"""Device tokens: made with a password or by an owner, shown once, taken away at any time."""

from typing import Any

from django.contrib.auth import authenticate
from django_filters import FilterSet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.errors import Refused
from api.filters import Flag, Id
from api.shapes import RowShape, Shape
from api.throttling import SignInThrottle
from people import queries
from people.actions import tokens
from people.models import DeviceToken


class TokenOut(RowShape):
    class Meta:
        model = DeviceToken
        fields = (
            "id",
            "person",
            "name",
            "prefix",
            "created_at",
            "created_by",
            "expires_at",
            "last_used_at",
            "revoked_at",
            "revoked_by",
        )


class TokenWithSecret(TokenOut):
    secret = serializers.SerializerMethodField(help_text="Shown this once; it is kept nowhere.")

    class Meta(TokenOut.Meta):
        fields = (*TokenOut.Meta.fields, "secret")

    @extend_schema_field(str)
    def get_secret(self, token: DeviceToken) -> str:
        return self.context["secret"]


class NewToken(Shape):
    name = serializers.CharField(max_length=60, help_text="Which device carries it.")
    days = serializers.IntegerField(
        required=False,
        default=tokens.USUAL_DAYS,
        min_value=1,
        max_value=tokens.MOST_DAYS,
        help_text="How long it opens the doors.",
    )


class SignIn(NewToken):
    email = serializers.CharField(max_length=254)
    password = serializers.CharField(max_length=200, trim_whitespace=False)


class Revoke(Shape):
    reason = serializers.CharField(required=False, allow_blank=True, default="", max_length=300)


class TokenFilter(FilterSet):
    person = Id()
    revoked = Flag("revoked_at", lookup_expr="isnull", exclude=True)


def with_secret(doors: Doors, token: DeviceToken, secret: str) -> Response:
    context = {**doors.shown_with, "secret": secret}
    response = Response(TokenWithSecret(token, context=context).data, status=201)
    response["Cache-Control"] = "no-store"
    return response


class Tokens(Doors):
    """Tokens that devices show to the API."""

    described_by = DeviceToken
    filterset_class = TokenFilter

    def get_throttles(self) -> list[Any]:
        return [SignInThrottle()] if self.action == "create" else super().get_throttles()

    @gives(TokenOut, paged=True, summary="List one's own tokens; owners see everybody's")
    def list(self, request: Request) -> Response:
        return self.page(queries.tokens_seen_by(self.person), TokenOut)

    @gives(TokenOut, tagged=True, summary="Look at a token")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(TokenOut, queries.token_for(self.person, pk))

    @writes(
        SignIn,
        TokenWithSecret,
        status=201,
        key="none",
        public=True,
        atomic=False,  # a refused sign-in must leave its trace, or nobody is ever locked out
        summary="Sign a device in with e-mail and password",
    )
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        person = _signed_in(request, given.pop("email"), given.pop("password"))
        token, secret = tokens.issue(person=person, actor=person, now=self.now, **given)
        return with_secret(self, token, secret)

    @writes(Revoke, TokenOut, tagged=True, summary="Take a token away, for good")
    @action(detail=True, methods=["post"])
    def revoke(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        token = queries.token_for(self.person, pk, write=True)
        gone = tokens.revoke(token=token, actor=self.person, now=self.now, **given)
        return self.answer(TokenOut, gone)


def _signed_in(request: Request, email: str, password: str) -> Any:
    asked = request._request
    person = authenticate(asked, username=email, password=password)
    if getattr(asked, "axes_locked_out", False):
        # Said here as a problem; left standing, the lock-out page of the desk would replace it.
        asked.axes_locked_out = False  # type: ignore[attr-defined]
        raise Refused(
            429,
            "too many failures; wait a quarter of an hour, or have an owner unlock you",
            code="locked_out",
            headers={"Retry-After": "900"},
        )
    if person is None:
        raise Refused(
            401,
            "this e-mail and password do not belong together",
            code="bad_credentials",
            headers={"WWW-Authenticate": 'Bearer realm="colonnade"'},
        )
    return person
