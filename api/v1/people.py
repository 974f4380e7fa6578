"""People, their roles, and oneself."""

from typing import Any

from django.db.models import QuerySet
from django_filters import FilterSet
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Doors, gives, writes
from api.filters import Flag, Word
from api.shapes import Choice, RowShape, Shape
from people import queries
from people.actions import people, tokens
from people.models import Person
from people.roles import Role

from .tokens import NewToken, TokenWithSecret, with_secret


class PersonOut(RowShape):
    roles = serializers.ListField(child=Choice(choices=Role.choices))

    class Meta:
        model = Person
        fields = ("id", "name", "email", "phone", "roles", "is_active", "created_at")


class PersonIn(RowShape):
    roles = serializers.ListField(child=Choice(choices=Role.choices), required=False)

    class Meta:
        model = Person
        fields = ("name", "email", "phone", "roles")


class NewPerson(PersonIn):
    password = serializers.CharField(
        write_only=True,
        required=False,
        trim_whitespace=False,
        max_length=200,
        help_text="Left out: the person comes in by a link to set one.",
    )

    class Meta(PersonIn.Meta):
        fields = (*PersonIn.Meta.fields, "password")


class LetGo(Shape):
    reason = serializers.CharField(required=False, allow_blank=True, default="", max_length=300)


class PersonFilter(FilterSet):
    role = Word(of=Role, method="holding")
    is_active = Flag()

    def holding(self, rows: "QuerySet[Person]", name: str, value: str) -> "QuerySet[Person]":
        return rows.filter(roles__contains=[value])


class People(Doors):
    """Who works here."""

    described_by = Person
    filterset_class = PersonFilter

    @gives(PersonOut, paged=True, summary="List people")
    def list(self, request: Request) -> Response:
        return self.page(queries.people_seen_by(self.person), PersonOut)

    @gives(PersonOut, tagged=True, summary="Look at a person")
    def retrieve(self, request: Request, pk: int) -> Response:
        return self.answer(PersonOut, queries.person_for(self.person, pk))

    @writes(NewPerson, PersonOut, status=201, tagged=True, summary="Add a person")
    def create(self, request: Request, given: dict[str, Any]) -> Response:
        given.setdefault("roles", [])
        return self.created(PersonOut, people.add(**given, actor=self.person, now=self.now))

    @writes(PersonIn, PersonOut, partial=True, tagged=True, matched=True, summary="Change a person")
    def partial_update(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        person = self.matched(queries.person_for, pk, PersonOut)
        changed = people.change(person=person, changes=given, actor=self.person, now=self.now)
        return self.answer(PersonOut, changed)

    @writes(LetGo, PersonOut, tagged=True, summary="Let somebody go: no sign-in any more")
    @action(detail=True, methods=["post"], url_path="let-go")
    def let_go(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        person = queries.person_for(self.person, pk, write=True)
        gone = people.let_go(person=person, actor=self.person, now=self.now, **given)
        return self.answer(PersonOut, gone)

    @writes(None, PersonOut, tagged=True, summary="Take somebody back")
    @action(detail=True, methods=["post"], url_path="take-back")
    def take_back(self, request: Request, pk: int) -> Response:
        person = queries.person_for(self.person, pk, write=True)
        back = people.take_back(person=person, actor=self.person, now=self.now)
        return self.answer(PersonOut, back)

    @writes(
        NewToken,
        TokenWithSecret,
        status=201,
        key="none",
        summary="Make a token for a device of one's own, or (owners) of somebody else",
    )
    @action(detail=True, methods=["post"], url_path="tokens")
    def tokens(self, request: Request, pk: int, given: dict[str, Any]) -> Response:
        person = queries.person_for(self.person, pk)
        token, secret = tokens.issue(person=person, actor=self.person, now=self.now, **given)
        return with_secret(self, token, secret)


class Me(Doors):
    """Oneself."""

    described_by = Person

    @gives(PersonOut, tagged=True, summary="Who am I, and what are my roles")
    def retrieve(self, request: Request) -> Response:
        return self.answer(PersonOut, self.person)
