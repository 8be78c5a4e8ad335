"""Ten phones send photos at once to a site as it is really run, while somebody looks at a customer's page."""

from __future__ import annotations

import http.client
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.synchronize import Event
from pathlib import Path
from random import Random
from urllib.parse import urlsplit

from portal import resources, settings
from portal.actions import people
from portal.actions.desk import COMMAND
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.shop import load_policy
from portal.main import open_installation
from portal.rules.numbers import spoken
from portal.store import photos
from tests.bench.photo_samples import TWELVE_MEGAPIXELS, phone_heic, phone_jpeg, scene
from tests.phone import Phone
from tests.web.browser import PASSWORD

PHONES, PHOTOS_EACH = 10, 3
SLOWER_AT_MOST = 2.0
ALONE_SECONDS = 4.0
_PAUSE = 0.005  # between two looks at the page: somebody looks, nobody hammers
_PROCESSES = get_context("spawn")


@dataclass(frozen=True)
class Shop:
    """Where it is served, the tickets that are photographed, and the path of one customer's page."""

    folder: Path
    port: int
    numbers: tuple[str, ...]
    page: str


def page_stays_quick() -> bool:
    """Measure, print, and tell whether the promise is kept."""
    picture = scene(TWELVE_MEGAPIXELS)
    sent = phone_heic(picture) or phone_jpeg(picture)
    with _served() as shop:
        alone = _latencies(shop, until=_after(ALONE_SECONDS))
        all_sent = _PROCESSES.Event()
        phones = _PROCESSES.Process(target=_send_all, args=(shop, sent, all_sent))
        began = time.monotonic()
        phones.start()
        beside = _latencies(shop, until=lambda: all_sent.is_set() or phones.exitcode is not None)
        took = time.monotonic() - began
        phones.join()
        kept = _kept(shop)
    wanted = PHONES * PHOTOS_EACH
    ratio = statistics.median(beside) / statistics.median(alone)
    print(
        f"{PHONES} phones sent {kept} of {wanted} photos of {len(sent) / 1e6:.1f} MB in {took:.1f} s; meanwhile the "
        f"customer's page took {_told(beside)}, and alone {_told(alone)}; ratio of the medians {ratio:.2f} "
        f"(promised: at most {SLOWER_AT_MOST:.0f})"
    )
    return ratio <= SLOWER_AT_MOST and kept == wanted


def _told(latencies: list[float]) -> str:
    last = statistics.quantiles(latencies, n=100)[98]
    return f"{statistics.median(latencies) * 1e3:.1f} ms (99 of 100 below {last * 1e3:.0f}; {len(latencies)} looks)"


def _latencies(shop: Shop, until: Callable[[], bool]) -> list[float]:
    taken, connection = [], http.client.HTTPConnection("127.0.0.1", shop.port, timeout=60)
    while not until():
        began = time.perf_counter()
        connection.request("GET", shop.page)
        answer = connection.getresponse()
        answer.read()
        taken.append(time.perf_counter() - began)
        assert answer.status == 200
        time.sleep(_PAUSE)
    return taken


def _after(seconds: float) -> Callable[[], bool]:
    end = time.monotonic() + seconds
    return lambda: time.monotonic() > end


def _send_all(shop: Shop, photo: bytes, all_sent: Event) -> None:
    """In a process of its own: each phone in a thread, all under one login."""
    robin = Phone(shop.port)
    robin.log_in("Robin")
    phones = [Phone(shop.port, dict(robin.cookies)) for _ in shop.numbers]
    with ThreadPoolExecutor(PHONES) as pool:
        list(pool.map(lambda phone, number: _send(phone, number, photo), phones, shop.numbers))
    all_sent.set()


def _send(phone: Phone, number: str, photo: bytes) -> None:
    for _ in range(PHOTOS_EACH):
        assert phone.send(number, photo) == 303


@contextmanager
def _served() -> Iterator[Shop]:
    """A shop with a device for each phone, served by `benchwindow serve`."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        shop = _made(folder)
        command = [sys.executable, "-m", "portal", "--data", name, "serve", "--port", str(shop.port)]
        site = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            _wait_for(shop.port)
            yield shop
        finally:
            site.terminate()
            site.wait()


def _made(folder: Path) -> Shop:
    settings.make_secret(folder / settings.SECRET_FILE)
    house = open_installation(folder, environment={}, chooser=Random(3))
    load_policy(house.desk, COMMAND, resources.default_policy().read_text(encoding="utf-8"))
    people.add_staff(house.desk, COMMAND, "Robin", PASSWORD, "bench")
    device = NewDevice("Handheld console, blue", "Does not charge.", "console")
    taken = [take_in(house.desk, COMMAND, NewVisit([device], name="Ada Marsh")) for _ in range(PHONES)]
    house.engine.dispose()
    numbers = tuple(spoken(each.numbers[0]) for each in taken)
    return Shop(folder, _free_port(), numbers, urlsplit(taken[0].link).path)


def _kept(shop: Shop) -> int:
    house = open_installation(shop.folder, environment={})
    with house.desk.reading() as connection:
        refs = {path.name.partition("-")[0] for path in (shop.folder / "photos").rglob("*-large.jpg")}
        kept = len(photos.known(connection, sorted(refs)))
    house.engine.dispose()
    return kept


def _free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as free:
        port: int = free.getsockname()[1]
    return port


def _wait_for(port: int) -> None:
    until = time.monotonic() + 60
    while time.monotonic() < until:
        try:
            connection = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
            connection.request("GET", "/health")
            connection.getresponse().read()
        except OSError:
            time.sleep(0.1)
        else:
            return
    raise RuntimeError("The site did not start.")


if __name__ == "__main__":
    sys.exit(0 if page_stays_quick() else 1)
