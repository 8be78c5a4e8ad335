"""Starting things: a new shop, the demo, the site, the clock."""

from __future__ import annotations

import argparse
import os
from contextlib import nullcontext
from pathlib import Path

from portal import logs, resources, serving, settings
from portal.actions import shop
from portal.actions.desk import COMMAND
from portal.cli.common import Commands, command, opened
from portal.main import open_installation
from portal.store import policies


def add_to(commands: Commands) -> None:
    """Add `demo`, `init`, `serve`, `clock`."""
    demo = command(commands, "demo", _demo, "make an invented shop and serve it", "demo --port 8000")
    demo.add_argument("--port", type=int, default=8000)
    demo.add_argument("--host", default="127.0.0.1", help="0.0.0.0 lets a phone on the same network look")
    # `--data` stands here too, as a demo is the first thing anybody runs.
    demo.add_argument("--data", type=Path, default=argparse.SUPPRESS, help="the folder to make the demo in")
    demo.add_argument("--fresh", action="store_true", help="begin anew; wipes only a folder that a demo made")
    demo.add_argument("--seed", type=int, default=1, help="other stories")
    demo.add_argument("--no-serve", action="store_true", help="only make it and print what it printed")

    init = command(commands, "init", _init, "make an empty shop in the data folder", "init --policy policy.toml")
    init.add_argument("--policy", type=Path, help="the policy to begin with, else a default one")

    serve = command(commands, "serve", _serve, "serve the site, with the clock beside it", "serve --workers 2")
    serve.add_argument("--host", default="127.0.0.1")
    serve.add_argument("--port", type=int, default=8000)
    serve.add_argument("--workers", type=int, default=1, help="processes on the one socket")
    serve.add_argument("--no-clock", action="store_true", help="when `clock` or `sweep` runs elsewhere")

    clock = command(commands, "clock", _clock, "run the clock alone, until it is stopped", "clock")
    clock.add_argument(
        "--trust",
        action="store_true",
        help="do not run: say that this machine’s time is right, so that sweeps which a jump holds go on",
    )


def _init(options: argparse.Namespace) -> int:
    folder = settings.read(os.environ, options.data).data
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    made = settings.read(os.environ, options.data)
    if not made.secret_key:
        settings.make_secret(made.secret_file)
    file = options.policy or resources.default_policy()
    house = opened(options)
    with house.desk.reading() as connection:
        has_policy = policies.newest(connection) > 0
    if has_policy and not options.policy:
        print(f"There is a shop in {folder} already; nothing was changed.")
        return 0
    shop.load_policy(house.desk, COMMAND, file.read_text(encoding="utf-8"))
    print(f"An empty shop is in {folder}. Next: benchwindow staff add NAME --role keeper")
    return 0


def _serve(options: argparse.Namespace) -> int:
    if options.workers < 1:
        raise ValueError("--workers takes a whole number from 1")
    house = open_installation(options.data)
    house.engine.dispose()
    logs.to_stderr()
    listening = serving.listen(options.host, options.port)
    print(f"Serving {house.settings.base_url} on {options.host}:{options.port}", flush=True)
    serving.serve(house.settings.data, listening, options.workers, with_clock=not options.no_clock)
    return 0


def _clock(options: argparse.Namespace) -> int:
    house = opened(options)
    if options.trust:
        now = house.desk.clock.now()
        house.sweeps.trust_the_clock(now)
        print(f"{now:%Y-%m-%d %H:%M}Z counts as right. If the log of a running clock says that it jumped, restart it.")
        return 0
    logs.to_stderr()
    house.tick()
    return 0


def _demo(options: argparse.Namespace) -> int:
    from portal import demo  # only here: it brings the stories along

    for name in settings.TABLE:  # the demo goes by its own folder's settings only, and so do its processes
        os.environ.pop(settings.PREFIX + name, None)
    # The address first: where a demo is served already, it is not wiped under its feet.
    with nullcontext() if options.no_serve else serving.listen(options.host, options.port) as listening:
        made = demo.make(
            options.data or Path("demo-shop"), options.host, options.port, seed=options.seed, fresh=options.fresh
        )
        print(made.welcome(), flush=True)
        if listening:
            serving.serve(made.folder, listening, 1, with_clock=True)
    return 0
