"""An invented vending business, as its books hold it."""

from datetime import date

from demo.business.charts import CHARTS
from demo.business.kinds import KINDS
from demo.business.machines import AGREEMENTS, machines
from demo.business.packages import PACKAGES
from demo.business.people import PEOPLE, SHIFTS, VEHICLES, WAREHOUSES
from demo.business.products import PRODUCTS
from demo.business.set_ups import set_ups
from demo.business.shapes import Business
from demo.business.sites import SITES
from demo.business.suppliers import SUPPLIERS


def marrowby(until: date) -> Business:
    """Marrowby Refreshments as it stands on a day; its changeovers lie in the weeks before."""
    standing = machines(until)
    return Business(
        name="Marrowby Refreshments",
        currency="USD",
        warehouses=WAREHOUSES,
        people=PEOPLE,
        kinds=KINDS,
        packages=PACKAGES,
        products=PRODUCTS,
        sites=SITES,
        machines=standing,
        charts=CHARTS,
        set_ups=set_ups(standing, until),
        suppliers=SUPPLIERS,
        vehicles=VEHICLES,
        shifts=SHIFTS,
        agreements=AGREEMENTS,
    )


__all__ = ["Business", "marrowby"]
