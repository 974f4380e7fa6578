"""The addresses of the desk. Each has its row in people/policy.py."""

from django.urls import URLPattern, URLResolver, path

from .board_urls import paths as _board
from .cash_urls import paths as _cash
from .commission_urls import paths as _commission
from .compliance_urls import paths as _compliance
from .doors import door
from .earnings_urls import paths as _earnings
from .labels_urls import paths as _labels
from .public_urls import paths as _public
from .runs_urls import paths as _runs
from .stock_urls import paths as _stock
from .tax_urls import paths as _tax
from .tickets_urls import paths as _tickets
from .upkeep_urls import paths as _upkeep
from .views import (
    account,
    changeovers,
    changes,
    charts,
    demand,
    fit,
    fleet,
    holdings,
    kinds,
    machines,
    meanings,
    people,
    planning,
    reads,
    road,
    sites,
    today,
)
from .watch_urls import paths as _watch

app_name = "office"

_account: list[URLPattern | URLResolver] = [
    path("sign-in/", account.SignIn.as_view(), name="sign-in"),
    path("sign-out/", door(account.sign_out), name="sign-out"),
    path("forgotten/", door(account.forgotten), name="forgotten"),
    path("set-password/<str:who>/<str:key>/", door(account.set_password), name="set-password"),
    path("me/", door(account.own_page), name="own-page"),
    path("me/password/", door(account.change_password), name="change-password"),
    path("me/tokens/", door(account.make_token), name="make-token"),
    path("tokens/<int:pk>/revoke/", door(account.revoke_token), name="revoke-token"),
]
_business: list[URLPattern | URLResolver] = [
    path("people/", door(people.listing), name="people"),
    path("people/add/", door(people.add), name="person-add"),
    path("people/<int:pk>/", door(people.page), name="person"),
    path("people/<int:pk>/let-go/", door(people.let_go), name="person-let-go"),
    path("people/<int:pk>/take-back/", door(people.take_back), name="person-take-back"),
    path("people/<int:pk>/letter/", door(people.send_letter), name="person-letter"),
    path("business/", door(people.business), name="business"),
]
_fleet: list[URLPattern | URLResolver] = [
    path("fleet/", door(fleet.listing), name="fleet"),
    path("fleet/add/", door(machines.add), name="machine-add"),
    path("fleet/<int:pk>/", door(machines.page), name="machine"),
    path("fleet/<int:pk>/change/", door(machines.change), name="machine-change"),
    path("fleet/<int:pk>/place/", door(machines.place), name="machine-place"),
    path("fleet/<int:pk>/paying/", door(machines.pay), name="machine-pay"),
    path("fleet/<int:pk>/selections/", door(machines.wire), name="machine-wire"),
    path("fit/", door(fit.ask), name="fit"),
    path("fit/columns/<int:pk>/", door(fit.column), name="column"),
    path("fit/columns/<int:pk>/as-found/", door(changeovers.as_found), name="as-found"),
    path("fit/products/<int:pk>/", door(fit.product), name="fit-product"),
]
_changeovers: list[URLPattern | URLResolver] = [
    path("changeovers/", door(changeovers.listing), name="changeovers"),
    path("changeovers/plan/", door(planning.plan), name="plan"),
    path("changeovers/replace/", door(planning.replace), name="replace"),
    path("changeovers/plans/<int:pk>/", door(changeovers.plan), name="plan-page"),
    path("changeovers/<int:pk>/", door(changeovers.page), name="changeover"),
    path("changeovers/<int:pk>/take/", door(changeovers.take), name="changeover-take"),
    path("changeovers/<int:pk>/abandon/", door(changeovers.abandon), name="changeover-abandon"),
    path("changeovers/<int:pk>/as-left/", door(changeovers.as_left), name="as-left"),
]
_reads: list[URLPattern | URLResolver] = [
    path("reads/", door(reads.listing), name="reads"),
    path("reads/upload/", door(reads.upload), name="reads-upload"),
    path("reads/match-again/", door(reads.match_again), name="reads-match-again"),
    path("reads/<int:pk>/", door(reads.page), name="read"),
    path("events/", door(meanings.listing), name="meanings"),
    path("events/<int:pk>/", door(meanings.page), name="meaning"),
    path("reads/<int:pk>/match/", door(reads.match), name="read-match"),
    path("reads/<int:pk>/accept/", door(reads.accept), name="read-accept"),
    path("reads/<int:pk>/set-aside/", door(reads.set_aside), name="read-set-aside"),
    path("reads/<int:pk>/decide/", door(reads.decide), name="read-decide"),
]
_demand: list[URLPattern | URLResolver] = [
    path("demand/", door(demand.listing), name="fits"),
    path("demand/export/", door(demand.export_fits), name="fits-export"),
    path("demand/needs/", door(demand.needs), name="needs"),
    path("demand/needs/export/", door(demand.export_needs), name="needs-export"),
    path("demand/fit/", door(demand.start), name="fit-start"),
    path("demand/fits/<int:pk>/", door(demand.run), name="fit-run"),
    path("demand/rules/", door(demand.rules), name="demand-rules"),
    path("demand/rules/days/", door(demand.mark_day), name="unusual-day-mark"),
    path("demand/rules/days/<int:pk>/", door(demand.unmark_day), name="unusual-day-unmark"),
    path("demand/columns/<int:pk>/", door(demand.column), name="column-demand"),
    path("demand/machines/<int:pk>/", door(changes.what_if), name="machine-what-if"),
    path("demand/machines/<int:pk>/suggested/", door(changes.suggested), name="machine-suggested"),
]
_road: list[URLPattern | URLResolver] = [
    path("road/", door(road.my_day), name="road-day"),
    path("road/worker.js", door(road.worker), name="road-worker"),
    path("road/runs/<int:pk>/", door(road.run_page), name="road-run"),
    path("road/runs/<int:pk>/load/", door(road.load), name="road-load"),
    path("road/runs/<int:pk>/<str:verb>/", door(road.run_act), name="road-run-act"),
    path("road/stops/<int:pk>/", door(road.stop_page), name="road-stop"),
    path("road/stops/<int:pk>/read-file/", door(road.read), name="road-read"),
    path(
        "road/stops/<int:pk>/changeovers/<int:changeover>/",
        door(road.change_over),
        name="road-change-over",
    ),
    path("road/stops/<int:pk>/<str:verb>/", door(road.stop_act), name="road-stop-act"),
]
_measures: list[URLPattern | URLResolver] = [
    path("products/", door(holdings.products), name="products"),
    path("products/add/", door(holdings.edit_product), name="product-add"),
    path("products/<int:pk>/", door(holdings.product), name="product"),
    path("products/<int:pk>/change/", door(holdings.edit_product), name="product-change"),
    path("packages/", door(holdings.packages), name="packages"),
    path("packages/add/", door(holdings.edit_package), name="package-add"),
    path("packages/draw/", door(holdings.draw_package), name="package-draw"),
    path("packages/<int:pk>/", door(holdings.package), name="package"),
    path("packages/<int:pk>/change/", door(holdings.edit_package), name="package-change"),
    path("kinds/", door(kinds.listing), name="kinds"),
    path("kinds/add/", door(kinds.edit), name="kind-add"),
    path("kinds/draw/", door(kinds.draw), name="kind-draw"),
    path("kinds/<int:pk>/", door(kinds.page), name="kind"),
    path("kinds/<int:pk>/change/", door(kinds.edit), name="kind-change"),
    path("kinds/<int:pk>/chart/", door(charts.page), name="chart"),
    path("charts/<int:pk>/remove/", door(charts.remove), name="chart-remove"),
    path("sites/", door(sites.listing), name="sites"),
    path("sites/add/", door(sites.edit), name="site-add"),
    path("sites/<int:pk>/", door(sites.page), name="site"),
    path("sites/<int:pk>/change/", door(sites.edit), name="site-change"),
]
urlpatterns: list[URLPattern | URLResolver] = [
    path("", door(today.page), name="today"),
    *_account,
    *_business,
    *_fleet,
    *_changeovers,
    *_reads,
    *_demand,
    *_stock,
    *_road,
    *_tickets,
    *_runs,
    *_board,
    *_upkeep,
    *_tax,
    *_compliance,
    *_labels,
    *_watch,
    *_cash,
    *_commission,
    *_earnings,
    *_public,
    *_measures,
]
