"""Kinds of machine, drawn as they are typed."""

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.db.models import Count
from django.forms import BaseForm
from django.http import HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.safestring import SafeString

from fleet.compute.units import BadMeasure
from fleet.machines.actions.kinds import save_kind
from fleet.machines.geometry import position_of, units_of
from fleet.machines.models import Kind, Position
from fleet.machines.queries.gates import kind_for
from office.doors import PersonRequest, sent, tell
from office.drawing.sections import near
from office.forms.kinds import (
    GEOMETRY,
    KindForm,
    PositionsForm,
    ProgramForm,
    groups_of,
    in_order,
    names_said,
)
from people import audit
from people.errors import Unable, Unacceptable
from people.models import Business
from people.refused import in_words

MOST_PARTS = 40


@dataclass(frozen=True)
class Drawn:
    """One geometry of a kind: its labels, its section, or what is wrong with its measures."""

    labels: str
    drawing: SafeString | None
    trouble: str


def listing(request: PersonRequest) -> HttpResponse:
    kinds = Kind.objects.annotate(
        position_count=Count("positions", distinct=True),
        machine_count=Count("machines", distinct=True),
    ).order_by("name", "pk")
    return render(request, "office/kinds/list.html", {"kinds": kinds})


def page(request: PersonRequest, pk: int) -> HttpResponse:
    kind = kind_for(request.user, pk)
    context = {
        "kind": kind,
        "drawn": [_drawn(group) for group in groups_of(list(kind.positions.all()))],
        "programs": kind.programs.all(),
        "machines": kind.machines.order_by("asset_tag", "pk"),
        "entries": audit.entries_of(kind)[:20],
    }
    return render(request, "office/kinds/kind.html", context)


def edit(request: PersonRequest, pk: int | None = None) -> HttpResponse:
    """Add a kind or change one; another part is added by its button, and nothing is lost."""
    kind = kind_for(request.user, pk, write=True) if pk else None
    parts = Parts(request.POST if request.method == "POST" else None, kind)
    if request.method == "POST" and "add" not in request.POST and parts.are_valid():
        saved = parts.save(request)
        if saved:
            messages.success(request, f"{saved}: kept.")
            return redirect("office:kind", saved.pk)
    context = {"kind": kind, "parts": parts, "drawn": parts.drawn()}
    status = 200 if "add" in request.POST else sent(*parts.all())
    return render(request, "office/kinds/edit.html", context, status=status)


def draw(request: PersonRequest) -> HttpResponse:
    """The sections of what is being typed; keeps nothing."""
    parts = Parts(request.POST, None)
    parts.are_valid()
    return render(request, "office/kinds/drawn.html", {"drawn": parts.drawn()})


class Parts:
    """The forms of a kind: itself, its depth programs, and its positions by geometry."""

    def __init__(self, posted: QueryDict | None, kind: Kind | None) -> None:
        units = Business.the().units
        self.kind = kind
        self.form = KindForm(posted, units=units, row=kind)
        programs = list(kind.programs.all()) if kind else []
        groups = groups_of(list(kind.positions.all())) if kind else []
        counts = {
            "program": _count(posted, "program", len(programs) or 1),
            "positions": _count(posted, "positions", len(groups) or 1),
        }
        self.programs = [
            ProgramForm(
                posted,
                prefix=f"program-{index}",
                units=units,
                row=programs[index] if index < len(programs) else None,
                use_required_attribute=False,
            )
            for index in range(counts["program"])
        ]
        self.positions = [
            PositionsForm(
                posted,
                prefix=f"positions-{index}",
                units=units,
                row=groups[index][0] if index < len(groups) else None,
                initial={"names": names_said([one.label for one in groups[index]])}
                if index < len(groups)
                else {},
                use_required_attribute=False,
            )
            for index in range(counts["positions"])
        ]
        if kind is not None:
            self.form.show_whole(kind, programs, groups)

    def all(self) -> list[BaseForm]:
        return [self.form, *self.programs, *self.positions]

    def are_valid(self) -> bool:
        # Each one is asked, so that each says what is wrong with it.
        said = [form.is_valid() for form in self.all()]
        return all(said)

    def drawn(self) -> list[Drawn]:
        """The geometry of every positions form, from what it says now."""
        found = []
        for form in self.positions:
            said = form.cleaned_data if form.is_bound and hasattr(form, "cleaned_data") else None
            if said is None and form.row is not None:
                row: Position = form.row  # type: ignore[assignment]
                found.append(_drawn([row], labels=form.initial.get("names", "")))
            elif said and said.get("names"):
                geometry = {name: said[name] for name in GEOMETRY if name in said}
                row = Position(label=said["names"][0], **geometry)
                found.append(_drawn([row], labels=names_said(said["names"])))
        return found

    def save(self, request: PersonRequest) -> Kind | None:
        """One action for all of it; what it refuses is written beside the part that it names."""
        labelled: list[tuple[str, PositionsForm]] = [
            (label, form)
            for form in self.positions
            if form.cleaned_data.get("names")
            for label in form.cleaned_data["names"]
        ]
        by_label = dict(labelled)
        stored = [one.label for one in self.kind.positions.all()] if self.kind else []
        order = in_order([label for label, _ in labelled], stored)
        programs = [form for form in self.programs if form.cleaned_data.get("name")]
        try:
            with in_words():
                return save_kind(
                    kind=self.kind,
                    changes=self.form.changes(),
                    programs=[form.changes() for form in programs],
                    positions=[
                        {"label": label, "order": index, **by_label[label].changes()}
                        for index, label in enumerate(order)
                    ],
                    actor=request.user,
                    now=timezone.now(),
                )
        except Unable as error:
            self._tell(error, programs, [by_label[label] for label in order])
            return None

    def _tell(
        self, error: Unable, programs: list[ProgramForm], positions: list[PositionsForm]
    ) -> None:
        fields = error.fields if isinstance(error, Unacceptable) else {}
        if not fields:
            tell(self.form, error)
        for path, text in fields.items():
            part, _, rest = path.partition(".")
            index, _, name = rest.partition(".")
            forms: list[Any] = {"programs": programs, "positions": positions}.get(part, [])  # type: ignore[assignment]
            if forms and index.isdecimal() and int(index) < len(forms):
                form = forms[int(index)]
                form.add_error(name if name in form.fields else None, text)
            else:
                self.form.add_error(part if part in self.form.fields else None, text)


def _count(posted: QueryDict | None, part: str, stored: int) -> int:
    if posted is None:
        return stored
    said = posted.get(f"{part}-count", "")
    count = int(said) if said.isdecimal() else stored
    return min(count + (posted.get("add") == part), MOST_PARTS)


def _drawn(group: list[Position], labels: str = "") -> Drawn:
    first = group[0]
    said = labels or names_said([one.label for one in group])
    try:
        place = position_of(first)
    except (BadMeasure, TypeError, ValueError) as error:
        return Drawn(said, None, getattr(error, "message", "not all of it is measured yet"))
    drawing = near(
        place,
        None,
        ident=f"position-{first.label}",
        title=f"Position {said}, empty",
        units=units_of(Business.the()),
    )
    return Drawn(said, drawing, "")
