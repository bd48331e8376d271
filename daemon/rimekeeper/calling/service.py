"""A call-out by e-mail, webhook or push service, by its address (apprise)."""

from __future__ import annotations

import logging
import re
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Self

from rimekeeper.calling.channel import Channel, Publisher
from rimekeeper.config.edge_checks import address_in, services_library
from rimekeeper.config.kitchen import ChannelSettings
from rimekeeper.core.alarms.call import Attempt, CallMessage, Verdict
from rimekeeper.core.messages import CallKind
from rimekeeper.core.plan import Priority

_CODE = re.compile(r"error=(\d{3})\b")


class ServiceChannel:
    """One address. It is read and understood at the first attempt, so that one bad address stops nothing else.

    Connecting and each wait for an answer may take a third of the timeout. A service that answers drop by drop
    can take longer; the outbox then leaves the attempt behind.
    """

    def __init__(self, address: str | None, file: Path | None) -> None:
        """Give the address itself, or the file that holds it."""
        self._address = address
        self._file = file
        self._service: Any = None
        self._lock = threading.Lock()

    def attempt(self, message: CallMessage, timeout: float) -> Attempt:
        """Send once."""
        with self._lock:
            if self._service is None and (trouble := self._understand()) is not None:
                return trouble
            service = self._service
        return _send(service, message, timeout)

    def _understand(self) -> Attempt | None:
        address = self._address
        if address is None:
            try:
                address = address_in(self._file or Path())
            except ValueError as fault:
                return Attempt(Verdict.RETRY, f'The file "{self._file}" {fault}.')
        self._service = _service_at(address)
        if self._service is None:
            return Attempt(Verdict.GIVE_UP, "The address in the kitchen file can't be understood.")
        return None


def _service_at(address: str) -> Any:
    apprise = services_library()
    asset = apprise.AppriseAsset(
        app_id="Rimekeeper",
        app_desc="Rimekeeper",
        app_url="",
        # Nothing is written outside the data folder.
        storage_mode=apprise.PersistentStoreMode.MEMORY,
    )
    return apprise.Apprise.instantiate(address, asset=asset, suppress_exceptions=True)


def _send(service: Any, message: CallMessage, timeout: float) -> Attempt:
    apprise = services_library()
    service.socket_connect_timeout = service.socket_read_timeout = timeout / 3
    with _Complaints() as complaints:
        try:
            taken = service.notify(
                body=message.body,
                title=message.title,
                notify_type=apprise.NotifyType(_mood(message)),
                body_format=apprise.NotifyFormat.TEXT,
            )
        except Exception as fault:  # noqa: BLE001 - whatever a service's part does, the next attempt may do better
            return Attempt(Verdict.RETRY, f"A fault in sending: {type(fault).__name__}.")
    return Attempt(Verdict.DELIVERED) if taken else Attempt(Verdict.RETRY, complaints.sentence)


def _mood(message: CallMessage) -> str:
    if message.call.kind is CallKind.RETURNED:
        return "success"
    return "failure" if message.call.priority >= Priority.HIGH else "warning"


class _Complaints(logging.Handler):
    """What the service's part logs on this thread while it sends: it gives its reasons nowhere else.

    Only what can't hold a secret is passed on.
    """

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self._thread = threading.get_ident()
        self.sentence = "The service did not take the message."

    def emit(self, record: logging.LogRecord) -> None:
        if record.thread != self._thread:
            return
        text = record.getMessage()
        if (code := _CODE.search(text)) is not None:
            self.sentence = f"The service answered with error {code[1]}."
        elif "onnection error" in text:
            self.sentence = "The service can't be reached, or did not answer in time."

    def __enter__(self) -> Self:
        logging.getLogger("apprise").addHandler(self)
        return self

    def __exit__(self, *_: object) -> None:
        logging.getLogger("apprise").removeHandler(self)


def build(settings: ChannelSettings, publishers: Mapping[str, Publisher]) -> Channel:  # noqa: ARG001 - as every kind
    """For the registry."""
    file = None if settings.apprise_file is None else Path(settings.apprise_file)
    return ServiceChannel(settings.apprise, file)
