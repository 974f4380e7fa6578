from django.apps import AppConfig


class ComplianceConfig(AppConfig):
    name = "service.compliance"
    label = "compliance"
    verbose_name = "Compliance"
