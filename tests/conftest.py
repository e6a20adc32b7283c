"""What all tests share: a cheap password hasher, and a tear-down that may flush append-only tables."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.test import TransactionTestCase, override_settings

from readiness.models import triggers


@pytest.fixture(autouse=True)
def _cheap_passwords(settings: Any) -> None:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture(autouse=True, scope="session")
def _photos_elsewhere(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Pictures that tests keep go to a folder of their own."""
    with override_settings(MEDIA_ROOT=str(tmp_path_factory.mktemp("media"))):
        yield


@pytest.fixture(autouse=True, scope="session")
def _flush_may_delete() -> Iterator[None]:
    """A flush is a refused DELETE: the guards are taken off for it and laid again, never switched at run time."""
    tear_down = TransactionTestCase._fixture_teardown

    def around(case: TransactionTestCase) -> None:
        triggers.remove()
        try:
            tear_down(case)
        finally:
            triggers.install()

    TransactionTestCase._fixture_teardown = around
    yield
    TransactionTestCase._fixture_teardown = tear_down


@pytest.fixture
def cast(db: None) -> Any:
    from tests.cast import Cast  # models can only be imported once Django is set up

    return Cast()
