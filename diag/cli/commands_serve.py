"""The command that serves the page. May import: typer; the other rooms only inside functions."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from diag.basics import UsageError
from diag.cli.book import BookName, ByWhom
from diag.cli.options import KnowledgeFolder, Overlays

__all__ = ["add_to"]

PORT = 8757  # the same as the room's own; importing that here would slow every other command down


def add_to(app: typer.Typer) -> None:
    """Add `serve`."""
    app.command()(serve)


def serve(
    port: Annotated[int, typer.Option("--port", metavar="PORT", min=0, max=65535, help="0: any that is free.")] = PORT,
    browser: Annotated[bool, typer.Option("--browser/--no-browser", help="Open the browser on it.")] = True,
    network: Annotated[
        bool,
        typer.Option(
            "--network", help="Let other machines of the workshop's network reach it, by a code that is shown here."
        ),
    ] = False,
    address: Annotated[
        str | None,
        typer.Option("--address", metavar="ADDRESS", help="With --network: only at this address of the machine."),
    ] = None,
    names: Annotated[
        list[str] | None,
        typer.Option("--name", metavar="NAME", help="A further host name under which it is reached; repeatable."),
    ] = None,
    certificate: Annotated[
        Path | None, typer.Option("--certificate", metavar="FILE", help="A certificate (PEM): serve over HTTPS.")
    ] = None,
    key: Annotated[Path | None, typer.Option("--key", metavar="FILE", help="Its private key (PEM).")] = None,
    by: ByWhom = "",
    book: BookName = None,
    overlay: Overlays = None,
    knowledge: KnowledgeFolder = None,
) -> None:
    """Serve the page: bay, counter and classroom in a browser, from this machine alone unless told otherwise."""
    from diag.web import Settings
    from diag.web import serve as serve_page

    if address is not None and not network:
        raise UsageError("--address goes with --network; without it the page is for this machine alone")
    if key is not None and certificate is None:
        raise UsageError("--key goes with --certificate")
    for file in (certificate, key):
        if file is not None and not file.is_file():
            raise UsageError(f"{file}: there is no such file")
    settings = Settings(
        book=book,
        knowledge=knowledge,
        overlays=tuple(overlay or ()),
        address=address or ("0.0.0.0" if network else "127.0.0.1"),
        port=port,
        network=network,
        names=tuple(names or ()),
        certificate=certificate,
        key=key,
        by=by,
    )
    serve_page(settings, lambda line: typer.echo(line, err=True), browser)
