"""Settings for the commands that only compute: no database, broker or environment."""

SECRET_KEY = "unused-here-nothing-is-signed"  # noqa: S105
INSTALLED_APPS = ["config.commands.OfTheApi", "config.commands.OfSales"]
DATABASES: dict[str, object] = {}
USE_TZ = True
TIME_ZONE = "UTC"
LOGGING_CONFIG = None
