"""The routes."""

from __future__ import annotations

import json
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache, wraps
from importlib import resources
from string import Template
from typing import Any, get_args

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from ... import languages
from ...errors import ThwartError
from ..narrate import Sound
from .desk import Desk
from .gate import ROLES, Bucket, Gate, Role
from .guard import MAX_BODY, TooLong, refusal
from .stream import FeedResponse, Hub

_TYPES = {
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".svg": "image/svg+xml",
    ".webmanifest": "application/manifest+json",
}

_PAGE = resources.files("thwart.announce").joinpath("page")

Answer = Callable[[Request], Awaitable[Any]]


@dataclass(frozen=True, slots=True)
class Web:
    """What the routes work with."""

    desk: Desk
    gate: Gate
    hub: Hub
    language: str
    cookie: str
    """The cookie's name: browsers send a cookie to every port of a host, so each bench has its own."""


def application(web: Web) -> Starlette:
    """The pages, the feed and the acts of one bench."""
    entering = Bucket(burst=5, per_s=0.2)
    posting = Bucket(burst=20, per_s=10)

    def open_to(least: Role) -> Callable[[Answer], Answer]:
        def around(answer: Answer) -> Answer:
            @wraps(answer)
            async def checked(request: Request) -> Any:
                role = _role(web, request)
                if role is None:
                    raise Refused(401, "stranger")
                if least == "act" and role != "act":
                    raise Refused(403, "only-look")
                if request.method == "POST" and not posting.allows(_who(web, request)):
                    raise Refused(429, "too-many")
                return await answer(request)

            return checked

        return around

    async def bench(request: Request) -> Response:
        return _page(web, "enter" if _role(web, request) is None else "bench")

    async def lead(request: Request) -> Response:
        return _page(web, "enter" if _role(web, request) is None else "lead")

    async def page_file(request: Request) -> Response:
        return _file(request.path_params["name"])

    async def words(request: Request) -> Response:
        return JSONResponse(dict(languages.language(_language(web, request)).tables))

    async def enter(request: Request) -> Response:
        body = await _object(request)
        if isinstance(key := body.get("key"), str):  # long enough to be guessed by nobody
            admitted = await run_in_threadpool(web.gate.enter_by_key, key)
        elif not entering.allows(request.client.host if request.client else ""):
            raise Refused(429, "too-many-tries")
        else:
            admitted = await run_in_threadpool(web.gate.enter_by_code, str(body.get("code", "")))
        if admitted is None:
            raise Refused(403, "wrong-code")
        session, role = admitted
        answer = JSONResponse({"ok": True, "role": role})
        # Without a lifetime: the cookie goes with the browser, and no clock of a tablet ends it.
        answer.set_cookie(
            _cookie(web, request), session, path="/", httponly=True, samesite="strict", secure=_secure(request)
        )
        return answer

    @open_to("look")
    async def leave(request: Request) -> Response:
        await run_in_threadpool(web.gate.leave, request.cookies.get(_cookie(web, request), ""))
        return JSONResponse({"ok": True})

    @open_to("act")
    async def pair(request: Request) -> Response:
        role = (await _object(request)).get("role")
        if role not in ROLES:
            raise Refused(422, "role")
        pairing = web.gate.pair(role)
        return JSONResponse({"ok": True, "code": pairing.code, "role": role})

    @open_to("look")
    async def picture(request: Request) -> Response:
        return JSONResponse(await run_in_threadpool(web.desk.picture))

    @open_to("look")
    async def setup(request: Request) -> Response:
        return JSONResponse({**await run_in_threadpool(web.desk.setup), "role": _role(web, request)})

    @open_to("look")
    async def day(request: Request) -> Response:
        return JSONResponse(await run_in_threadpool(web.desk.day))

    @open_to("look")
    async def feed(request: Request) -> FeedResponse:
        return FeedResponse(web.desk, web.hub, _since(request), _language(web, request))

    @open_to("act")
    async def act(request: Request) -> Response:
        body = await _object(request)
        name, args, place = body.get("act"), body.get("args", []), body.get("place")
        if not isinstance(name, str) or not isinstance(args, list) or not all(isinstance(a, str) for a in args):
            raise Refused(422, "act")
        if place is not None and not isinstance(place, str):
            raise Refused(422, "act")
        return JSONResponse(await run_in_threadpool(web.desk.act, name, args, place))

    @open_to("look")
    async def tone(request: Request) -> Response:
        from ..tones import wav

        sound, nth = request.path_params["sound"], request.path_params["nth"]
        if sound not in get_args(Sound) or nth > 15:
            raise HTTPException(404)
        data = await run_in_threadpool(wav, sound, nth)
        return Response(data, media_type="audio/wav")

    def get(path: str, answer: Answer) -> Route:
        return Route(path, answer, methods=["GET"])

    def post(path: str, answer: Answer) -> Route:
        return Route(path, answer, methods=["POST"])

    app = Starlette(
        routes=[
            get("/", bench),
            get("/lead", lead),
            get("/page/{name}", page_file),
            get("/api/words", words),
            get("/api/setup", setup),
            get("/api/picture", picture),
            get("/api/day", day),
            get("/api/feed", feed),
            get("/api/tone/{sound}/{nth:int}.wav", tone),
            post("/api/act", act),
            post("/api/enter", enter),
            post("/api/leave", leave),
            post("/api/pair", pair),
        ],
        exception_handlers=_faults(web.language),
    )
    app.router.redirect_slashes = False  # a path is one of these or none
    return app


class Refused(Exception):
    """A request that isn't answered: its status, and the code in the language's table `web` of why and what to do."""

    def __init__(self, status: int, code: str, **args: str) -> None:
        super().__init__(code)
        self.status, self.code, self.args_of_code = status, code, args


def _faults(code: str) -> Mapping[Any, Callable[[Request, Exception], Awaitable[Response]]]:
    """What is answered where something isn't done, in the bench's language."""

    async def refused(_: Request, fault: Exception) -> Response:
        assert isinstance(fault, Refused)
        return JSONResponse(refusal(code, fault.code, fault.args_of_code), fault.status)

    async def told(_: Request, fault: Exception) -> Response:
        assert isinstance(fault, ThwartError)
        return JSONResponse({"ok": False, "error": fault.message, "hint": fault.hint}, 409)

    async def http(_: Request, fault: Exception) -> Response:
        assert isinstance(fault, HTTPException)
        return JSONResponse(refusal(code, "method" if fault.status_code == 405 else "nothing-there"), fault.status_code)

    async def too_long(_: Request, fault: Exception) -> Response:
        return JSONResponse(refusal(code, "too-long", {"most": str(MAX_BODY)}), 413)

    async def ours(_: Request, fault: Exception) -> Response:
        return JSONResponse(refusal(code, "fault", {"fault": type(fault).__name__}), 500)

    return {Refused: refused, ThwartError: told, HTTPException: http, TooLong: too_long, Exception: ours}


async def _object(request: Request) -> Mapping[str, Any]:
    """The body as a JSON object. Raises Refused."""
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() != "application/json":
        raise Refused(415, "type")
    try:
        body = json.loads(await request.body())
        # Half a surrogate pair passes as JSON but can be neither stored nor sent.
        json.dumps(body, ensure_ascii=False).encode()
    except (ValueError, RecursionError):
        raise Refused(400, "json") from None
    if not isinstance(body, dict):
        raise Refused(400, "object")
    return body


def _secure(request: Request) -> bool:
    return bool(request.scope["entrance"].secure)


def _cookie(web: Web, request: Request) -> str:
    return f"__Host-{web.cookie}" if _secure(request) else web.cookie


def _role(web: Web, request: Request) -> Role | None:
    scheme, _, key = request.headers.get("authorization", "").partition(" ")
    if scheme:
        return web.gate.role_of_key(key.strip()) if scheme.lower() == "bearer" else None
    session = request.cookies.get(_cookie(web, request))
    return None if session is None else web.gate.role_of(session)


def _who(web: Web, request: Request) -> str:
    return request.headers.get("authorization") or request.cookies.get(_cookie(web, request), "")


def _since(request: Request) -> int | None:
    text = request.headers.get("last-event-id") or request.query_params.get("since")
    if text is None or text == "":
        return None
    if not (text.isascii() and text.isdecimal() and len(text) <= 18):
        raise Refused(422, "since")
    return int(text)


def _language(web: Web, request: Request) -> str:
    code = request.query_params.get("language", web.language)
    if code not in languages.LANGUAGES:
        raise Refused(422, "language", language=code[:20], known=", ".join(languages.LANGUAGES))
    return code


@lru_cache
def _pages() -> Mapping[str, str]:
    """The files that may be asked for, with their types: a closed list, so that no path leads elsewhere."""
    names = [f.name for f in _PAGE.iterdir()]
    return {name: kind for name in names for end, kind in _TYPES.items() if name.endswith(end)}


def _file(name: str) -> Response:
    kind = _pages().get(name)
    if kind is None:
        raise HTTPException(404)
    return Response(_PAGE.joinpath(name).read_bytes(), media_type=kind)


def _page(web: Web, name: str) -> Response:
    """A page: all have the same head, and their scripts make what is in them."""
    style = "enter" if name == "enter" else "bench"
    noscript = languages.language(web.language).tables["entering"]["noscript"]
    text = Template(_PAGE.joinpath("page.html").read_text(encoding="utf-8")).substitute(
        language=web.language, name=name, style=style, noscript=noscript
    )
    return Response(text, media_type="text/html; charset=utf-8")
