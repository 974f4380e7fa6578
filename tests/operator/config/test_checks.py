"""Settings that only the machine can judge stop the start, with an id and a hint."""

from pathlib import Path

from django.core.checks import run_checks
from django.test import override_settings


def ids(folder: str) -> list[str]:
    with override_settings(WATCH_FOLDER=folder):
        return [found.id for found in run_checks() if found.id and found.id.startswith("config.")]


def test_a_watched_folder_must_be_there(tmp_path: Path) -> None:
    assert ids(str(tmp_path)) == []
    assert ids("") == []
    assert ids(str(tmp_path / "elsewhere")) == ["config.E001"]
    (tmp_path / "file").touch()
    assert ids(str(tmp_path / "file")) == ["config.E001"]


def test_https_that_nobody_ends_is_warned_of_before_visitors_go_round_for_ever() -> None:
    proxy = ("HTTP_X_FORWARDED_PROTO", "https")
    for redirects, header, said in ((True, None, True), (True, proxy, False), (False, None, False)):
        with override_settings(SECURE_SSL_REDIRECT=redirects, SECURE_PROXY_SSL_HEADER=header):
            found = run_checks(include_deployment_checks=True)
        assert ("config.W001" in {one.id for one in found}) is said
