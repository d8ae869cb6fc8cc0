"""Whoever has not shown the key gets nothing: pages, posts, websockets, foreign hosts, origins."""

from __future__ import annotations

import asyncio
from collections.abc import MutableMapping
from dataclasses import dataclass, field
from typing import Any

import pytest

from viewer.app.guard import Guard, Key, free_port

PORT = 43210
OWN_HOST = f"127.0.0.1:{PORT}"
HOME = f"http://{OWN_HOST}"
Message = MutableMapping[str, Any]


async def application(scope: Message, receive: Any, send: Any) -> None:
    """Tells its secret to everyone."""
    if scope["type"] == "websocket":
        await send({"type": "websocket.accept"})
        await send({"type": "websocket.send", "text": "secret"})
        return
    await send({"type": "http.response.start", "status": 200, "headers": [(b"x-own", b"kept")]})
    await send({"type": "http.response.body", "body": b"secret"})


@dataclass
class Browser:
    """As much of a browser as a guard can see: addresses, headers, cookies."""

    key: Key
    guard: Guard
    cookies: dict[str, str] = field(default_factory=dict)

    def get(self, target: str = "/", *, method: str = "GET", **headers: str) -> Answer:
        return Answer(self._sent("http", target, method, headers), browser=self)

    def post(self, target: str = "/", **headers: str) -> Answer:
        return self.get(target, method="POST", **headers)

    def talk(self, **headers: str) -> list[Message]:
        return self._sent("websocket", "/talk", "GET", headers)

    def _sent(self, kind: str, target: str, method: str, headers: dict[str, str]) -> list[Message]:
        sent: list[Message] = []
        path, _, query = target.removeprefix(HOME).partition("?")
        stated = {"host": OWN_HOST, **headers}
        if self.cookies:
            stated.setdefault("cookie", "; ".join(f"{k}={v}" for k, v in self.cookies.items()))

        async def send(message: Message) -> None:
            sent.append(message)

        async def receive() -> Message:
            return {"type": "http.request"}

        scope = {
            "type": kind,
            "method": method,
            "path": path,
            "query_string": query.encode("utf-8"),
            "headers": [(k.encode(), v.encode("latin-1")) for k, v in stated.items()],
        }
        asyncio.run(self.guard(scope, receive, send))
        return sent


class Answer:
    """Status, headers and body; a cookie that it sets is kept."""

    def __init__(self, sent: list[Message], *, browser: Browser) -> None:
        start, *rest = sent
        self.status = start["status"]
        self.headers = {name.decode(): value.decode() for name, value in start["headers"]}
        self.body = b"".join(message["body"] for message in rest)
        if "set-cookie" in self.headers:
            name, _, value = self.headers["set-cookie"].split(";")[0].partition("=")
            browser.cookies[name] = value

    @property
    def refused(self) -> bool:
        return (self.status, self.body) == (403, b"")


@pytest.fixture
def outside() -> Browser:
    key = Key(port=PORT)
    return Browser(key=key, guard=Guard(application, key=key))


@pytest.fixture
def inside(outside: Browser) -> Browser:
    assert outside.get(outside.key.address).status == 303
    return outside


def test_without_the_key_there_is_nothing(outside: Browser) -> None:
    for target in ("/", "/other", "/?key=", "/?key=guess", "/?key=ключ", "/?other=1"):
        assert outside.get(target).refused
    assert outside.post("/").refused


def test_the_key_is_exchanged_for_a_cookie_and_leaves_the_address(outside: Browser) -> None:
    answer = outside.get(outside.key.address)
    assert (answer.status, answer.headers["location"]) == (303, "/")
    cookie = answer.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert outside.key.address.split("=")[1] not in cookie
    assert outside.get("/").body == b"secret"
    assert outside.get("/other").body == b"secret"


def test_the_key_works_once(inside: Browser) -> None:
    stranger = Browser(key=inside.key, guard=inside.guard)
    assert stranger.get(inside.key.address).refused
    # pasted again by its owner
    assert inside.get(inside.key.address).headers["location"] == "/"


def test_the_key_opens_nothing_but_the_start_page(outside: Browser) -> None:
    shown = outside.key.address.split("?")[1]
    assert outside.get(f"/other?{shown}").refused
    assert outside.post(f"/?{shown}").refused
    assert outside.get(f"/?{shown}&{shown}").refused
    assert outside.get(outside.key.address).status == 303  # still unspent


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", f"evil.example:{PORT}", ""])
def test_a_foreign_host_gets_nothing_even_with_the_cookie(inside: Browser, host: str) -> None:
    assert inside.get("/", host=host).refused


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "http://127.0.0.1", f"https://127.0.0.1:{PORT}"]
)
def test_a_foreign_origin_gets_nothing_even_with_the_cookie(inside: Browser, origin: str) -> None:
    assert inside.get("/", origin=origin).refused
    assert inside.post("/", origin=origin).refused


def test_the_own_origin_is_let_in(inside: Browser) -> None:
    assert inside.post("/", origin=HOME).body == b"secret"
    local = f"localhost:{PORT}"
    assert inside.post("/", host=local, origin=f"http://{local}").body == b"secret"
    assert inside.post("/", host=local, origin=HOME).refused


def test_a_made_up_cookie_opens_nothing(outside: Browser) -> None:
    for cookie in (f"gapcast-{PORT}=guess", "gapcast=;;=x; \x01", f"gapcast-{PORT}=\xff"):
        assert outside.get("/", cookie=cookie).refused


def test_websockets_are_guarded_alike(inside: Browser) -> None:
    assert inside.talk(origin=HOME)[-1]["text"] == "secret"
    stranger = Browser(key=inside.key, guard=inside.guard)
    for sent in (
        stranger.talk(origin=HOME),
        inside.talk(origin="http://evil.example"),
        inside.talk(origin=HOME, host="evil.example"),
        inside.talk(),
    ):
        assert sent == [{"type": "websocket.close", "code": 1008}]


def test_a_page_may_load_from_nowhere_else(inside: Browser) -> None:
    headers = inside.get("/").headers
    assert headers["x-own"] == "kept"
    policy = headers["content-security-policy"]
    assert "default-src 'self'" in policy
    assert "connect-src 'self'" in policy
    assert "frame-ancestors 'none'" in policy


def test_starting_and_stopping_pass_through() -> None:
    seen: list[str] = []

    async def note(scope: Message, receive: Any, send: Any) -> None:
        seen.append(scope["type"])

    asyncio.run(Guard(note, key=Key(port=PORT))({"type": "lifespan"}, None, None))  # type: ignore[arg-type]
    assert seen == ["lifespan"]


def test_keys_differ_and_ports_are_free() -> None:
    assert Key(port=PORT).address != Key(port=PORT).address
    assert 1024 <= free_port() <= 65535
