"""Shared by every test folder."""
