"""How often somebody may ask in a stretch of time, counted in the cache: one step a request."""

import time

import redis
import structlog
from django.core.cache import cache

log = structlog.get_logger(__name__)


def wait_s(what: str, *, most: int, window_s: int) -> float:
    """Count one more of `what` in the present window; 0 when it is still within `most`, else the
    seconds until the next window begins.

    The count is a courtesy: without the cache the business's work goes on, and nothing is counted.
    """
    now = time.time()
    try:
        counted = _one_more(f"throttle:{what}:{int(now // window_s)}", window_s)
    except redis.RedisError as error:
        log.warning("requests are not counted", error=str(error))
        return 0
    return 0 if counted <= most else window_s - now % window_s


def _one_more(key: str, window_s: int) -> int:
    try:
        return int(cache.incr(key))
    except ValueError:  # the window is new
        return 1 if cache.add(key, 1, timeout=window_s + 1) else int(cache.incr(key))
