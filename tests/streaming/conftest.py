from tests.pages.conftest import server, serving, settings

__all__ = ["server", "serving", "settings"]
