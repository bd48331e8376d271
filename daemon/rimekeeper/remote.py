"""How the command line talks to the running daemon: its own web address, found through the data folder.

The daemon leaves ``daemon.json`` (address and a token that only the owner can read) in its data folder while
it runs. Nothing here needs more than the standard library, so that a command answers quickly.
"""

from __future__ import annotations

import json
import os
import urllib.error
import urllib.parse
import urllib.request
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rimekeeper.core.errors import EdgeError, RefusedError

FILE = "daemon.json"


@dataclass(frozen=True, slots=True)
class Contact:
    """Where the daemon listens and the token that lets this user speak to it."""

    address: str
    token: str


def leave_contact(data: Path, contact: Contact, pid: int) -> Path:
    """Write the contact file, readable by its owner only. The token was made for this run of the daemon."""
    path = data / FILE
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(descriptor, "w") as file:
        json.dump({"address": contact.address, "token": contact.token, "pid": pid}, file)
    return path


def find_contact(data: Path) -> Contact:
    """The contact of the daemon that uses ``data``.

    Raises:
        EdgeError: no daemon runs there.
    """
    try:
        found = json.loads((data / FILE).read_text())
        return Contact(found["address"], found["token"])
    except (OSError, ValueError, KeyError, TypeError):
        raise EdgeError(
            f"No Rimekeeper is running on the data folder {data}. "
            "Start it with: rimekeeper run (or name its folder with --data)."
        ) from None


def ask(contact: Contact, path: str, **query: str) -> dict[str, Any]:
    """Get a JSON page of the daemon."""
    suffix = "?" + urllib.parse.urlencode(query) if query else ""
    return _send(contact, path + suffix)


def give(contact: Contact, body: dict[str, Any]) -> dict[str, Any]:
    """Give a command and return the daemon's answer.

    Raises:
        RefusedError: the rules don't allow it; the text says why.
        EdgeError: the daemon can't be reached.
    """
    return _send(contact, "/api/commands", json.dumps(body).encode())


def give_to(contact: Contact, path: str, body: dict[str, Any]) -> dict[str, Any]:
    """The same for what is not given to all the kitchen, such as the points of a probe under test."""
    return _send(contact, path, json.dumps(body).encode())


def _send(contact: Contact, path: str, body: bytes | None = None) -> dict[str, Any]:
    headers = {"X-Rimekeeper-Token": contact.token, "Content-Type": "application/json"}
    try:
        request = urllib.request.Request(contact.address + path, body, headers)  # noqa: S310  our own file names it
        with urllib.request.urlopen(request, timeout=10) as response:  # noqa: S310
            answer: dict[str, Any] = json.load(response)
            return answer
    except urllib.error.HTTPError as fault:
        with fault:
            raise RefusedError(_sentence(fault)) from None
    except (urllib.error.URLError, OSError, ValueError) as fault:
        raise EdgeError(
            f"The daemon at {contact.address} doesn't answer ({fault}). Is it still running?"
        ) from None


def _sentence(fault: urllib.error.HTTPError) -> str:
    try:
        return str(json.load(fault)["sentence"])
    except (ValueError, KeyError, TypeError):
        return f"The daemon answered {fault.code} {fault.reason}."
