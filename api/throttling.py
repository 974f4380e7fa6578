"""How much one person, or one address without a person, may ask in a minute."""

from typing import TYPE_CHECKING

from django.conf import settings
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from people import windows

if TYPE_CHECKING:
    from rest_framework.views import APIView

SECONDS = {"s": 1, "m": 60, "h": 3600, "d": 86400}


class WindowThrottle(BaseThrottle):
    """Counts requests in windows of fixed length: one atomic increment a request."""

    def rate_for(self, request: Request) -> tuple[str, str]:
        """The rate as in `60/min`, and whose requests are counted together."""
        raise NotImplementedError

    def allow_request(self, request: Request, view: "APIView") -> bool:
        rate, whose = self.rate_for(request)
        most, _, period = rate.partition("/")
        self.left_s = windows.wait_s(
            f"{type(self).__name__}:{whose}", most=int(most), window_s=SECONDS[period[0]]
        )
        return not self.left_s

    def wait(self) -> float:
        return self.left_s


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
