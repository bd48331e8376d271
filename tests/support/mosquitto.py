"""A real Mosquitto broker on a free port, for tests: passwords, access list, TLS, persistence, sudden death.

::

    with Broker(tmp_path, users={"probes": "secret"}) as broker:
        broker.publish("kitchen/fz1", "-18.2", retain=True, user="probes")
        broker.kill()      # SIGKILL, once what it acknowledged is on its disk
        broker.start()     # same port, same sessions, same retained messages
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import time
from collections.abc import Mapping
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from paho.mqtt import client as paho
from paho.mqtt import publish as one_off

from support.ports import free_port, wait_listening

PROGRAM = shutil.which("mosquitto") or "/usr/sbin/mosquitto"


class Broker:
    """One Mosquitto process in a folder of its own; starting again keeps port, sessions and retained messages."""

    host = "127.0.0.1"

    def __init__(
        self,
        folder: Path,
        *,
        users: Mapping[str, str] | None = None,
        acl: str | None = None,
        tls: bool = False,
        persist: bool = True,
        port: int | None = None,
        extra: str = "",
    ) -> None:
        """Write the settings; nothing runs yet.

        Args:
            folder: an existing folder; a sub-folder per port is made in it.
            users: passwords by user; without it anybody may connect.
            acl: text of an access list, such as ``user probes\\ntopic write kitchen/#``.
            tls: encrypt with a certificate made here for 127.0.0.1 and localhost; see ``ca_file``.
            persist: write sessions and retained messages to disk after every change (slow: turn it off to measure).
            port: a port to use instead of a free one.
            extra: more lines for the broker's settings file.
        """
        self.port = port or free_port()
        self.folder = folder / f"broker-{self.port}"
        self.folder.mkdir(parents=True, exist_ok=True)
        self.users = dict(users or {})
        self.tls = tls
        self._persist = persist
        self.ca_file = self.folder / "ca.crt"
        self._process: subprocess.Popen[bytes] | None = None
        self._settings = self.folder / "mosquitto.conf"
        self._settings.write_text(self._write_settings(acl, persist, extra))

    def _write_settings(self, acl: str | None, persist: bool, extra: str) -> str:
        lines = [f"listener {self.port} {self.host}", "log_type all", f"log_dest file {self.folder / 'log'}"]
        if os.getuid() == 0:
            lines.append("user root")
        if persist:
            lines += [
                "persistence true",
                f"persistence_location {self.folder}/",
                "autosave_on_changes true",
                "autosave_interval 1",
            ]
        if self.users:
            passwords = self.folder / "passwords"
            passwords.touch(mode=0o600)
            for user, password in self.users.items():
                subprocess.run(
                    ["mosquitto_passwd", "-b", str(passwords), user, password],
                    check=True,
                    capture_output=True,
                )
            lines += ["allow_anonymous false", f"password_file {passwords}"]
        else:
            lines.append("allow_anonymous true")
        if acl is not None:
            (self.folder / "acl").write_text(acl + "\n")
            (self.folder / "acl").chmod(0o600)
            lines.append(f"acl_file {self.folder / 'acl'}")
        if self.tls:
            make_certificates(self.folder)
            lines += [
                f"cafile {self.ca_file}",
                f"certfile {self.folder / 'server.crt'}",
                f"keyfile {self.folder / 'server.key'}",
            ]
        return "\n".join([*lines, extra, ""])

    @property
    def running(self) -> bool:
        """Whether the process is alive."""
        return self._process is not None and self._process.poll() is None

    @property
    def log(self) -> str:
        """What the broker has logged so far."""
        file = self.folder / "log"
        return file.read_text(errors="replace") if file.exists() else ""

    def start(self) -> None:
        """Start and wait until it accepts connections."""
        if self.running:
            return
        with (self.folder / "output").open("ab") as output:
            self._process = subprocess.Popen(
                [PROGRAM, "-c", str(self._settings)], stdout=output, stderr=output, stdin=subprocess.DEVNULL
            )
        if not wait_listening(self.port):
            said = (self.folder / "output").read_text(errors="replace") + self.log
            self.kill()
            raise AssertionError(f"Mosquitto did not start on port {self.port}: {said[-2000:]}")

    def stop(self) -> None:
        """End it in order (it writes its store and closes connections)."""
        self._end(signal.SIGTERM)

    def kill(self, *, saved: bool = True) -> None:
        """End it at once (SIGKILL), as a power cut would.

        Mosquitto acknowledges a message a few milliseconds before its store is on disk; with ``saved`` that
        moment is waited for, so that a test of *our* promises doesn't measure the broker's.
        """
        if saved and self.running and self._persist:
            time.sleep(0.1)
            unfinished = self.folder / "mosquitto.db.new"
            end = time.monotonic() + 2
            while unfinished.exists() and time.monotonic() < end:
                time.sleep(0.01)
        self._end(signal.SIGKILL)

    def _end(self, how: signal.Signals) -> None:
        process, self._process = self._process, None
        if process is None:
            return
        if process.poll() is None:
            process.send_signal(how)
        try:
            process.wait(5)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(5)

    def freeze(self) -> None:
        """Stop it from doing anything while its connections stay open (a slow or hanging broker)."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        """Let it go on after :meth:`freeze`."""
        assert self._process is not None
        self._process.send_signal(signal.SIGCONT)

    def restart(self, *, kill: bool = False) -> None:
        """Stop (or kill) and start again on the same port with what it had on disk."""
        if kill:
            self.kill()
        else:
            self.stop()
        self.start()

    def publish(
        self,
        topic: str,
        payload: str | bytes,
        *,
        qos: int = 1,
        retain: bool = False,
        user: str | None = None,
    ) -> None:
        """Send one message through a connection of its own and wait until the broker has it."""
        self.publish_all([(topic, payload, qos, retain)], user=user)

    def publish_all(
        self, messages: list[tuple[str, str | bytes, int, bool]], *, user: str | None = None
    ) -> None:
        """Send (topic, payload, qos, retain) messages in order and wait until the broker has them."""
        who = user if user is not None else next(iter(self.users), None)
        auth: Any = None if who is None else {"username": who, "password": self.users.get(who, "")}
        tls: Any = {"ca_certs": str(self.ca_file)} if self.tls else None
        one_off.multiple(
            [{"topic": t, "payload": p, "qos": q, "retain": r} for t, p, q, r in messages],
            hostname=self.host,
            port=self.port,
            auth=auth,
            tls=tls,
            protocol=paho.MQTTv311,
        )

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self.running:
            self.thaw()
        self.stop()


def make_certificates(folder: Path) -> None:
    """An authority (ca.crt) and a server certificate for 127.0.0.1 and localhost, valid for two days."""

    def openssl(*words: str) -> None:
        subprocess.run(["openssl", *words], cwd=folder, check=True, capture_output=True)

    key = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes")
    openssl(
        "req",
        "-x509",
        *key,
        "-keyout",
        "ca.key",
        "-out",
        "ca.crt",
        "-days",
        "2",
        "-subj",
        "/CN=Slipway test authority",
    )
    openssl("req", *key, "-keyout", "server.key", "-out", "server.csr", "-subj", "/CN=localhost")
    (folder / "names").write_text("subjectAltName=IP:127.0.0.1,DNS:localhost\n")
    openssl(
        *("x509", "-req", "-in", "server.csr", "-CA", "ca.crt", "-CAkey", "ca.key", "-CAcreateserial"),
        *("-out", "server.crt", "-days", "2", "-extfile", "names"),
    )
