"""Where templates, static files, migrations and demo data lie, in a checkout or installed."""

from functools import cache
from pathlib import Path

_APP = Path(__file__).resolve().parent


@cache
def folder_of(name: str) -> Path:
    """The folder of that name: packed inside `app` when installed, beside it in a checkout."""
    packed = _APP / "_files" / name
    return packed if packed.is_dir() else _APP.parent / name
