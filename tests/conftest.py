"""What all tests share."""

from hypothesis import settings

# A busy machine is slow, not wrong; and the same tree passes or fails alike on every run. New
# examples are searched with `pytest --hypothesis-profile=search`.
settings.register_profile("steady", deadline=None, derandomize=True)
settings.register_profile("search", deadline=None, derandomize=False)
settings.load_profile("steady")


def pytest_terminal_summary(terminalreporter, config):
    """The order is another each time; this makes it again."""
    seed = getattr(config.option, "randomly_seed", None)
    terminalreporter.write_line(f"order of the tests: --randomly-seed={seed}")
