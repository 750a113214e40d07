"""The command that serves the pages, to this machine or to the shop's own network."""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from socket import gethostname
from typing import TYPE_CHECKING, Any

import click

from kb.store.engine import Store, open_store
from kb.workflow.people import has_owner
from kb.workflow.spread import forget_parts
from web import serving
from web.home import altitude_m, home_folder, store_url
from web.hosts import LOOPBACK, OWN_ADDRESSES, own_names
from web.layout import say
from web.nightly import nightly_backups
from web.people_commands import first_link, sign_in_address
from web.refitting import refits
from web.serving import LINUX, MOST_PROCESSES, usual_processes
from web.workers import MOST_PARTS, USUAL_PARTS, Address

if TYPE_CHECKING:
    from flask import Flask


@click.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="address to listen on")
@click.option("--port", default=8023, show_default=True, help="of this machine")
@click.option("--name", "names", multiple=True, help="a name by which others reach this machine")
@click.option("--proxy", is_flag=True, help="a proxy on this machine speaks https; see the README")
@click.option(
    "--processes",
    default=usual_processes,
    show_default="as many as processors, at most 2",
    type=click.IntRange(1, MOST_PROCESSES if LINUX else 1),
    help="that share the work",
)
@click.option(
    "--cluster", metavar="ADDRESS", help="of a Dask scheduler whose workers hold the memory"
)
@click.option(
    "--parts",
    default=USUAL_PARTS,
    show_default=True,
    type=click.IntRange(1, MOST_PARTS),
    help="of the memory, with --cluster",
)
def serve(
    *,
    host: str,
    port: int,
    names: Sequence[str],
    proxy: bool,
    processes: int,
    cluster: str | None,
    parts: int,
) -> None:
    """Serve the pages: to this machine, or with --host 0.0.0.0 to the shop's own network."""
    if proxy:
        _refuse_way_round(host, names)
    alone = host in LOOPBACK and not proxy
    if cluster is not None:
        Address.read(cluster).look()
    home = home_folder()
    with open_store(store_url(home), home=home) as store:
        token = first_link(store) if alone else None
        if not alone:
            _refuse_without_owner(store, names[0] if proxy else host)
    settings = {
        "HOME": home,
        "STORE_URL": store_url(home),
        "SHOP_HOSTS": None if alone else own_names(names),
        "PROXY": proxy,
        "CLUSTER": cluster,
        "PARTS": parts,
    }
    if cluster is None:
        forget_parts(home)
    if proxy:
        say(f"\nOpen https://{names[0]}/ in a browser, by way of the proxy.")
    url = store_url(home)
    with nightly_backups(url, home=home) as backups, refits(url, home=home) as fitting:

        def beside(app: "Flask") -> None:
            backups()
            fitting(app.extensions["baybook"].is_due)

        serve_pages(settings, host=host, port=port, token=token, processes=processes, beside=beside)


def _refuse_way_round(host: str, names: Sequence[str]) -> None:
    if host not in OWN_ADDRESSES:
        raise click.UsageError(
            f"expected --host 127.0.0.1 with --proxy, got {host}: others would get round the "
            "proxy; leave --host out"
        )
    if not names:
        raise click.UsageError(
            "expected --name NAME with --proxy, got none: the name that browsers open; give it"
        )


def _refuse_without_owner(store: Store, host: str) -> None:
    with store.read() as unit:
        if not has_owner(unit):
            raise click.UsageError(
                f"expected an owner before others can reach the pages at {host}, got none yet; run "
                "baybook serve without --host first and open the link that it prints"
            )


def serve_pages(
    settings: Mapping[str, Any],
    *,
    host: str = "127.0.0.1",
    port: int,
    token: str | None = None,
    processes: int = 1,
    beside: Callable[["Flask"], None] | None = None,
) -> None:
    """Serve the pages until interrupted; with ``token``, print the link that signs in once.

    Each process begins what is to run ``beside`` its pages.
    """
    from web import create_app  # noqa: PLC0415 (start-up time)
    from web.https import trusting  # noqa: PLC0415 (start-up time)
    from web.photos import MAX_BYTES  # noqa: PLC0415 (start-up time)
    from web.site import form_key  # noqa: PLC0415 (start-up time)

    # Before there are several processes, so that they agree.
    form_key(Path(settings["HOME"]))

    def make_app() -> "Flask":
        app = create_app({**settings, "ALTITUDE_M": altitude_m()})
        if beside is not None:
            beside(app)
        return app

    base = f"http://{_reached_by(host)}:{port}"
    say(f"\nOpen {base}/ in a browser; Ctrl-C ends.")
    if token is not None:
        say(f"To sign in, once: {sign_in_address(base, token)}")
    try:
        # Longer bodies are refused while they come in, before they fill the disk.
        limits: dict[str, Any] = {"max_request_body_size": MAX_BYTES + 1_000_000}
        if settings.get("PROXY"):
            limits |= trusting(host)
        door = serving.Door(host=host, port=port, limits=limits)
        serving.serve(make_app, door, processes=processes)
    except OSError as error:
        raise click.ClickException(
            f"expected a free port, got {port}: {error}; choose another with --port"
        ) from error


def _reached_by(host: str) -> str:
    """Return what a browser types for an address that is listened on."""
    if host in {"0.0.0.0", "::"}:  # noqa: S104 - compared, not listened on
        return gethostname()
    return f"[{host}]" if ":" in host else host
