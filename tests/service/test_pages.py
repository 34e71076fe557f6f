"""The pages' doors: who comes in, what is refused, and that what comes from outside stays inert."""

from __future__ import annotations

import contextlib
import json
import re
import socket
import ssl
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
import trustme

from tests.servicekit import PATIENCE_S, Rig, rig, until
from tests.webkit import address, browser, entries, events, key, stranger
from thwart.announce.web import app
from thwart.announce.web.gate import PAIRING_S, Bucket, Gate
from thwart.announce.web.guard import MAX_BODY
from thwart.config import read_bench
from thwart.errors import ConfigError, ThwartError
from thwart.service.service import Service
from thwart.shipped import shipped

PAGES = Path(sys.modules["thwart"].__file__ or "").parent / "announce" / "page"
SECRET = ("/api/picture", "/api/setup", "/api/day", "/api/feed", "/api/tone/taken/0.wav")


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Rig]:
    """A running bench for all that is refused and changes nothing."""
    with rig(tmp_path_factory.mktemp("served") / "lake") as made:
        made.start()
        yield made


@pytest.fixture
def known(served: Rig) -> Iterator[httpx.Client]:
    """A browser that may act there, and has done nothing yet."""
    assert served.service is not None
    admitted = served.service.gate.enter_by_key(key(served))
    assert admitted is not None
    with stranger(served, cookies={_cookie(served): admitted[0]}) as client:
        yield client


# ---- coming in -----------------------------------------------------------------------------------------------------


def test_the_page_is_on_loopback_alone_and_there_is_none_for_tablets(bench: Rig) -> None:
    service = bench.start()
    assert service._listening is not None
    (door,) = service._listening.doors
    assert door.socket.getsockname()[0] == "127.0.0.1"
    assert bench.client().ask(do="page")["page"]["tablet"] is None
    with pytest.raises(ThwartError, match="no page for tablets"):
        bench.client().ask(do="page", pair="act")


@pytest.mark.parametrize("path", SECRET)
def test_a_stranger_sees_nothing(served: Rig, known: httpx.Client, path: str) -> None:
    with stranger(served) as client:
        for cookie in (None, "", "wrong", "\xe4", key(served)):
            headers = [] if cookie is None else [(b"cookie", f"{_cookie(served)}={cookie}".encode())]
            answer = client.get(path, headers=headers)
            assert answer.status_code == 401
            assert answer.json()["ok"] is False
        for given in ("", "wrong", "Bearer", "Bearer wrong", f"Basic {key(served)}"):
            assert client.get(path, headers={"authorization": given}).status_code == 401


def _cookie(rig: Rig) -> str:
    assert rig.service is not None
    assert rig.service._listening is not None
    return rig.service._listening._cookie


@pytest.mark.parametrize("path", ["/api/act", "/api/pair", "/api/leave"])
def test_a_stranger_does_nothing(served: Rig, known: httpx.Client, path: str) -> None:
    before = len(served.entries())
    with stranger(served) as client:
        assert client.post(path, json={"act": "batch", "args": ["open", "bay"], "role": "act"}).status_code == 401
    assert len(served.entries()) == before


def test_a_key_brings_in_and_the_cookie_is_for_the_server_alone(bench: Rig) -> None:
    bench.start()
    with stranger(bench) as client:
        assert "enter.js" in client.get("/").text
        answer = client.post("/api/enter", json={"key": key(bench)})
        cookie = answer.headers["set-cookie"].lower()
        assert {"httponly", "samesite=strict", "path=/"} <= {part.strip() for part in cookie.split(";")}
        # No lifetime: a tablet whose clock is wrong, or is put right, keeps it.
        assert "expires" not in cookie
        assert "max-age" not in cookie
        assert "enter.js" not in client.get("/").text
        assert client.get("/api/picture").json()["saved"] is True
        assert key(bench) not in cookie


def test_a_program_may_show_its_key_instead(bench: Rig) -> None:
    bench.start()
    with httpx.Client(base_url=address(bench), headers={"authorization": f"Bearer {key(bench)}"}) as client:
        assert (
            client.post("/api/act", json={"act": "batch", "args": ["open", "bay"]}).json()["said"][0]
            == "batch bay open"
        )
        assert (
            client.post("/api/act", json={"act": "next"}, headers={"origin": "https://else.example"}).status_code == 403
        )


def test_who_may_look_may_not_act(bench: Rig) -> None:
    bench.start()
    with browser(bench, "look") as client:
        assert client.get("/api/setup").json()["role"] == "look"
        for path in ("/api/act", "/api/pair"):
            answer = client.post(path, json={"act": "batch", "args": ["open", "bay"], "role": "act"})
            assert answer.status_code == 403
    assert bench.status()["held"]["batches"] == []


def test_a_browser_stays_in_over_a_restart_and_keys_don_t(bench: Rig) -> None:
    bench.start()
    old = key(bench)
    with browser(bench) as client:
        cookies = dict(client.cookies)
    bench.stop()
    kept = bench.folder / "pages.json"
    assert kept.stat().st_mode & 0o777 == 0o600
    assert not any(secret in kept.read_text() for secret in cookies.values())
    bench.start()
    with stranger(bench, cookies=cookies) as client:
        assert client.get("/api/picture").status_code == 200
        assert client.post("/api/enter", json={"key": old}).status_code == 403
        assert client.post("/api/leave", json={}).json() == {"ok": True}
        assert client.get("/api/picture").status_code == 401


def test_every_browser_can_be_forgotten(bench: Rig) -> None:
    bench.start()
    with browser(bench) as one, browser(bench, "look") as two:
        assert bench.client().ask(do="page", forget=True)["page"]["forgot"] == 2
        assert {one.get("/api/picture").status_code, two.get("/api/picture").status_code} == {401}


def test_sessions_that_can_t_be_read_are_none(tmp_path: Path) -> None:
    for text in ("", "{", "[]", '{"a": "admin"}', "null"):
        (tmp_path / "pages.json").write_text(text)
        assert Gate(tmp_path / "pages.json").forget() == 0


@pytest.fixture
def no_refill(monkeypatch: pytest.MonkeyPatch) -> None:
    """However slow this machine is, what is used up stays used up."""
    monkeypatch.setattr(app, "Bucket", lambda burst, per_s: Bucket(burst, 0.0))


# ---- pairing -------------------------------------------------------------------------------------------------------


class Hands:
    """A clock that is turned by hand."""

    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


def test_a_code_is_good_once(tmp_path: Path) -> None:
    gate = Gate(tmp_path / "pages.json")
    code = gate.pair("look").code
    assert re.fullmatch("[0-9]{6}", code)
    admitted = gate.enter_by_code(code)
    assert admitted is not None
    assert gate.role_of(admitted[0]) == "look"
    assert gate.enter_by_code(code) is None


def test_a_code_is_good_for_five_minutes_by_the_monotonic_clock(tmp_path: Path) -> None:
    clock = Hands()
    gate = Gate(tmp_path / "pages.json", clock)
    code = gate.pair("act").code
    clock.now = PAIRING_S + 0.1
    assert gate.enter_by_code(code) is None
    clock.now = 0.0
    assert gate.enter_by_code(code) is None  # it was void, and stays so


def test_five_wrong_codes_void_the_right_one_and_another_code_the_one_before(tmp_path: Path) -> None:
    gate = Gate(tmp_path / "pages.json")
    code = gate.pair("act").code
    wrong = "000000" if code != "000000" else "111111"
    assert [gate.enter_by_code(wrong) for _ in range(5)] == [None] * 5
    assert gate.enter_by_code(code) is None
    first = gate.pair("act").code
    second = gate.pair("act").code
    assert first == second or gate.enter_by_code(first) is None
    assert gate.enter_by_code(second) is not None


def test_guessing_is_slowed_down() -> None:
    clock = Hands()
    bucket = Bucket(burst=5, per_s=0.2, now=clock)
    assert [bucket.allows("tablet") for _ in range(6)] == [True] * 5 + [False]
    assert bucket.allows("another")
    clock.now = 4.9
    assert not bucket.allows("tablet")
    clock.now = 9.9
    assert [bucket.allows("tablet") for _ in range(2)] == [True, False]


def test_a_tablet_pairs_with_the_code_and_too_many_tries_are_turned_away(trusted: Rig, no_refill: None) -> None:
    trusted.start()
    answer = trusted.client().ask(do="page", pair="act")["page"]
    with stranger(trusted, door=1) as tablet:
        assert tablet.post("/api/enter", json={"code": "wrong"}).status_code == 403
        assert tablet.post("/api/enter", json={"code": answer["code"]}).json() == {"ok": True, "role": "act"}
        assert tablet.post("/api/act", json={"act": "batch", "args": ["open", "bay"]}).json()["ok"] is True
        codes = [tablet.post("/api/enter", json={"code": f"{n}"}).status_code for n in range(6)]
        assert codes == [403] * 3 + [429] * 3


def test_the_page_itself_can_make_a_code(trusted: Rig) -> None:
    trusted.start()
    with browser(trusted) as client, stranger(trusted, door=1) as tablet:
        code = client.post("/api/pair", json={"role": "look"}).json()["code"]
        assert client.post("/api/pair", json={"role": "admin"}).status_code == 422
        assert tablet.post("/api/enter", json={"code": code}).json()["role"] == "look"


# ---- other sites ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "host", ["else.example", "else.example:{port}", "127.0.0.1", "127.0.0.1:1", "127.0.0.1:{port}.else.example", "", "[::1", "a@127.0.0.1:{port}",
             "127.0.0.1:{port}, else.example", "127.0.0.2:{port}", "0.0.0.0:{port}", "localhost.else.example:{port}", "127.0.0.1:²"]
)  # fmt: skip
def test_only_our_own_names_are_answered(served: Rig, known: httpx.Client, host: str) -> None:
    """Against DNS rebinding: a stranger's name that points at this computer."""
    service = served.service
    assert service is not None
    assert service._listening is not None
    port = service._listening.doors[0].port
    headers = [(b"host", host.format(port=port).encode()), (b"authorization", f"Bearer {key(served)}".encode())]
    assert known.get("/api/picture", headers=headers).status_code in (400, 421)
    assert known.get("/", headers=headers).status_code in (400, 421)
    assert known.get(
        "/api/picture", headers={"host": f"localhost:{port}", "origin": f"http://localhost:{port}"}
    ).status_code in (200, 401)


@pytest.mark.parametrize(
    "origin",
    [None, "null", "https://else.example", "http://127.0.0.1", "http://127.0.0.1:1", "https://127.0.0.1:{port}"],
)
def test_a_post_from_another_site_is_refused(served: Rig, known: httpx.Client, origin: str | None) -> None:
    service = served.service
    assert service is not None
    assert service._listening is not None
    port = service._listening.doors[0].port
    del known.headers["origin"]
    headers = {} if origin is None else {"origin": origin.format(port=port)}
    before = len(served.entries())
    answer = known.post("/api/act", json={"act": "dance"}, headers=headers)
    assert answer.status_code == 403
    assert len(served.entries()) == before
    known.headers["origin"] = address(served)
    assert known.post("/api/act", json={"act": "dance"}).status_code == 200
    assert len(served.entries()) == before + 2


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_what_another_site_fetches_is_refused(served: Rig, known: httpx.Client, site: str) -> None:
    assert known.get("/api/picture", headers={"sec-fetch-site": site}).status_code == 403
    assert known.get("/api/feed", headers={"sec-fetch-site": site}).status_code == 403
    assert known.get("/api/picture", headers={"sec-fetch-site": "same-origin"}).status_code == 200


def test_every_answer_bears_the_headers_that_keep_others_out(bench: Rig) -> None:
    bench.start()
    with browser(bench) as client, stranger(bench) as other:
        answers = [client.get(path) for path in ("/", "/lead", "/page/enter.js", "/api/picture", "/nowhere")]
        answers += [
            other.get("/api/picture"),
            client.post("/api/act", content=b"{", headers={"content-type": "application/json"}),
        ]
        answers += [client.get("/", headers={"host": "else.example"}), client.request("PUT", "/api/act")]
        with client.stream("GET", "/api/feed") as feed:
            answers.append(feed)
        for answer in answers:
            policy = answer.headers["content-security-policy"]
            assert "default-src 'none'" in policy
            assert "frame-ancestors 'none'" in policy
            assert "unsafe" not in policy
            assert answer.headers["x-content-type-options"] == "nosniff"
            assert answer.headers["referrer-policy"] == "no-referrer"
            assert answer.headers["cross-origin-resource-policy"] == "same-origin"
            assert answer.headers["cache-control"] == "no-store"
            assert "access-control-allow-origin" not in answer.headers
            assert "server" not in answer.headers


@pytest.mark.parametrize("page", sorted(path.name for path in PAGES.glob("*.html")))
def test_our_pages_keep_to_the_policy_and_ask_no_other_host(page: str) -> None:
    """A policy without inline code only helps where no page needs any."""
    text = (PAGES / page).read_text()
    assert not re.search(r"<script(?![^>]*\bsrc=)", text)
    assert not re.search(r"<style\b|\sstyle=|\son[a-z]+=|javascript:", text)
    assert not re.search(r"(?:src|href|action)=[\"']?(?:https?:)?//", text)


def test_our_scripts_put_text_in_as_text() -> None:
    for path in PAGES.glob("*.js"):
        assert not re.search(
            r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(|new Function", path.read_text()
        ), path.name
    for path in [*PAGES.glob("*.css"), *PAGES.glob("*.js")]:
        text = path.read_text().replace("http://www.w3.org/", "")  # names of namespaces are asked of nobody
        assert not re.search(r"url\(\s*[\"']?https?:|[\"']https?://|@import", text), path.name


# ---- nonsense ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "status"),
    [
        (b"", 400), (b"{", 400), (b"nonsense", 400), (b"[]", 400), (b"5", 400), (b"\xff\xfe", 400),
        (b"[" * 16_000, 400), (b'{"a":' * 3000, 400), (b'{"act": "measurer", "args": ["\\ud800"]}', 400),
        (b"{}", 422), (b'{"act": 5}', 422), (b'{"act": "next", "args": "x"}', 422), (b'{"act": "next", "args": [5]}', 422),
        (b'{"act": "next", "args": {}, "place": null}', 422), (b'{"act": "next", "place": 5}', 422),
        (b'{"act": "next", "args": [' + b'"x",' * 64 + b'"x"]}', 409),
        (b'"' + b"x" * MAX_BODY + b'"', 413),
    ],
)  # fmt: skip
def test_a_body_that_makes_no_sense_is_answered(served: Rig, known: httpx.Client, content: bytes, status: int) -> None:
    before = len(served.entries())
    answer = known.post("/api/act", content=content, headers={"content-type": "application/json"})
    assert answer.status_code == status
    assert answer.json()["ok"] is False
    assert answer.json()["error"]
    assert known.get("/api/picture").status_code == 200
    assert len(served.entries()) == before


@pytest.mark.parametrize(
    "kind",
    [None, "text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "application/jsonx"],
)
def test_a_form_is_no_act(served: Rig, known: httpx.Client, kind: str | None) -> None:
    headers = {} if kind is None else {"content-type": kind}
    assert known.post("/api/act", content=b'{"act": "next"}', headers=headers).status_code == 415


def test_a_body_that_doesn_t_say_how_long_it_is_is_cut_off(bench: Rig) -> None:
    bench.start()

    def endless() -> Iterator[bytes]:
        for _ in range(64):
            yield b" " * 1024

    with browser(bench) as client:
        answer = client.post("/api/act", content=endless(), headers={"content-type": "application/json"})
        assert answer.status_code == 413
        for length in ("-1", "x", "99999999999999999999"):
            headers = [(b"content-length", length.encode()), (b"content-type", b"application/json")]
            with _raw(bench) as link:
                told = b"".join(name + b": " + value + b"\r\n" for name, value in headers)
                link.sendall(_head(bench, "POST", "/api/act") + told + b"\r\n{}")
                assert link.recv(65536).split(b" ")[1] in (b"400", b"413")


def _raw(rig: Rig) -> socket.socket:
    name, _, port = address(rig).removeprefix("http://").partition(":")
    return socket.create_connection((name, int(port)), timeout=PATIENCE_S)


def _head(rig: Rig, method: str, path: str) -> bytes:
    base = address(rig)
    host = base.removeprefix("http://")
    return (
        f"{method} {path} HTTP/1.1\r\nHost: {host}\r\nOrigin: {base}\r\nAuthorization: Bearer {key(rig)}\r\n".encode()
    )


@pytest.mark.parametrize(
    "path",
    ["/page/../../config.py", "/page/..%2f..%2fconfig.py", "/page/%2e%2e/%2e%2e/config.py", "/page//etc/passwd", "/page/%2fetc%2fpasswd",
     "/page/enter.html%00", "/page/enter.html/", "/page/", "/page/.", "/page/..", "/page/ENTER.HTML", "/page/enter.html;x", "/page/..\\..\\config.py",
     "/page/bench.toml", "/control.json", "/ledger.db", "/page/__init__.py", "//etc/passwd", "/api/tone/taken/99.wav", "/api/tone/..%2f/0.wav", "/api/tone/taken/-1.wav"],
)  # fmt: skip
def test_no_path_leads_elsewhere(served: Rig, known: httpx.Client, path: str) -> None:
    with _raw(served) as link:  # a client of ours would tidy the path
        link.sendall(_head(served, "GET", path) + b"Connection: close\r\n\r\n")
        with link.makefile("rb") as answer:
            status = answer.readline()
            body = answer.read()
    assert status.split(b" ")[1] == b"404"
    assert b"root:" not in body
    assert b"import" not in body


@pytest.mark.parametrize(
    "raw",
    [
        b"\x00\xff\x16\x03\x01\r\n\r\n",
        b"GET\r\n\r\n",
        b"GET / HTTP/9.9\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + b"x" * 500,
        b"GET /" + b"a" * 70_000,
    ],
)
def test_what_is_no_http_hurts_nobody(served: Rig, known: httpx.Client, raw: bytes) -> None:
    with _raw(served) as link:
        link.sendall(raw)
        link.settimeout(1.0)
        with contextlib.suppress(OSError):
            link.recv(1000)
    assert known.get("/api/picture").status_code == 200


@pytest.mark.parametrize("since", ["-1", "x", "1.5", "9" * 30, "٣", "1;2"])
def test_a_beginning_that_is_none_is_refused(served: Rig, known: httpx.Client, since: str) -> None:
    assert known.get("/api/feed", params={"since": since}).status_code == 422
    assert known.get("/api/feed", params={"language": "xx"}).status_code == 422
    assert known.get("/api/words", params={"language": "../en"}).status_code == 422


def test_too_many_acts_at_once_are_turned_away(bench: Rig, no_refill: None) -> None:
    bench.start()
    with browser(bench) as client:
        codes = [client.post("/api/act", json={"act": "dance"}).status_code for _ in range(22)]
        assert codes == [200] * 20 + [429] * 2
    with browser(bench) as other:
        assert other.post("/api/act", json={"act": "dance"}).status_code == 200


ODD = "<script>alert(1)</script>\"'&\u0000\u001b[31m\u202e\u2028\u2029\u0085\r\n\r\nevent: alarm\ndata: {}\n\n"


def test_markup_and_control_characters_stay_text(bench: Rig) -> None:
    bench.start()
    with browser(bench) as client:
        answer = client.post("/api/act", json={"act": "measurer", "args": [ODD]})
        assert answer.headers["content-type"] == "application/json"
        assert answer.json()["ok"] is True
        last = bench.entries()[-1].seq
        with events(client, since=0) as found:
            heard = list(entries(found, last))
        bodies = [e["body"] for e in heard if e["kind"] == "act"]
        assert bodies[-1]["args"] == [ODD]  # what was said is kept as it was said
        assert client.get("/api/picture").json()["places"][0]["measurer"] == ODD
    bench.lines["scanner"].send(b"<img src=x onerror=alert(1)>\r\n")
    refused = bench.wait_for("refused")
    assert "<img" in refused.body["text"]


# ---- ports, certificates, configuration ----------------------------------------------------------------------------


def test_a_port_in_use_is_told_with_what_to_do(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with rig(tmp_path / "lake", bench=f"[page]\nport = {port}\n") as made:
            with pytest.raises(ThwartError, match=f"page port {port} can't be used: Address already in use") as told:
                Service(made.folder).start()
            assert told.value.hint == "set page.port in bench.toml to a free one, or to 0"
            assert not (made.folder / "control.json").exists()


def test_the_page_stays_where_it_was_told_to_be(tmp_path: Path) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with rig(tmp_path / "lake", bench=f"[page]\nport = {port}\n") as made:
        for _ in range(2):
            made.start()
            with browser(made) as client:
                assert client.base_url.port == port
            made.stop()


def _tablet_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


@pytest.fixture
def trusted(tmp_path: Path) -> Iterator[Rig]:
    """A bench whose tablets are on a network that is said to be nobody else's."""
    text = f'[page.tablet]\nport = {_tablet_port()}\naddress = "127.0.0.1"\ntrusted_network = true\n'
    with rig(tmp_path / "lake", bench=text) as made:
        yield made


def test_a_tablet_speaks_tls_with_the_certificate_given(tmp_path: Path) -> None:
    authority = trustme.CA()
    certificate = authority.issue_cert("127.0.0.1", "bench.lake.example")
    (tmp_path / "lake").mkdir()
    certificate.private_key_pem.write_to_path(tmp_path / "lake" / "key.pem")
    for nth, part in enumerate(certificate.cert_chain_pems):
        part.write_to_path(tmp_path / "lake" / "cert.pem", append=nth > 0)
    port = _tablet_port()
    text = (
        f'[page.tablet]\nport = {port}\naddress = "127.0.0.1"\nnames = ["bench.lake.example"]\n'
        'certificate = "cert.pem"\nkey = "key.pem"\n'
    )
    context = ssl.create_default_context()
    authority.configure_trust(context)
    with rig(tmp_path / "lake", bench=text) as made:
        made.start()
        assert made.client().ask(do="page")["page"]["tablet"] == [f"https://bench.lake.example:{port}/"]
        with browser(made, door=1, verify=context) as tablet:
            assert tablet.get("/api/picture").json()["saved"] is True
            (name,) = [c.name for c in tablet.cookies.jar]
            assert name.startswith("__Host-")
            assert all(c.secure for c in tablet.cookies.jar)
            named = {"host": f"bench.lake.example:{port}", "origin": f"https://bench.lake.example:{port}"}
            assert tablet.get("/api/picture", headers=named).status_code == 200
            assert tablet.get("/api/picture", headers={"host": f"else.example:{port}"}).status_code == 421
            with events(tablet, since=0) as found:
                assert next(entries(found, 1))["seq"] == 1
        with httpx.Client() as distrusting, pytest.raises(httpx.ConnectError):
            distrusting.get(f"https://127.0.0.1:{port}/")
        with httpx.Client() as plain, pytest.raises(httpx.HTTPError):
            plain.get(f"http://127.0.0.1:{port}/")
        with browser(made) as here:  # the page on this computer is there all the same
            assert here.get("/api/picture").status_code == 200


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[page.tablet]\n", "page.tablet.trusted_network: a tablet needs certificate and key"),
        ('[page.tablet]\ncertificate = "c.pem"\n', "page.tablet.certificate: certificate and key go together"),
        (
            '[page.tablet]\ntrusted_network = true\naddress = "nowhere"\n',
            "page.tablet.address: must be an IPv4 address of this machine",
        ),
        ("[page]\nport = 70000\n", "page.port: should be less than or equal to 65535"),
        ("[page]\ndistance_m = 100\n", "page.distance_m: should be less than or equal to 10"),
        ('[page]\ntheme = "pink"\n', "page.theme: should be 'day' or 'night'"),
        ('language = "xx"\n', "language: should be 'en' or 'de'"),
        ("[page]\nprot = 1\n", "page.prot: unknown key; did you mean port?"),
    ],
)
def test_what_the_bench_file_says_of_pages_is_checked(tmp_path: Path, text: str, told: str) -> None:
    with rig(tmp_path / "lake", bench=text) as made, pytest.raises(ConfigError) as fault:
        read_bench(made.folder)
    assert told in str(fault.value)


def test_a_certificate_that_can_t_be_used_is_told_at_the_start(tmp_path: Path) -> None:
    text = '[page.tablet]\ncertificate = "none.pem"\nkey = "none.pem"\n'
    with rig(tmp_path / "lake", bench=text) as made:
        with pytest.raises(ConfigError, match=r"page\.tablet\.certificate: can't be used: No such file"):
            Service(made.folder).start()
        (made.folder / "none.pem").write_text("no certificate")
        with pytest.raises(ConfigError, match=r"page\.tablet\.certificate: can't be used"):
            Service(made.folder).start()


# ---- the page as other windows see it ------------------------------------------------------------------------------


def test_open_twice_both_see_the_same_and_both_may_act(bench: Rig) -> None:
    bench.start()
    with browser(bench) as one, browser(bench) as two, events(one) as first, events(two) as second:
        assert one.post("/api/act", json={"act": "batch", "args": ["open", "bay"]}).json()["ok"]
        assert two.post("/api/act", json={"act": "value", "args": ["total_length", "212", "mm", "tape"]}).json()["ok"]
        last = bench.entries()[-1].seq
        assert list(entries(first, last)) == list(entries(second, last))
        assert one.get("/api/picture").json()["places"] == two.get("/api/picture").json()["places"]


def test_what_a_page_asks_is_there(bench: Rig) -> None:
    bench.start()
    with browser(bench) as client:
        setup: dict[str, Any] = client.get("/api/setup").json()
        assert setup["bench"] == "lake"
        assert {act["act"] for act in setup["acts"] if act["two_steps"]} >= {"void", "lost"}
        client.post("/api/act", json={"act": "batch", "args": ["open", "bay"]})
        refused = client.post("/api/act", json={"act": "dance"}).json()
        assert (refused["ok"], refused["error"]) == (False, "there is no act 'dance'; did you mean pan?")
        client.post("/api/act", json={"act": "value", "args": ["total_length", "212", "mm", "tape"]})
        client.post("/api/act", json={"act": "next"})
        day = client.get("/api/day").json()
        assert [fish["number"] for fish in day["fish"]] == [2, 1]
        assert day["batches"][0]["batch"] == "bay"
        tone = client.get("/api/tone/taken/0.wav")
        assert (tone.headers["content-type"], tone.content[:4]) == ("audio/wav", b"RIFF")
        words = client.get("/api/words", params={"language": "de"}).json()
        assert words["language"]["name"] == "Deutsch"
    assert json.loads((shipped("shared") / "feed.schema.json").read_text())


def test_a_german_bench_answers_and_asks_in_german(tmp_path: Path) -> None:
    with rig(tmp_path / "lake", bench='language = "de"\n') as made:
        made.start()
        with browser(made) as client:
            opened = client.post("/api/act", json={"act": "batch", "args": ["open", "bay"]}).json()
            assert opened["said"][0] == "Partie bay offen"
            refused = client.post("/api/act", json={"act": "dance"}).json()
            assert (refused["ok"], refused["error"]) == (False, "es gibt keinen Befehl 'dance'; gemeint: pan?")
            client.post("/api/act", json={"act": "species", "args": ["perch"]})
            made.touch(700)
            until(lambda: client.get("/api/picture").json()["places"][0]["questions"])
            (asked,) = client.get("/api/picture").json()["places"][0]["questions"]
            assert asked["text"].startswith("1: Totallänge 700 mm ist unmöglich für")
            last = made.entries()[-1].seq
            with events(client, since=0) as found:
                said = [s["text"] for e in entries(found, last) for s in e["said"]]
            assert asked["text"] in said
        assert made.act("batch close done")["said"][-1].startswith("batch bay: 1 fish")  # the command line is English
        assert (
            made.wait_for("asked").body["text"].startswith("1: total_length 700 mm is impossible")
        )  # and so is the ledger
