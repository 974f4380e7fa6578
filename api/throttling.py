"""How much one person, or one address without a person, may ask in a minute."""

import time
from typing import TYPE_CHECKING

import redis
import structlog
from django.conf import settings
from django.core.cache import cache
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

if TYPE_CHECKING:
    from rest_framework.views import APIView

log = structlog.get_logger(__name__)
SECONDS = {"s": 1, "m": 60, "h": 3600, "d": 86400}


class WindowThrottle(BaseThrottle):
    """Counts requests in windows of fixed length: one atomic increment a request."""

    def rate_for(self, request: Request) -> tuple[str, str]:
        """The rate as in `60/min`, and whose requests are counted together."""
        raise NotImplementedError

    def allow_request(self, request: Request, view: "APIView") -> bool:
        rate, whose = self.rate_for(request)
        most, _, period = rate.partition("/")
        window_s = SECONDS[period[0]]
        now = time.time()
        self.left_s = window_s - now % window_s
        key = f"throttle:{type(self).__name__}:{whose}:{int(now // window_s)}"
        try:
            return _counted(key, window_s) <= int(most)
        except redis.RedisError as error:
            # The count is a courtesy; without the cache the business's work goes on.
            log.warning("requests are not counted", error=str(error))
            return True

    def wait(self) -> float:
        return self.left_s


def _counted(key: str, window_s: int) -> int:
    """One more; how many there are now in the window."""
    try:
        return cache.incr(key)
    except ValueError:  # the window is new
        return 1 if cache.add(key, 1, timeout=window_s + 1) else cache.incr(key)


class PersonThrottle(WindowThrottle):
    """By person when somebody is known, else by address, each at its own rate."""

    def rate_for(self, request: Request) -> tuple[str, str]:
        rates = settings.REST_FRAMEWORK["DEFAULT_THROTTLE_RATES"]
        if request.user.is_authenticated:
            return rates["person"], str(request.user.pk)
        return rates["anonymous"], str(self.get_ident(request))


class SignInThrottle(WindowThrottle):
    """Passwords are tried slowly; the lock-out after repeated failures comes on top."""

    def rate_for(self, request: Request) -> tuple[str, str]:
        rates = settings.REST_FRAMEWORK["DEFAULT_THROTTLE_RATES"]
        return rates["sign-in"], str(self.get_ident(request))
