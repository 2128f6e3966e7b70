"""The program's version, as it was installed."""

from importlib.metadata import PackageNotFoundError, version


def _version() -> str:
    try:
        return version("chitbook")
    except PackageNotFoundError:
        return "unknown"


VERSION = _version()
