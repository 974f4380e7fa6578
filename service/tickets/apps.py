from django.apps import AppConfig


class TicketsConfig(AppConfig):
    name = "service.tickets"
    label = "tickets"
    verbose_name = "Tickets"
