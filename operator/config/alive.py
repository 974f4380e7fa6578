"""Is the web process of this container alive: `python -m config.alive` exits 0, else 1."""

import http.client
import os
import sys

from . import environment

USUAL_PORT = "8000"


def main() -> int:
    # The service answers only to its own names, so the question must be put to one of them.
    host = environment.read().hosts[0].lstrip(".")
    port = int(os.environ.get("PORT", USUAL_PORT))
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
    try:
        connection.request("GET", "/healthz", headers={"Host": host})
        return int(connection.getresponse().status != http.HTTPStatus.OK)
    except OSError as error:
        print(error, file=sys.stderr)
        return 1
    finally:
        connection.close()


if __name__ == "__main__":
    sys.exit(main())
