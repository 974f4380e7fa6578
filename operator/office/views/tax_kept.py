"""What the tax is reckoned by: rules and packs, jurisdictions and rates, classes, settings."""

from collections import defaultdict

from django.contrib import messages
from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from fleet.machines.models import Product
from office.doors import PersonRequest, sent, tried
from office.forms.tax import (
    ClassesForm,
    DutyForm,
    JurisdictionForm,
    PacksForm,
    PlaceSiteForm,
    RateFileForm,
    RateForm,
    RuleForm,
    TaxSettingsForm,
    WhyForm,
    states,
)
from people import audit
from service.compliance import packs as packed
from service.compliance.actions import tax_rules
from service.compliance.models import FilingDuty, Jurisdiction, RateFile, TaxSettings
from service.compliance.queries.filing import today
from service.compliance.queries.tax import class_of, rules_in_force
from service.compliance.queries.tax_gates import jurisdiction_for, rule_for
from service.compute.tax.rules import ADVICE, Shape

MOST_PRODUCTS = 300


def rules(request: PersonRequest) -> HttpResponse:
    """The rules in force, by state, and the packs that could be taken in."""
    return _rules(request, PacksForm(known=_packed_states()))


def packs(request: PersonRequest) -> HttpResponse:
    """Take packs in."""
    form = PacksForm(request.POST, known=_packed_states())
    if form.is_valid():
        new = tried(
            form,
            tax_rules.load_packs,
            states=form.cleaned_data["states"],
            actor=request.user,
            now=timezone.now(),
        )
        if new is not None:
            messages.success(
                request, f"{len(new)} rules taken in; check each before you rely on it."
            )
            return redirect("office:tax-rules")
    return _rules(request, form)


def add_rule(request: PersonRequest) -> HttpResponse:
    form = RuleForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        saved = tried(
            form,
            tax_rules.save_rule,
            data=form.data_of_rule(),
            why=form.cleaned_data["why"],
            actor=request.user,
            now=timezone.now(),
        )
        if saved:
            messages.success(request, f"{saved}: entered.")
            return redirect("office:tax-rules")
    context = {"form": form, "rule": None, "advice": ADVICE}
    return render(request, "office/tax/rule.html", context, status=sent(form))


def rule(request: PersonRequest, pk: int) -> HttpResponse:
    """A rule; sent back, another takes its place and the old one stays to be read."""
    found = rule_for(request.user, pk)
    form = RuleForm(request.POST) if request.method == "POST" else RuleForm.of(found.rule)
    if request.method == "POST" and form.is_valid():
        saved = tried(
            form,
            tax_rules.save_rule,
            data=form.data_of_rule(),
            why=form.cleaned_data["why"],
            old=found,
            actor=request.user,
            now=timezone.now(),
        )
        if saved:
            messages.success(request, f"{saved}: changed; the rule before it is kept.")
            return redirect("office:tax-rule", saved.pk)
    context = {
        "form": form,
        "rule": found,
        "said": found.rule,
        "shape": Shape(found.data["shape"]).words,
        "before": getattr(found, "replaces", None),
        "why_form": WhyForm(),
        "entries": audit.entries_of(found)[:20],
        "advice": ADVICE,
    }
    return render(request, "office/tax/rule.html", context, status=sent(form))


def remove_rule(request: PersonRequest, pk: int) -> HttpResponse:
    found = rule_for(request.user, pk, write=True)
    form = WhyForm(request.POST)
    why = form.cleaned_data["why"] if form.is_valid() else ""
    tax_rules.remove_rule(rule=found, why=why, actor=request.user, now=timezone.now())
    messages.success(request, f"{found}: out of force.")
    return redirect("office:tax-rules")


def places(request: PersonRequest) -> HttpResponse:
    """Jurisdictions, and another one."""
    form = JurisdictionForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        saved = tried(
            form,
            tax_rules.save_jurisdiction,
            changes=form.cleaned_data,
            actor=request.user,
            now=timezone.now(),
        )
        if saved:
            messages.success(request, f"{saved}: entered.")
            return redirect("office:tax-place", saved.pk)
    return _places(request, form, RateFileForm())


def load_rates(request: PersonRequest) -> HttpResponse:
    """Take in a file of rates."""
    form = RateFileForm(request.POST, request.FILES)
    if form.is_valid():
        file = form.cleaned_data["file"]
        loaded = tried(
            form,
            tax_rules.load_rate_file,
            name=file.name,
            raw=file.read(),
            actor=request.user,
            now=timezone.now(),
        )
        if loaded:
            messages.success(
                request,
                f"{loaded.file}: {loaded.new} rates are new, {loaded.kept} stood already, "
                f"{loaded.jurisdictions} jurisdictions were entered.",
            )
            return redirect("office:tax-places")
    return _places(request, JurisdictionForm(), form)


def place(request: PersonRequest, pk: int) -> HttpResponse:
    """A jurisdiction: its rates, the sites in it, and another rate."""
    found = jurisdiction_for(request.user, pk)
    form = RateForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        saved = tried(
            form,
            tax_rules.save_rate,
            jurisdiction=found,
            changes=form.changes(),
            actor=request.user,
            now=timezone.now(),
        )
        if saved:
            messages.success(request, f"{saved}.")
            return redirect("office:tax-place", pk)
    return _place(request, found, form, PlaceSiteForm(state=found.state))


def place_site(request: PersonRequest, pk: int) -> HttpResponse:
    """Say that a site lies in a jurisdiction."""
    found = jurisdiction_for(request.user, pk, write=True)
    form = PlaceSiteForm(request.POST, state=found.state)
    if form.is_valid():
        saved = tried(
            form,
            tax_rules.place_site,
            jurisdiction=found,
            actor=request.user,
            now=timezone.now(),
            **form.cleaned_data,
        )
        if saved:
            messages.success(request, f"{saved}.")
            return redirect("office:tax-place", pk)
    return _place(request, found, RateForm(), form)


def settings(request: PersonRequest) -> HttpResponse:
    """How the business reckons, and what is owed to whom how often."""
    row = TaxSettings.the()
    form = TaxSettingsForm(
        request.POST or None, initial={"basis": row.basis, "rounding": row.rounding}
    )
    if request.method == "POST" and form.is_valid():
        saved = tried(
            form,
            tax_rules.save_settings,
            changes=form.cleaned_data,
            actor=request.user,
            now=timezone.now(),
        )
        if saved:
            messages.success(request, "Kept; what was filed stays as it was filed.")
            return redirect("office:tax-settings")
    return _settings(request, form, DutyForm())


def duty(request: PersonRequest) -> HttpResponse:
    """Enter how often a state wants a return, or change it."""
    form = DutyForm(request.POST)
    if form.is_valid():
        known = FilingDuty.objects.filter(state=form.cleaned_data["state"]).first()
        saved = tried(
            form,
            tax_rules.save_duty,
            changes=form.cleaned_data,
            duty=known,
            actor=request.user,
            now=timezone.now(),
        )
        if saved:
            messages.success(request, f"{saved}: kept.")
            return redirect("office:tax-settings")
    row = TaxSettings.the()
    return _settings(
        request, TaxSettingsForm(initial={"basis": row.basis, "rounding": row.rounding}), form
    )


def classes(request: PersonRequest) -> HttpResponse:
    """What each product is in a state, and why."""
    known = states()
    form = ClassesForm(request.GET or {"state": known[0][0] if known else ""})
    asked = form.cleaned_data if form.is_valid() else {"state": "", "search": ""}
    products = Product.objects.exclude(form=Product.Form.PART).order_by("name", "pk")
    if asked["search"]:
        products = products.filter(name__icontains=asked["search"])
    state = asked["state"]
    rows = [(one, class_of(one, state)) for one in products[:MOST_PRODUCTS]] if state else []
    context = {"form": form, "rows": rows, "state": state, "advice": ADVICE}
    return render(request, "office/tax/classes.html", context)


def _packed_states() -> list[str]:
    return sorted({one.state for one in packed.packs()})


def _rules(request: PersonRequest, form: PacksForm) -> HttpResponse:
    by_state = defaultdict(list)
    for row in rules_in_force().order_by("state", "key"):
        by_state[row.state].append((row, row.rule))
    context = {
        "states": sorted(by_state.items()),
        "form": form,
        "without": [one for one, _ in states() if one not in by_state],
        "today": today(),
        "advice": ADVICE,
    }
    return render(request, "office/tax/rules.html", context, status=sent(form))


def _places(
    request: PersonRequest, form: JurisdictionForm, file_form: RateFileForm
) -> HttpResponse:
    now = today()
    rows = (
        Jurisdiction.objects.annotate(sites_in=Count("sites", distinct=True))
        .prefetch_related("rates")
        .order_by("state", "kind", "name")
    )
    shown = []
    for one in rows:
        held = [
            rate
            for rate in one.rates.all()
            if rate.begins_on <= now and (rate.ends_on is None or now < rate.ends_on)
        ]
        coming = [rate for rate in one.rates.all() if rate.begins_on > now]
        shown.append((one, held[0] if held else None, coming[-1] if coming else None))
    context = {
        "places": shown,
        "form": form,
        "file_form": file_form,
        "files": RateFile.objects.defer("raw").select_related("loaded_by")[:10],
    }
    return render(request, "office/tax/places.html", context, status=sent(form, file_form))


def _place(
    request: PersonRequest, found: Jurisdiction, form: RateForm, site_form: PlaceSiteForm
) -> HttpResponse:
    context = {
        "place": found,
        "rates": found.rates.select_related("file"),
        "sites": found.sites.select_related("site").order_by("site__name", "begins_on"),
        "form": form,
        "site_form": site_form,
        "today": today(),
    }
    return render(request, "office/tax/place.html", context, status=sent(form, site_form))


def _settings(request: PersonRequest, form: TaxSettingsForm, duty_form: DutyForm) -> HttpResponse:
    context = {"form": form, "duty_form": duty_form, "duties": FilingDuty.objects.all()}
    return render(request, "office/tax/settings.html", context, status=sent(form, duty_form))
