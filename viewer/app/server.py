"""The app of `gapcast view`: pages in a browser of this machine, served to nobody else.

What a page shows is built in the browser (page.js); what is known and done is in `controller`.
Here the two are joined, and the server is started and ended.
"""

from __future__ import annotations

import asyncio
import logging
import sys
import webbrowser
from contextlib import suppress
from importlib import import_module
from pathlib import Path
from typing import Any

from envelope.errors import EnvelopeError, MissingExtraError
from envelope.files import write_atomically
from envelope.text.names import shown
from viewer.app import form, protocol
from viewer.app import model as app_model
from viewer.app.controller import Desk
from viewer.app.guard import HOST, Guard, Key, free_port
from viewer.app.pages import Page
from viewer.app.protocol import Tell
from viewer.app.recent import other_jobs, remember
from viewer.app.session import Session, said

try:
    from fastapi import Response  # with NiceGUI
    from fastapi.responses import FileResponse
    from nicegui import app, background_tasks, ui
except ImportError as error:
    raise MissingExtraError(library="NiceGUI", extra="viewer") from error

__all__ = ["run"]

# Without a word from a page before it counts as closed, and then without any page before the
# server ends. A busy machine may keep a page waiting for many seconds.
EMPTY_S = 20.0
FIRST_S = 180.0  # for the first page to come
MOST_BYTES = 4_000_000  # of one message from a page
# What was made may hold scripts of its own, and is nobody to this server.
_SHUT_OFF = "sandbox allow-scripts allow-modals allow-downloads allow-popups"


class Cutting(ui.element, component="page/component.js"):  # type: ignore[call-arg,misc]
    """The page's one element, which page.js fills."""


class Server:
    """Joins pages to the desk, or to the form while there is no job yet."""

    def __init__(self, path: Path | None, *, empty_s: float) -> None:
        self._empty_s = empty_s
        self.desk: Desk | None = None
        self.folder = Path.cwd()
        self._open: dict[str, Page | None] = {}
        self._elements: dict[str, Any] = {}
        self._ending: asyncio.Task[None] | None = None
        self._watching: asyncio.Task[None] | None = None
        self._preparing: asyncio.Task[None] | None = None
        self._beginning = asyncio.Lock()  # one page begins the job, not two
        if path is not None:
            self.desk = Desk(session=Session(path))
            remember(self.desk.session.path)

    def page(self) -> None:
        """Build one page."""
        ui.add_head_html(
            '<link rel="stylesheet" href="/own/cutaway.css">'
            '<link rel="stylesheet" href="/own/page.css">'
        )
        element = Cutting()
        client = ui.context.client
        element.on("ask", lambda event: self._asked(client.id, event.args))
        client.on_connect(lambda: self._came(client.id, element))
        client.on_delete(lambda: self._went(client.id))

    def begin(self) -> None:
        """Start what runs beside the pages."""
        self._end_after(FIRST_S)
        if self.desk is not None:
            self._watching = asyncio.create_task(self.desk.watch())
            self._preparing = asyncio.create_task(self.desk.begin())

    async def end(self) -> None:
        """Leave the job for others."""
        for task in (self._watching, self._preparing, self._ending):
            if task is not None:
                task.cancel()
        if self.desk is not None:
            await self.desk.close()

    async def _came(self, client: str, element: Any) -> None:
        if self._ending is not None:
            self._ending.cancel()
            self._ending = None
        if client in self._open:
            return  # the same page after a break in the line
        self._elements[client] = element
        self._open[client] = None
        await self._join(client)

    async def _join(self, client: str) -> None:
        tell = self._teller(client)
        if self.desk is None:
            tell(
                {
                    "tell": "form",
                    "folder": shown(str(self.folder), limit=120),
                    "model": app_model.choices(),
                    "choices": _choices(),
                }
            )
        else:
            self._open[client] = await self.desk.join(tell)

    def _went(self, client: str) -> None:
        page = self._open.pop(client, None)
        self._elements.pop(client, None)
        if page is not None and self.desk is not None:
            self.desk.leave(page)
        if not self._open:
            self._end_after(self._empty_s)

    def _end_after(self, seconds: float) -> None:
        async def end() -> None:
            await asyncio.sleep(seconds)
            if not self._open:
                app.shutdown()

        self._ending = asyncio.get_running_loop().create_task(end())

    async def _asked(self, client: str, asked: object) -> None:
        if client not in self._open:
            return
        page = self._open[client]
        if page is not None and self.desk is not None:
            if isinstance(asked, dict) and asked.get("do") in ("open", "begin"):
                async with self._beginning:
                    await self._turn_to(client, asked)
            else:
                await self.desk.act(page, asked)
            return
        async with self._beginning:
            if self.desk is None:
                await self._begin(client, asked)

    async def _turn_to(self, client: str, asked: object) -> None:
        """Leave the job for another one of the menu, or for the form; every page begins anew."""
        tell, before = self._teller(client), self.desk
        assert before is not None
        try:
            message = protocol.read(asked)
            desk = None
            if isinstance(message, protocol.OpenJob):
                known = other_jobs(before.session.path, before.session.path.parent)
                if message.path not in {each["path"] for each in known}:
                    raise EnvelopeError("that job is not in the menu: look at it again")
                desk = Desk(session=await asyncio.to_thread(Session, Path(message.path)))
        except EnvelopeError as error:
            tell({"tell": "say", "text": said(error), "tone": "bad"})
            return
        if self._watching is not None:
            self._watching.cancel()
        for name, page in self._open.items():
            if page is not None:
                before.leave(page)
            self._open[name] = None
        self.desk = desk
        await before.close()
        self.folder = (desk or before).session.path.parent
        if desk is not None:
            remember(desk.session.path)
            self._watching = asyncio.create_task(desk.watch())
        for name in self._open:
            self._teller(name)({"tell": "reload"})

    def made(self, number: int) -> Response:
        """Something that was made of the job, to look at; shut off from the app's own pages."""
        made = [] if self.desk is None else self.desk.outbox.made
        if not 0 <= number < len(made) or not made[number].is_file():
            return Response(status_code=404)
        headers = {"content-security-policy": _SHUT_OFF, "cache-control": "no-store"}
        return FileResponse(made[number], headers=headers)

    async def _begin(self, client: str, asked: object) -> None:
        """Do what a page asks while there is no job."""
        tell = self._teller(client)
        try:
            message = protocol.read(asked)
        except protocol.MessageError as error:
            tell({"tell": "say", "text": said(error), "tone": "bad"})
            return
        match message:
            case protocol.MakeJob():
                await self._make(tell, message)
            case protocol.ListModel():
                await self._look_into(tell, message)
            case protocol.ImportModel():
                await self._import(tell, message)

    def _teller(self, client: str) -> Tell:
        element = self._elements[client]
        return lambda what: element.run_method("tell", what)

    async def _make(self, tell: Tell, asked: protocol.MakeJob) -> None:
        """Write the job file of the form and open it in every page."""
        try:
            path = self._new_file(asked.file)
            text = form.job_text(form.from_typed(asked.typed))
            write_atomically(path, text.encode("utf-8"))
            self.desk = Desk(session=Session(path))
        except form.FormError as error:
            tell(
                {
                    "tell": "troubles",
                    "troubles": [
                        {"where": each.where, "message": each.message} for each in error.troubles
                    ],
                }
            )
            return
        except EnvelopeError as error:
            tell({"tell": "troubles", "troubles": [{"where": "", "message": said(error)}]})
            return
        await self._open_everywhere(self.desk)

    async def _look_into(self, tell: Tell, asked: protocol.ListModel) -> None:
        """Tell a page what a model file holds."""
        try:
            tell(await asyncio.to_thread(app_model.listed, asked, folder=self.folder))
        except EnvelopeError as error:
            tell({"tell": "model-trouble", "message": app_model.trouble(error)})

    async def _import(self, tell: Tell, asked: protocol.ImportModel) -> None:
        """Write the job file of a model and open it in every page."""
        try:
            path = self._new_file(asked.file)
            text = await asyncio.to_thread(app_model.begun, asked, folder=self.folder)
            write_atomically(path, text.encode("utf-8"))
            self.desk = Desk(session=await asyncio.to_thread(Session, path))
        except EnvelopeError as error:
            tell({"tell": "model-trouble", "message": app_model.trouble(error)})
            return
        await self._open_everywhere(self.desk)

    async def _open_everywhere(self, desk: Desk) -> None:
        remember(desk.session.path)
        self._watching = asyncio.create_task(desk.watch())
        for each in list(self._open):
            await self._join(each)

    def _new_file(self, name: str) -> Path:
        """Place of a new job file in the folder; an existing one is never written over."""
        trouble = None
        if not name or Path(name).name != name or name.startswith("."):
            trouble = f'"{shown(name)}" is no plain file name: write one such as room.toml'
        elif not name.endswith(".toml"):
            trouble = f"{shown(name)} must end in .toml"
        elif (self.folder / name).exists():
            trouble = f"{shown(name)} is there already: choose another name"
        if trouble is not None:
            raise form.FormError([form.Trouble(where="file", message=trouble)])
        return self.folder / name


def _choices() -> dict[str, list[tuple[str, str]]]:
    """What the form lets one choose, as value and words."""
    choices = {
        "stands": form.STANDS,
        "places": form.PLACES,
        "beyond": form.BEYOND,
        "walls": form.WALL_KINDS,
        "ceilings": form.CEILING_KINDS,
    }
    return {
        name: [(each, each.replace("-", " ")) for each in allowed]
        for name, allowed in choices.items()
    }


def run(
    path: Path | None,
    *,
    open_browser: bool = True,
    port: int | None = None,
    empty_s: float = EMPTY_S,
) -> int:
    """Serve the app until its last page has been closed for a while.

    Parameters
    ----------
    path : Path or None
        The job file; none for the form that makes one.
    open_browser : bool
        Open the address in the browser.
    port : int, optional
        Of the loopback; a free one unless given.
    empty_s : float
        How long a silent page counts as open, and how long the server then stays. [s]

    Returns
    -------
    int
        0.

    Raises
    ------
    EnvelopeError
        Where there is no such file, or it cannot be read at all.
    """
    server = Server(path, empty_s=empty_s)
    import_module("nicegui.elements.scene")  # puts three.js into the page's import map
    key = Key(port=port or free_port())
    app.add_middleware(Guard, key=key)
    here = Path(__file__).parent
    for file in sorted([*(here / "page").iterdir(), *(here.parent / "web").iterdir()]):
        if file.suffix not in (".js", ".css"):
            continue
        app.add_static_file(local_file=file, url_path=f"/own/{file.name}", max_cache_age=0)
    app.get("/made/{number}")(server.made)
    ui.page("/", title="Gapcast", favicon=_MARK)(server.page)
    app.on_startup(server.begin)
    app.on_shutdown(server.end)

    async def announce() -> None:
        # The start-up handlers run before the port is open: whoever is told now may come too soon.
        while not await _listens(key.port):
            await asyncio.sleep(0.02)
        sys.stderr.write(
            f"Gapcast is open at {key.address}\nThe address works once. Ctrl+C ends the program.\n"
        )
        sys.stderr.flush()
        if open_browser:
            webbrowser.open(key.address)

    app.on_startup(lambda: background_tasks.create(announce(), name="announce"))
    logging.getLogger("nicegui").setLevel(logging.ERROR)
    with suppress(KeyboardInterrupt):
        ui.run(
            host=HOST,
            port=key.port,
            title="Gapcast",
            language="en-US",
            show=False,
            reload=False,
            show_welcome_message=False,
            dark=False,
            reconnect_timeout=empty_s,
            binding_refresh_interval=None,
            ws_max_size=MOST_BYTES,
        )
    return 0


async def _listens(port: int) -> bool:
    """Whether the loopback's port takes connections."""
    try:
        _, writer = await asyncio.open_connection(HOST, port)
    except OSError:
        return False
    writer.close()
    await writer.wait_closed()
    return True


_MARK = (
    '<svg viewBox="0 0 32 32" xmlns="http://www.w3.org/2000/svg">'
    '<path d="M3 5h26v22H3z" fill="#23494d"/><path d="M12 27V16h7v11z" fill="#ffb000"/></svg>'
)
