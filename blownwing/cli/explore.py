"""Command explore."""

from __future__ import annotations

from typing import Annotated

import typer

from blownwing.cli.base import CaseFile, app, sentences


@app.command(short_help="Move propellers on a local page.")
def explore(
    case_file: CaseFile,
    port: Annotated[
        int, typer.Option(min=0, max=65535, help="Of the local page; default: any free one.")
    ] = 0,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open the page in the browser.")
    ] = True,
) -> None:
    """Try a case on a local page: move propellers and see what follows; ends with Ctrl+C."""
    with sentences():
        from blownwing.explore.server import Session, address, server_for

        session = Session(case_file)
        server = server_for(session, port)
        place = address(session, server)
        typer.echo(f"Open {place} on this machine; Ctrl+C ends it.")
        if browser:
            import webbrowser

            webbrowser.open(place)
        try:
            server.serve_forever()
        except KeyboardInterrupt:
            typer.echo("Ended.")
        finally:
            server.server_close()
