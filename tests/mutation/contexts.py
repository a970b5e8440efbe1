"""pytest plug-in for `collect`: one coverage context a test, also where a property calls it, and a few examples of each property."""

from coverage import Coverage
from hypothesis import settings

settings.register_profile("few", max_examples=4, deadline=None)
settings.load_profile("few")


def pytest_runtest_setup(item) -> None:
    """What runs from here on is run by this test, whatever its parameters."""
    Coverage.current().switch_context(item.nodeid.partition("[")[0])


def pytest_runtest_teardown() -> None:
    """What runs between tests is run by none."""
    Coverage.current().switch_context("")
