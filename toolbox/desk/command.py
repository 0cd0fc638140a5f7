"""Command: ``leadline desk``."""

from pathlib import Path

import click

__all__ = ["desk_command"]


@click.command("desk", short_help="Open a page in the browser instead of a terminal.")
@click.option(
    "--folder",
    type=click.Path(path_type=Path),
    help="Folder to keep files and results in; if left out, a temporary one.",
)
@click.option("--no-browser", is_flag=True, help="Say the address, and open no browser.")
def desk_command(folder: Path | None, no_browser: bool) -> None:
    """Open a page in the browser: give files, see what was understood, correct it, run it.

    The page is served on this machine alone, and only to whoever knows the address that is
    printed. Nothing is sent anywhere.

    Not for navigation.
    """
    from toolbox.desk.serving import serve

    serve(click.echo, folder=folder, browser=not no_browser)
