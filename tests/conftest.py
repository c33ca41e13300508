"""What several test modules share because it takes seconds to make."""

from collections.abc import Iterator

import pytest
from bench_server import Server, server
from drawn_shop import DrawnShop, make_shop
from hypothesis import HealthCheck, settings

# How long an example takes is the machine's affair; a busy one must not fail the tests.
settings.register_profile("satcheck", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("satcheck")


@pytest.fixture(scope="session")
def shop(tmp_path_factory: pytest.TempPathFactory) -> DrawnShop:
    """Return five drawn parts, labelled and calibrated."""
    return make_shop(tmp_path_factory.mktemp("shop"))


@pytest.fixture(scope="session")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """Yield a server that runs as a shop's does."""
    with server(tmp_path_factory.mktemp("bench")) as running:
        yield running
