"""The pages' clients and server, for those who mean ill."""

from tests.pages.conftest import client, make_client, server, settings

__all__ = ["client", "make_client", "server", "settings"]
