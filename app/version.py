"""The one version number, which stands in pyproject.toml. Imports no Qt."""

from pathlib import Path

PROJECT = Path(__file__).resolve().parents[1] / "pyproject.toml"


def version() -> str:
    """Return the version of the source tree we run from, else of what is installed."""
    if PROJECT.is_file():
        import tomllib

        return str(tomllib.loads(PROJECT.read_text(encoding="utf-8"))["project"]["version"])
    from importlib import metadata

    return metadata.version("outrib")
