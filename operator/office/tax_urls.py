"""The addresses of sales tax, spliced into urls.py."""

from django.urls import URLPattern, URLResolver, path

from .doors import door
from .views import tax, tax_kept

paths: list[URLPattern | URLResolver] = [
    path("tax/", door(tax.listing), name="tax"),
    path("tax/report/", door(tax.preview), name="tax-report"),
    path("tax/report/export/", door(tax.export), name="tax-report-export"),
    path("tax/report/line/", door(tax.line), name="tax-line"),
    path("tax/file/", door(tax.file), name="tax-file"),
    path("tax/returns/<int:pk>/", door(tax.filing), name="tax-filing"),
    path("tax/returns/<int:pk>/export/", door(tax.filing_export), name="tax-filing-export"),
    path("tax/returns/<int:pk>/amend/", door(tax.amend), name="tax-amend"),
    path("tax/classes/", door(tax_kept.classes), name="tax-classes"),
    path("tax/rules/", door(tax_kept.rules), name="tax-rules"),
    path("tax/rules/packs/", door(tax_kept.packs), name="tax-packs"),
    path("tax/rules/add/", door(tax_kept.add_rule), name="tax-rule-add"),
    path("tax/rules/<int:pk>/", door(tax_kept.rule), name="tax-rule"),
    path("tax/rules/<int:pk>/remove/", door(tax_kept.remove_rule), name="tax-rule-remove"),
    path("tax/places/", door(tax_kept.places), name="tax-places"),
    path("tax/places/<int:pk>/", door(tax_kept.place), name="tax-place"),
    path("tax/places/<int:pk>/site/", door(tax_kept.place_site), name="tax-place-site"),
    path("tax/rates/load/", door(tax_kept.load_rates), name="tax-rates-load"),
    path("tax/settings/", door(tax_kept.settings), name="tax-settings"),
    path("tax/settings/duty/", door(tax_kept.duty), name="tax-duty"),
]
