"""The proxy configuration that the manual gives, in a real nginx in front of a real site."""

from __future__ import annotations

import http.client
import re
import shutil
import socket
import ssl
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from portal import resources
from tests.test_serving import PATIENCE, Site, wait_until

pytestmark = pytest.mark.slow
NAME = "repairs.example.org"
_NEW_CERTIFICATE = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", f"/CN={NAME}"]


class Proxy:
    """nginx with the manual's configuration; only ports and files are put where a test may have them."""

    def __init__(self, folder: Path, upstream: int) -> None:
        self.folder, self.tls_port, self.plain_port = folder, _free_port(), _free_port()
        key, certificate = folder / "key.pem", folder / "certificate.pem"
        subprocess.run(
            [*_NEW_CERTIFICATE, "-keyout", str(key), "-out", str(certificate)],
            check=True,
            capture_output=True,
        )
        inside = _from_manual()
        for old, new in (
            ("127.0.0.1:8000", f"127.0.0.1:{upstream}"),
            ("listen 443", f"listen 127.0.0.1:{self.tls_port}"),
            ("listen 80", f"listen 127.0.0.1:{self.plain_port}"),
            ("/etc/ssl/repairs.example.org.pem", str(certificate)),
            ("/etc/ssl/repairs.example.org.key", str(key)),
            ("/var/log/nginx/benchwindow.log", str(folder / "access.log")),
        ):
            assert inside.count(old) == 1, old
            inside = inside.replace(old, new)
        temporary = "".join(
            f"{name}_temp_path {folder}/{name};" for name in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
        )
        (folder / "nginx.conf").write_text(
            f"daemon off; pid {folder}/pid; error_log {folder}/error.log; events {{}} http {{ {temporary}\n{inside}\n}}"
        )
        self.process = subprocess.Popen(
            [shutil.which("nginx") or "nginx", "-p", str(folder), "-c", str(folder / "nginx.conf")],
            stderr=subprocess.DEVNULL,
        )

    def ask(self, method: str, path: str, body: bytes | None = None, **headers: str) -> http.client.HTTPResponse:
        trusting = ssl._create_unverified_context()  # the certificate was made a moment ago
        line = http.client.HTTPSConnection("127.0.0.1", self.tls_port, context=trusting, timeout=PATIENCE)
        with closing(line):
            line.request(method, path, body, {"Host": NAME, **headers})
            answer = line.getresponse()
            answer.read()
        return answer

    def answers(self) -> bool:
        try:
            return self.ask("GET", "/health").status == 200
        except OSError:
            return False


def _from_manual() -> str:
    page = (resources.manual() / "proxy.md").read_text(encoding="utf-8")
    found = re.findall(r"```nginx\n(.+?)```", page, re.DOTALL)
    assert len(found) == 1
    return found[0]


def _free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as free:
        return free.getsockname()[1]


@pytest.fixture(scope="module")
def proxy(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Proxy]:
    if not shutil.which("nginx"):
        pytest.skip("there is no nginx on the path (Debian: apt-get install nginx)")
    folder = tmp_path_factory.mktemp("shop")
    subprocess.run([sys.executable, "-m", "portal", "--data", str(folder), "init"], check=True, capture_output=True)
    site = Site(folder, "--no-clock", settings={"BASE_URL": f"https://{NAME}", "PROXIES": "1"})
    wait_until(site.answers, "the site answers")
    proxy = Proxy(tmp_path_factory.mktemp("nginx"), site.port)
    wait_until(proxy.answers, "the proxy answers")
    yield proxy
    for process in (proxy.process, site.process):
        process.terminate()
        process.wait(PATIENCE)


def test_a_page_comes_through_with_its_own_headers_and_a_secure_cookie(proxy: Proxy) -> None:
    answer = proxy.ask("GET", "/login")

    assert answer.status == 200
    assert answer.headers["Set-Cookie"].startswith("__Host-")
    assert "default-src 'none'" in answer.headers["Content-Security-Policy"]


def test_what_is_absurdly_large_never_reaches_the_site(proxy: Proxy) -> None:
    assert proxy.ask("POST", "/login", b"x" * (26 * 1024 * 1024)).status == 413


def test_the_proxys_log_holds_no_link(proxy: Proxy) -> None:
    proxy.ask("GET", "/t/D8H2FZZAVSK5324SSB4CM81HR2JHW63XA0JH2")

    log = proxy.folder / "access.log"
    wait_until(lambda: " 404 GET " in log.read_text(), "the answer is in the log")  # written after it went out
    assert "/t/" not in log.read_text()


def test_plain_http_is_sent_on_to_https(proxy: Proxy) -> None:
    line = http.client.HTTPConnection("127.0.0.1", proxy.plain_port, timeout=PATIENCE)
    with closing(line):
        line.request("GET", "/t/abc", headers={"Host": NAME})
        answer = line.getresponse()
        answer.read()

    assert (answer.status, answer.headers["Location"]) == (301, f"https://{NAME}/t/abc")
