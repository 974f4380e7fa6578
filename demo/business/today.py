"""Which day it is where the business works: in its evening another date than in UTC."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from demo.business.people import EAST


def today() -> date:
    """The date on the wall of the business."""
    return datetime.now(ZoneInfo(EAST)).date()
