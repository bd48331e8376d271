"""Plain HTTP from the standard library, so that what is tested is what a browser would get."""

from __future__ import annotations

import gzip
import http.client
import json
from dataclasses import dataclass
from typing import Any


@dataclass
class Reply:
    status: int
    headers: dict[str, str]
    raw: bytes

    @property
    def body(self) -> bytes:
        return gzip.decompress(self.raw) if self.headers.get("content-encoding") == "gzip" else self.raw

    @property
    def text(self) -> str:
        return self.body.decode()

    @property
    def json(self) -> Any:
        return json.loads(self.body)


class Asker:
    def __init__(self, port: int) -> None:
        self.port = port

    def get(self, path: str, **headers: str) -> Reply:
        return self._ask("GET", path, None, {k.replace("_", "-"): v for k, v in headers.items()})

    def post(self, body: Any, path: str = "/api/commands", **headers: str) -> Reply:
        data = body if isinstance(body, bytes) else json.dumps(body).encode()
        named = {k.replace("_", "-"): v for k, v in headers.items()}
        return self._ask("POST", path, data, named or {"X-Rimekeeper-Page": "1"})

    def _ask(self, method: str, path: str, data: bytes | None, headers: dict[str, str]) -> Reply:
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=10)
        try:
            line.request(method, path, data, headers)
            answer = line.getresponse()
            return Reply(answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read())
        finally:
            line.close()
