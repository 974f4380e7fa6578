"""The addresses of tickets, spliced into urls.py."""

from django.urls import URLPattern, URLResolver, path

from .doors import door
from .views import road_tickets, tickets, tickets_acts, tickets_kept

paths: list[URLPattern | URLResolver] = [
    path("tickets/", door(tickets.listing_page), name="tickets"),
    path("tickets/export/", door(tickets.export), name="tickets-export"),
    path("tickets/report/", door(tickets_acts.report), name="ticket-report"),
    path("tickets/refunds/", door(tickets_kept.refunds), name="refunds"),
    path("tickets/refunds/export/", door(tickets_kept.refunds_export), name="refunds-export"),
    path("tickets/refunds/<int:pk>/", door(tickets_kept.end_refund), name="refund-end"),
    path("tickets/kept/", door(tickets_kept.kept), name="tickets-kept"),
    path("tickets/kept/settings/", door(tickets_kept.service_settings), name="service-settings"),
    path("tickets/kept/symptoms/add/", door(tickets_kept.edit_symptom), name="symptom-add"),
    path("tickets/kept/symptoms/<int:pk>/", door(tickets_kept.edit_symptom), name="symptom-change"),
    path("tickets/kept/causes/add/", door(tickets_kept.edit_cause), name="cause-add"),
    path("tickets/kept/causes/<int:pk>/", door(tickets_kept.edit_cause), name="cause-change"),
    path("tickets/files/<int:pk>/", door(tickets.attachment), name="attachment"),
    path("tickets/<int:pk>/", door(tickets.page), name="ticket"),
    path("tickets/<int:pk>/paper/", door(tickets.paper), name="ticket-print"),
    path("tickets/<int:pk>/close/", door(tickets_acts.close), name="ticket-close"),
    path("tickets/<int:pk>/<str:verb>/", door(tickets_acts.act), name="ticket-act"),
    path("road/tickets/", door(road_tickets.my_tickets), name="road-tickets"),
    path("road/tickets/<int:pk>/", door(road_tickets.ticket_page), name="road-ticket"),
    path(
        "road/tickets/<int:pk>/<str:verb>/", door(road_tickets.ticket_act), name="road-ticket-act"
    ),
    path("road/machines/<int:pk>/report/", door(road_tickets.report), name="road-report"),
]
