"""Lets only the person who started the app reach it.

The app listens on the loopback, where every page in every browser and every user of the machine
could knock. So the first address carries a key that works once and is exchanged for a cookie;
without it, or with another Host or Origin, a request gets an empty refusal, websocket or not.
"""

from __future__ import annotations

import secrets
import socket
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

HOST = "127.0.0.1"

# The page may load from this server alone: nothing on it can call out.
_HEADERS = (
    (
        b"content-security-policy",
        b"default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval' blob:; "
        b"style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; font-src 'self' data:; "
        b"connect-src 'self'; object-src 'none'; base-uri 'self'; form-action 'self'; "
        b"frame-ancestors 'none'",
    ),
    (b"referrer-policy", b"no-referrer"),
    (b"x-content-type-options", b"nosniff"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
)


def free_port() -> int:
    """A port of the loopback that nothing listens on."""
    with socket.socket() as found:
        found.bind((HOST, 0))
        return int(found.getsockname()[1])


class Key:
    """What lets a browser in: a key that works once, then a cookie."""

    def __init__(self, *, port: int) -> None:
        self.port = port
        self.cookie_name = f"gapcast-{port}"  # cookies do not tell ports apart
        self._once: str | None = secrets.token_urlsafe(32)
        self._cookie = secrets.token_urlsafe(32)
        self.address = f"http://{HOST}:{port}/?key={self._once}"

    @property
    def hosts(self) -> tuple[str, ...]:
        """What the Host header may say."""
        return f"{HOST}:{self.port}", f"localhost:{self.port}"

    def exchange(self, shown: str) -> str | None:
        """The cookie for the key, once."""
        if self._once is None or not secrets.compare_digest(shown.encode(), self._once.encode()):
            return None
        self._once = None
        return self._cookie

    def opens(self, cookies: Iterable[str]) -> bool:
        """Whether one of these cookies is ours."""
        return any(
            secrets.compare_digest(found.encode(), self._cookie.encode()) for found in cookies
        )


class Guard:
    """ASGI middleware that refuses whoever has not shown the key.

    Parameters
    ----------
    app : ASGI application
    key : Key
    """

    def __init__(self, app: App, *, key: Key) -> None:
        self._app = app
        self._key = key

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request or one websocket."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        headers = [(name.lower(), value.decode("latin-1")) for name, value in scope["headers"]]
        if not self._is_ours(scope["type"], headers):
            await _refuse(scope, send)
        elif self._key.opens(_cookies(headers, self._key.cookie_name)):
            if scope["type"] == "http" and b"key=" in scope["query_string"]:
                await _go_to_start(send)  # the address pasted again: keep the key out of sight
            else:
                await self._app(scope, receive, _with_headers(send))
        else:
            cookie = self._exchanged(scope)
            if cookie is None:
                await _refuse(scope, send)
            else:
                await _go_to_start(send, cookie=f"{self._key.cookie_name}={cookie}")

    def _is_ours(self, kind: str, headers: list[tuple[bytes, str]]) -> bool:
        hosts = [value for name, value in headers if name == b"host"]
        origins = [value for name, value in headers if name == b"origin"]
        if len(hosts) != 1 or hosts[0] not in self._key.hosts:
            return False
        if kind == "websocket" and not origins:
            return False  # every browser sends one
        return all(origin == f"http://{hosts[0]}" for origin in origins)

    def _exchanged(self, scope: Scope) -> str | None:
        if scope["type"] != "http" or scope["method"] != "GET" or scope["path"] != "/":
            return None
        shown = parse_qs(scope["query_string"].decode("latin-1")).get("key", [])
        return self._key.exchange(shown[0]) if len(shown) == 1 else None


def _cookies(headers: list[tuple[bytes, str]], name: str) -> list[str]:
    found = []
    for header, value in headers:
        if header == b"cookie":
            try:
                jar = SimpleCookie(value)
            except CookieError:
                continue
            if name in jar:
                found.append(jar[name].value)
    return found


async def _refuse(scope: Scope, send: Send) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 1008})
        return
    await send(
        {"type": "http.response.start", "status": 403, "headers": [(b"content-length", b"0")]}
    )
    await send({"type": "http.response.body", "body": b""})


async def _go_to_start(send: Send, *, cookie: str | None = None) -> None:
    headers = [(b"location", b"/"), (b"content-length", b"0"), (b"cache-control", b"no-store")]
    if cookie is not None:
        headers.append((b"set-cookie", f"{cookie}; Path=/; HttpOnly; SameSite=Strict".encode()))
    await send({"type": "http.response.start", "status": 303, "headers": [*headers, *_HEADERS]})
    await send({"type": "http.response.body", "body": b""})


def _with_headers(send: Send) -> Send:
    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            message = {**message, "headers": [*message.get("headers", ()), *_HEADERS]}
        await send(message)

    return sent
