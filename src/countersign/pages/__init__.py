"""The pages: what the circulator and the educator see in a browser."""

from countersign.pages.app import create_app
from countersign.pages.served import Served, served

__all__ = ["Served", "create_app", "served"]
