"""What several test modules share because it takes seconds to make."""

import pytest
from drawn_shop import DrawnShop, make_shop


@pytest.fixture(scope="session")
def shop(tmp_path_factory: pytest.TempPathFactory) -> DrawnShop:
    """Return five drawn parts, labelled and calibrated."""
    return make_shop(tmp_path_factory.mktemp("shop"))
