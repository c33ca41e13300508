"""What several test modules share because it takes seconds to make."""

import pytest
from drawn_shop import DrawnShop, make_shop
from hypothesis import HealthCheck, settings

# How long an example takes is the machine's affair; a busy one must not fail the tests.
settings.register_profile("satcheck", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("satcheck")


@pytest.fixture(scope="session")
def shop(tmp_path_factory: pytest.TempPathFactory) -> DrawnShop:
    """Return five drawn parts, labelled and calibrated."""
    return make_shop(tmp_path_factory.mktemp("shop"))
