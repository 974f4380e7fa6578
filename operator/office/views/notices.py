"""What one person was told, taken as seen."""

from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from office.doors import PersonRequest
from people.actions import notices


def see(request: PersonRequest, pk: int) -> HttpResponse:
    notices.see(person=request.user, notice=pk, now=timezone.now())
    return redirect("office:today")


def see_all(request: PersonRequest) -> HttpResponse:
    notices.see(person=request.user, now=timezone.now())
    return redirect("office:today")
