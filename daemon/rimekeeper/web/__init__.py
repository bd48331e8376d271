"""Screens: pages, JSON, the live stream. ``build_app`` makes the application, ``serving.Server`` serves it."""

from rimekeeper.web.building import build_app

__all__ = ["build_app"]
