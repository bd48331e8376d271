"""A call-out by a program of this machine: a speaker, a buzzer, a modem. Never through a shell."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
from collections.abc import Mapping
from dataclasses import dataclass

from rimekeeper.calling.channel import Channel, Publisher
from rimekeeper.calling.wording import spoken
from rimekeeper.config.kitchen import ChannelSettings
from rimekeeper.core.alarms.call import Attempt, CallMessage, Verdict

_LONGEST_SHOWN = 120
_AFTER_KILL = 2.0


@dataclass(frozen=True, slots=True)
class CommandChannel:
    """Runs ``argv``; ``{text}``, ``{title}`` and ``{link}`` in an argument are replaced.

    The text to speak also comes on standard input. Exit code 0 is delivered, any other is tried again.
    """

    argv: tuple[str, ...]

    def attempt(self, message: CallMessage, timeout: float) -> Attempt:
        """Run the program, and end it with all it started when it takes too long."""
        words = {"{text}": spoken(message), "{title}": message.title, "{link}": message.link}
        argv = [_filled(part, words) for part in self.argv]
        try:
            process = subprocess.Popen(  # noqa: S603 - the program is the kitchen file's, and no shell reads it
                argv,
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.PIPE,
                start_new_session=True,
            )
        except FileNotFoundError:
            return Attempt(Verdict.GIVE_UP, f'The program "{self.argv[0]}" is not on this machine.')
        except PermissionError:
            return Attempt(Verdict.GIVE_UP, f'The program "{self.argv[0]}" may not be run by this user.')
        except OSError as fault:
            return Attempt(
                Verdict.RETRY, f'The program "{self.argv[0]}" can\'t be started: {fault.strerror}.'
            )
        return self._result(process, words["{text}"], timeout)

    def _result(self, process: subprocess.Popen[bytes], text: str, timeout: float) -> Attempt:
        with process:
            try:
                said = process.communicate(f"{text}\n".encode(), timeout)[1]
            except subprocess.TimeoutExpired:
                _end(process)
                return Attempt(
                    Verdict.RETRY,
                    f'The program "{self.argv[0]}" was not done after {timeout:g} s and was ended.',
                )
        if process.returncode == 0:
            return Attempt(Verdict.DELIVERED)
        first = said.decode("utf-8", "replace").strip().split("\n")[0][:_LONGEST_SHOWN]
        why = f": {first}" if first else ""
        return Attempt(
            Verdict.RETRY, f'The program "{self.argv[0]}" ended with code {process.returncode}{why}.'
        )


def _end(process: subprocess.Popen[bytes]) -> None:
    with contextlib.suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    with contextlib.suppress(subprocess.TimeoutExpired):
        process.communicate(timeout=_AFTER_KILL)


def _filled(part: str, words: Mapping[str, str]) -> str:
    # A NUL can't stand in an argument.
    for name, text in words.items():
        part = part.replace(name, text.replace("\0", " "))
    return part


def build(settings: ChannelSettings, publishers: Mapping[str, Publisher]) -> Channel:  # noqa: ARG001 - as every kind
    """For the registry."""
    return CommandChannel(settings.command or ())
