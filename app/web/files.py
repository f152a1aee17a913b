"""Where templates, static files, migrations and demo data lie: the store finds them too."""

from app.store.packed import folder_of

__all__ = ["folder_of"]
